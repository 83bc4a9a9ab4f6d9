"""The last seconds of samples, as frames, in memory: slots of one length, the oldest overwritten."""

from array import array


class Ring:
    """Frames of samples in the order of their numbers. Nothing is made while it runs.

    slots, length : how many frames, and bytes of each (shorter ones end in zeros, which mean nothing on the wire)
    """

    def __init__(self, slots, length):
        self.slots = slots
        room = memoryview(bytearray(slots * length))
        self.views = [room[k * length : (k + 1) * length] for k in range(slots)]
        self._first = array("i", [0] * slots)
        self._rows = array("B", bytes(slots))
        self.head = 0
        """Frames ever put in; frame number n lies in slot n modulo slots."""
        self.tail = 0
        """The oldest frame that is still here."""

    def room(self):
        """The slot that the next frame goes to; the oldest frame is gone from now on if all slots are taken."""
        if self.head - self.tail == self.slots:
            self.tail += 1
        return self.views[self.head % self.slots]

    def put(self, first, rows):
        """The frame that was written to `room()` holds so many samples, from number `first`."""
        at = self.head % self.slots
        self._first[at] = first
        self._rows[at] = rows
        self.head += 1

    def first(self, n):
        """Number of the first sample of frame n."""
        return self._first[n % self.slots]

    def next(self, n):
        """Number of the sample after the last one of frame n."""
        at = n % self.slots
        return self._first[at] + self._rows[at]

    def find(self, seq):
        """The oldest frame here that ends after sample `seq`; `head` if there is none."""
        low, high = self.tail, self.head
        while low < high:
            middle = (low + high) >> 1
            if self.next(middle) > seq:
                high = middle
            else:
                low = middle + 1
        return low

    def kept(self):
        """How many samples are here."""
        return self.next(self.head - 1) - self.first(self.tail) if self.head > self.tail else 0

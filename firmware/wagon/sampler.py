"""Takes samples on time, packs them into frames, puts the frames into the ring. Nothing is made while it runs."""

from wagon.framing import SAMPLES, put16, put32, seal, stuff

HEAD = 24

MILLION = 1_000_000


class Time:
    """The wagon's clock since it was switched on: seconds and microseconds, from a counter that runs over."""

    def __init__(self, ticks):
        self._ticks = ticks
        self._last = ticks.ticks_us()
        self.sec = 0
        self.usec = 0

    def now(self):
        """Bring the clock up to date; returns the counter. Must be called every few minutes at least."""
        now = self._ticks.ticks_us()
        self.usec += self._ticks.ticks_diff(now, self._last)
        self._last = now
        while self.usec >= MILLION:
            self.usec -= MILLION
            self.sec += 1
        return now


class Sampler:
    """One sample every period.

    ticks : has ticks_us, ticks_diff and ticks_add; sensors : read one after the other; device : 4 bytes
    axle, across : an `Axle` and its two columns as (sensor, column) pairs, or None
    wanted : object with `unsafe(n)`: whether frame n of the ring would be lost if it were overwritten
    """

    def __init__(self, ticks, sensors, ring, device, boot, period_us, rows, axle=None, across=None):
        self.ticks = ticks
        self.time = Time(ticks)
        self.sensors = sensors
        self.ring = ring
        self.axle = axle
        self.across = across
        self.period_us = period_us
        self.rows = rows
        self.width = sum(len(s.columns) for s in sensors)
        size = HEAD + rows * (2 + 2 * self.width) + 4
        if size > 254:
            raise ValueError("expected rows and columns that fit 254 bytes, came " + str(size) + "; lower rows")
        self._packet = bytearray(size)
        head = self._packet
        head[0], head[1] = SAMPLES, self.width
        head[4:8] = device
        put32(head, 8, boot)
        self.seq = 0
        """Number of the next sample."""
        self.open_first = 0
        """Number of the first sample that is in no frame yet."""
        self.missed = 0
        self.failed = 0
        """Readings that a sensor did not answer."""
        self.lost = 0
        self.safe = 0
        """All samples before this one are on the desk's disk."""
        self.stored = 0
        """Frames of the ring before this one are on flash too."""
        self.guarded = False
        """Somebody is recording: what is overwritten unsafe counts as lost."""
        self._filled = 0
        self._last = 0
        self._due = ticks.ticks_add(ticks.ticks_us(), period_us)

    @staticmethod
    def slot_bytes(rows, width):
        """Length of a slot of the ring for frames of so many rows and columns."""
        return HEAD + rows * (2 + 2 * width) + 4 + 3

    def spare_us(self):
        """Time until the next sample is due; below 0 it is late."""
        return self.ticks.ticks_diff(self._due, self.ticks.ticks_us())

    def poll(self):
        """Take a sample if it is due; True if it was."""
        late = -self.spare_us()
        if late < 0:
            return False
        while late >= self.period_us:
            self.missed += 1
            late -= self.period_us
            self._due = self.ticks.ticks_add(self._due, self.period_us)
        self._due = self.ticks.ticks_add(self._due, self.period_us)
        self.sample()
        return True

    def sample(self):
        """Take a sample now."""
        now = self.time.now()
        try:
            k = 0
            while k < len(self.sensors):
                self.sensors[k].take()
                k += 1
        except OSError:
            self.failed += 1
            self.missed += 1
            return
        if self._filled and self.ticks.ticks_diff(now, self._last) > 0xFFFF:
            self.close()
        self._row(now)
        if self.axle is not None:
            a, b = self.across[0], self.across[1]
            self.axle.take(a[0].count(a[1]), b[0].count(b[1]))
        if self._filled == self.rows:
            self.close()

    def _row(self, now):
        packet = self._packet
        at = HEAD + self._filled * (2 + 2 * self.width)
        if self._filled:
            put16(packet, at, self.ticks.ticks_diff(now, self._last))
        else:
            put32(packet, 12, self.seq)
            put32(packet, 16, self.time.sec)
            put32(packet, 20, self.time.usec)
            put16(packet, at, 0)
        at += 2
        s = 0
        while s < len(self.sensors):
            sensor = self.sensors[s]
            k = 0
            while k < len(sensor.columns):
                put16(packet, at, sensor.count(k))
                at += 2
                k += 1
            s += 1
        self._last = now
        self._filled += 1
        self.seq += 1

    def close(self):
        """Put what was sampled since the last frame into the ring."""
        if not self._filled:
            return
        ring = self.ring
        if ring.head - ring.tail == ring.slots and self.guarded and self.unsafe(ring.tail):
            self.lost += ring.next(ring.tail) - ring.first(ring.tail)
        packet = self._packet
        packet[3] = self._filled
        size = seal(packet, HEAD + self._filled * (2 + 2 * self.width))
        stuff(packet, size, ring.room())
        ring.put(self.open_first, self._filled)
        self.open_first = self.seq
        self._filled = 0

    def unsafe(self, n):
        """Whether frame n of the ring is neither on the desk's disk nor on flash."""
        return n >= self.stored and self.ring.next(n) > self.safe

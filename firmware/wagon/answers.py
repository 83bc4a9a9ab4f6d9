"""Answers a desk that wants samples again: from the ring in memory, from flash, or with the word that they are gone."""

from wagon import packets
from wagon.framing import framed

MAX_WANTS = 8


class Answers:
    """sampler : with its ring; store : `store.Store` or None; device, boot : of this wagon."""

    def __init__(self, sampler, store, device, boot):
        self.sampler, self.ring, self.store = sampler, sampler.ring, store
        self.device, self.boot = device, boot
        self._wants, self._frames, self._for = [], None, None

    def take(self, want, link):
        """A want that came on this link: note what is safe, and what to send again."""
        _, boot, first, count, safe = want
        if boot == self.boot and safe <= self.sampler.seq:
            self.sampler.safe = max(self.sampler.safe, safe)
        end = first + count
        if self._for and (self._for[0], self._for[2]) == (boot, end):
            return  # that answer is under way
        self._wants = [w for w in self._wants if (w[0], w[2]) != (boot, end)]
        if count and len(self._wants) < MAX_WANTS:
            self._wants.append((boot, first, end, link))

    def step(self):
        """Send one frame of what was asked for; False if nothing was."""
        if self._frames is None:
            if not self._wants:
                return False
            self._for = self._wants.pop(0)
            self._frames = self.frames(self._for[0], self._for[1], self._for[2])
        frame = _one(self._frames)
        if frame:
            self._for[3].send(frame)
        else:
            self._frames = self._for = None
        return True

    def frames(self, boot, pos, end):
        """Frames that hold the samples from `pos` to `end`, oldest first; a `gone` for those that nobody has."""
        own = boot == self.boot
        flash = self.store.read(boot, pos) if self.store is not None else iter(())
        held = _one(flash)
        while pos < end:
            while held and held[1] <= pos:
                held = _one(flash)
            found = self._nearest(self.ring.find(pos) if own else self.ring.head, held)
            if not found or found[0] >= end:
                break
            if found[0] > pos:
                yield framed(packets.gone(self.device, boot, pos, found[0] - pos))
            yield found[2]
            pos = found[1]
        limit = min(end, self.sampler.open_first) if own else end
        if pos < limit:
            yield framed(packets.gone(self.device, boot, pos, limit - pos))

    def _nearest(self, n, held):
        """Frame n of the ring or the one from flash, whichever begins first: (first, next, frame), or None."""
        ring = self.ring
        if n < ring.head and (not held or ring.first(n) <= held[0]):
            return ring.first(n), ring.next(n), bytes(ring.views[n % ring.slots])
        return held


def _one(frames):
    """The next of an iterator, or None."""
    for frame in frames:
        return frame
    return None

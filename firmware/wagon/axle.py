"""The axle's angle from two components of its magnets' field, and from that the way rolled, in whole numbers only.

One turn is 65536 steps. The desk does this far better from the same samples; here it only has to be good enough for the
wagon's own display: the middle and the half axes of the ellipse are learnt from the extremes of the last turns.
"""

from array import array
from math import atan, pi

TURN = 65536

_STEPS = 256

_ATAN = array("H", [int(atan(k / _STEPS) / (2 * pi) * TURN + 0.5) for k in range(_STEPS + 1)])
"""Angle whose tangent is k / 256, in steps."""

FINE = 10
"""Bits of the fraction between two entries."""

MIN_SWING = 40
"""Half axes [counts] below which nothing is turning: that is noise."""

FADE_TURNS = 8
"""The extremes shrink by 1/64 every so many turns, so that one wrong reading is forgotten."""


def angle(y, x):
    """Direction of (x, y) in steps, 0 to 65535; both below 2**17 in size. Within 1 step (0.006 deg) of the truth."""
    ax = x if x >= 0 else -x
    ay = y if y >= 0 else -y
    if not ax and not ay:
        return 0
    small = ay if ay <= ax else ax
    large = ax if ay <= ax else ay
    share = (
        (small << 8 << FINE) // large
        if small < 4096
        else ((small << 8) // large << FINE) + (((small << 8) % large << FINE) // large)
    )
    k = share >> FINE
    a = _ATAN[k]
    if k < _STEPS:
        a += ((_ATAN[k + 1] - a) * (share & ((1 << FINE) - 1)) + (1 << (FINE - 1))) >> FINE
    if ay > ax:
        a = TURN // 4 - a
    if x < 0:
        a = TURN // 2 - a
    if y < 0:
        a = -a
    return a & (TURN - 1)


class Axle:
    """Counts the way rolled. Feed it every sample; ask it a few times a second.

    round_um : circumference of the wheel [um]; sign : -1 where the field turns the other way when rolling forward
    ellipse : (middle a, middle b, half axis a, half axis b) in counts if known, else learnt
    """

    def __init__(self, round_um, sign=1, ellipse=None):
        self.round_um = round_um
        self.sign = sign
        self.turns = 0
        self.steps = 0
        self._phi = -1
        self._low_a = self._low_b = 1 << 20
        self._high_a = self._high_b = -(1 << 20)
        self._swept = 0
        self._fade = 0
        self.known = ellipse is not None
        if ellipse:
            a, b, half_a, half_b = ellipse
            self._low_a, self._high_a = a - half_a, a + half_a
            self._low_b, self._high_b = b - half_b, b + half_b

    def take(self, a, b):
        """One sample of the two components [counts]."""
        grown = False
        if a < self._low_a:
            grown = self._low_a - a > (self._high_a - self._low_a) >> 6
            self._low_a = a
        if a > self._high_a:
            grown = grown or a - self._high_a > (self._high_a - self._low_a) >> 6
            self._high_a = a
        if b < self._low_b:
            grown = grown or self._low_b - b > (self._high_b - self._low_b) >> 6
            self._low_b = b
        if b > self._high_b:
            grown = grown or b - self._high_b > (self._high_b - self._low_b) >> 6
            self._high_b = b
        half_a = (self._high_a - self._low_a) >> 1
        half_b = (self._high_b - self._low_b) >> 1
        if half_a < MIN_SWING or half_b < MIN_SWING:
            return
        x = ((a << 1) - self._high_a - self._low_a) * 2048 // half_a
        y = ((b << 1) - self._high_b - self._low_b) * 2048 // half_b
        phi = angle(y, x)
        step = ((phi - self._phi + 32768) & 65535) - 32768 if self._phi >= 0 else 0
        self._phi = phi
        if self.known:
            self._count(step * self.sign)
        else:
            self._learn(step, grown)

    def _learn(self, step, grown):
        """The ellipse is known once it did not grow any more over two whole turns."""
        self._swept = 0 if grown else self._swept + step
        if self._swept > 2 * TURN or self._swept < -2 * TURN:
            self.known = True
            self._swept = 0

    def _count(self, step):
        self.steps += step
        while self.steps >= TURN:
            self.steps -= TURN
            self.turns += 1
            self._fading()
        while self.steps < 0:
            self.steps += TURN
            self.turns -= 1
            self._fading()

    def _fading(self):
        self._fade += 1
        if self._fade < FADE_TURNS:
            return
        self._fade = 0
        by_a = (self._high_a - self._low_a) >> 7
        by_b = (self._high_b - self._low_b) >> 7
        self._low_a += by_a
        self._high_a -= by_a
        self._low_b += by_b
        self._high_b -= by_b

    def distance_um(self):
        """Way rolled since the ellipse was known or since `zero` [um]; backwards is less."""
        return self.turns * self.round_um + ((self.steps >> 4) * self.round_um >> 12)

    def zero(self):
        """The way begins here."""
        self.turns = 0
        self.steps = 0

    def ellipse(self):
        """(middle a, middle b, half axis a, half axis b) as learnt, for the settings."""
        a, b = (self._high_a + self._low_a) >> 1, (self._high_b + self._low_b) >> 1
        return a, b, (self._high_a - self._low_a) >> 1, (self._high_b - self._low_b) >> 1


class Speed:
    """Speed from the way rolled: over the last half second, asked a few times a second."""

    MIN_US = 300_000

    def __init__(self, ratio):
        self.ratio = ratio
        self.mm_s = 0.0
        self._way = None
        self._since = 0

    def take(self, way_um, passed_us):
        """The way now, and the time since the last call."""
        if self._way is None:
            self._way = way_um
            return
        self._since += passed_us
        if self._since >= self.MIN_US:
            self.mm_s = (way_um - self._way) * 1000.0 / self._since
            self._way, self._since = way_um, 0

    def km_h(self):
        """Scale speed: model speed times the scale, time as it is [km/h]."""
        return abs(self.mm_s) * self.ratio * 0.0036

    def mph(self):
        """The same in miles an hour; a mile is 1609.344 m (exact, 1959)."""
        return self.km_h() / 1.609344

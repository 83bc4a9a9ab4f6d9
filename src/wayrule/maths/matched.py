"""Known shapes found in a noisy sequence: matched filters over a free local baseline, with a stated false-alarm rate.

The sequence comes as its steps dy from grid point to grid point: a ring then needs no closing, and a shape that ends
higher than it began (a step) can be taken away without lifting all that follows.

Legend: y sequence on an even grid of spacing d, dy its steps · f filter, amplitude a(x) = sum of f y round x · u
threshold in sd's of a · v0 rate of upward zero crossings of a per unit length.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MAD_TO_SD: Final = 1.4826
"""Median absolute deviation of a normal variable to its sd."""


SHADE: Final = 0.5
"""Beside a shape that was found, another must be at least this part of its size (both against their least size)."""


LOUD: Final = 0.3
"""A template competes for a place when its amplitude, in sd's, is at least this part of the loudest one's."""


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """A shape to look for.

    name    what the caller calls it
    extent  its length
    shape   (2 h + 1,) at the offsets -h .. h of the grid
    degree  of the polynomial that is free under it
    """

    name: str
    extent: float
    shape: Floats
    degree: int

    @property
    def pure(self) -> Floats:
        """The shape less its best polynomial: what tells it from the baseline, (2 h + 1,)."""
        h = len(self.shape) // 2
        basis = np.linalg.qr(np.vander(np.linspace(-1.0, 1.0, 2 * h + 1), self.degree + 1))[0]
        return np.asarray(self.shape - basis @ (basis.T @ self.shape))

    def on(self, h: int) -> "Template":
        """The same shape on offsets -h .. h, going on as it ends."""
        own = len(self.shape) // 2
        shape = np.pad(self.shape, h - own, mode="edge") if h >= own else self.shape[own - h : own + h + 1]
        return Template(self.name, self.extent, shape, self.degree)

    @property
    def weights(self) -> Floats:
        """Least-squares amplitude = sum of weights dy; blind to the baseline, 1 on the shape itself, (2 h,).

        With f = pure / |pure|^2, whose sum is 0, sum of f y = - sum of (running sum of f) dy.
        """
        pure = self.pure
        return np.asarray(-np.cumsum(pure)[:-1] / (pure @ pure))


@dataclass(frozen=True, slots=True)
class Found:
    """A shape that was found: template, place, amplitude and its sd."""

    template: Template
    at: float
    amplitude: float
    sd: float


@dataclass(frozen=True, slots=True)
class Searched:
    """What a search found, strongest first, and how many of them pure noise was to give, at most."""

    found: tuple[Found, ...]
    alarms: float


def respond(dy: Floats, template: Template, *, ring: bool) -> Floats:
    """Amplitude of the template round every grid point: (n + 1,) of n steps, (n,) on a ring.

    At an open end the sequence is turned about its end point.
    """
    h = len(template.shape) // 2
    padded = np.pad(dy, h, mode="wrap" if ring else "symmetric")
    out = np.correlate(padded, template.weights, mode="valid")
    return np.asarray(out[:-1] if ring else out)


def end_factor(template: Template, n: int) -> Floats:
    """How much larger the sd of an amplitude is near an open end, where half of the window is a mirror image, (n,).

    The larger of what holds for independent values and for independent steps.
    """
    h = len(template.shape) // 2
    pure = template.pure / np.linalg.norm(template.pure)
    step = template.weights / np.linalg.norm(template.weights)
    factor = np.ones(n)
    for d in range(min(h, n)):  # points between the middle of the window and the end
        beyond = h - d  # values of the window past the end, each 2 y_end - its image
        value = pure[beyond:].copy()
        value[0] += 2.0 * np.sum(pure[:beyond])
        image = np.zeros(max(len(value), beyond + 1))
        image[: len(value)] = value
        image[1 : beyond + 1] -= pure[:beyond][::-1]
        folded = step[beyond:].copy()
        both = np.zeros(max(len(folded), beyond))
        both[: len(folded)] = folded
        both[:beyond] += step[:beyond][::-1]
        factor[d] = max(1.0, float(np.linalg.norm(image)), float(np.linalg.norm(both)))
    half = (n + 1) // 2
    factor[half:] = factor[: n - half][::-1]
    return factor


def robust_sd(a: Floats, window: int) -> Floats:
    """Local sd of a by its median absolute deviation over windows of so many points, never below 0.6 of the whole.

    Taken at every eighth of a window and joined by straight lines: a fault is short against a window and a median
    does not see it.
    """
    overall = _MAD_TO_SD * float(np.median(np.abs(a - np.median(a))))
    n = len(a)
    if n < 2 * window:
        return np.full(n, overall)
    centres = np.arange(window // 2, n - window // 2 + 1, max(1, window // 8))
    local = [_MAD_TO_SD * float(np.median(np.abs(a[c - window // 2 : c + window // 2]))) for c in centres]
    return np.maximum(np.interp(np.arange(n), centres, local), 0.6 * overall)


def crossing_rate(a: Floats, spacing: float) -> float:
    """How often noise like `a` crosses zero upwards, per unit length: v0 = sd(a') / (2 pi sd(a)) (Rice 1945).

    A sine of wavelength 20 pi crosses once in each.

    >>> round(20 * np.pi * crossing_rate(np.sin(np.arange(2000) / 10.0), 1.0), 1)
    1.0
    """
    sd = float(np.median(np.abs(a - np.median(a))))
    slope = float(np.median(np.abs(np.diff(a)))) / spacing
    return slope / (2.0 * np.pi * sd) if sd > 0 else 0.0


def threshold(responses: Sequence[Floats], spacing: float, alarms_per_length: float) -> float:
    """Level u, in sd's, that pure noise exceeds at the given rate, all templates and both signs together.

    Notes
    -----
    A stationary Gaussian process crosses u upwards v0 exp(-u^2 / 2) times per unit length (`crossing_rate`); both
    signs double it, templates add up. An upper bound, as templates are correlated: noise gave a third of it for a
    dozen lengths of one shape.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> a = np.convolve(rng.normal(size=20000), np.hanning(20), mode="same")
    >>> u = threshold([a], 1.0, 1e-4)
    >>> bool(3.0 < u < 4.5)
    True
    """
    rate = 2.0 * sum(crossing_rate(a, spacing) for a in responses)
    return float(np.sqrt(2.0 * np.log(max(rate / alarms_per_length, np.e))))


def alarms_of_noise(
    responses: Sequence[Floats],
    sds: Sequence[Floats],
    least: Sequence[Floats],
    usable: NDArray[np.bool_],
    *,
    spacing: float,
    u: float,
) -> float:
    """False alarms that pure noise gives on the whole line, at most: what is below the least size is none.

    Rice's rate at each place for the larger of u and the least size over the sd, both signs, templates added up.
    """
    total = 0.0
    for a, sd, lo in zip(responses, sds, least, strict=True):
        level = np.maximum(u, np.divide(lo, sd, out=np.full(len(sd), np.inf), where=sd > 0))
        total += 2.0 * crossing_rate(a, spacing) * spacing * float(np.sum(np.exp(-0.5 * level[usable] ** 2)))
    return total


def search(
    dy: Floats,
    spacing: float,
    templates: Sequence[Template],
    *,
    ring: bool,
    claimed_sd: Sequence[float],
    least: Sequence[Floats],
    alarms_per_length: float,
    window: int,
    usable: NDArray[np.bool_],
    most: int = 500,
) -> Searched:
    """All shapes that stand out, each taken away before the next is looked for, and what of that noise may be.

    Parameters
    ----------
    dy : (n,) steps of the sequence, none missing
    templates : shapes to look for; they compete for one place
    claimed_sd : sd of each template's amplitude by the claimed noise; the larger of it and the measured one counts
    least : for each template, at each grid point, the amplitude below which nobody cares
    alarms_per_length : false alarms that pure noise may give per unit length
    window : points over which the noise is taken as even
    usable : at each grid point, whether a shape may be found there
    most : at most so many

    Notes
    -----
    Where several templates stand out at one place, the one that explains most of the sum of squares over one window,
    the widest of those that are nearly as loud as the loudest, wins. Within the window of one that was found, others
    must reach `SHADE` of its size, as real defects are never quite of the shape that is taken away.
    """
    dy = dy.copy()
    responses = [respond(dy, t, ring=ring) for t in templates]
    sds = [np.maximum(robust_sd(a, window), c) for a, c in zip(responses, claimed_sd, strict=True)]
    if not ring:
        sds = [sd * end_factor(t, len(sd)) for sd, t in zip(sds, templates, strict=True)]
    u = threshold(responses, spacing, alarms_per_length)
    alarms = alarms_of_noise(responses, sds, least, usable, spacing=spacing, u=u)
    least = [lo.copy() for lo in least]
    free = usable.copy()
    found: list[Found] = []
    while len(found) < most:
        loud = np.array(
            [
                np.where(free & (np.abs(a) > lo) & (np.abs(a) > u * sd), np.abs(a) / np.maximum(sd, 1e-300), 0.0)
                for a, sd, lo in zip(responses, sds, least, strict=True)
            ]
        )
        peak = int(np.argmax(loud.max(axis=0)))
        if loud[:, peak].max() <= 0:
            break
        k, i = _best_at(dy, peak, loud, templates, ring)
        template = templates[k]
        amplitude = float(responses[k][i])
        place = (i + _vertex(responses[k], i, ring)) * spacing
        found.append(Found(template, place, amplitude, float(sds[k][i])))
        h = len(template.shape) // 2
        at = np.arange(i - h, i + h)
        inside = np.ones(len(at), dtype=bool) if ring else (at >= 0) & (at < len(dy))
        np.subtract.at(dy, at[inside] % len(dy), amplitude * np.diff(template.shape)[inside])
        free[_around(i, max(1, round(0.5 * template.extent / spacing)), len(free), ring)] = False
        shade = _around(i, len(template.shape) // 2, len(free), ring)
        ratio = SHADE * abs(amplitude) / float(least[k][i]) if least[k][i] > 0 else 0.0
        for lo in least:
            lo[shade] *= max(1.0, ratio)
        responses = [respond(dy, t, ring=ring) for t in templates]
    return Searched(tuple(found), alarms)


def _best_at(dy: Floats, peak: int, loud: Floats, templates: Sequence[Template], ring: bool) -> tuple[int, int]:
    """Template and grid point near a peak that explain most of the sum of squares over the widest window at hand."""
    close = loud[:, _around(peak, 2, loud.shape[1], ring)].max(axis=1)
    h = max(len(t.shape) // 2 for t, z in zip(templates, close, strict=True) if z > LOUD * close.max())
    reach = max(2, h // 2)  # a bump answers loudest beside a step, not at it
    n = len(dy)
    at = np.arange(peak - reach - h, peak + reach + h)
    part = np.where((at >= 0) & (at < n), dy[at % n], 0.0) if not ring else dy[at % n]
    best = (-1.0, 0, peak)
    for k, template in enumerate(templates):
        if len(template.shape) // 2 > h:
            continue
        wide = template.on(h)
        pure = wide.pure
        amplitude = np.correlate(part, wide.weights, mode="valid")
        near = (np.arange(peak - reach, peak + reach + 1)) % loud.shape[1]
        inside = np.ones(len(near), dtype=bool) if ring else np.abs(near - peak) <= reach
        gain = np.where((loud[k, near] > 0) & inside, amplitude**2 * float(pure @ pure), -1.0)
        j = int(np.argmax(gain))
        if gain[j] > best[0]:
            best = (float(gain[j]), k, int(near[j]))
    return best[1], best[2]


def _around(i: int, reach: int, n: int, ring: bool) -> NDArray[np.intp]:
    at = np.arange(i - reach, i + reach + 1)
    return at % n if ring else at[(at >= 0) & (at < n)]


def _vertex(a: Floats, i: int, ring: bool) -> float:
    """Offset of the parabola's top through the points round i, within half a grid step."""
    n = len(a)
    if not ring and not 0 < i < n - 1:
        return 0.0
    left, middle, right = np.abs(a[(i - 1) % n]), np.abs(a[i]), np.abs(a[(i + 1) % n])
    bend = left - 2 * middle + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend < 0 else 0.0

"""Run against run: how far passes over one place disagree, band by band, beside what the error bars promise.

What a pass felt beyond the adjusted line is its own: readings less the line's, the sway that was estimated put back. Of
two passes over one place the line cancels, so their difference is the difference of their own parts, whatever the line
is. Promised is the difference of two looks with the noise that the adjustment believes in: white rates, and sway.
Bands as full-size track recording has them (EN 13848-1: D1 3 to 25 m, D2 25 to 70 m, D3 70 to 150 m; from memory),
divided by the model's ratio.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.bands import Band
from wayrule.model.arrays import Array
from wayrule.model.repeat import Repeat
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.passes import SEGMENT_WHEELBASES, segments
from wayrule.track.adjust.sway import Sway, first_noise, power, sway_seen
from wayrule.track.adjust.unknowns import sway_spline

FULL_SIZE_MM = (("D1", 3e3, 25e3), ("D2", 25e3, 70e3), ("D3", 70e3, 150e3))

LEAST_KNOTS = 4.0
"""Waves shorter than this many knots of the line are within a few bins and not looked at."""

QUANTITIES = (("curvature", "z", 0), ("gradient", "y", 1), ("cant", "x", 2))
"""Quantity, gyro axis, spline."""

NAN = float("nan")


def bands(ratio: float, knot_mm: float) -> tuple[Band, ...]:
    """The bands on a model; a band, or the part of one, too short to be seen is left out.

    >>> [(b.name, round(b.shortest), round(b.longest)) for b in bands(87.0, 8.0)]
    [('D1', 34, 287), ('D2', 287, 805), ('D3', 805, 1724)]
    """
    least = LEAST_KNOTS * knot_mm
    scaled = ((name, max(low / ratio, least), high / ratio) for name, low, high in FULL_SIZE_MM)
    return tuple(Band(name, low, high) for name, low, high in scaled if low < high / 1.5)


@dataclass(frozen=True, slots=True)
class Piece:
    """One movement without reversal, on the common cells of the line.

    run, first   its run, and the number of its first cell
    own          (3, m) by quantity: what it felt beyond the line, in the quantity's unit
    """

    run: int
    first: int
    own: Array


@dataclass(frozen=True, slots=True)
class Looks:
    """Passes side by side: values (P, cells), NaN where a pass does not go; run and movement of each pass (P,)."""

    values: Array
    run: NDArray[np.int64]
    movement: NDArray[np.int64]


def repeats(adjusted: Adjusted) -> tuple[Repeat, ...]:
    """All quantities in all bands; () where no place was passed twice in any band."""
    spline, lap, wagon = adjusted.unknowns.spline, adjusted.problem.line.lap_mm, adjusted.problem.wagon
    cells = max(round(spline.length / spline.h * 2), 8)
    step = spline.length / cells
    pieces = list(_pieces(adjusted, step))
    first = first_noise(adjusted.problem, adjusted.unknowns).weights
    sway = sway_seen(adjusted.problem, adjusted.unknowns, adjusted.runs, first)
    out = []
    for band in bands(wagon.ratio, spline.h):
        for i, (quantity, axis, of) in enumerate(QUANTITIES):
            look = looks(pieces, i, band, step, cells if lap else None)
            variance = promised(adjusted, sway, band, step, axis, of)
            found = compared(look, variance, step)
            out.append(Repeat(quantity, band.name, band.shortest, band.longest, *found))  # type: ignore[arg-type]
    return tuple(r for r in out if r.passes)


def _pieces(adjusted: Adjusted, step: float) -> Iterator[Piece]:
    """What every movement of every run felt beyond the line; knocks count for as much as the adjustment let them."""
    u, wagon = adjusted.unknowns, adjusted.problem.wagon
    factors = (1.0, 1.0, wagon.gauge_mm)
    for r, (setting, run) in enumerate(zip(adjusted.problem.settings, adjusted.runs, strict=True)):
        part = u.sway_of[r]
        swaying = sway_spline(setting.bins, part.stop - part.start).value_rows(setting.bins.path_mm)
        middle = run.sigma + setting.way * setting.wheelbase_mm / 2 - u.spline.origin
        moving = np.diff(run.sigma) != 0
        turned = []
        for _, axis, spline in QUANTITIES:
            i = next(i for i, one in enumerate(run.readings) if one.kind == f"gyro_{axis}")
            held = adjusted.row_weights[r][i] * adjusted.noise.weights[r].sigma[f"gyro_{axis}"] ** 2
            own = held * run.readings[i].residual + np.diff(swaying @ u.sway[spline, part])
            sign = {"z": 1, "y": -setting.way, "x": setting.way}[axis]
            turned.append(sign * np.where(run.readings[i].ok & moving, own, 0.0))
        number = segments(0.5 * (middle[1:] + middle[:-1]), SEGMENT_WHEELBASES * setting.wheelbase_mm)
        for k in range(int(number.max()) + 1):
            bins = np.flatnonzero(number == k)
            edges = slice(bins[0], bins[-1] + 2)
            angle = np.cumsum(np.hstack((np.zeros((3, 1)), np.array(turned)[:, bins[0] : bins[-1] + 1])), axis=1)
            piece = _on_cells(middle[edges], angle, step)
            if piece is not None:
                yield Piece(r, piece[0], piece[1] * np.array(factors)[:, None])


def _on_cells(place: Array, angle: Array, step: float) -> tuple[int, Array] | None:
    """First cell and (3, m) curvature, gradient, roll on the cells that a movement goes over; None if there is none."""
    if place[-1] < place[0]:
        place, angle = place[::-1], angle[:, ::-1]
    ahead = np.maximum.accumulate(place)
    keep = np.append(True, np.diff(ahead) > 0)
    first, last = int(np.ceil(ahead[0] / step)), int(np.floor(ahead[-1] / step))
    if last - first < 2:
        return None
    edges = np.arange(first, last + 1) * step
    heading, climb, roll = (np.interp(edges, ahead[keep], one[keep]) for one in angle)
    return first, np.array([np.diff(heading) / step, 0.5 * (climb[1:] + climb[:-1]), 0.5 * (roll[1:] + roll[:-1])])


def looks(pieces: Sequence[Piece], quantity: int, band: Band, step: float, round_cells: int | None) -> Looks:
    """Passes of a quantity in a band. A movement is filtered as a whole, its ends, which lean on what is not there, are
    left out, and only then is it cut into laps."""
    kept, places = [], []
    end = int(np.ceil(band.end / step))
    for movement, piece in enumerate(pieces):
        m = piece.own.shape[1]
        if m - 2 * end < 2 or m * step < band.longest:
            continue
        values = band.filtered(piece.own[quantity], step)[end : m - end]
        cell = piece.first + end + np.arange(len(values))
        lap = (cell - cell[0]) // round_cells if round_cells else np.zeros_like(cell)
        for number in range(int(lap.max()) + 1):
            kept.append((piece.run, movement, values[lap == number]))
            places.append(cell[lap == number])
    if not kept:
        return Looks(np.empty((0, 0)), *(np.empty(0, dtype=np.int64) for _ in range(2)))
    low = 0 if round_cells else int(min(p.min() for p in places))
    width = round_cells or int(max(p.max() for p in places)) + 1 - low
    table = np.full((len(kept), width), np.nan)
    for row, ((_, _, values), place) in enumerate(zip(kept, places, strict=True)):
        table[row, (place - low) % width] = values
    run, movement_of = (np.array([one[i] for one in kept], dtype=np.int64) for i in (0, 1))
    return Looks(table, run, movement_of)


def promised(adjusted: Adjusted, sway: Sway, band: Band, step: float, axis: str, spline: int) -> Array:
    """(runs,) variance in a band of what one pass of each run adds of itself, as the adjustment believes.

    Angle: white increments of variance q a mm are a random walk, q / (2 pi f)^2; sway of variance s^2 has s^2 times
    its `power` (both two-sided). Curvature is the angle's slope.
    """
    waves = np.geomspace(band.shortest / 4, band.longest * 4, 400)
    k2 = (2 * np.pi / waves) ** 2
    out = []
    for r, (setting, weights) in enumerate(zip(adjusted.problem.settings, adjusted.noise.weights, strict=True)):
        rolling = np.diff(setting.bins.path_mm) > 0
        white = float(np.sum(weights.sigma[f"gyro_{axis}"][rolling] ** 2)) / setting.bins.path_mm[-1]
        s, length = sway.sd[spline, r], sway.length_mm[spline, r]
        angle = white / k2 + s**2 * power(k2, length)
        factor = (k2, 1.0, adjusted.problem.wagon.gauge_mm**2)[spline]
        out.append(band.variance(angle * factor, waves, step))
    return np.array(out)


def compared(look: Looks, variance: Array, step: float) -> tuple[int, float, float, float, float, float]:
    """Passes and length compared, then sd of differences seen and promised, within movements and between them.

    Of P values at a place, the P (P - 1) / 2 squared differences sum to P sum (x - mean)^2.
    """
    there = np.isfinite(look.values)
    twice = there.sum(axis=0) >= 2 if len(there) else np.zeros(0, dtype=bool)
    if not twice.any():
        return 0, 0.0, NAN, NAN, NAN, NAN
    value = np.where(there, look.values, 0.0)
    whole = _pairs_of(value, there, variance[look.run][:, None])
    within = np.zeros(3)
    for one in np.unique(look.movement):
        own = look.movement == one
        within += _pairs_of(value[own], there[own], variance[look.run[own]][:, None])

    def sds(sums: Array) -> tuple[float, float]:
        return (float(np.sqrt(sums[0] / sums[2])), float(np.sqrt(sums[1] / sums[2]))) if sums[2] > 0.5 else (NAN, NAN)

    passes = int(there[:, twice].any(axis=1).sum())
    return passes, float(twice.sum()) * step, *sds(within), *sds(whole - within)


def _pairs_of(value: Array, there: NDArray[np.bool_], variance: Array) -> Array:
    """Sums over all pairs at all places: of squared differences, of their promised variances, and how many."""
    count = there.sum(axis=0)
    squares = count * np.sum(value**2, axis=0) - np.sum(value, axis=0) ** 2
    expected = (count - 1) * np.sum(np.where(there, variance, 0.0), axis=0)
    return np.array([np.sum(squares[count > 1]), np.sum(expected[count > 1]), np.sum(count * (count - 1) / 2)])

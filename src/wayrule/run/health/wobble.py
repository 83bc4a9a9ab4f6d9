"""A lump on the tread, or a wheel that runs out: the body nods and rolls with every turn of the sensed axle.

lean(phi) = sum over k of a_k cos k phi + b_k sin k phi: how far the body leans at axle angle phi [rad], forward and
sideways; the gyro reads lean'(phi) phi'. An axle that rises by h nods the body by h / wheelbase; one wheel rolls it.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from wayrule.model import HealthItem, State
from wayrule.model.arrays import Array
from wayrule.run.bias import usual_rate
from wayrule.run.health.limits import LIMITS
from wayrule.run.health.seen import Seen, unknown
from wayrule.run.mishaps import within

ORDERS = 3
"""Harmonics of the lean that are sought; of a lump of 4 mm on a tread of 33 mm they hold half of the height."""

TURNS_A_PIECE, LEAST_PIECES = 8.0, 4
"""The lean is learnt from pieces of so many turns each, so many at least: what comes again in all of them is the
wheel's, what differs is the track's (no track repeats with the wheel's turns for long)."""

MOST_PIECES = 150
"""Of more, so many from all over the run are looked at: the wheel's share is the same in all of them."""

STANDS_OUT = 4.0
"""Sds of the mean over the pieces beyond which a pair of coefficients counts."""

MOST_SHARE = 0.2
"""Harmonics are sought up to this share of the sample rate, below the usual filters of such sensors."""


def wobble(seen: Seen) -> HealthItem:
    """How far the body nods and rolls once a turn of the sensed axle."""
    name = "wheel wobble"
    travel = seen.travel
    if travel is None or seen.turned_rad is None:
        return unknown(name, "Without the axle's angle nothing can be told of its wheels.")
    if travel.imu is None or not np.isfinite(travel.imu.gyro_rad_s[:, :2]).any():
        return unknown(name, "No gyro: a wheel that runs out would not be seen.")
    leaning = travel.imu.gyro_rad_s[:, :2] - usual_rate(travel.imu)[:2]
    usable = (travel.state == State.ROLLING) & np.isfinite(leaning).all(axis=1) & ~within(travel.t_s, travel.mishaps)
    spans, rate = _pieces(travel.t_s, seen.turned_rad, usable)
    pieces = np.array([_fit(seen.turned_rad[i:j], rate[i:j], leaning[i:j]) for i, j in spans])
    if len(pieces) < LEAST_PIECES:
        few = f"Too few turns of the wheel: it takes {LEAST_PIECES} times {TURNS_A_PIECE:.0f} at one go."
        return unknown(name, few)
    (roll, roll_sd), (nod, nod_sd) = ((1e3 * _lean(part), 1e3 * _sd(part)) for part in (pieces[..., 0], pieces[..., 1]))
    limit = LIMITS["wobble"]
    light = limit.light(max(roll, nod))
    return HealthItem(
        name,
        light,
        f"With every turn of its wheel the body nods by {nod:.3f} +- {nod_sd:.3f} and rolls by {roll:.3f} +- "
        f"{roll_sd:.3f} per mille, over {len(pieces)} times {TURNS_A_PIECE:.0f} turns.",
        "" if light == "green" else "Clean the treads of the sensed axle; if it stays, true or change the wheelset.",
        (),
        max(roll, nod),
        limit,
    )


def _pieces(t_s: Array, turned_rad: Array, usable: NDArray[np.bool_]) -> tuple[list[tuple[int, int]], Array]:
    """[first, end) samples of the pieces that are looked at, and how fast the axle turns (n,) [rad/s]."""
    step = float(np.median(np.diff(t_s)))
    rate = np.gradient(uniform_filter1d(turned_rad, 5, mode="nearest"), t_s)
    cut = np.flatnonzero(np.diff(np.concatenate(([False], usable, [False])).astype(np.int8)))
    out = []
    for a, b in zip(cut[::2].tolist(), cut[1::2].tolist(), strict=True):
        count = int(abs(turned_rad[b - 1] - turned_rad[a]) / (2.0 * math.pi * TURNS_A_PIECE))
        if count < 1:
            continue
        gone = np.abs(turned_rad[a:b] - turned_rad[a]) / (2.0 * math.pi * TURNS_A_PIECE)
        edge = a + np.searchsorted(np.maximum.accumulate(gone), np.arange(count + 1))
        for i, j in zip(edge[:-1].tolist(), edge[1:].tolist(), strict=True):
            fastest = ORDERS * float(np.abs(rate[i:j]).max(initial=0.0)) / (2.0 * math.pi)
            if j - i > 10 * ORDERS and fastest < MOST_SHARE / step:
                out.append((i, j))
    return out[:: -(-len(out) // MOST_PIECES) or 1], rate


def _fit(phi: Array, phi_rate: Array, leaning_rad_s: Array) -> Array:
    """(2 ORDERS, 2) least squares of both rates on the rates of the harmonics, slow changes taken out."""
    k = np.arange(1, ORDERS + 1)
    angle = np.outer(phi, k)
    wave = np.column_stack([-np.sin(angle) * k, np.cos(angle) * k]) * phi_rate[:, None]
    slow = np.vander(np.linspace(-1.0, 1.0, len(phi)), 6)
    return np.asarray(np.linalg.lstsq(np.column_stack([wave, slow]), leaning_rad_s, rcond=None)[0][: 2 * ORDERS])


def _lean(pieces: Array) -> float:
    """From peak to peak over a turn [rad], of what all (m, 2 ORDERS) agree on; pairs that do not stand out are 0."""
    mean = np.median(pieces, axis=0)
    sd = pieces.std(axis=0, ddof=1) / math.sqrt(len(pieces))
    size = np.hypot(mean[:ORDERS], mean[ORDERS:])
    kept = np.tile(size > STANDS_OUT * np.hypot(sd[:ORDERS], sd[ORDERS:]) / math.sqrt(2.0), 2)
    angle = np.outer(np.arange(72) * (math.pi / 36.0), np.arange(1, ORDERS + 1))
    return float(np.ptp(np.column_stack([np.cos(angle), np.sin(angle)]) @ np.where(kept, mean, 0.0)))


def _sd(pieces: Array) -> float:
    """Sd of that [rad]: of twice an amplitude, all orders together."""
    return float(2.0 * np.sqrt(np.mean(pieces.var(axis=0, ddof=1)) * ORDERS / len(pieces)))

"""Noise of a log at rest by the Allan deviation, against what the wagon file claims."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths.allan import FOUND_SDS, Curve, allan_curve
from wayrule.model import Imu, Recording
from wayrule.model.arrays import Array
from wayrule.model.inertial import Noise
from wayrule.run.clock import row_numbers
from wayrule.units import DEG, G_MM_S2

LEAST_S, LEAST_ROWS = 10.0, 500
"""A shorter log shows no term of the noise; a quarter of an hour shows them all."""
MOST_LOST = 0.02
"""More rows than this missing, or at rest for less than the rest of them, and the log is no even series."""
AS_CLAIMED = 1.25
"""A density within this factor of the claimed one is as claimed: a sheet's figures are typical ones."""
FINE_STEPS = 0.3
"""Noise of less than this share of a step hides in it: means no longer average it away (common practice, no source)."""


def noise_at_rest(recording: Recording) -> tuple[Noise | None, Noise | None]:
    """Noise of gyro and accelerometer, in the sensor's own axes; None for one that was not recorded.

    Parameters
    ----------
    recording : at rest throughout; its edges too, cut it first where a hand was on it

    Raises
    ------
    UndeterminedError   neither was recorded, the log is too short, or too many rows are missing

    Notes
    -----
    Rows that are missing are bridged by straight lines: 2 % of them lower the random walk by 1 % at most.
    """
    if recording.gyro_rad_s is None and recording.acc_mm_s2 is None:
        raise _unfit(recording, "a gyro or an accelerometer", "neither")
    seconds = float(recording.t_s[-1] - recording.t_s[0]) if recording.n else 0.0
    if seconds < LEAST_S or recording.n < LEAST_ROWS:
        raise _unfit(recording, f"{LEAST_S:.0f} s of rest and more", f"{seconds:.1f} s, {recording.n} rows")
    row = row_numbers(recording.t_s).astype(np.float64)
    rate_hz = float(row[-1] / seconds)
    out = []
    for kind, values in (("gyro", recording.gyro_rad_s), ("accelerometer", recording.acc_mm_s2)):
        out.append(None if values is None else _noise(recording, kind, row, values, rate_hz))
    return out[0], out[1]


def _noise(recording: Recording, kind: str, row: Array, values: Array, rate_hz: float) -> Noise:
    good = np.isfinite(values).all(axis=1)
    even = np.arange(row[-1] + 1)
    missing = 1.0 - float(good.sum()) / len(even)
    if missing > MOST_LOST:
        raise _unfit(recording, f"a log of the {kind} with its rows", f"{missing:.1%} of them missing")
    curves = [allan_curve(np.interp(even, row[good], column[good]), rate_hz) for column in values.T]
    found = [curve.squares > FOUND_SDS * curve.squares_sd for curve in curves]

    def each(value: str) -> Array:
        return np.stack([getattr(curve, value) for curve in curves], axis=1)

    terms = np.stack([np.where(f, np.sqrt(c.squares), np.nan) for c, f in zip(curves, found, strict=True)], axis=1)
    return Noise(
        kind=kind,
        tau_s=curves[0].tau_s,
        deviation=each("deviation"),
        low=each("low"),
        high=each("high"),
        terms=terms,
        terms_sd=np.stack([_sd(c) for c in curves], axis=1) * np.where(np.isfinite(terms), 1.0, np.nan),
        terms_below=np.sqrt(each("squares") + 1.645 * each("squares_sd")),
        step=np.array([_step(column[good]) for column in values.T]),
        seconds=len(even) / rate_hz,
    )


def _sd(curve: Curve) -> Array:
    """Sds of the terms from those of their squares."""
    return curve.squares_sd / (2.0 * np.sqrt(np.maximum(curve.squares, 1e-300)))


def _step(values: Array) -> float:
    """Smallest difference between two readings; 0 where all are alike."""
    apart = np.diff(np.unique(values))
    apart = apart[apart > 1e-9 * float(np.abs(values).max(initial=0.0))]
    return float(apart.min()) if len(apart) else 0.0


@dataclass(frozen=True, slots=True)
class Claim:
    """One claim of the wagon file against a log at rest.

    key, claimed, found, found_sd   as in the wagon file: its key and its unit; claimed NaN where the file says nothing
    verdict                         "as claimed", "noisier", "quieter", "not claimed", "not found"
    text                            a sentence, with what to do
    """

    key: str
    claimed: float
    found: float
    found_sd: float
    verdict: Literal["as claimed", "noisier", "quieter", "not claimed", "not found"]
    text: str


def compare(noises: Iterable[Noise | None], imu: Imu) -> tuple[Claim, ...]:
    """What the log shows against `[imu]` of the wagon file: noise densities, as the root mean square of three axes.

    Examples
    --------
    >>> from wayrule.sim.byhand import left_alone
    >>> from wayrule.sim.imu import GOOD, draw_imu
    >>> log = left_alone(draw_imu(GOOD, np.random.default_rng(1)), 120.0, np.random.default_rng(2))
    >>> [(claim.key, claim.verdict) for claim in compare(noise_at_rest(log), Imu(gyro_noise_dps_rthz=0.002))]
    [('gyro_noise_dps_rthz', 'noisier'), ('acc_noise_g_rthz', 'not claimed')]
    """
    units = {"gyro": ("gyro_noise_dps_rthz", DEG, "deg/s"), "accelerometer": ("acc_noise_g_rthz", G_MM_S2, "g")}
    return tuple(_claim(one, *units[one.kind], imu) for one in noises if one is not None)


def _claim(noise: Noise, key: str, unit: float, name: str, imu: Imu) -> Claim:
    claimed = getattr(imu, key)
    density, sd = noise.density / unit, math.sqrt(2.0) * noise.terms_sd[1] / unit
    if not np.isfinite(density).all():
        said = f"The {noise.kind}'s log at rest of {noise.seconds:.0f} s shows no random walk; record for longer."
        return Claim(key, math.nan if claimed is None else claimed, math.nan, math.nan, "not found", said)
    found = float(np.sqrt(np.mean(density**2)))
    found_sd = float(np.sqrt(np.sum((density * sd) ** 2)) / (3.0 * found))
    shown = f"{noise.kind.capitalize()} noise {found:.2g} +- {found_sd:.1g} {name}/sqrt(Hz)"
    if claimed is None:
        return Claim(key, math.nan, found, found_sd, "not claimed", f"{shown}: write {key} = {found:.2g} into [imu].")
    if found > AS_CLAIMED * claimed:
        times = found / claimed
        text = f"{shown}, {times:.1f} times the wagon file's {claimed:g}: correct {key}, or look for what shakes."
        return Claim(key, claimed, found, found_sd, "noisier", text)
    if found < claimed / AS_CLAIMED:
        text = f"{shown}, less than the wagon file's {claimed:g}: error bars are wider than need be; correct {key}."
        return Claim(key, claimed, found, found_sd, "quieter", text)
    return Claim(key, claimed, found, found_sd, "as claimed", f"{shown}, as the wagon file claims ({claimed:g}).")


def step_texts(noise: Noise) -> tuple[str, ...]:
    """A sentence for each axis whose steps are too coarse for its noise."""
    white = np.nan_to_num(noise.terms[1]) / np.sqrt(noise.tau_s[0])
    coarse = (noise.step > 0) & (white < FINE_STEPS * noise.step)
    return tuple(
        f"The {noise.kind}'s {axis} axis reads in steps of {step:.2g}, coarser than its noise ({sd:.2g}): means over a "
        "rest may be off by half a step; choose a smaller range."
        for axis, step, sd, one in zip("xyz", noise.step, white, coarse, strict=True)
        if one
    )


def _unfit(recording: Recording, expected: str, came: str) -> UndeterminedError:
    return UndeterminedError(
        expected=expected,
        came=came,
        where=recording.name,
        next_step="let the wagon stand untouched and record, for a quarter of an hour to see all of the noise",
    )

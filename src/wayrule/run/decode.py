"""From a turning field to the angle as read: ring, turns, periodic error. Surveys and calibrations read by the same.

psi   angle on the ring brought to the unit circle [rad]      phi   axle angle: psi less its periodic error [rad]
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from wayrule.errors import UndeterminedError
from wayrule.maths.counting import FAST_TURN
from wayrule.maths.harmonics import Harmonics, fit_harmonics
from wayrule.maths.robust import robust_sd
from wayrule.model.arrays import Array
from wayrule.run.field import Ring, covered_share, find_ring, is_still, recorded_axes
from wayrule.run.unwrap import TAU, Unwrapped, unwrap

LEAST_COVERED = 0.7
"""Share of a turn that must have been seen before the ring is believed; a shorter arc leaves it undetermined."""
STEP_TURNS = 1 / 16
MOST_SAMPLES_A_STEP = 64
LONG_STEP_TURNS = 1 / 4
"""Steps over which a calibration tells steady turning: longer than a survey's, lest a weak field feigns halts."""
ROUGH = 6.0
STANDING_TURNS = 0.03
"""Steps below are those of an axle that stands: 10 deg."""


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """A turning field as its ring reads it.

    ring       its ring; axes: which of the sensor's were recorded
    flat_mt    (n, 2) field in the plane of the ring
    read       (n,) True where there is a reading, near the ring
    wild       how many were far off it: further from 1 than `wild_radius` on the unit circle
    counted    the angle as read, its turns counted
    steady     (n,) samples from which harmonics were learnt
    harmonics  periodic error; phi_rad (n,) the angle without it
    covered    share of the turn that was seen
    """

    ring: Ring
    axes: list[int]
    flat_mt: Array
    read: NDArray[np.bool_]
    wild: int
    wild_radius: float
    counted: Unwrapped
    steady: NDArray[np.bool_]
    harmonics: Harmonics
    phi_rad: Array
    covered: float

    def mirrored(self) -> "Decoded":
        """The same with the other way taken for forward; its harmonics are those of the angle as it was before."""
        ring = replace(self.ring, forward=-self.ring.forward)
        return replace(self, ring=ring, phi_rad=-self.phi_rad)


def decode(
    t_s: Array, field_mt: Array, *, place_mm: tuple[float, float, float] | None, noise_mt: float | None, run: str
) -> Decoded | None:
    """Ring, turns and periodic error of a field (n, 3) [mT]; None where nothing turned. Parameters: `angle.axle_angle`.

    Raises
    ------
    UndeterminedError   fewer than two axes; less than `LEAST_COVERED` of a turn; too thin an ellipse; no ring at all
    """
    axes = recorded_axes(field_mt, run)
    valid = np.all(np.isfinite(field_mt[:, axes]), axis=1)
    points = field_mt[np.ix_(valid, axes)]
    if is_still(points, noise_mt):
        return None
    ring = find_ring(points, axes, noise_mt=noise_mt, place_mm=place_mm, run=run)
    flat = ring.flat(field_mt)
    wrapped, wild, wild_radius = _on_ring(ring, flat, valid)
    counted = unwrap(t_s, wrapped)
    seen = min(covered_share(wrapped[np.isfinite(wrapped)]), float(np.ptp(counted.psi_rad)) / TAU)
    _check_covered(seen, run)
    steady = steady_samples(counted)
    harmonics = fit_harmonics(t_s, counted.psi_rad, steady)
    phi = harmonics.corrected(counted.psi_rad)
    return Decoded(
        ring, axes, flat, np.isfinite(wrapped), wild, wild_radius, counted, steady, harmonics, phi, min(seen, 1.0)
    )  # fmt: skip


def _check_covered(seen: float, run: str) -> None:
    """Refuse an arc too short to find its ring."""
    if seen < LEAST_COVERED:
        raise UndeterminedError(
            expected=f"at least {LEAST_COVERED:.0%} of a turn of the axle, to find the ring its field draws",
            came=f"{seen:.0%}",
            where=run,
            next_step="roll the wagon further in one recording; a short arc leaves the angle undetermined",
        )


def _on_ring(ring: Ring, flat_mt: Array, valid: NDArray[np.bool_]) -> tuple[Array, int, float]:
    """Wrapped angle (n,), forward positive, NaN where missing or far off the ring; how many were, and what is far."""
    circle = ring.ellipse.on_circle(flat_mt)
    radius = np.hypot(circle[:, 0], circle[:, 1])
    far = max(0.35, 8.0 * robust_sd(radius[valid]))
    with np.errstate(invalid="ignore"):
        wild = valid & (np.abs(radius - 1.0) > far)
    angle = ring.forward * np.arctan2(circle[:, 1], circle[:, 0])
    return np.where(valid & ~wild, angle, np.nan), int(wild.sum()), far


def steady_samples(counted: Unwrapped, step_turns: float = STEP_TURNS) -> NDArray[np.bool_]:
    """Samples from which harmonics may be learnt: turning one way, neither creeping nor too fast, nothing bridged.

    Creeping is below a tenth of the usual turning: there the motion is least smooth for each degree it turns. A slow
    pull turns less from sample to sample than a reading's noise: steps are taken over `step_turns`.
    """
    psi = counted.psi_rad
    step = np.gradient(uniform_filter1d(psi, samples_a_step(psi, step_turns), mode="nearest"))
    moving = np.abs(step)[np.abs(step) > 1e-3]
    floor = 0.1 * float(np.median(moving)) if len(moving) else np.inf
    same_way = np.sign(step) == np.sign(np.roll(step, 1))
    within = (np.abs(step) > floor) & (np.abs(step) < FAST_TURN * TAU)
    return np.asarray(within & same_way & ~counted.fast & ~counted.bridged)


def calm_samples(counted: Unwrapped, steady: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The steady samples without those in which a finger pushes or stops the axle, a quarter turn about them included.

    There the change of speed is `ROUGH` times its usual one and more, and passes for periodic error of the reading.
    """
    every = samples_a_step(counted.psi_rad, LONG_STEP_TURNS)
    speed = np.gradient(uniform_filter1d(counted.psi_rad, 2 * every, mode="nearest"))
    change = np.abs(np.gradient(uniform_filter1d(speed, 2 * every, mode="nearest")))
    rough = change > ROUGH * float(np.median(change[steady])) if steady.any() else steady
    return np.asarray(steady & ~maximum_filter1d(rough, 2 * every))


def samples_a_step(psi_rad: Array, step_turns: float) -> int:
    """In how many samples, 1 to `MOST_SAMPLES_A_STEP`, the wheel turns by `step_turns` where it turns briskly."""
    samples = 1
    while samples < min(MOST_SAMPLES_A_STEP, len(psi_rad) // 8):
        if np.percentile(np.abs(psi_rad[samples:] - psi_rad[:-samples]), 90) >= TAU * step_turns:
            break
        samples *= 2
    return samples


def turns_of(phi_rad: Array) -> float:
    """Turns, back and forth counted alike; in steps of a quarter turn, less those of a standing axle's noise."""
    every = samples_a_step(phi_rad, LONG_STEP_TURNS)
    steps = np.abs(np.diff(np.append(phi_rad[::every], phi_rad[-1]))) / TAU
    return float(np.sum(steps[steps > STANDING_TURNS]))

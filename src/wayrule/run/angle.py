"""From a turning magnetic field to the angle of the axle, calibrated from the run itself.

psi   angle on the ring brought to the unit circle [rad]      phi   axle angle: psi less its periodic error [rad]
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.counting import FAST_TURN, proved_gap_s
from wayrule.maths.harmonics import Harmonics
from wayrule.maths.robust import white_noise_sd
from wayrule.maths.turncurve import mean_curve, slopes_of, towards
from wayrule.model import Problem
from wayrule.model.arrays import Array
from wayrule.run.decode import Decoded, decode
from wayrule.run.field import Ring, recorded_axes
from wayrule.run.fieldreading import FieldReading, OwnReading
from wayrule.run.unwrap import TAU, Unwrapped, unwrap

CURVE_ORDER = 4
"""Fourier order of the mean curve the field draws; higher terms are below the noise of such sensors."""


@dataclass(frozen=True, slots=True)
class FieldQuality:
    """How well the field told the angle.

    residual_mt    rms of the field across the mean curve it draws, noise and slow drift included
    residual_deg   the same as an angle
    condition      larger over smaller semi-axis of the ellipse
    offset_ratio   offset from zero over the smaller semi-axis; above 1 a plain arctangent loses turns
    covered        share of the turn that was seen, 0..1
    turns          turns travelled, back and forth counted alike
    harmonics_deg  amplitude of the 1st to 6th harmonic that was taken out
    """

    residual_mt: float
    residual_deg: float
    condition: float
    offset_ratio: float
    covered: float
    turns: float
    harmonics_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class AxleAngle:
    """Angle of the sensed axle.

    phi_rad          (n,) unwrapped, 0 at the first sample, growing when the wagon rolls towards its front; missing
                     samples bridged [rad]
    sd_rad           (n,) sd of one reading, slow drift of the field and what is left of the harmonics included [rad]
    white_sd_rad     the part of it that differs from sample to sample [rad]
    gap_sd_rad       (n,) sd of turns lost in gaps so far [rad]
    unsure           (n,) True where turns may be miscounted
    turned           False where the field shows no turning at all
    direction_known  True where the sensor's place and axes say which way is forward
    quality          None where nothing turned
    limit_turns_s    fastest turning that this rate can follow
    reading          how its field is read from now on; None where nothing was learnt
    """

    phi_rad: Array
    sd_rad: Array
    white_sd_rad: float
    gap_sd_rad: Array
    unsure: NDArray[np.bool_]
    turned: bool
    direction_known: bool
    quality: FieldQuality | None
    limit_turns_s: float
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    reading: OwnReading | None = None


def axle_angle(
    t_s: Array,
    field_mt: Array,
    *,
    place_mm: tuple[float, float, float] | None = None,
    noise_mt: float | None = None,
    run: str = "run",
) -> AxleAngle:
    """Axle angle from the field of magnets that turn with the axle.

    Parameters
    ----------
    t_s : (n,) array         time, strictly rising [s]
    field_mt : (n, 3) array  field in the sensor's axes, nominally forward, left, up [mT]; NaN where missing; one
                             axis may be NaN throughout
    place_mm : (3,)          sensor from the axle centre: forward, left, up; above the axle where not given
    noise_mt : float         noise of one sample per axis
    run : str                name for messages

    Returns
    -------
    AxleAngle

    Raises
    ------
    UndeterminedError   fewer than two axes; less than `LEAST_COVERED` of a turn; too thin an ellipse; no ring at all

    Notes
    -----
    Plane and ellipse of the turning field (`run.field`), brought to the unit circle; turns counted with slope
    prediction (`run.unwrap`); periodic error from the smoothness of the motion (`maths.harmonics`). The centre is
    fitted, so an offset of any size does not matter, while a plain arctangent about zero counts no turn at all once the
    offset exceeds the ellipse.

    Examples
    --------
    >>> t = np.arange(0.0, 4.0, 0.005)
    >>> turning = np.c_[-5 * np.sin(30 * t) + 20, 0 * t, 10 * np.cos(30 * t)]
    >>> round(float(axle_angle(t, turning).phi_rad[-1]), 3)  # 30 rad/s for 3.995 s
    119.85
    """
    found = decode(t_s, field_mt, place_mm=place_mm, noise_mt=noise_mt, run=run)
    if found is None:
        return _still(t_s, field_mt, run)
    ring, counted, harmonics = found.ring, found.counted, found.harmonics
    phi, residual_mt, white_mt, slope_mt, curve = _onto_curve(found)
    sd = np.hypot(residual_mt / slope_mt, harmonics.ripple_sd_rad)
    quality = _quality(ring, harmonics, phi, residual_mt, slope_mt, found.covered)
    limit_turns_s = FAST_TURN / float(np.median(np.diff(t_s)))
    return AxleAngle(
        phi_rad=phi - phi[0],
        sd_rad=np.where(counted.bridged, 3.0 * sd, sd),
        white_sd_rad=white_mt / float(np.median(slope_mt)),
        gap_sd_rad=counted.gap_sd_rad,
        unsure=counted.fast | _in_lossy_gap(counted),
        turned=True,
        direction_known=ring.direction_known,
        quality=quality,
        limit_turns_s=limit_turns_s,
        problems=_problems(t_s, counted, found.wild, limit_turns_s, run),
        notes=_notes(quality, harmonics, ring, field_mt),
        reading=OwnReading(
            ring, tuple(found.axes), found.wild_radius, harmonics, curve, residual_mt, white_mt, quality.turns
        ),
    )


def angle_by(reading: FieldReading, t_s: Array, field_mt: Array, *, run: str = "run") -> AxleAngle:
    """The axle's angle by what is known of its field, be it but a few samples; otherwise as `axle_angle`.

    An axle of which nothing can be read stands, unsure throughout.
    """
    wrapped, sd = reading.wrapped(field_mt)
    if np.isfinite(wrapped).sum() < 2:
        return replace(_still(t_s, field_mt, run), unsure=np.ones(len(t_s), dtype=bool))
    counted = unwrap(t_s, wrapped)
    limit_turns_s = FAST_TURN / float(np.median(np.diff(t_s)))
    return AxleAngle(
        phi_rad=counted.psi_rad - counted.psi_rad[0],
        sd_rad=np.where(counted.bridged, 3.0 * float(np.nanmedian(sd)), sd),
        white_sd_rad=reading.white_sd_rad,
        gap_sd_rad=counted.gap_sd_rad,
        unsure=counted.fast | _in_lossy_gap(counted),
        turned=True,
        direction_known=reading.direction_known,
        quality=None,
        limit_turns_s=limit_turns_s,
        problems=_problems(t_s, counted, 0, limit_turns_s, run),
        notes=(),
    )


def _quality(
    ring: Ring, harmonics: Harmonics, phi_rad: Array, residual_mt: float, slope_mt: Array, covered: float
) -> FieldQuality:
    """The quality figures; turns are counted on some two thousand samples, so that noise adds none."""
    return FieldQuality(
        residual_mt=residual_mt,
        residual_deg=float(np.degrees(residual_mt / np.median(slope_mt))),
        condition=ring.ellipse.condition,
        offset_ratio=ring.offset_ratio,
        covered=covered,
        turns=float(np.sum(np.abs(np.diff(phi_rad[:: max(1, len(phi_rad) // 2000)]))) / TAU),
        harmonics_deg=tuple(float(a) for a in np.degrees(harmonics.amplitude_rad)),
    )


def _onto_curve(found: Decoded) -> tuple[Array, float, float, Array, Array]:
    """The angle moved to the nearest point of the mean curve that the field draws in the plane of its ring.

    Returns
    -------
    phi_rad : (n,) array   the angle
    residual_mt : float    rms across the curve, which the angle cannot explain
    white_mt : float       the part of it that differs from sample to sample
    slope_mt : (n,) array  |dB/dphi|; the sd of an angle is the residual over it
    curve : (2 K + 1, 2)   the mean curve
    """
    curve = mean_curve(found.phi_rad, found.flat_mt, found.read, CURVE_ORDER)
    step, across, slope = towards(found.phi_rad, found.flat_mt, curve)
    tangent = slopes_of(found.phi_rad, curve)
    signed = (across[:, 1] * tangent[:, 0] - across[:, 0] * tangent[:, 1])[found.read] / slope[found.read]
    rms = float(np.sqrt(np.mean(signed**2)))
    return found.phi_rad + np.where(found.read, step, 0.0), rms, min(white_noise_sd(signed), rms), slope, curve


def _in_lossy_gap(counted: Unwrapped) -> NDArray[np.bool_]:
    """Samples inside gaps in which turns may have been lost, their two ends included."""
    inside = np.zeros(len(counted.psi_rad), dtype=bool)
    for a, b in counted.gaps_unsure:
        inside[a : b + 1] = True
    return inside


def _still(t_s: Array, field_mt: Array, run: str) -> AxleAngle:
    """The angle of an axle that never turned: zero throughout, and a note that says so."""
    n, axes = len(t_s), recorded_axes(field_mt, run)
    points_mt = field_mt[np.ix_(np.all(np.isfinite(field_mt[:, axes]), axis=1), axes)]
    spread = float(points_mt.std(axis=0).max()) if len(points_mt) else 0.0
    return AxleAngle(
        phi_rad=np.zeros(n),
        sd_rad=np.zeros(n),
        white_sd_rad=0.0,
        gap_sd_rad=np.zeros(n),
        unsure=np.zeros(n, dtype=bool),
        turned=False,
        direction_known=True,
        quality=None,
        limit_turns_s=FAST_TURN / float(np.median(np.diff(t_s))),
        problems=(),
        notes=(
            f"{run}: the field varies by no more than {spread:.3f} mT rms: the axle did not turn (or the sensor does "
            "not see the magnets).",
        ),
    )


def _problems(t_s: Array, counted: Unwrapped, wild: int, limit_turns_s: float, run: str) -> tuple[Problem, ...]:
    """What was wrong with the field, each counted and placed."""
    found: list[Problem] = []
    if wild:
        text = f"{run}: {wild} field samples lie far off the ring the others draw; taken as missing."
        found.append(Problem("field spikes", wild, run, "marked missing", text))
    fast = int(counted.fast.sum())
    if fast:
        at = float(t_s[np.argmax(counted.fast)])
        text = (
            f"{run}: from {at:.2f} s the wheel turns too fast for the rate at {fast} samples; this rate follows "
            f"{limit_turns_s:.1f} turns/s. Turns were counted on at the last speed and are unsure."
        )
        found.append(Problem("too fast for the rate", fast, f"from {at:.2f} s", "kept, marked unsure", text))
    if counted.gaps_unsure:
        at = float(t_s[counted.gaps_unsure[0][0]])
        count = len(counted.gaps_unsure)
        text = (
            f"{run}: turns may be lost in {count} gaps of the field, first at {at:.2f} s: half a turn or more can have "
            "passed; carried on at the speed before and after, with one turn added to the sigma of the distance."
        )
        found.append(Problem("turns may be lost", count, f"at {at:.2f} s", "predicted, marked unsure", text))
    if counted.gaps_unproved:
        at = float(t_s[counted.gaps_unproved[0][0]])
        count, longest = len(counted.gaps_unproved), proved_gap_s(1.0 / float(np.median(np.diff(t_s))))
        text = (
            f"{run}: {count} gaps of the field are too long, or what follows is too odd, to prove that no turn was "
            f"lost, first at {at:.2f} s: at this rate that is sure up to {longest:.2f} s. The wheel turned slowly "
            "before and after; if it did so within, nothing is lost."
        )
        found.append(Problem("turns unproved", count, f"at {at:.2f} s", "bridged", text))
    if counted.gaps_sure:
        text = f"{run}: {counted.gaps_sure} gaps of the field bridged; less than half a turn can have passed in each."
        found.append(Problem("field gaps", counted.gaps_sure, run, "bridged", text))
    return tuple(found)


def _notes(quality: FieldQuality, harmonics: Harmonics, ring: Ring, field_mt: Array) -> tuple[str, ...]:
    """What the field told about itself."""
    long, short = ring.ellipse.semi_axes
    notes = [
        f"Field ring {long:.2f} x {short:.2f} mT, offset {quality.offset_ratio:.2f} of the smaller; residual "
        f"{quality.residual_mt:.3f} mT = {quality.residual_deg:.2f} deg of axle angle."
    ]
    if not np.isfinite(harmonics.sd_rad).all():
        notes.append(f"Only {harmonics.turns:.1f} steady turns: the field's harmonics were not taken out.")
    if np.isnan(field_mt).all(axis=0).any():
        notes.append("Two field axes were recorded; the angle uses both.")
    if not ring.direction_known:
        notes.append("The field sensor's axes do not say which way is forward: a guess unless the accelerometer tells.")
    return tuple(notes)

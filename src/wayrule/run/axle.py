"""Learning an axle: from a spin or a roll to the reference that later runs are read by and compared with.

psi  angle read on the ring      phi  axle angle: psi less its periodic error      B(phi)  mean curve of the field
"""

import math
from dataclasses import dataclass

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths.arctangent import ByOrder, by_order
from wayrule.maths.counting import FAST_TURN, ORDERS, proved_gap_s
from wayrule.maths.harmonics import Harmonics, all_harmonics
from wayrule.maths.robust import white_noise_sd
from wayrule.maths.turncurve import mean_curve, slopes_of, terms_of, towards
from wayrule.model import AxleLearned, AxleReference, OrderError, Recording
from wayrule.model.arrays import Array
from wayrule.run.axlechecks import check_learnable, check_steady, refused_still, refused_unsteady
from wayrule.run.axleforward import Forward, forward_sense
from wayrule.run.decode import LONG_STEP_TURNS, Decoded, calm_samples, decode, steady_samples, turns_of
from wayrule.run.field import Ring
from wayrule.run.unwrap import TAU, wrap

BINS = 72
"""Bins of the angle in which is looked at what remains: 5 deg each."""
ROUNDS = 3
"""The second round starts from angles that are as good as noise allows; a fourth changes nothing."""
DENSE = 720
"""Angles at which the learnt curve is sampled, to say how the ring reads it."""


def learn_axle(
    recording: Recording,
    *,
    place_mm: tuple[float, float, float] | None = None,
    noise_mt: float | None = None,
    diameter_mm: float | None = None,
    pushed_forward_first: bool = False,
) -> AxleLearned:
    """The axle's field over a turn, from an axle turned by hand or a wagon that rolled.

    Parameters
    ----------
    recording : Recording          with a field; `axlechecks.LEAST_TURNS_LEARNT` turns and more, three at a time one way
    place_mm : (3,)                sensor from the axle centre: forward, left, up
    noise_mt : float               noise of one sample per axis, as the wagon file claims it
    diameter_mm : float            of the wheel; lets the accelerometer say which way is forward
    pushed_forward_first : bool    a person states that the first half turn was forward

    Raises
    ------
    UndeterminedError   no field; too few turns; one-sided arcs; a sensor at its end; turned by fits and starts, or a
                        field that wobbles: each with what to do

    Notes
    -----
    Ring and first periodic error as every survey has them (`run.decode`). The mean curve of all three axes to order 6
    by plain least squares; each reading moved to its nearest place, the best use of all axes (`maths.turncurve`); then
    all harmonics once more, of angles that are now as good as noise allows, with sds from the scatter of the turns
    (`maths.harmonics.all_harmonics`). Nothing is left out as too small: with twenty turns and more the noise of twelve
    numbers costs less than a bias would.
    """
    field, run = recording.field_mt, recording.name
    if field is None:
        raise UndeterminedError(
            expected="the field of the axle's magnets",
            came="none",
            where=run,
            next_step="record the field sensor while the axle turns twenty times and more",
        )
    found = decode(recording.t_s, field, place_mm=place_mm, noise_mt=noise_mt, run=run)
    if found is None:
        raise refused_still(run)
    turns = turns_of(found.phi_rad)
    check_learnable(found, recording, turns)
    forward = forward_sense(
        recording, found, diameter_mm=diameter_mm, pushed_forward_first=pushed_forward_first
    )  # fmt: skip
    if forward.reversed:
        found = found.mirrored()
    learnt = _learnt(recording.t_s, field, found, run)
    check_steady(learnt.ripple_rad, learnt.reading_rad, learnt.residual_mt / learnt.noise_mt, run)
    reference = _reference(found, learnt, forward, recording, turns)
    return _told(reference, learnt, recording, found, forward)


@dataclass(frozen=True, slots=True, eq=False)
class _Learnt:
    """The axle angle and the curve in the recorded axes, and how well they are known.

    phi_rad (n,), curve (2 K + 1, d) in `axes`, harmonics of the last round, at_rad and left_rad (m,) about smooth
    motion, residual_mt and noise_mt of each component, gram (2 K + 1,) diagonal of (T'T)^-1
    """

    axes: list[int]
    phi_rad: Array
    curve: Array
    harmonics: Harmonics
    at_rad: Array
    left_rad: Array
    residual_mt: float
    noise_mt: float
    gram: Array

    @property
    def ripple_rad(self) -> float:
        """Rms over a turn of what the sds of the harmonics leave."""
        return float(np.sqrt(np.sum(self.harmonics.sd_rad**2)))

    @property
    def reading_rad(self) -> float:
        """Sd of one reading, rms over a turn evenly."""
        slopes = slopes_of(np.linspace(0.0, TAU, DENSE, endpoint=False), self.curve)
        return float(self.residual_mt * np.sqrt(np.mean(1.0 / np.sum(slopes**2, axis=1))))


def _learnt(t_s: Array, field_mt: Array, found: Decoded, run: str) -> _Learnt:
    """Curve and harmonics, each from the other's last guess."""
    points = field_mt[:, found.axes]
    phi = _moved(found.phi_rad, points, found)
    steady = calm_samples(found.counted, steady_samples(found.counted, LONG_STEP_TURNS))
    for _ in range(ROUNDS):
        told = all_harmonics(t_s, phi, steady)
        if told is None:
            raise refused_unsteady(run)
        harmonics, at, left = told
        phi = _moved(harmonics.corrected(phi), points, found)
    phi += _ring_constant(found.ring, mean_curve(phi, points, found.read, ORDERS), found.axes)
    curve = mean_curve(phi, points, found.read, ORDERS)
    _, across, slope = towards(phi, points, curve)
    tangent = slopes_of(phi, curve) / slope[:, None]
    residual, noise = _residual(across[found.read], tangent[found.read])
    terms = terms_of(phi[found.read], ORDERS)
    gram = np.diag(np.linalg.inv(terms.T @ terms))
    return _Learnt(found.axes, phi, curve, harmonics, at, left, residual, noise, np.asarray(gram))


def _moved(phi_rad: Array, points: Array, found: Decoded) -> Array:
    """Angles moved to the nearest places of their own mean curve."""
    curve = mean_curve(phi_rad, points, found.read, ORDERS)
    return np.asarray(phi_rad + np.where(found.read, towards(phi_rad, points, curve)[0], 0.0))


def _residual(across: Array, tangent: Array) -> tuple[float, float]:
    """Rms of each component across the curve, and its white part, at most the rms."""
    normals = [np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)] if across.shape[1] == 2 else _normals(tangent)
    parts = [np.sum(across * normal, axis=1) for normal in normals]
    rms = math.sqrt(float(np.mean(np.square(parts))))
    white = math.sqrt(sum(white_noise_sd(part) ** 2 for part in parts) / len(parts))
    return rms, min(white, rms)


def _normals(tangent: Array) -> list[Array]:
    """Two unit vectors square to each tangent (n, 3), one of them square to all of them as far as that goes."""
    binormal = np.linalg.svd(tangent[:: max(1, len(tangent) // 5000)], full_matrices=False)[2][2]
    first = np.cross(tangent, binormal)
    first /= np.linalg.norm(first, axis=1)[:, None]
    return [first, np.cross(first, tangent)]


def _reference(found: Decoded, learnt: _Learnt, forward: Forward, recording: Recording, turns: float) -> AxleReference:
    """What is kept."""
    ring, axes = found.ring, learnt.axes
    curve = np.full((2 * ORDERS + 1, 3), np.nan)
    curve[:, axes] = learnt.curve
    centre = np.full(3, np.nan)
    middle = np.zeros(3)
    middle[axes] = learnt.curve[0]
    inside = ring.basis.T @ ring.ellipse.centre
    centre[axes] = (inside + middle - ring.basis.T @ (ring.basis @ middle))[axes]
    own = learnt.residual_mt * np.sqrt(learnt.gram)
    angle = np.concatenate(
        [[0.0], learnt.harmonics.sd_rad, [0.0]]
    )  # an error of phi at order k bends the field at k +- 1
    bent = 0.5 * math.hypot(*ring.ellipse.semi_axes) * np.sqrt(angle[:-1] ** 2 + np.append(angle[2:], 0.0) ** 2)
    curve_sd = np.hypot(np.concatenate([own[:1], np.hypot(own[1 : 1 + ORDERS], own[1 + ORDERS :]) / 2**0.5]), bent)
    psi, error, _ = _ring_error(ring, curve)
    temperature = recording.temp_c
    seen = temperature is not None and np.isfinite(temperature).any()
    return AxleReference(
        basis=ring.basis,
        centre_mt=centre,
        semi_axes_mt=ring.ellipse.semi_axes,
        tilt_rad=ring.ellipse.tilt_rad,
        forward=ring.forward,
        forward_source=forward.source,
        curve_mt=curve,
        curve_sd_mt=curve_sd,
        angle_rad=_series(psi, error)[1:].reshape(2, ORDERS),
        angle_sd_rad=learnt.harmonics.sd_rad,
        noise_mt=learnt.noise_mt,
        residual_mt=learnt.residual_mt,
        temperature_c=float(np.nanmean(temperature)) if temperature is not None and seen else math.nan,
        turns=turns,
        runs=((recording.name, recording.sha256),),
    )


def _ring_error(ring: Ring, curve_mt: Array) -> tuple[Array, Array, Array]:
    """At even axle angles (b,): the angle psi read on the ring, its error psi - phi, and phi."""
    phi: Array = np.linspace(0.0, TAU, DENSE, endpoint=False)
    circle = ring.ellipse.on_circle(ring.flat(np.asarray(terms_of(phi, ORDERS) @ curve_mt)))
    psi = np.unwrap(ring.forward * np.arctan2(circle[:, 1], circle[:, 0]))
    return psi, np.unwrap(wrap(psi - phi)), phi


def _ring_constant(ring: Ring, curve: Array, axes: list[int]) -> float:
    """How far the zero of the axle angle is from the ring's, which the reference takes."""
    whole = np.full((len(curve), 3), np.nan)
    whole[:, axes] = curve
    psi, error, _ = _ring_error(ring, whole)
    return float(_series(psi, error)[0])


def _series(psi_rad: Array, error_rad: Array) -> Array:
    """Constant, cosines, sines of an error as a series in the angle read: (2 K + 1,)."""
    return np.asarray(np.linalg.lstsq(terms_of(psi_rad, ORDERS), error_rad, rcond=None)[0])


def _told(
    reference: AxleReference, learnt: _Learnt, recording: Recording, found: Decoded, forward: Forward
) -> AxleLearned:
    """The reference with how good it is."""
    _, error, phi = _ring_error(found.ring, reference.curve_mt)
    plain = _plain(learnt.curve)
    at: Array = (np.arange(BINS, dtype=np.float64) + 0.5) * (TAU / BINS)
    mean, sd = _binned(learnt.at_rad, learnt.left_rad)
    loses = bool(np.isnan(plain.raw[0]))
    rate = 1.0 / float(np.median(np.diff(recording.t_s)))
    return AxleLearned(
        reference=reference,
        orders=_orders(plain, reference),
        loses_turns=loses,
        at_rad=at,
        ring_error_rad=np.interp(at, phi, error, period=TAU),
        left_rad=mean,
        left_sd_rad=sd,
        reading_sd_rad=learnt.reading_rad,
        ripple_sd_rad=learnt.ripple_rad,
        covered=found.covered,
        limit_turns_s=FAST_TURN * rate,
        limit_gap_s=proved_gap_s(rate),
        rate_hz=rate,
        problems=recording.problems,
        notes=forward.notes,
    )


CAUSES = ("offset", "gain and phase", "shape", "shape", "shape", "shape")
"""What makes most of each order."""


def _orders(plain: ByOrder, reference: AxleReference) -> tuple[OrderError, ...]:
    """Order by order: the plain arctangent, what makes it, the ring, what is left."""
    ring = np.hypot(*reference.angle_rad)
    return tuple(
        OrderError(
            order=k + 1,
            cause=cause,
            raw_rad=float(plain.raw[k]),
            offset_rad=float(plain.offset[k]),
            axes_rad=float(plain.axes[k]),
            shape_rad=float(plain.shape[k]),
            ring_rad=float(ring[k]),
            left_sd_rad=float(reference.angle_sd_rad[k]),
        )
        for k, cause in enumerate(CAUSES)
    )


def _plain(curve: Array) -> ByOrder:
    """The arctangent of the two recorded axes that see the most turning."""
    size = np.hypot(curve[1], curve[1 + ORDERS])
    two = np.sort(np.argsort(size)[-2:])
    return by_order(curve[:, two], ORDERS)


def _binned(at_rad: Array, left_rad: Array) -> tuple[Array, Array]:
    """Mean and its sd of what is left, in `BINS` bins; NaN where there is nothing."""
    index = np.floor(at_rad % TAU / TAU * BINS * (1.0 - 1e-12)).astype(np.int64)
    count = np.bincount(index, minlength=BINS)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(index, weights=left_rad, minlength=BINS) / count
        square = np.bincount(index, weights=left_rad**2, minlength=BINS) / count
        return mean, np.where(count > 1, np.sqrt(np.maximum(square - mean**2, 0.0) / (count - 1.0)), np.nan)

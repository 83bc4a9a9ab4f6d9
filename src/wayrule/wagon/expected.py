"""How well the axle angle is told from a turning field: many fields at once, noise to harmonics, in closed form.

What the decoding does is reckoned with, not run: an ellipse is fitted to the turn, its angle's harmonics are learnt
from the run where they stand out of the noise, and each reading is moved to the nearest place of the field's curve.

n fields (wagons, places) · a angles round the turn · K harmonics · psi angle read · phi axle angle
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.counting import ORDERS
from wayrule.model import FieldSensor
from wayrule.model.arrays import Array
from wayrule.wagon.learning import Learning, learning
from wayrule.wagon.learning import Pull as Pull

NOISE_MT: Final = 0.03
"""Noise of a reading where the wagon file gives none: usual for a sensor of some tens of mT; from memory."""

LEAST_SHAPE: Final = 1e-3
"""Smaller over greater half axis below which a field does not turn but comes and goes."""


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """What is to be expected of n fields; angles are sds of one reading [rad], arrays (n,) unless said.

    signal_mt     (n, 2) half axes of the ellipse, greater and smaller; NaN errors where it does not turn
    most_mt       greatest component of the field, Earth's left out
    saturates     it goes beyond the sensor's range
    per_mt_rad    of an error of the field of 1 mT in each component
    noise_rad     of the sensor's noise alone
    steps_rad     of its steps
    raw_rad       shape of the field, before the harmonics are taken out (the ellipse is fitted)
    left_rad      what is left of it, and of an out-of-round wheel, after
    out_rad       an out-of-round wheel, before
    earth_rad     Earth's field as the heading turns, at the two ends of the way
    harmonics     (n, K) complex amplitudes of psi - phi, 1 to K [rad]
    told_rad      amplitude that a harmonic must have to be told from noise and be taken out; infinite on a short way
    before_rad, after_rad     all of it
    before_mm, after_mm       sd of the distance between two places: sqrt 2 times radius; the wheel's size is not in it
    """

    signal_mt: Array
    most_mt: Array
    saturates: NDArray[np.bool_]
    per_mt_rad: Array
    noise_rad: Array
    steps_rad: Array
    raw_rad: Array
    left_rad: Array
    out_rad: Array
    earth_rad: Array
    harmonics: NDArray[np.complex128]
    told_rad: Array
    before_rad: Array
    after_rad: Array
    before_mm: Array
    after_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class Turn:
    """n turning fields as their ellipses read them.

    signal_mt   (n, 2) half axes
    harmonics   (n, K) complex: psi - phi is the sum of the real parts of them times e^(i k psi) [rad]
    rest_rad    (n,) rms of psi - phi beyond them
    flat_1_mt2  (n,) mean over the turn of 1/|dB/dphi|2: times the variance of a reading it is that of the angle
    round_1_mt2 (n,) the same for the angle on the ellipse brought to a circle: (1/a2 + 1/b2)/2
    level_1_mt2 (n,) the same for fields forward and left (their mean)
    """

    signal_mt: Array
    harmonics: NDArray[np.complex128]
    rest_rad: Array
    flat_1_mt2: Array
    round_1_mt2: Array
    level_1_mt2: Array


def reading_sd_mt(sensor: FieldSensor) -> tuple[float, float]:
    """Sd of one reading from noise, and from the steps of the converter (step / sqrt 12) [mT].

    >>> [round(sd, 4) for sd in reading_sd_mt(FieldSensor(range_mt=40.0, bits=12, noise_mt=0.03))]
    [0.03, 0.0056]
    """
    noise = NOISE_MT if sensor.noise_mt is None else sensor.noise_mt
    step = 2 * sensor.range_mt / 2**sensor.bits if sensor.range_mt and sensor.bits else 0.0
    return noise, step / math.sqrt(12)


def expected(field_mt: Array, sensor: FieldSensor, wheel_mm: float, pull: Pull | None = None) -> Expected:
    """What noise, steps, shape and Earth make of the angle and distance, for many fields in one go.

    Parameters
    ----------
    field_mt : (n, a, 3) at angles evenly round a turn, the first at 0: `turns.fields_over_turn`
    wheel_mm : diameter of the wheel

    Notes
    -----
    An angle moved to the nearest place of the curve B(phi) has the variance s2/|B'|2 (Cramer and Rao's bound); over an
    ellipse of half axes a, b the mean of 1/|B'|2 is 1/(ab). A harmonic is taken out where its amplitude is above
    `STANDS_OUT` sds, and that sd is the rms of a reading over the root of the turns (`maths.harmonics`); else it stays.

    Examples
    --------
    >>> phi = np.arange(72) * 2 * np.pi / 72
    >>> dipole = np.stack([-np.sin(phi), 0 * phi, 2 * np.cos(phi)], -1)[None]
    >>> found = expected(dipole, FieldSensor(noise_mt=0.03), 10.5, Pull(heading_rad=0.0, out_of_round_mm=0.0))
    >>> round(float(found.after_rad[0]), 4), round(0.03 / 2**0.5, 4), round(float(found.after_mm[0]), 3)
    (0.0213, 0.0212, 0.158)
    """
    pull = Pull() if pull is None else pull
    turn = read_turn(field_mt)
    noise, step = reading_sd_mt(sensor)
    radius = wheel_mm / 2
    away, within = earth_factors(pull.heading_rad)
    earth = pull.level_earth_mt * np.sqrt(turn.level_1_mt2)
    seen = np.sqrt((noise**2 + step**2) * turn.round_1_mt2 + (within * earth) ** 2)
    learnt = learning(seen, pull, sensor.rate_hz, wheel_mm)
    out = np.full(len(seen), pull.out_of_round_mm / radius)
    raw = np.sqrt(np.sum(np.abs(turn.harmonics) ** 2, axis=1) / 2 + turn.rest_rad**2)
    left = np.sqrt(left_over(turn.harmonics, learnt, out) ** 2 + turn.rest_rad**2 + learnt.fit_rad**2)
    white = np.sqrt((noise**2 + step**2) * turn.flat_1_mt2)
    after = np.sqrt(white**2 + left**2 + (away * earth) ** 2)
    before = np.sqrt(white**2 + raw**2 + out**2 / 2 + (away * earth) ** 2)
    most = np.max(np.abs(field_mt), axis=(1, 2))
    limit = math.inf if sensor.range_mt is None else sensor.range_mt
    per_mt = np.sqrt(turn.flat_1_mt2)
    return Expected(
        turn.signal_mt, most, most > limit, per_mt, noise * per_mt, step * per_mt, raw, left,
        out / math.sqrt(2), away * earth, turn.harmonics, learnt.told_rad, before, after,
        math.sqrt(2) * radius * before, math.sqrt(2) * radius * after,
    )  # fmt: skip


def read_turn(field_mt: Array) -> Turn:
    """Ellipse, periodic error and sensitivity of turning fields: (n, a, 3) at angles evenly round a turn.

    Notes
    -----
    The first harmonic brings the turn near a circle, the direct fit of an ellipse makes it round.
    """
    count = field_mt.shape[1]
    phi = np.arange(count) * (2 * math.pi / count)
    first = 2 / count * np.einsum("nai,ka->nik", field_mt, np.stack([np.cos(phi), np.sin(phi)]))
    square = np.einsum("nik,nil->nkl", first, first)
    half, apart = (square[:, 0, 0] + square[:, 1, 1]) / 2, (square[:, 0, 0] - square[:, 1, 1]) / 2
    root = np.hypot(apart, square[:, 0, 1])
    signal = np.sqrt(np.maximum(np.stack([half + root, half - root], axis=1), 0.0))
    moved = field_mt - field_mt.mean(axis=1, keepdims=True)
    size = np.sqrt(np.maximum(np.mean(np.sum(moved**2, axis=2), axis=1), np.mean(field_mt[:, 0] ** 2, axis=1) * 1e-12))
    flat = ~(signal[:, 1] > LEAST_SHAPE * size)
    square[flat] = np.nan
    determinant = square[:, 0, 0] * square[:, 1, 1] - square[:, 0, 1] ** 2
    swapped = np.stack([square[:, 1, 1], -square[:, 0, 1], -square[:, 0, 1], square[:, 0, 0]], 1).reshape(-1, 2, 2)
    inverse = np.einsum("nkl,nil->nki", swapped / determinant[:, None, None], first)
    circle = np.einsum("nki,nai->nak", inverse, moved)
    turning = np.flatnonzero(~flat)
    circle[turning] = _fitted(circle[turning])
    harmonics, rest = _harmonics(np.arctan2(circle[..., 1], circle[..., 0]), phi)
    slope = _slope(field_mt)
    steep = np.where(flat[:, None], np.nan, np.sum(slope**2, axis=2))
    tangent = slope[..., :2] ** 2 / steep[..., None] ** 2
    return Turn(
        signal,
        harmonics,
        rest,
        np.asarray(np.mean(1 / steep, axis=1)),
        np.einsum("nki,nki->n", inverse, inverse) / 2,
        np.asarray(np.mean(tangent, axis=(1, 2))),
    )


def _slope(values: Array) -> Array:
    """Derivative of what repeats every turn, along axis 1: (n, a, k), or (n, a) -> the same, per rad."""
    count = values.shape[1]
    orders = np.arange(count // 2 + 1).reshape(-1, *[1] * (values.ndim - 2))
    return np.asarray(np.fft.irfft(1j * orders * np.fft.rfft(values, axis=1), n=count, axis=1))


def _harmonics(psi: Array, phi: Array) -> tuple[NDArray[np.complex128], Array]:
    """Periodic error as a series in the angle read, 1 to K (n, K), and the rms of what lies beyond it (n,)."""
    error = psi - phi
    error = np.remainder(error - error[:, :1] + math.pi, 2 * math.pi) - math.pi
    each = 1 + _slope(error)  # dpsi / dphi: the mean over psi is that over phi times it
    error = error - np.mean(error * each, axis=1, keepdims=True)
    turn = np.exp(-1j * psi)
    found, power = [], np.ones_like(turn)
    for _ in range(ORDERS):
        power = power * turn
        found.append(2 * np.mean(error * each * power, axis=1))
    harmonics = np.stack(found, axis=1)
    rest = np.mean(error**2 * each, axis=1) - np.sum(np.abs(harmonics) ** 2, axis=1) / 2
    return harmonics, np.sqrt(np.maximum(rest, 0.0))


def _fitted(circle: Array) -> Array:
    """Points (n, a, 2) near the unit circle, moved and reshaped so that the ellipse of the direct fit becomes it.

    Halir & Flusser 1998, as `maths.ellipse.fit_ellipse` has it for one ring, here for n of them.
    """
    x, y = circle[..., 0], circle[..., 1]
    quadratic, linear = np.stack([x * x, x * y, y * y], -1), np.stack([x, y, np.ones_like(x)], -1)
    mixed = np.einsum("nai,naj->nij", quadratic, linear)
    other = -np.linalg.solve(np.einsum("nai,naj->nij", linear, linear), np.swapaxes(mixed, 1, 2))
    whole = np.einsum("nai,naj->nij", quadratic, quadratic) + mixed @ other
    reduced = np.stack([whole[:, 2] / 2, -whole[:, 1], whole[:, 0] / 2], axis=1)
    vectors = np.real(np.linalg.eig(reduced)[1])
    best = np.argmax(4 * vectors[:, 0] * vectors[:, 2] - vectors[:, 1] ** 2, axis=1)
    conic = np.take_along_axis(vectors, best[:, None, None], axis=2)
    a, b, c = conic[:, :, 0].T
    d, e, f = (other @ conic)[:, :, 0].T
    shape = np.stack([a, b / 2, b / 2, c], axis=1).reshape(-1, 2, 2)
    centre = np.linalg.solve(2 * shape, -np.stack([d, e], 1)[..., None])
    level = np.sum(centre * (shape @ centre), axis=(1, 2)) - f
    size, axes = np.linalg.eigh(shape / level[:, None, None])
    to_circle = axes @ (np.sqrt(np.maximum(size, 0.0))[..., None] * np.swapaxes(axes, 1, 2))
    return np.asarray((circle - centre[:, None, :, 0]) @ to_circle)


def left_over(harmonics: NDArray[np.complex128], learnt: Learning, out_rad: Array) -> Array:
    """Rms over a turn of what is not taken out, and of what jerks of the motion put in: (n,) [rad].

    An out-of-round wheel adds to the first harmonic at a phase that nobody knows: the mean over all phases is taken.
    """
    phases = np.exp(2j * math.pi * np.arange(24) / 24)
    told, leak = learnt.told_rad[:, None] ** 2, learnt.leak_rad**2
    first = np.abs(harmonics[:, :1] + out_rad[:, None] * phases) ** 2
    power = np.mean(np.where(first <= told, first, leak[0]), axis=1)
    rest = np.abs(harmonics[:, 1:]) ** 2
    return np.asarray(np.sqrt((power + np.sum(np.where(rest <= told, rest, leak[1:]), axis=1)) / 2))


def earth_factors(heading_rad: float) -> tuple[float, float]:
    """Of a field that turns with the heading: how far it is from its mean at the ends of the way, and on its whole,
    over its own size. Its mean is calibrated away.

    >>> earth_factors(0.0), [round(factor, 3) for factor in earth_factors(2 * math.pi)]
    ((0.0, 0.0), [1.0, 1.0])
    """
    half = abs(heading_rad) / 2
    mean = math.sin(half) / half if half else 1.0
    return math.sqrt(max(0.0, 1 + mean**2 - 2 * mean * math.cos(half))), math.sqrt(max(0.0, 1 - mean**2))

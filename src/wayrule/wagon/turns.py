"""The field at the sensor over a turn of the wheel, for one wagon or thousands with their build errors.

Turning the sensor about the magnets is the same as turning the magnets, so the magnets stay and the sensor's place goes
round them. The field is a short Fourier series in the axle angle: multipoles of degree l turn with harmonics up to l
and fall as (reach / distance)^l. It is computed at as many angles as that needs and the series is read at those wanted.

n wagons · m magnets · r rows: pairs of an axle angle and a copy behind the floor · a angles wanted
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial.transform import Rotation

from wayrule.maths.continuation import Continuation
from wayrule.model.arrays import Array
from wayrule.wagon.fields import AT_ONCE, own_field_mt
from wayrule.wagon.sources import Build, Source, as_drawn, reach_mm

TRUNCATED: Final = (1e-7, 1e-6)
"""What harmonics left out may amount to, relative to the field: in air, behind a floor (whose own sum is as good)."""

MOST_HARMONICS: Final = 40
"""Beyond these (a sensor nearer than 1.5 times the magnets' reach) every angle is computed by itself."""

LEAST_HARMONICS: Final = 2
"""A dipole's field has the first alone; one more shows when it is not enough."""


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Where the field is computed, and how the wanted angles follow: wanted = computed @ mix.

    phi_rad          (r,)   axle angle
    side, shift_mm   (r,)   the copy: see `maths.continuation`
    mix              (r, a)
    """

    phi_rad: Array
    side: Array
    shift_mm: Array
    mix: Array


def fields_over_turn(
    sources: tuple[Source, ...],
    place_mm: tuple[float, float, float],
    *,
    build: Build | None = None,
    phi_rad: Array | None = None,
    floor: Continuation | None = None,
    truncated: float | None = None,
) -> Array:
    """Field at the sensor over a turn, of wagons that were meant to be alike.

    Parameters
    ----------
    sources : m of them, in the turning frame
    place_mm : of the sensor from the axle's centre: forward, left, up
    build : errors of n wagons; None is one wagon as drawn
    phi_rad : (a,) axle angles; 72 evenly round where left out
    floor : what the floor between passes on (`plates.passage`); None is air
    truncated : what harmonics left out may amount to, relative to the field; `TRUNCATED` where left out

    Returns
    -------
    (n, a, 3) field in the sensor's own axes (the wagon's, where the sensor is not turned) [mT]

    Raises
    ------
    ValueError   a sensor within the magnets' reach; a build for another number of magnets

    Notes
    -----
    Exact fields of the bodies: `fields.own_field_mt`; what steel does to them: `maths.continuation`.
    """
    build = as_drawn(1, len(sources)) if build is None else build
    if build.strength.shape[1] != len(sources):
        raise ValueError(f"build: expected errors of {len(sources)} magnets, came {build.strength.shape[1]}")
    wanted: Array = np.linspace(0.0, 2 * math.pi, 72, endpoint=False) if phi_rad is None else phi_rad
    places = np.asarray(np.asarray(place_mm) + build.sensor_mm, dtype=np.float64)
    reach = reach_mm(sources) + float(np.max(np.linalg.norm(build.shift_mm, axis=-1), initial=0.0))
    tolerance = TRUNCATED[floor is not None] if truncated is None else truncated
    rows = _rows(reach, places, wanted, floor, tolerance)
    out = np.empty((len(build), len(wanted), 3))
    step = max(1, AT_ONCE // len(rows.phi_rad))
    for begin in range(0, len(build), step):
        part = slice(begin, begin + step)
        computed = _computed(sources, places[part], build, part, rows)
        out[part] = np.moveaxis(computed @ rows.mix, 1, 2)
    return out


def _rows(reach: float, places: Array, wanted: Array, floor: Continuation | None, truncated: float) -> _Rows:
    """Angles for each copy: as many as its distance asks for."""
    copies = ((1.0, 0.0),) if floor is None else tuple(zip(floor.side, floor.shift_mm, strict=True))
    aways = [float(np.min(np.linalg.norm(places * [1, 1, side] + [0, 0, shift], axis=1))) for side, shift in copies]
    heaviest = np.ones(1) if floor is None else np.max(np.abs(floor.weight), axis=0)
    parts_of_it = heaviest * np.array(aways) ** -3.0
    whole = np.max(parts_of_it) if floor is None else abs(np.sum(floor.weight[-1] * np.array(aways) ** -3.0))
    parts = []
    for j, ((side, shift), away, part) in enumerate(zip(copies, aways, parts_of_it, strict=True)):
        if part == 0.0:
            continue
        ratio, tolerance = reach / away, min(truncated * whole / part, 0.1)
        most = MOST_HARMONICS if ratio >= 1 else math.ceil(math.log(tolerance) / math.log(ratio))
        if floor is None and most >= MOST_HARMONICS:
            return _Rows(wanted, np.ones(len(wanted)), np.zeros(len(wanted)), np.eye(len(wanted)))
        orders = np.arange(min(max(most, LEAST_HARMONICS), MOST_HARMONICS) + 1)
        weight = np.ones(len(orders)) if floor is None else _weight(floor, j, len(orders))
        phi = np.arange(2 * orders[-1] + 1) * (2 * math.pi / (2 * orders[-1] + 1))
        turned = np.exp(1j * orders[:, None] * wanted) * weight[:, None] * np.where(orders, 2.0, 1.0)[:, None]
        mix = np.real(np.exp(-1j * phi[:, None] * orders) @ turned) / len(phi)
        parts.append((phi, np.full(len(phi), side), np.full(len(phi), shift), mix))
    return _Rows(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _weight(floor: Continuation, j: int, orders: int) -> Array:
    """Weights of one copy for harmonics 0 to `orders` - 1; the last row goes on for those above it."""
    return np.asarray(floor.weight[np.minimum(np.arange(orders), len(floor.weight) - 1), j])


def _computed(sources: tuple[Source, ...], places: Array, build: Build, part: slice, rows: _Rows) -> Array:
    """Field in the sensor's axes at every row: (n, 3, r).

    The place of a copy seen from the turning frame, R_y(-phi) A' p, is linear in 1, cos phi and sin phi, and in the
    copy's side and shift: (n, 3, q) @ (q, r).
    """
    c, s = np.cos(rows.phi_rad), np.sin(rows.phi_rad)
    axle = _axle(build.axle_rad[part])
    trig = np.stack([np.ones_like(c), c, s])
    if np.any(rows.shift_mm) or np.any(rows.side < 0):
        level, upright = places * [1.0, 1.0, 0.0], places * [0.0, 0.0, 1.0]
        up = np.broadcast_to([0.0, 0.0, 1.0], places.shape)
        round_it = np.concatenate([_seen(vectors, axle) for vectors in (level, upright, up)], axis=2)
        trig = np.concatenate([trig, trig * rows.side, trig * rows.shift_mm])
    else:
        round_it = _seen(places, axle)
    field = np.zeros((len(places), 3, len(c)))
    for m, source in enumerate(sources):
        about = about_y(build.turned_rad[part, m])
        rotation = about @ source.rotation
        centre = np.einsum("nij,j->ni", about, source.place_mm) + build.shift_mm[part, m]
        constant = np.concatenate([centre[:, :, None], np.zeros((len(centre), 3, round_it.shape[2] - 1))], axis=2)
        own = np.swapaxes(rotation, 1, 2) @ (round_it - constant) @ trig
        x, y, z = (np.ascontiguousarray(own[:, i]).ravel() for i in range(3))
        there = own_field_mt(source, x, y, z).reshape(3, len(places), -1)
        gain = (1 + build.strength[part, m])[:, None, None]
        field += (rotation * gain) @ np.moveaxis(there, 0, 1)
    turned = np.stack([c * field[:, 0] + s * field[:, 2], field[:, 1], c * field[:, 2] - s * field[:, 0]], axis=1)
    seen = axle @ turned
    seen[:, :2] *= rows.side
    return np.asarray(np.swapaxes(_small(build.sensor_rad[part]), 1, 2) @ seen)


def _seen(vectors: Array, axle: Array) -> Array:
    """Vectors of the wagon (n, 3) in the turning frame, as coefficients of 1, cos phi, sin phi: (n, 3, 3)."""
    x, y, z = np.einsum("nji,nj->in", axle, vectors)
    zero = np.zeros_like(x)
    return np.stack([np.stack([zero, y, zero], 1), np.stack([x, zero, z], 1), np.stack([-z, zero, x], 1)], axis=2)


def about_y(phi: Array) -> Array:
    """Rotations about +y, z towards x: (n,) -> (n, 3, 3)."""
    c, s, zero, one = np.cos(phi), np.sin(phi), np.zeros_like(phi), np.ones_like(phi)
    return np.stack([np.stack([c, zero, s], -1), np.stack([zero, one, zero], -1), np.stack([-s, zero, c], -1)], -2)


def _axle(tilt_rad: Array) -> Array:
    """Tilt of the axle about x, then about z: (n, 2) -> (n, 3, 3)."""
    (cx, cz), (sx, sz) = np.cos(tilt_rad).T, np.sin(tilt_rad).T
    zero, one = np.zeros_like(cx), np.ones_like(cx)
    about_x = np.stack(
        [np.stack([one, zero, zero], -1), np.stack([zero, cx, -sx], -1), np.stack([zero, sx, cx], -1)], -2
    )
    about_z = np.stack(
        [np.stack([cz, -sz, zero], -1), np.stack([sz, cz, zero], -1), np.stack([zero, zero, one], -1)], -2
    )
    return np.asarray(about_z @ about_x)


def _small(rotation_rad: Array) -> Array:
    """Rotation vectors (n, 3) -> matrices (n, 3, 3)."""
    return np.asarray(Rotation.from_rotvec(rotation_rad.copy()).as_matrix())

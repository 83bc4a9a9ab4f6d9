"""Will the wheel still turn? What steel near the magnets does to the axle: cogging, pull, and the rails' grip.

U     energy of the magnets with the steel [N mm]; cogging torque -dU/dphi about the axle, pull -dU/dh towards the steel
J     polarisation of the magnets [mT], B' the field that the steel sends back to them [mT]:  U = -1/2 sum of J B' V /
mu0
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, Literal

import numpy as np
from scipy.constants import g as standard_gravity
from scipy.constants import mu_0

from wayrule.maths.continuation import Continuation, continuation
from wayrule.maths.sheets import Sheet, back
from wayrule.model import FloorLayer
from wayrule.model.arrays import Array
from wayrule.wagon.edges import magnetic, solved_plates
from wayrule.wagon.fields import field_mt
from wayrule.wagon.plates import covers, sheets_between
from wayrule.wagon.sources import Source, swept_mm
from wayrule.wagon.turns import about_y

ANGLES: Final = 24
"""Angles round a turn at which the energy is taken: harmonics up to the 11th; a pair's first is the second."""

N_MM: Final = 1e-12 / mu_0
"""From mT mT mm3 over mu0 to N mm: 1e-6 T2, 1e-9 m3, 1e3 N mm/J."""

ADHESION: Final = (0.10, 0.25)
"""Least and usual friction of a wheel on a model rail, steel or nickel silver, dry; full-size rail has 0.1 (wet) to
0.35 (dry). From memory."""

RAIL_PERMEABILITY: Final = 200.0
"""Relative, of rail steel at weak fields; from memory, good to a factor of two."""

BEARING: Final = 0.02
"""Rolling resistance of a free-rolling model wagon over its weight: it starts on 1 in 50 (common practice)."""

Verdict = Literal["fine", "sticks", "skids"]


@dataclass(frozen=True, slots=True)
class Cogging:
    """What one piece of steel does to the axle.

    what          in words
    torque_n_mm   greatest cogging torque over a turn
    pull_n        mean pull towards the steel
    pull_max_n    greatest pull
    """

    what: str
    torque_n_mm: float
    pull_n: float
    pull_max_n: float


@dataclass(frozen=True, slots=True)
class Turning:
    """Whether the wheel turns.

    verdict          "fine"; "sticks": it turns with the wagon but stops it from coasting and makes it jerk;
                     "skids": the cogging beats the rails' grip, the wheel slides and counts nothing
    torque_n_mm      all cogging torques together, as if they peaked at one angle
    grip_n_mm        torque that the rails can hold: least and usual friction
    rolling_n_mm     torque that a free-rolling wagon's own resistance takes
    parts            each piece of steel
    """

    verdict: Verdict
    torque_n_mm: float
    grip_n_mm: tuple[float, float]
    rolling_n_mm: float
    parts: tuple[Cogging, ...]


def against_floor(sources: tuple[Source, ...], floor: Sequence[FloorLayer]) -> Cogging:
    """Cogging against the steel over the axle: layers without sizes as infinite planes, plates with sizes as thin
    sheets.

    Raises
    ------
    ValueError   magnets that would swing into a steel layer; overlapping layers

    Notes
    -----
    Where one plate has sizes all are thin sheets on a grid (`maths.patches`), right to some per cent; layers without
    sizes then reach `edges.ENDLESS` times their height.

    Examples
    --------
    >>> from wayrule.model import Magnets
    >>> from wayrule.wagon.sources import sources_of
    >>> pair = sources_of(Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42"))
    >>> round(against_floor(pair, [FloorLayer("steel", 1.0, 4.0)]).torque_n_mm, 2)
    0.08
    """
    steel = sorted(magnetic(floor), key=lambda layer: layer.height_mm)
    if not steel:
        return Cogging("floor", 0.0, 0.0, 0.0)
    if all(layer.length_mm is None and layer.width_mm is None for layer in steel):
        return against_plane(sources, steel[0].height_mm, sheets_between(steel), what="floor")
    over = [layer.height_mm for layer in steel if covers(layer, 0.0, 0.0)]
    _clear(sources, "floor", min(over, default=math.inf))
    phi = np.linspace(0.0, 2 * math.pi, ANGLES, endpoint=False)
    step = 2e-2 * steel[0].height_mm
    near, there, far = (
        solved_plates(sources, [replace(s, height_mm=s.height_mm + d) for s in steel], phi).energy * N_MM
        for d in (-step, 0.0, step)
    )
    pull = (far - near) / (2 * step)
    return Cogging("floor", _steepest(there), float(np.mean(pull)), float(np.max(pull)))


def against_plane(
    sources: tuple[Source, ...], height_mm: float, sheets: tuple[Sheet, ...], *, what: str = "plate"
) -> Cogging:
    """Cogging against plane sheets whose near face is `height_mm` from the axle's centre, above or below alike.

    Notes
    -----
    The field that comes back is that of the image magnets (method of images; `maths.sheets.back` for plates of any
    thickness). For a dipole over thick soft iron: U = -mu0 m2 (1 + cos2)/(64 pi h3), F = 3 mu0 m2 (1 + cos2)/(64 pi h4)
    (textbook).
    """
    swept, _ = swept_mm(sources)
    if height_mm <= swept:
        raise ValueError(
            f"{what}: expected it to begin beyond {swept:.2f} mm, where the magnets swing, came {height_mm:g}"
        )
    if all(sheet.permeability == 1.0 for sheet in sheets):
        return Cogging(what, 0.0, 0.0, 0.0)
    phi = np.linspace(0.0, 2 * math.pi, ANGLES, endpoint=False)
    step = 1e-3 * height_mm
    near, there, far = (_energy(sources, h, sheets, phi) for h in (height_mm - step, height_mm, height_mm + step))
    pull = (far - near) / (2 * step)
    return Cogging(what, _steepest(there), float(np.mean(pull)), float(np.max(pull)))


def against_rails(
    sources: tuple[Source, ...], *, gauge_mm: float, wheel_mm: float, rail_mm2: float | None = None
) -> Cogging:
    """Cogging against two steel rails under the wheels; nickel silver and brass rails do nothing.

    Parameters
    ----------
    wheel_mm : diameter of the wheel
    rail_mm2 : cross-section of one rail; 0.0095 gauge2 where left out (2.6 mm2 at 16.5 mm: 2.5 mm high; from memory)

    Notes
    -----
    Each rail is a thin long rod in the magnets' field: U = -1/2 integral of (2 B_across^2 + n B_along^2)/mu0 A ds, with
    factor 2 across (round rod) and n along from the demagnetising factor of a rod as long as twice its distance. An
    estimate, good to a factor of two.
    """
    area = 0.0095 * gauge_mm**2 if rail_mm2 is None else rail_mm2
    down, aside = wheel_mm / 2 + math.sqrt(area), gauge_mm / 2
    away = math.hypot(down, aside)
    s = np.linspace(-4 * away, 4 * away, 161)
    slender = 2 * away / (2 * math.sqrt(area / math.pi))
    # slender ellipsoid's demagnetising factor along it: Osborn, Phys. Rev. 67 (1945) 351
    along = 1 / (1 / RAIL_PERMEABILITY + (math.log(2 * slender) - 1) / slender**2)
    phi = np.linspace(0.0, 2 * math.pi, ANGLES, endpoint=False)

    def energy(depth: float) -> Array:
        rails = np.concatenate(
            [np.stack([s, np.full_like(s, y), np.full_like(s, -depth)], -1) for y in (-aside, aside)]
        )
        field = _turned(sources, rails, phi)
        density = 2 * (field[..., 1] ** 2 + field[..., 2] ** 2) + along * field[..., 0] ** 2
        return np.asarray(-0.5 * density.sum(axis=1) * area * (s[1] - s[0]) * N_MM)

    step = 1e-3 * down
    pull = (energy(down + step) - energy(down - step)) / (2 * step)
    return Cogging("steel rails", _steepest(energy(down)), float(np.mean(pull)), float(np.max(pull)))


def will_it_turn(
    parts: Sequence[Cogging], *, axle_load_g: float, wheel_mm: float, wagon_g: float | None = None
) -> Turning:
    """Cogging against the grip of the rails.

    Parameters
    ----------
    axle_load_g : what the axle presses on the rails, as a mass
    wheel_mm : diameter of the wheel
    wagon_g : mass of the wagon; twice the axle's load where left out

    Notes
    -----
    The rails turn the axle through friction: they hold mu W r. Above the least friction's the wheel may skid; below
    that but above the wagon's own rolling resistance it jerks and will not coast. The pull of a floor on the axle is
    between wagon and axle and does not change what the axle presses on the rails.

    Examples
    --------
    >>> will_it_turn([Cogging("floor", 1.0, 0.5, 0.6)], axle_load_g=25, wheel_mm=10.5).verdict
    'skids'
    """
    radius = wheel_mm / 2
    newton = standard_gravity / 1000
    torque = sum(part.torque_n_mm for part in parts)
    grip = (ADHESION[0] * axle_load_g * newton * radius, ADHESION[1] * axle_load_g * newton * radius)
    rolling = BEARING * (2 * axle_load_g if wagon_g is None else wagon_g) * newton * radius
    verdict: Verdict = "skids" if torque > grip[0] else "sticks" if torque > rolling else "fine"
    return Turning(verdict, torque, grip, rolling, tuple(parts))


def _clear(sources: tuple[Source, ...], what: str, height_mm: float) -> None:
    swept, _ = swept_mm(sources)
    if height_mm <= swept:
        raise ValueError(
            f"{what}: expected it to begin beyond {swept:.2f} mm, where the magnets swing, came {height_mm:g}"
        )


def _energy(sources: tuple[Source, ...], height_mm: float, sheets: tuple[Sheet, ...], phi: Array) -> Array:
    """Energy at each angle: (a,) [N mm]. The plane's normal is +z; its images lie beyond it."""
    copies = continuation([partial(back, sheets=sheets)], 2 * height_mm)
    cells = [_cells(source) for source in sources]
    points = np.concatenate([place for place, _ in cells])
    moment = np.concatenate([m for _, m in cells])
    turn = about_y(phi)
    places = np.einsum("aij,pj->api", turn, points)
    returned = _returned(sources, places, turn, height_mm, copies)
    return np.asarray(-0.5 * np.einsum("api,aij,pj->a", returned, turn, moment) * N_MM)


def _returned(sources: tuple[Source, ...], places: Array, turn: Array, height_mm: float, copies: Continuation) -> Array:
    """Field that comes back at places (a, p, 3): the free field at their mirror images, mirrored."""
    mirror = places * [1.0, 1.0, -1.0] + [0.0, 0.0, 2 * height_mm]
    images = mirror[:, None] + copies.shift_mm[:, None, None] * [0.0, 0.0, 1.0]
    free = field_mt(sources, np.einsum("aji,acpj->acpi", turn, images))
    seen = np.einsum("c,aij,acpj->api", copies.weight[0].real, turn, free)
    return np.asarray(seen * [-1.0, -1.0, 1.0])


def _turned(sources: tuple[Source, ...], points: Array, phi: Array) -> Array:
    """Field at points of the wagon (p, 3) at each angle: (a, p, 3)."""
    turn = about_y(phi)
    return np.asarray(np.einsum("aij,apj->api", turn, field_mt(sources, np.einsum("aji,pj->api", turn, points))))


def _cells(source: Source) -> tuple[Array, Array]:
    """A body as points with moments [mT mm3], in the turning frame; exact for polynomials of degree 5 along each size.

    Gauss points along each size; in a disc radii are Gauss points of the squared radius, with 12 angles.
    """
    node, weight = np.polynomial.legendre.leggauss(3)
    if source.shape == "block":
        grid = np.stack(np.meshgrid(*(node * size / 2 for size in source.size_mm), indexing="ij"), -1).reshape(-1, 3)
        share = np.einsum("i,j,k->ijk", weight, weight, weight).ravel() / 8
    else:
        hole = source.size_mm[1] if source.shape == "ring" else 0.0
        squared = (hole**2 + (source.size_mm[0] ** 2 - hole**2) * (1 + node) / 2) / 4
        round_it = np.linspace(0.0, 2 * math.pi, 12, endpoint=False)
        r, a, z = np.meshgrid(np.sqrt(squared), round_it, node * source.size_mm[-1] / 2, indexing="ij")
        grid = np.stack([r * np.cos(a), r * np.sin(a), z], -1).reshape(-1, 3)
        share = np.einsum("i,j,k->ijk", weight, np.full(12, 1 / 12), weight).ravel() / 4
    return source.place_mm + grid @ source.rotation.T, share[:, None] * source.moment_mt_mm3


def _steepest(energy: Array) -> float:
    """Greatest slope of a periodic energy over a turn [N mm/rad], from its Fourier series."""
    series = np.fft.rfft(energy) / len(energy)
    orders = np.arange(len(series))
    orders[-1] = 0
    fine = np.exp(1j * np.outer(np.linspace(0, 2 * math.pi, 720), orders))
    return float(np.max(np.abs(2 * np.real(fine @ (1j * orders * series)))))

"""What makes a laid track differ from its design: planted defects, random roughness, rail joints.

Each is a small, smooth change of one of three profiles over chainage: the sideways place of the centreline (plan),
its height (level), or the left rail's height over the right one (cant).

Legend: s chainage [mm] · n sideways offset, left > 0 [mm] · h height offset [mm] · c cant offset [mm].
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Fault

Floats = NDArray[np.float64]
Kind = Literal["kink", "dip", "hump", "twist", "one_rail_dip", "lateral"]

KINK_LENGTH_GAUGES: Final = 0.6
"""A kink is a turn within 0.6 gauges (10 mm in HO): rails bend a little on either side of a bad joint. Our choice."""


@dataclass(frozen=True, slots=True)
class Defect:
    """A defect to plant.

    size        kink deg, left > 0; dip, hump, one_rail_dip mm, > 0; twist mm, left up > 0; lateral mm, left > 0
    length_mm   full length of the bump (its shape is the fourth power of a cosine); of the turn for a kink
    rail        which rail a one_rail_dip sinks
    """

    kind: Kind
    s_mm: float
    size: float
    length_mm: float
    rail: Literal["", "left", "right"] = ""

    @property
    def fault(self) -> Fault:
        """The same as the survey names it; truth has no sigma (0)."""
        unit: Literal["mm", "deg"] = "deg" if self.kind == "kink" else "mm"
        return Fault(kind=self.kind, s_mm=self.s_mm, size=self.size, unit=unit, sd=0.0, rail=self.rail)


@dataclass(frozen=True, slots=True)
class Roughness:
    """Random irregularity: sd of each offset [mm], between two wavelengths [mm]; power falls as wavenumber^-3."""

    plan_sd_mm: float
    level_sd_mm: float
    cant_sd_mm: float
    shortest_mm: float
    longest_mm: float

    @classmethod
    def of_gauge(cls, gauge_mm: float, *, factor: float = 1.0) -> "Roughness":
        """Well laid indoor track: 0.10 mm plan, 0.06 mm level, 0.03 mm cant in HO, in proportion to the gauge.

        Wavelengths from 5 to 90 gauges. The figures are our choice (common practice, no source).
        """
        k = factor * gauge_mm / 16.5
        return cls(0.10 * k, 0.06 * k, 0.03 * k, 5.0 * gauge_mm, 90.0 * gauge_mm)


@dataclass(frozen=True, slots=True)
class Joints:
    """Rail joints: both rails sink by `depth_mm` within `length_mm`, every `every_mm`. Harmless, but they jolt."""

    every_mm: float
    depth_mm: float
    length_mm: float
    first_mm: float = 0.0


@dataclass(slots=True)
class Offsets:
    """Offsets on the grid, with the derivatives that curvature and gradient need; (n,) each.

    turn_rad is d(offset)/ds plus kinks: what is added to the heading.
    """

    turn_rad: Floats
    curvature_1_mm: Floats
    level_mm: Floats
    gradient: Floats
    cant_mm: Floats


def bump(u: Floats) -> tuple[Floats, Floats, Floats]:
    """cos^4(pi u) for |u| < 1/2, else 0: value and first two derivatives by u; smooth up to the third.

    >>> value, slope, bend = bump(np.array([0.0, 0.25, 0.5]))
    >>> np.round(value, 3).tolist(), np.round(bend[0] / np.pi**2, 3).tolist()
    ([1.0, 0.25, 0.0], -4.0)
    """
    inside = np.abs(u) < 0.5
    a = np.pi * np.where(inside, u, 0.5)
    c, s = np.cos(a), np.sin(a)
    c = np.where(inside, c, 0.0)
    return c**4, -4 * np.pi * c**3 * s, 4 * np.pi**2 * (3 * c**2 * s**2 - c**4)


def _step(u: Floats) -> tuple[Floats, Floats]:
    """Smooth step from 0 to 1 over -1/2 < u < 1/2, and its slope."""
    v = np.clip(u + 0.5, 0.0, 1.0)
    return v**3 * (10 - 15 * v + 6 * v**2), 30 * v**2 * (1 - v) ** 2


def random_profile(
    s_mm: Floats, length_mm: float, sd: float, shape: Roughness, phases: NDArray[np.complex128]
) -> list[Floats]:
    """A random periodic offset of given sd: value and first two derivatives on the grid.

    `phases` (m,) complex normal numbers, one for each whole wave number from 0 up: the line's length may change a
    little while it is being closed, its randomness may not.
    """
    n = len(s_mm)
    m = np.arange(len(phases))
    with np.errstate(divide="ignore"):
        wave = length_mm / m
    used = (wave >= shape.shortest_mm) & (wave <= shape.longest_mm)
    amplitude = np.where(used, np.maximum(m, 1) ** -1.5, 0.0) * phases
    power = 0.5 * np.sum(np.abs(amplitude) ** 2)
    if sd <= 0 or power <= 0:
        return [np.zeros(n)] * 3
    amplitude = amplitude * sd / np.sqrt(power)
    k = 2 * np.pi * m / length_mm
    step = s_mm[1] - s_mm[0]
    full = round(length_mm / step)
    out = []
    for power_of_ik in range(3):
        spectrum = np.zeros(full // 2 + 1, dtype=complex)
        kept = min(len(m), len(spectrum))
        spectrum[:kept] = (amplitude * (1j * k) ** power_of_ik)[:kept] * (full / 2)
        wave_form = np.fft.irfft(spectrum, full)
        out.append(wave_form[np.arange(n) % full])
    return out


def offsets(
    s_mm: Floats,
    length_mm: float,
    *,
    closed: bool,
    defects: tuple[Defect, ...],
    roughness: Roughness | None,
    joints: Joints | None,
    phases: NDArray[np.complex128],
) -> Offsets:
    """All offsets on a grid of chainages; see the module for signs.

    Parameters
    ----------
    s_mm : (n,) grid from 0 to length
    phases : (3, m) complex, for plan, level and cant
    """
    zero = np.zeros_like(s_mm)
    o = Offsets(zero.copy(), zero.copy(), zero.copy(), zero.copy(), zero.copy())
    if roughness is not None:
        sds = (roughness.plan_sd_mm, roughness.level_sd_mm, roughness.cant_sd_mm)
        plan, level, cant = (
            random_profile(s_mm, length_mm, sd, roughness, p) for sd, p in zip(sds, phases, strict=True)
        )
        o.turn_rad += plan[1]
        o.curvature_1_mm += plan[2]
        o.level_mm += level[0]
        o.gradient += level[1]
        o.cant_mm += cant[0]
    for defect in defects:
        _plant(o, s_mm, length_mm if closed else None, defect)
    if joints is not None:
        d = joints.every_mm
        from_joint = (s_mm - joints.first_mm + d / 2) % d - d / 2
        # the last joint of a closed line may come too close to the first: leave a whole length free there
        free = (s_mm > joints.length_mm) & (s_mm < length_mm - joints.length_mm)
        value, slope, _ = bump(np.where(free, from_joint, d) / joints.length_mm)
        o.level_mm -= joints.depth_mm * value
        o.gradient -= joints.depth_mm * slope / joints.length_mm
    return o


def _plant(o: Offsets, s_mm: Floats, period_mm: float | None, defect: Defect) -> None:
    """Add one defect to the offsets."""
    away = s_mm - defect.s_mm
    length = defect.length_mm
    if defect.kind == "kink":
        size = np.radians(defect.size)
        step, slope = _step(away / length)
        o.turn_rad += size * step
        o.curvature_1_mm += size * slope / length
        return
    if period_mm is not None:
        away = (away + period_mm / 2) % period_mm - period_mm / 2
    value, slope, bend = bump(away / length)
    if defect.kind == "lateral":
        o.turn_rad += defect.size * slope / length
        o.curvature_1_mm += defect.size * bend / length**2
        return
    level = {"dip": -1.0, "hump": 1.0, "one_rail_dip": -0.5, "twist": 0.0}[defect.kind] * defect.size
    left = {"left": -1.0, "right": 1.0, "": 0.0}[defect.rail]
    cant = defect.size if defect.kind == "twist" else left * defect.size
    o.level_mm += level * value
    o.gradient += level * slope / length
    o.cant_mm += cant * value

"""A railway whose every place is known: the truth that surveys are held against.

What the track really is, with its defects and roughness, stands in tables on a fine grid of chainage and is read by
cubic interpolation. `laying.build` makes one.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wayrule.model import Element, Fault
from wayrule.sim.design import Design

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """The track on a uniform grid from 0 to its length, both included; every array (n + 1,), read-only.

    cos, sin    of the heading, slopes of x and y
    cant_slope  d(cant)/ds; cant_sum its integral from 0
    """

    step_mm: float
    x_mm: Floats
    y_mm: Floats
    z_mm: Floats
    heading_rad: Floats
    curvature_1_mm: Floats
    gradient: Floats
    cant_mm: Floats
    cos: Floats
    sin: Floats
    cant_slope: Floats
    cant_sum: Floats

    def __post_init__(self) -> None:
        for name in self.__slots__[1:]:
            getattr(self, name).flags.writeable = False


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where chainages lie in the tables: cell, laps done, share of the cell, and the four cubic (Hermite) weights."""

    cell: NDArray[np.intp]
    laps: Floats
    share: Floats
    w00: Floats
    w01: Floats
    w10: Floats
    w11: Floats

    def cubic(self, value: Floats, slope: Floats) -> Floats:
        """Read a table whose slope is tabulated as well."""
        i, j = self.cell, self.cell + 1
        return np.asarray(self.w00 * value[i] + self.w01 * value[j] + self.w10 * slope[i] + self.w11 * slope[j])

    def linear(self, value: Floats) -> Floats:
        """Read a table by straight lines."""
        return np.asarray(value[self.cell] * (1 - self.share) + value[self.cell + 1] * self.share)


@dataclass(frozen=True, slots=True, eq=False)
class Railway:
    """One line of track, exactly known; every function takes chainages of any shape.

    Chainage is plan length. A closed line wraps at `length_mm` and closes exactly; heading goes on growing over laps.

    design      what was meant, after fitting a closed line's lengths
    turn_rad    heading gained over the whole line
    """

    design: Design
    length_mm: float
    turn_rad: float
    tables: Tables

    @property
    def name(self) -> str:
        """Name of the line."""
        return self.design.name

    @property
    def scale(self) -> str:
        """Name of the scale."""
        return self.design.scale

    @property
    def ratio(self) -> float:
        """Scale ratio, 87 for 1:87."""
        return self.design.ratio

    @property
    def gauge_mm(self) -> float:
        """Track gauge."""
        return self.design.gauge_mm

    @property
    def closed(self) -> bool:
        """Whether the end is the start."""
        return self.design.closed

    @property
    def elements(self) -> tuple[Element, ...]:
        """The design as elements of plan and profile, by chainage; defects and roughness are not elements."""
        return self.design.elements

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The planted defects, by chainage."""
        return tuple(d.fault for d in sorted(self.design.defects, key=lambda d: d.s_mm))

    def place(self, s_mm: ArrayLike) -> Place:
        """Find chainages in the tables, once for several readings.

        Raises
        ------
        ValueError   a chainage beyond the ends of an open line
        """
        s = np.asarray(s_mm, dtype=float)
        step = self.tables.step_mm
        if self.closed:
            laps = np.floor(s / self.length_mm)
            s = s - laps * self.length_mm
        else:
            laps = np.zeros_like(s)
            if s.size and (s.min() < -1e-6 or s.max() > self.length_mm + 1e-6):
                raise ValueError(
                    f"{self.name}: the line runs from 0 to {self.length_mm:.1f} mm, "
                    f"came {s.min():.1f} to {s.max():.1f} mm"
                )
        cell = np.clip((s / step).astype(np.intp), 0, len(self.tables.x_mm) - 2)
        u = s / step - cell
        u2 = u * u
        u3 = u2 * u
        w01 = 3 * u2 - 2 * u3
        return Place(cell, laps, u, 1 - w01, w01, (u3 - 2 * u2 + u) * step, (u3 - u2) * step)

    def heading_at(self, place: Place) -> Floats:
        """Heading [rad], unwrapped over laps."""
        return place.cubic(self.tables.heading_rad, self.tables.curvature_1_mm) + place.laps * self.turn_rad

    def xyz_at(self, place: Place) -> tuple[Floats, Floats, Floats]:
        """Centreline at rail top [mm]."""
        t = self.tables
        return place.cubic(t.x_mm, t.cos), place.cubic(t.y_mm, t.sin), place.cubic(t.z_mm, t.gradient)

    def cant_at(self, place: Place) -> Floats:
        """Cant [mm]."""
        return place.cubic(self.tables.cant_mm, self.tables.cant_slope)

    def heading(self, s_mm: ArrayLike) -> Floats:
        """Heading [rad], from x towards y, unwrapped."""
        return self.heading_at(self.place(s_mm))

    def curvature(self, s_mm: ArrayLike) -> Floats:
        """Curvature [1/mm], left > 0, defects and roughness included."""
        return self.place(s_mm).linear(self.tables.curvature_1_mm)

    def xy(self, s_mm: ArrayLike) -> tuple[Floats, Floats]:
        """Centreline in plan [mm]."""
        x, y, _ = self.xyz_at(self.place(s_mm))
        return x, y

    def z(self, s_mm: ArrayLike) -> Floats:
        """Height of rail top, mean of both rails [mm]."""
        return self.place(s_mm).cubic(self.tables.z_mm, self.tables.gradient)

    def gradient(self, s_mm: ArrayLike) -> Floats:
        """Gradient dz/ds, climbing > 0."""
        return self.place(s_mm).linear(self.tables.gradient)

    def cant(self, s_mm: ArrayLike) -> Floats:
        """Left minus right rail [mm]."""
        return self.cant_at(self.place(s_mm))

    def curvature_between(self, a_mm: ArrayLike, b_mm: ArrayLike) -> Floats:
        """Mean curvature from a to b, a != b [1/mm]."""
        a, b = np.asarray(a_mm, dtype=float), np.asarray(b_mm, dtype=float)
        return np.asarray((self.heading(b) - self.heading(a)) / (b - a))

    def gradient_between(self, a_mm: ArrayLike, b_mm: ArrayLike) -> Floats:
        """Mean gradient from a to b, a != b."""
        a, b = np.asarray(a_mm, dtype=float), np.asarray(b_mm, dtype=float)
        return np.asarray((self.z(b) - self.z(a)) / (b - a))

    def cant_between(self, a_mm: ArrayLike, b_mm: ArrayLike) -> Floats:
        """Mean cant from a to b, a != b [mm]."""
        a, b = np.asarray(a_mm, dtype=float), np.asarray(b_mm, dtype=float)
        t = self.tables
        at_a, at_b = (p.cubic(t.cant_sum, t.cant_mm) + p.laps * t.cant_sum[-1] for p in (self.place(a), self.place(b)))
        return np.asarray((at_b - at_a) / (b - a))

    def window(self, s_mm: ArrayLike, window_mm: float) -> tuple[Floats, Floats]:
        """Ends of a window centred at s; cut at the ends of an open line."""
        s = np.asarray(s_mm, dtype=float)
        a, b = s - window_mm / 2, s + window_mm / 2
        return (a, b) if self.closed else (np.clip(a, 0, self.length_mm), np.clip(b, 0, self.length_mm))

    def mean_curvature(self, s_mm: ArrayLike, window_mm: float) -> Floats:
        """Mean curvature over a `window` [1/mm]."""
        return self.curvature_between(*self.window(s_mm, window_mm))

    def mean_gradient(self, s_mm: ArrayLike, window_mm: float) -> Floats:
        """Mean gradient over a `window`."""
        return self.gradient_between(*self.window(s_mm, window_mm))

    def mean_cant(self, s_mm: ArrayLike, window_mm: float) -> Floats:
        """Mean cant over a `window` [mm]."""
        return self.cant_between(*self.window(s_mm, window_mm))

"""The track as surveyed: stations along it, the elements it is made of, and its faults."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wayrule.model.arrays import Array, frozen

STATION_COLUMNS = (
    "s_mm",
    "x_mm",
    "y_mm",
    "z_mm",
    "heading_rad",
    "curvature_1_mm",
    "gradient",
    "cant_mm",
    "x_sd_mm",
    "y_sd_mm",
    "z_sd_mm",
    "heading_sd_rad",
    "curvature_sd_1_mm",
    "gradient_sd",
    "cant_sd_mm",
)


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """The centreline at strictly rising chainages; every array (n,).

    Sigmas of x, y, z and heading: free network (best shift and plan rotation removed; scale and overall tilt
    included). Of curvature, gradient and cant: of the mean over one wheelbase, unknown constants included. A
    quantity that the runs cannot give (no gyro, no accelerometer) is NaN, with NaN for its sigma.

    passes     how many times the wagon went over each station
    closed     a closed line is written once round, from 0 to `length_mm`, its start not repeated
    length_mm  plan length of the line
    gauge_mm, wheelbase_mm  of the wagon that measured it
    """

    s_mm: Array
    x_mm: Array
    y_mm: Array
    z_mm: Array
    heading_rad: Array
    curvature_1_mm: Array
    gradient: Array
    cant_mm: Array
    x_sd_mm: Array
    y_sd_mm: Array
    z_sd_mm: Array
    heading_sd_rad: Array
    curvature_sd_1_mm: Array
    gradient_sd: Array
    cant_sd_mm: Array
    passes: NDArray[np.int64]
    closed: bool
    length_mm: float
    gauge_mm: float
    wheelbase_mm: float

    def __post_init__(self) -> None:
        n = len(self.s_mm)
        for name in STATION_COLUMNS:
            frozen(self, name, (n,))
        frozen(self, "passes", (n,), dtype=np.int64)
        if n and not np.all(np.diff(self.s_mm) > 0):
            raise ValueError("Stations.s_mm must rise strictly")


@dataclass(frozen=True, slots=True)
class Element:
    """A piece of the plan or of the profile.

    kind                plan: straight, arc, transition; profile: grade, vertical_curve
    s0_mm, s1_mm        where it starts and ends; on a closed line s1 may exceed the length
    curvature0/1_1_mm   at its ends, left > 0 (plan; NaN for profile pieces)
    gradient0/1         at its ends, climbing > 0 (profile; NaN for plan pieces)
    *_sd                sd of the mean curvature or gradient of the piece, and of its ends' places
    turned_rad          heading change along it (plan)
    misfit              rms of what the piece does not explain, in the quantity's own unit
    length_sd_mm        sd of its length; its ends' errors go together, so not that of two places
    turned_sd_rad       sd of the heading change (plan); what moves a joint hardly changes it
    rise_sd_mm          sd of the rise (profile)
    """

    plane: Literal["plan", "profile"]
    kind: Literal["straight", "arc", "transition", "grade", "vertical_curve"]
    s0_mm: float
    s1_mm: float
    curvature0_1_mm: float = float("nan")
    curvature1_1_mm: float = float("nan")
    gradient0: float = float("nan")
    gradient1: float = float("nan")
    curvature_sd_1_mm: float = float("nan")
    gradient_sd: float = float("nan")
    s0_sd_mm: float = float("nan")
    s1_sd_mm: float = float("nan")
    turned_rad: float = float("nan")
    misfit: float = float("nan")
    length_sd_mm: float = float("nan")
    turned_sd_rad: float = float("nan")
    rise_sd_mm: float = float("nan")

    @property
    def length_mm(self) -> float:
        """Plan length of the piece [mm]."""
        return self.s1_mm - self.s0_mm

    @property
    def radius_mm(self) -> float:
        """Signed mean radius [mm], left > 0; infinite where the mean curvature is zero."""
        mean = 0.5 * (self.curvature0_1_mm + self.curvature1_1_mm)
        return 1.0 / mean if mean else float("inf")

    @property
    def radius_sd_mm(self) -> float:
        """Sd of the mean radius [mm]; NaN where the mean curvature is zero."""
        mean = 0.5 * (self.curvature0_1_mm + self.curvature1_1_mm)
        return self.curvature_sd_1_mm / mean**2 if mean else float("nan")

    @property
    def rise_mm(self) -> float:
        """Height gained along it [mm] (profile)."""
        return 0.5 * (self.gradient0 + self.gradient1) * self.length_mm


@dataclass(frozen=True, slots=True)
class Fault:
    """A local defect. Sizes: kink deg, left > 0; dip and hump mm, positive; twist mm, left rail up > 0;
    lateral mm, left > 0; one_rail_dip mm with `rail`.
    """

    kind: Literal["kink", "dip", "hump", "twist", "one_rail_dip", "lateral"]
    s_mm: float
    size: float
    unit: Literal["mm", "deg"]
    sd: float
    rail: Literal["", "left", "right"] = ""

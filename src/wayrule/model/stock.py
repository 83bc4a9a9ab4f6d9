"""What runs on the track: vehicles with the lengths that matter on a curve, and trains of them."""

import math
from dataclasses import dataclass
from typing import Final, Literal

VehicleKind = Literal["engine", "car"]

COUPLERS: Final[dict[str, str]] = {
    "body": "fixed to the body",
    "bogie": "fixed to the bogie",
    "close": "led by a cam that lengthens on curves",
    "buffers": "hook and link, the side buffers touch",
}
"""How a coupler is fixed: name -> meaning."""


@dataclass(frozen=True, slots=True)
class Vehicle:
    """An engine or a car; all lengths in mm, mass in g.

    kind           "engine" or "car"
    length_mm      over the body's ends
    pivots_mm      between bogie pivots; of a rigid vehicle between its end axles
    width_mm       of the body
    mass_g         NaN where it is not known
    bogie_mm       wheelbase of a bogie; 0 for a rigid vehicle
    axles          all of them
    coupler        one of `COUPLERS`
    coupling_mm    over the couplers: the body's length and both couplers; NaN: the body's length
    adhesive_g     mass on driven wheels (engine); NaN: all of it
    pull_n         greatest pull at the coupler, measured; NaN where it is not known
    rolling        rolling resistance over weight, measured by coast-down; NaN where it is not known
    offset_mm      how far the coupler may swing sideways; NaN where it is not known

    Raises
    ------
    ValueError   for lengths that do not fit
    """

    name: str
    kind: VehicleKind
    length_mm: float
    pivots_mm: float
    width_mm: float
    mass_g: float = math.nan
    bogie_mm: float = 0.0
    axles: int = 4
    coupler: str = "body"
    coupling_mm: float = math.nan
    adhesive_g: float = math.nan
    pull_n: float = math.nan
    rolling: float = math.nan
    offset_mm: float = math.nan

    def __post_init__(self) -> None:
        if self.kind not in ("engine", "car"):
            raise ValueError(f"Vehicle {self.name}: expected kind engine or car, came {self.kind!r}")
        if self.coupler not in COUPLERS:
            raise ValueError(f"Vehicle {self.name}: expected coupler {', '.join(COUPLERS)}, came {self.coupler!r}")
        if not 0 < self.pivots_mm < self.length_mm < math.inf:
            raise ValueError(
                f"Vehicle {self.name}: expected pivots_mm above 0 and below length_mm, "
                f"came {self.pivots_mm:g} and {self.length_mm:g}"
            )
        if not 0 < self.width_mm < math.inf:
            raise ValueError(f"Vehicle {self.name}: expected width_mm above 0, came {self.width_mm:g}")
        if not 0 <= self.bogie_mm < self.length_mm:
            raise ValueError(f"Vehicle {self.name}: expected bogie_mm of 0 or more, came {self.bogie_mm:g}")
        if self.axles < 2:
            raise ValueError(f"Vehicle {self.name}: expected 2 axles or more, came {self.axles}")
        if self.mass_g <= 0:
            raise ValueError(f"Vehicle {self.name}: expected mass_g above 0, came {self.mass_g:g}")

    @property
    def overhang_mm(self) -> float:
        """From a pivot (or an end axle) to the end of the body."""
        return 0.5 * (self.length_mm - self.pivots_mm)

    @property
    def rigid_mm(self) -> float:
        """Wheelbase of what does not bend: a bogie, or the whole of a rigid vehicle."""
        return self.bogie_mm or self.pivots_mm

    @property
    def over_couplers_mm(self) -> float:
        """Length over the couplers; the body's where it is not known."""
        return self.length_mm if math.isnan(self.coupling_mm) else self.coupling_mm


@dataclass(frozen=True, slots=True)
class Train:
    """Vehicles in their order, the first one leading."""

    name: str
    vehicles: tuple[Vehicle, ...]

    def __post_init__(self) -> None:
        if not self.vehicles:
            raise ValueError(f"Train {self.name}: expected at least one vehicle, came none")

    @property
    def longest(self) -> Vehicle:
        """The vehicle with the longest body."""
        return max(self.vehicles, key=lambda one: one.length_mm)

    @property
    def longest_rigid_mm(self) -> float:
        """The longest wheelbase that does not bend."""
        return max(one.rigid_mm for one in self.vehicles)

    @property
    def engines(self) -> tuple[Vehicle, ...]:
        """Those that pull."""
        return tuple(one for one in self.vehicles if one.kind == "engine")

    @property
    def cars(self) -> tuple[Vehicle, ...]:
        """Those that are pulled."""
        return tuple(one for one in self.vehicles if one.kind == "car")

    @property
    def length_mm(self) -> float:
        """Over the outer couplers."""
        return sum(one.over_couplers_mm for one in self.vehicles)

    @property
    def mass_g(self) -> float:
        """Of all vehicles; NaN where one is not known."""
        return sum(one.mass_g for one in self.vehicles)

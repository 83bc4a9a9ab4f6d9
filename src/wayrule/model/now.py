"""What a wagon says of itself and of the track under it at this moment, each with its sigma."""

import math
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from wayrule.model.health import Light
from wayrule.model.located import Located
from wayrule.model.track import Fault
from wayrule.model.travel import State
from wayrule.units import scale_km_h, scale_mph


class Told(NamedTuple):
    """A number and its sd; NaN where it is not known."""

    value: float = math.nan
    sd: float = math.nan


UNTOLD: Final = Told()
"""Not known."""


@dataclass(frozen=True, slots=True)
class Now:
    """One moment of one wagon.

    t_s, seq       time on the wagon's clock, and number, of the newest sample that is in it
    learning       the axle has not been through a turn yet: no distance is known
    state          of `State`
    distance_mm    since the first sample; trip_mm: since the trip was set to 0; grow towards the marked front
    speed_mm_s     towards the marked front > 0; scale speed from it with `ratio`
    gradient       climbs towards the marked front > 0, over the wheelbase
    cant_mm        left rail high > 0, as seen towards the marked front, over the wheelbase
    curvature_1_mm left > 0, as seen towards the marked front, over the last wheelbase of way
    heading_rad    turned since the first sample, left > 0
    located        what was last found of its place on a surveyed line; None without a survey
    chainage_mm    its place on that line, carried on by the wheel; way: +1 the marked front points to growing chainage
    fault          the next one the way it last rolled, how far away it is, `to_fault_mm`, and its number in the report
    light          of its card of health; troubles: what is amber or red on it, a sentence each
    """

    t_s: float
    seq: int
    ratio: float
    learning: bool = True
    state: State = State.UNSURE
    distance_mm: Told = UNTOLD
    trip_mm: Told = UNTOLD
    speed_mm_s: Told = UNTOLD
    gradient: Told = UNTOLD
    cant_mm: Told = UNTOLD
    curvature_1_mm: Told = UNTOLD
    heading_rad: Told = UNTOLD
    located: Located | None = None
    chainage_mm: Told = UNTOLD
    way: Literal[-1, 0, 1] = 0
    rolls: Literal[-1, 0, 1] = 0
    fault: Fault | None = None
    fault_number: int = 0
    to_fault_mm: Told = UNTOLD
    light: Light = "unknown"
    troubles: tuple[str, ...] = ()

    @property
    def scale_km_h(self) -> Told:
        """Scale speed."""
        return Told(*(float(scale_km_h(abs(x), self.ratio)) for x in self.speed_mm_s))

    @property
    def scale_mph(self) -> Told:
        """Scale speed."""
        return Told(*(float(scale_mph(abs(x), self.ratio)) for x in self.speed_mm_s))

    @property
    def radius_mm(self) -> Told:
        """Signed radius, left > 0; not known where the track may be straight: curvature below three sigma."""
        k, sd = self.curvature_1_mm
        return Told(1.0 / k, sd / k**2) if abs(k) > 3.0 * sd else UNTOLD

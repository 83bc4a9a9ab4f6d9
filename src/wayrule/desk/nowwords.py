"""What wagons say now, in words: a table with a line for each quantity, and the same for a machine."""

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

from wayrule.model.now import Now, Told
from wayrule.model.travel import State
from wayrule.report.healthwords import LIGHT_WORDS
from wayrule.report.numbers import NO_BREAK, UNKNOWN, one_in, with_sd
from wayrule.report.readings import FAULT_NAMES, hand
from wayrule.report.tables import Table
from wayrule.units import DEG

ROWS = (
    "Distance", "Trip", "Speed", "At scale", "Gradient", "Cant", "Curve", "Turned", "Place", "Next fault", "Health",
)  # fmt: skip


def now_table(said: Sequence[tuple[str, Now]], names: dict[str, str]) -> Table:
    """One column for each wagon that is followed; `names`: key -> name."""
    heads = ("Now", *(names.get(key) or key for key, _ in said))
    columns = [now_words(now) for _, now in said]
    rows = tuple((what, *(column[k] for column in columns)) for k, what in enumerate(ROWS))
    return Table("now", "What they say now.", heads, (False,) * len(heads), rows)


def now_words(now: Now) -> tuple[str, ...]:
    """A cell for each of `ROWS`."""
    way = "waiting for the axle's first turn" if now.learning else length(now.distance_mm)
    return (
        way, length(now.trip_mm), with_sd(*now.speed_mm_s, "mm/s") + _standing(now), scale_speed(now), gradient(now),
        cant(now), curve(now), with_sd(now.heading_rad.value / DEG, now.heading_rad.sd / DEG, "°"), place(now),
        fault(now), health(now),
    )  # fmt: skip


def length(told: Told) -> str:
    """In mm below a metre, in m above.

    >>> length(Told(12345.6, 3.1)).replace(NO_BREAK, " "), length(Told(12.34, 0.31)).replace(NO_BREAK, " ")
    ('12.3456 ± 0.0031 m', '12.34 ± 0.31 mm')
    """
    return with_sd(*told, "mm") if abs(told.value) < 1000 else with_sd(told.value / 1e3, told.sd / 1e3, "m")


def scale_speed(now: Now) -> str:
    """Both units; a speed has no sign here."""
    if math.isnan(now.speed_mm_s.value):
        return UNKNOWN
    return f"{with_sd(*now.scale_km_h, 'km/h')} = {with_sd(*now.scale_mph, 'mile/h')}"


def gradient(now: Now) -> str:
    """In per mille and as one in so many, towards the marked front."""
    value, sd = now.gradient
    if math.isnan(value):
        return UNKNOWN
    steep = one_in(value)
    word = "" if steep == "level" else ", climbing" if value > 0 else ", falling"
    return f"{with_sd(1e3 * value, 1e3 * sd, '‰')} ({steep}{word})"


def cant(now: Now) -> str:
    """Which rail is high.

    >>> cant(Now(0.0, 0, 87.0, cant_mm=Told(-0.82, 0.02))).replace(NO_BREAK, " ")
    'right rail high by 0.820 ± 0.020 mm'
    """
    value, sd = now.cant_mm
    if math.isnan(value):
        return UNKNOWN
    return f"{'left' if value > 0 else 'right'} rail high by {with_sd(abs(value), sd, 'mm')}"


def curve(now: Now) -> str:
    """Radius and hand, or that it is straight as far as can be told."""
    k, sd = now.curvature_1_mm
    if math.isnan(k):
        return UNKNOWN
    radius = now.radius_mm
    if math.isnan(radius.value):
        return f"straight, or {length(Told(1.0 / (abs(k) + 2.0 * sd), math.nan)).split(' (')[0]} and wider"
    return f"{hand(k)}, radius {length(Told(abs(radius.value), radius.sd))}"


def place(now: Now) -> str:
    """Where on the surveyed line."""
    if math.isfinite(now.chainage_mm.value):
        return length(now.chainage_mm)
    if now.located is None:
        return UNKNOWN
    return {"several": "one of several places", "nowhere": "fits nowhere"}.get(now.located.certainty, UNKNOWN)


def fault(now: Now) -> str:
    """Which comes next, and how far away."""
    if now.fault is None:
        return UNKNOWN if math.isnan(now.chainage_mm.value) else "none"
    return f"No.{NO_BREAK}{now.fault_number}, {FAULT_NAMES[now.fault.kind]}, in {length(now.to_fault_mm)}"


def health(now: Now) -> str:
    """The light, and what is behind it."""
    return "; ".join([LIGHT_WORDS[now.light], *now.troubles])


def now_content(now: Now) -> dict[str, Any]:
    """For a machine: value and sd of every number."""
    out: dict[str, Any] = {"t_s": now.t_s, "state": State(now.state).name.lower(), "learning": now.learning}
    for name in ("distance_mm", "trip_mm", "speed_mm_s", "scale_km_h", "scale_mph", "gradient", "cant_mm",
                 "curvature_1_mm", "radius_mm", "heading_rad", "chainage_mm", "to_fault_mm"):  # fmt: skip
        told = getattr(now, name)
        out[name], out[f"{name}_sd"] = told.value, told.sd
    located = None if now.located is None else dataclasses.asdict(now.located)
    return out | {"way": now.way, "located": located, "fault": now.fault_number or None, "light": now.light}


def _standing(now: Now) -> str:
    return {State.STANDING: ", standing", State.ROLLING: ", backward" if now.speed_mm_s.value < 0 else ""}.get(
        now.state, ""
    )

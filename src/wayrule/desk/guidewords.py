"""Where a wagon is and how far it is to where it shall go, in words."""

import math
from dataclasses import dataclass
from typing import Final, Literal

from wayrule.desk.nowwords import length
from wayrule.errors import UsageError
from wayrule.model import Fault, Located, Surveyed
from wayrule.model.now import Now, Told
from wayrule.report.numbers import with_sd
from wayrule.report.readings import FAULT_NAMES
from wayrule.track.followed import ahead
from wayrule.track.known import KnownLine

HERE_GAUGES: Final = 0.2
"""So near it is "here": 3 mm in H0, or the place's own sigma."""

POINT: Final = "Places are those of the rear axle (rear pivot)."


@dataclass(frozen=True, slots=True)
class Target:
    """Where to go: chainage, and what is there in words."""

    s_mm: float
    words: str


def target_of(word: str, survey: Surveyed) -> Target:
    """What a person wants to be led to: the number of a fault, the name of a mark, or a chainage as `2310mm`.

    Raises
    ------
    UsageError   for anything else, naming what there is
    """
    for name, s_mm in mark_places(survey):
        if name.lower() == word.strip().lower():
            return Target(s_mm, name)
    digits = word.strip().lower()
    if digits.isascii() and digits.isdigit() and 1 <= int(digits) <= len(survey.faults):
        fault = survey.faults[int(digits) - 1]
        return Target(fault.s_mm, f"No. {int(digits)}, {fault_words(fault)}")
    if digits.endswith("mm"):
        try:
            s_mm = float(digits[:-2])
        except ValueError:
            s_mm = math.nan
        stations = survey.stations
        low, high = (0.0, stations.length_mm) if stations.closed else (stations.s_mm[0], stations.s_mm[-1])
        if low <= s_mm <= high:
            return Target(s_mm, f"{s_mm:.0f} mm")
    faults = f"1 to {len(survey.faults)} for a fault" if survey.faults else "no fault is listed"
    marks = ", ".join(name for name, _ in mark_places(survey)) or "none"
    raise UsageError(
        expected=f"a finding of {survey.name}: {faults}, a mark ({marks}), or a chainage such as 2310mm on the line",
        came=repr(word),
        where="--to",
        next_step="look at the report for the numbers",
    )


def mark_places(survey: Surveyed) -> list[tuple[str, float]]:
    """Each mark's name once, at the mean of its places; on a closed line one at the seam has places at both ends."""
    stations = survey.stations
    places: dict[str, list[float]] = {}
    for s_mm, mark in survey.marks:
        if math.isfinite(s_mm):
            places.setdefault(mark.name, []).append(s_mm)
    found = []
    for name, at in places.items():
        away = [s - at[0] for s in at]
        if stations.closed:
            lap = stations.length_mm
            away = [(gap + lap / 2) % lap - lap / 2 for gap in away]
        middle = at[0] + sum(away) / len(away)
        found.append((name, middle % stations.length_mm if stations.closed else middle))
    return found


def fault_words(fault: Fault) -> str:
    """What is wrong there, and how much.

    >>> fault_words(Fault("dip", 2310.0, 0.43, "mm", 0.05)).replace(chr(160), " ")
    'dip of 0.43 ± 0.05 mm'
    """
    unit = "°" if fault.unit == "deg" else fault.unit
    return f"{FAULT_NAMES[fault.kind]} of {with_sd(abs(fault.size), fault.sd, unit)}"


Step = Literal["waiting", "travel", "several", "nowhere", "ahead", "behind", "here", "placed"]


@dataclass(frozen=True, slots=True)
class Guidance:
    """One sentence for the person who pushes.

    step      in a word; ahead, behind and here need a target, `placed` has none
    sentence
    gap_mm    to the target, ahead the way the wagon last rolled > 0; NaN where it is not known
    sd_mm     its sd
    """

    step: Step
    sentence: str
    gap_mm: float = math.nan
    sd_mm: float = math.nan


def guidance(now: Now | None, target: Target | None, line: KnownLine, gauge_mm: float) -> Guidance:
    """What to tell the person who pushes."""
    if now is None:
        return Guidance("waiting", "Nothing heard of the wagon yet.")
    if math.isnan(now.chainage_mm.value):
        return _not_placed(now)
    here, way = now.chainage_mm, now.way * (now.rolls or 1)
    at = f"at {length(here)}"
    if target is None:
        return Guidance("placed", f"You are {at}, {facing(now.way)}{_next(now)}.")
    gap = ahead(here.value, target.s_mm, way, line)
    told = away(gap, here.sd).replace("~", "ahead" if gap > 0 else "behind")
    if abs(gap) <= max(HERE_GAUGES * gauge_mm, here.sd):
        return Guidance("here", f"{target.words}: here (± {here.sd:.0f} mm).", gap, here.sd)
    if gap > 0:
        return Guidance("ahead", f"{target.words}: {told}.", gap, here.sd)
    return Guidance("behind", f"{target.words}: {told}; push the other way.", gap, here.sd)


def away(gap_mm: float, sd_mm: float) -> str:
    """A way still to go, as a person wants to hear it; ~ stands for ahead or behind.

    >>> [away(gap, 2.6) for gap in (3746.0, 837.0, 12.3)]
    ['3.75 m ~ (± 3 mm)', '0.84 m ~ (± 3 mm)', '12 mm ~ (± 3 mm)']
    """
    gap = abs(gap_mm)
    told = f"{gap / 1e3:.2f} m" if gap >= 100.0 else f"{gap:.0f} mm"
    return f"{told} ~ (± {max(sd_mm, 1.0):.0f} mm)"


def facing(way: int) -> str:
    """Which way round it stands."""
    return "marked front towards " + ("growing chainage" if way > 0 else "falling chainage")


def _next(now: Now) -> str:
    if now.fault is None:
        return ""
    gap = away(*now.to_fault_mm).replace("~", "ahead")
    return f"; next No. {now.fault_number}, {fault_words(now.fault)}, {gap}"


def _not_placed(now: Now) -> Guidance:
    found = now.located
    if now.learning or found is None or found.certainty == "unknown":
        return Guidance("travel", "Push on: too little was travelled to tell the place.")
    return not_certain(found)


def not_certain(found: Located) -> Guidance:
    """A place that is not certain: it names them all, or none."""
    if found.certainty == "nowhere":
        return Guidance(
            "nowhere",
            f"This fits no place of the survey (misfit {found.misfit:.1f}, good is 1): other track, or the wagon was "
            "lifted; push on.",
        )
    return Guidance("several", f"It may be {places_words(found)}; push on.")


def places_words(found: Located) -> str:
    """All likely places with their probability."""
    return " or ".join(
        f"at {length(Told(place.s_mm, place.sd_mm))} ({place.share:.0%}, {facing(place.way)})" for place in found.places
    )

"""Mishaps told to a person: a problem of the input each, counted, placed and worded."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wayrule.model.mishap import Mishap
from wayrule.model.recording import Problem
from wayrule.model.travel import Travel


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where on the line a mishap befell, and how much further along the run then was than its wheel says, with its sd
    [mm]; NaN where a survey did not ask."""

    chainage_mm: float
    jump_mm: float
    jump_sd_mm: float


def mishap_problems(travel: Travel, placed: Sequence[Whereabouts] = ()) -> tuple[Problem, ...]:
    """What befell a run, a problem each; `placed` for each of its mishaps once a survey knows.

    Examples
    --------
    >>> import numpy as np
    >>> zero = np.zeros(400)
    >>> jolt = Mishap("knock", 1.0, 1.17, 1.3, "g", float("nan"), 0.0)
    >>> state = zero.astype(np.int8)
    >>> run = Travel("monday", np.arange(400) * 0.01, *(zero,) * 4, state, zero, 0.0, "", mishaps=(jolt,))
    >>> mishap_problems(run)[0].text
    'monday: a knock of 1.3 g at 1.00 s, 0.17 s long: given no weight.'
    """
    places = placed or (Whereabouts(math.nan, math.nan, math.nan),) * len(travel.mishaps)
    return tuple(_problem(travel, one, place) for one, place in zip(travel.mishaps, places, strict=True))


def _problem(travel: Travel, one: Mishap, place: Whereabouts) -> Problem:
    first, last = np.searchsorted(travel.t_s, (one.first_s, one.last_s))
    where = f"at {one.first_s:.2f} s"
    if math.isfinite(place.chainage_mm):
        where += f", {place.chainage_mm:.0f} mm of the line"
    what, done = _what(one, place)
    text = f"{travel.run}: {what} {where}, {one.duration_s:.2f} s long: {done}."
    return Problem(NAMES[one.kind], max(int(last - first), 1), f"{travel.run}, {where}", done, text)


NAMES = {
    "knock": "knock",
    "gap": "gap bridged",
    "hand": "handled at a stop",
    "lift": "lifted at a stop",
    "slide": "wheel slid",
    "spin": "wheel spun",
}


def _what(one: Mishap, place: Whereabouts) -> tuple[str, str]:
    """What it was, and what was done about it."""
    moved = math.isfinite(place.jump_mm)
    on = f"; the run goes on {place.jump_mm:+.1f} +- {place.jump_sd_mm:.1f} mm along the line from where its wheel says"
    match one.kind:
        case "knock":
            return f"a knock of {one.size:.1f} {one.unit}", "given no weight"
        case "gap":
            told = on if moved else "; its place afterwards is uncertain by a turn of the wheel" if one.loose_mm else ""
            return "nothing was written", f"bridged{told}"
        case "hand":
            return f"a hand tilted the wagon by {one.size:.0f} deg while it stood", "given no weight"
        case "lift":
            told = on if moved else "; where it was set down only other passes can tell"
            return f"the wagon was lifted or tilted by {one.size:.0f} deg", f"given no weight{told}"
        case _:
            how = "turned too little" if one.kind == "slide" else "spun"
            return f"the wheel {how} by {abs(one.size):.1f} +- {one.sd:.1f} mm", "the distance was made good"

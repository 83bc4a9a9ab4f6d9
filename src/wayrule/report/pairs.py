"""What lies between two places, in a table and in a sentence."""

import math
from collections.abc import Sequence

from wayrule.model import Between
from wayrule.report.lengths import Lengths, metres
from wayrule.report.numbers import UNKNOWN, with_sd
from wayrule.report.readings import hand
from wayrule.report.tables import Table
from wayrule.units import DEG


def pair_table(pairs: Sequence[Between], lengths: Lengths) -> Table:
    """One row a pair: distance, way along the track, rise, turn and gap, each with its sd."""
    unit = lengths.metric
    rows = tuple(
        (
            f"{_place(pair.a)} to {_place(pair.b)}",
            lengths.both(pair.distance_mm, pair.distance_sd_mm)[0],
            lengths.both(pair.along_mm, pair.along_sd_mm)[0],
            lengths.both(pair.rise_mm, pair.rise_sd_mm)[0] if math.isfinite(pair.rise_mm) else UNKNOWN,
            with_sd(pair.turned_rad / DEG, pair.turned_sd_rad / DEG),
            *((lengths.both(pair.gap_mm, pair.gap_sd_mm)[0], metres(pair.foot_mm)) if _has_gap(pair) else ("–", "–")),
        )
        for pair in pairs
    )
    heads = ("From, to", f"Apart, {unit}", f"Along, {unit}", f"Rise, {unit}", "Turns, °", f"Gap, {unit}", "Gap at")
    return Table(
        "pairs",
        "What lies between two places: apart in plan, along the track, in height, and square to the other track.",
        heads,
        (False, True, True, True, True, True, True),
        rows,
        note="± is one sigma of the quantity itself: errors that both places share are not in it, the scale's is. "
        "Along the track runs the way chainage grows. The gap is square to the track that passes near the second "
        "place; where that track leads to the first place itself, there is none.",
    )


def pair_sentence(pair: Between, lengths: Lengths) -> str:
    """A pair in one sentence."""
    said = [
        f"{lengths.text(pair.distance_mm, pair.distance_sd_mm)} apart in plan",
        f"{lengths.text(pair.along_mm, pair.along_sd_mm)} along the track",
    ]
    if math.isfinite(pair.rise_mm):
        said.append(f"{lengths.text(abs(pair.rise_mm), pair.rise_sd_mm)} {'higher' if pair.rise_mm >= 0 else 'lower'}")
    else:
        said.append(f"rise {UNKNOWN}")
    turn = with_sd(abs(pair.turned_rad) / DEG, pair.turned_sd_rad / DEG, "°")
    said.append(f"turned {turn} ({hand(pair.turned_rad)})")
    if _has_gap(pair):
        gap = lengths.text(pair.gap_mm, pair.gap_sd_mm)
        said.append(f"gap to the track at {metres(pair.foot_mm)} {gap}")
    return f"From {_place(pair.a)} to {_place(pair.b)}: {', '.join(said)}."


def _has_gap(pair: Between) -> bool:
    return math.isfinite(pair.gap_mm)


def _place(word: str) -> str:
    """A chainage in metres, a mark by its name."""
    try:
        return metres(float(word))
    except ValueError:
        return word

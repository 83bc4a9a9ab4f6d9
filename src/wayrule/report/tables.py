"""The tables of a survey: rows of text, ready for a page; every number with its unit and sd, or none said."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model import Closure, Element, Estimate, Fault, Mark, Problem, Travel
from wayrule.report.lengths import Lengths, metres
from wayrule.report.numbers import MINUS, NO_BREAK, UNKNOWN, duration, one_in, pair, rounded, significant, with_sd
from wayrule.report.plansigns import first_of_each
from wayrule.report.readings import FAULT_NAMES, hand, ratio_text
from wayrule.report.travelfacts import speed_unit, travel_facts
from wayrule.units import DEG, scale_km_h, scale_mph

LONG_CELL: Final = 24


@dataclass(frozen=True, slots=True)
class Table:
    """A table as text.

    ident    anchor on the page
    caption  what it lists, units included
    heads    one per column
    numeric  for each column whether it holds numbers (set flush right)
    rows     as many cells as heads
    note     sentences below, or ""
    empty    the sentence to print when there are no rows
    """

    ident: str
    caption: str
    heads: tuple[str, ...]
    numeric: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    empty: str = ""

    @property
    def cards(self) -> bool:
        """Whether a phone shows each row as a card: many columns, or cells of more than `LONG_CELL` letters."""
        return len(self.heads) > 4 or any(len(cell) > LONG_CELL for row in self.rows for cell in row)

    def __post_init__(self) -> None:
        if len(self.numeric) != len(self.heads):
            raise ValueError(f"Table {self.ident}: {len(self.heads)} heads but {len(self.numeric)} kinds of column")
        for row in self.rows:
            if len(row) != len(self.heads):
                raise ValueError(f"Table {self.ident}: {len(self.heads)} heads but a row of {len(row)} cells: {row}")


def plan_table(elements: Sequence[Element], lengths: Lengths) -> Table:
    """Straights, arcs and transitions in order, in metric and imperial."""
    m, i = lengths.metric, lengths.imperial
    rows: list[tuple[str, ...]] = []
    for e in (e for e in elements if e.plane == "plan"):
        length = lengths.both(e.length_mm, e.length_sd_mm)
        turned = _plain_pair(e.turned_rad / DEG, e.turned_sd_rad / DEG)
        number = str(len(rows) + 1)
        rows.append((number, _plan_kind(e), metres(e.s0_mm), *length, *_radii(e, lengths), turned, _misfit(e, 1e3)))
    heads = (
        "No.",
        "Kind",
        "Starts at",
        f"Length, {m}",
        f"Length, {i}",
        f"Radius, {m}",
        f"Radius, {i}",
        "Turns, °",
        "Misfit, 1/m",
    )
    return Table(
        "plan-elements",
        "The pieces of the plan, in order of chainage. Left-hand curves turn by a positive angle.",
        heads,
        (True, False, True, True, True, True, True, True, True),
        tuple(rows),
        note="± is one sigma of the piece itself; the scale of the whole line (see what was learnt) comes on top. "
        "Misfit is the rms of curvature that the piece leaves unexplained.",
        empty="The plan was not divided into straights, arcs and transitions.",
    )


def profile_table(elements: Sequence[Element], lengths: Lengths) -> Table:
    """Grades and vertical curves in order, gradient in % and 1:n."""
    m, i = lengths.metric, lengths.imperial
    rows: list[tuple[str, ...]] = []
    for e in (e for e in elements if e.plane == "profile"):
        length = lengths.both(e.length_mm, e.length_sd_mm)
        mean = 0.5 * (e.gradient0 + e.gradient1)
        if e.kind == "grade":
            percent, words = _plain_pair(100 * mean, 100 * e.gradient_sd), f"{one_in(mean)}{_way(mean)}"
        else:
            percent = f"{_signed(100 * e.gradient0)} to {_signed(100 * e.gradient1)}"
            words = f"{one_in(e.gradient0)}{_way(e.gradient0)} to {one_in(e.gradient1)}{_way(e.gradient1)}"
        rise = lengths.both(e.rise_mm, e.rise_sd_mm)[0]
        kind = "grade" if e.kind == "grade" else "vertical curve"
        rows.append((str(len(rows) + 1), kind, metres(e.s0_mm), *length, percent, words, rise, _misfit(e, 100.0)))
    return Table(
        "profile-elements",
        "The pieces of the profile, in order of chainage. Climbing is positive.",
        (
            "No.",
            "Kind",
            "Starts at",
            f"Length, {m}",
            f"Length, {i}",
            "Gradient, %",
            "1 in n",
            f"Rise, {m}",
            "Misfit, %",
        ),
        (True, False, True, True, True, True, False, True, True),
        tuple(rows),
        note="± is one sigma of the piece itself. Rise is mean gradient times length. Misfit is the rms of gradient "
        "that the piece leaves unexplained.",
        empty="The profile was not divided into grades and vertical curves.",
    )


def fault_table(faults: Sequence[Fault]) -> Table:
    """Faults with the numbers they carry in the drawings."""
    rows = tuple(
        (str(i + 1), _fault_words(f), metres(f.s_mm), with_sd(abs(f.size), f.sd, "°" if f.unit == "deg" else f.unit))
        for i, f in enumerate(faults)
    )
    return Table(
        "faults",
        "Faults, numbered as in the drawings.",
        ("No.", "What", "Where", "Size"),
        (True, False, True, True),
        rows,
        empty="This survey lists no fault.",
    )


def closure_table(closure: Closure) -> Table:
    """Misclosure before and after the adjustment, plan and height apart."""
    before, after = closure.before, closure.after

    def row(head: str, words: Callable[[float], str], name: str) -> tuple[str, str, str]:
        return head, words(getattr(before, name)), words(getattr(after, name))

    rows = (
        row("Plan", _two_digits("mm"), "plan_mm"),
        row("Plan, share of the length", _two_digits("%"), "plan_percent_of_length"),
        row("Plan, ratio to what the sigmas predict", _ratio, "ratio_plan"),
        row("Height", _two_digits("mm"), "height_mm"),
        row("Height, ratio to what the sigmas predict", _ratio, "ratio_height"),
        row("Heading", _two_digits("°", DEG), "heading_rad"),
    )
    return Table(
        "closure",
        "By how much the closed line misses its own start.",
        ("", "Before adjustment", "After"),
        (False, True, True),
        rows,
        note=f"{_laps(closure)} A closed line cannot check its own length scale: that rests on the caliper or a tape. "
        f"Before adjustment, plan: {ratio_text(before.ratio_plan)}; height: {ratio_text(before.ratio_height)}.",
    )


def run_table(travels: Sequence[Travel], ratio: float) -> Table:
    """One row for each run: distance, time, stops, top speed and scale speed."""
    rows = []
    facts = [travel_facts(t) for t in travels]
    unit, size = speed_unit(np.array([f.top_mm_s for f in facts]))
    for t, f in zip(travels, facts, strict=True):
        rows.append(
            (
                t.run,
                _plain_pair(f.net_mm / 1000.0, f.net_sd_mm / 1000.0),
                duration(f.duration_s),
                duration(f.rolling_s),
                str(len(f.stops)),
                _plain_pair(f.top_mm_s / size, f.top_sd_mm_s / size),
                _plain_pair(scale_km_h(f.top_mm_s, ratio), scale_km_h(f.top_sd_mm_s, ratio)),
                _plain_pair(scale_mph(f.top_mm_s, ratio), scale_mph(f.top_sd_mm_s, ratio)),
            )
        )
    scale = "scale " if ratio >= 2 else ""
    return Table(
        "runs",
        "Distance, time and speed of each run.",
        ("Run", "Distance, m", "Time", "Rolling", "Stops", f"Top, {unit}", f"Top, {scale}km/h", f"Top, {scale}mph"),
        (False, True, True, True, True, True, True, True),
        tuple(rows),
        note="Distance is from the first sample to the last, positive towards the wagon's marked front. Top speed is "
        "the fastest mean over one second. Stops last half a second or more and include those at the ends.",
        empty="No run is part of this survey.",
    )


def estimate_table(estimates: Sequence[Estimate]) -> Table:
    """What was learnt of wagon and runs."""
    rows = tuple((e.name, with_sd(e.value, e.sd, e.unit), e.source) for e in estimates)
    return Table(
        "estimates",
        "What was learnt of the wagon and its runs.",
        ("What", "Value", "From"),
        (False, True, False),
        rows,
        empty="Nothing was estimated besides the track.",
    )


def decision_table(decisions: Sequence[tuple[str, str, str, str]]) -> Table:
    """Choices that the data made, and how to overrule them."""
    return Table(
        "decisions",
        "What the data decided.",
        ("What", "Answer", "Why", "To overrule"),
        (False,) * 4,
        tuple(decisions),
        empty="Nothing had to be decided.",
    )


def problem_table(problems: Sequence[Problem], ident: str = "problems") -> Table:
    """Problems of the inputs, each once."""
    rows = tuple(dict.fromkeys((p.kind, str(p.count), p.where, p.done, p.text) for p in problems))
    return Table(
        ident,
        "Problems found in the inputs.",
        ("Kind", "Count", "Where", "Done", "In full"),
        (False, True, False, False, False),
        rows,
        empty="No problem was found in the inputs.",
    )


def mark_table(marks: Sequence[tuple[float, Mark]]) -> Table:
    """Marks along the line; a mark passed several times stands at the mean of its places."""
    rows = tuple((name, metres(s_mm)) for name, s_mm in sorted(first_of_each(marks), key=lambda m: m[1]))
    return Table("marks", "Marks along the line.", ("Mark", "Chainage"), (False, True), rows, empty="No mark was set.")


def input_table(inputs: Sequence[tuple[str, str, str]]) -> Table:
    """The files that went in, with their digests."""
    return Table(
        "inputs",
        "Inputs, with the SHA-256 digest of each file.",
        ("Role", "File", "SHA-256"),
        (False,) * 3,
        tuple(inputs),
        empty="The inputs are not recorded.",
    )


def _plan_kind(e: Element) -> str:
    if e.kind == "arc":
        return f"arc, {hand(e.curvature0_1_mm + e.curvature1_1_mm)}"
    return e.kind


def _radii(e: Element, lengths: Lengths) -> tuple[str, str]:
    if e.kind == "straight":
        return ("–", "–")
    k0, k1 = e.curvature0_1_mm, e.curvature1_1_mm
    if e.kind == "transition":
        return tuple(  # type: ignore[return-value]
            f"{_radius_or_straight(k0, unit)} to {_radius_or_straight(k1, unit)}"
            for unit in (lengths.metric_mm, lengths.imperial_mm)
        )
    k = 0.5 * (k0 + k1)
    if k == 0 or not math.isfinite(k):
        return (UNKNOWN, UNKNOWN)
    return lengths.both(abs(e.radius_mm), e.radius_sd_mm)


def _radius_or_straight(k: float, unit_mm: float) -> str:
    return significant(abs(1 / k) / unit_mm, 3) if abs(k) > 1e-7 else "straight"


def _misfit(e: Element, factor: float) -> str:
    return significant(e.misfit * factor, 2) if math.isfinite(e.misfit) else "–"


def _plain_pair(value: float, sd: float) -> str:
    number, spread = pair(value, sd)
    return f"{number}{NO_BREAK}±{NO_BREAK}{spread}" if spread else number


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + significant(value, 3)


def _way(gradient: float) -> str:
    if one_in(gradient) in ("level", UNKNOWN):
        return ""
    return " up" if gradient > 0 else " down"


def _fault_words(f: Fault) -> str:
    side = {
        "kink": " to the left" if f.size > 0 else " to the right",
        "lateral": " to the left" if f.size > 0 else " to the right",
        "twist": ", left rail up" if f.size > 0 else ", right rail up",
        "one_rail_dip": f" ({f.rail})" if f.rail else "",
    }
    return FAULT_NAMES[f.kind] + side.get(f.kind, "")


def _two_digits(unit: str, size: float = 1.0) -> Callable[[float], str]:
    def words(value: float) -> str:
        return f"{significant(value / size, 2)}{NO_BREAK}{unit}" if math.isfinite(value) else UNKNOWN

    return words


def _ratio(value: float) -> str:
    return rounded(value, -2) if math.isfinite(value) else UNKNOWN


def _laps(closure: Closure) -> str:
    turn = closure.turns_per_lap
    way = "left" if turn > 0 else "right"
    turns = f"one whole turn to the {way}" if abs(turn) == 1 else f"{str(turn).replace('-', MINUS)} whole turns"
    return f"{significant(closure.laps, 3)} laps, {'no net turn' if turn == 0 else turns} a lap."

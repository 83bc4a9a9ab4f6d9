"""What is judged: a surveyed line with the rules and the train, and how a finding on it is worded."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.model import Element, Finding, Rule, RuleSet, Surveyed, Train
from wayrule.model.arrays import Array
from wayrule.model.rule import QUANTITIES
from wayrule.track.judge.verdict import NEAR, SURE, judged, needed_sd
from wayrule.track.rules.nem import buffer_group

BY_HAND: Final = {
    "radius": "or lay a radius template or a chord of known length there",
    "transition": "or take versines on a chord every few centimetres there",
    "between_reverse": "or take versines on a chord every few centimetres there",
    "gradient": "or lay a level there, turned end for end",
    "compensated": "or lay a level there, turned end for end",
    "straight_edge": "or lay a straight-edge there with a feeler gauge",
    "vertical_radius": "or lay a straight-edge there with a feeler gauge",
    "kink": "or lay a straight-edge along the rail head there",
    "lateral": "or stretch a thread along the rail there",
    "spacing": "or measure between the track centres with a caliper",
    "clearance": "or push the two longest cars past each other there",
}
"""What a ruler can do where the survey cannot tell; for all others a level across the rails with feeler gauges."""

ACROSS: Final = "or lay a level across the rails there with a feeler gauge"

SHORT_FT: Final = 50.0
FOOT_MM: Final = 304.8

VERDICT_WORDS: Final = {"pass": "keeps", "near": "is near", "fail": "breaks", "cannot_tell": "may or may not keep"}


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """A surveyed line, the rules, and what is to run on it."""

    line: Surveyed
    rules: RuleSet
    train: Train

    @property
    def gauge_mm(self) -> float:
        """Of the track."""
        return self.line.stations.gauge_mm

    @property
    def longest_mm(self) -> float:
        """Body of the longest vehicle."""
        return self.train.longest.length_mm

    def limit(self, rule: Rule) -> float:
        """A rule's limit in the quantity's own unit."""
        return rule.value(self.gauge_mm, self.longest_mm)

    def applies(self, rule: Rule) -> bool:
        """Whether a rule is for this stock."""
        if not rule.stock:
            return True
        if rule.stock.startswith("bodies"):
            short = self.longest_mm * self.line.ratio <= SHORT_FT * FOOT_MM
            return short == (rule.stock == "bodies to 50 ft")
        return any(
            one.coupler == "buffers"
            and rule.stock == f"buffers, group {buffer_group(one.pivots_mm, self.line.ratio, bogies=one.bogie_mm > 0)}"
            for one in self.train.vehicles
        )

    def pieces(self, plane: str) -> tuple[Element, ...]:
        """Elements of a plane by chainage."""
        return self.line.pieces[plane]

    def neighbours(self, plane: str) -> Iterator[tuple[Element | None, Element, Element | None]]:
        """Each piece with the one before and the one after; on a closed line the last comes before the first."""
        pieces = self.pieces(plane)
        n, closed = len(pieces), self.line.stations.closed and len(pieces) > 2
        for i, piece in enumerate(pieces):
            before = pieces[i - 1] if i or closed else None
            after = pieces[(i + 1) % n] if i + 1 < n or closed else None
            yield before, piece, after

    def point(self, s_mm: float) -> tuple[float, float]:
        """Place on the map."""
        st = self.line.stations
        s = s_mm % st.length_mm if st.closed else s_mm
        return float(np.interp(s, st.s_mm, st.x_mm)), float(np.interp(s, st.s_mm, st.y_mm))

    def nearest_mark(self, s_mm: float) -> tuple[str, float]:
        """Nearest mark and how far past it a place lies [mm]; "" and NaN without marks."""
        st = self.line.stations
        best = ("", math.nan)
        for at, mark in self.line.marks:
            past = s_mm - at
            if st.closed:
                past = (past + 0.5 * st.length_mm) % st.length_mm - 0.5 * st.length_mm
            if math.isfinite(past) and not abs(past) >= abs(best[1]):
                best = (mark.name, past)
        return best

    def finding(
        self,
        rule: Rule,
        size: float,
        sd: float,
        s_mm: float,
        *,
        ends: tuple[float, float] | None = None,
        what: str = "",
        places: int = 1,
        rail: str = "",
        limit: float = math.nan,
    ) -> Finding:
        """A size held against a rule: verdict, words, and what would settle it.

        Parameters
        ----------
        what : in the place of the quantity's meaning
        limit : in the place of the rule's own, for limits that change along the line
        """
        limit = self.limit(rule) if math.isnan(limit) else limit
        found = judged(size, sd, limit, rule.sense, places=places)
        s0, s1 = ends or (s_mm, s_mm)
        x, y = self.point(s_mm)
        mark, past = self.nearest_mark(s_mm)
        return Finding(
            kind=rule.quantity, verdict=found.verdict, s_mm=s_mm, s0_mm=min(s0, s_mm), s1_mm=max(s1, s_mm),
            x_mm=x, y_mm=y, size=size, sd=sd, limit=limit, unit=rule.size_unit, sense=rule.sense, rule=rule.id,
            words=_words(rule, size, sd, limit, found.verdict, what or QUANTITIES[rule.quantity], s_mm, mark, past),
            why=rule.why, source=rule.source, rail=rail, mark=mark, mark_mm=past,
            settle=_settle(rule.quantity, size, sd, limit, rule.size_unit) if found.verdict == "cannot_tell" else "",
        )  # fmt: skip

    def scanned(
        self, rule: Rule, size: Array, sd: Array, *, window_mm: float, what: str = "", limit: float = math.nan
    ) -> list[Finding]:
        """Findings of a size that is known at every station: one for each stretch that does not clearly pass, or the
        worst place of a line that passes throughout.

        size, sd   (n,) at the stations, the size without sign; window_mm: over what length it is measured
        """
        s = self.line.stations.s_mm
        limit = self.limit(rule) if math.isnan(limit) else limit
        places = max(1, round(self.line.stations.length_mm / max(window_mm, 1.0)))
        spare = (size - limit) if rule.sense == "at least" else (limit - size)
        known = np.isfinite(size) & np.isfinite(sd)
        if not known.any():
            return [self.finding(rule, math.nan, math.nan, float(s[len(s) // 2]), ends=_ends(s), what=what)]
        doubtful = known & ((spare <= NEAR * limit) | (spare < SURE * sd))
        edges = np.flatnonzero(np.diff(np.concatenate([[0], doubtful.astype(np.int8), [0]])))
        stretches = list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)) or [(0, len(s))]
        out = []
        for a, b in _joined(stretches, s, window_mm):
            part = np.where(known[a:b], spare[a:b] / np.maximum(sd[a:b], 1e-12), np.inf)
            i = a + int(np.argmin(part))
            ends = (float(s[a]), float(s[b - 1])) if doubtful.any() else None
            out.append(
                self.finding(
                    rule, float(size[i]), float(sd[i]), float(s[i]), ends=ends, what=what, places=places, limit=limit
                )
            )
        return out


def _ends(s: Array) -> tuple[float, float]:
    return float(s[0]), float(s[-1])


def _joined(stretches: Iterable[tuple[int, int]], s: Array, gap_mm: float) -> list[tuple[int, int]]:
    """Stretches (first, one past the last) with less than a gap between them become one."""
    out: list[tuple[int, int]] = []
    for a, b in stretches:
        if out and s[a] - s[out[-1][1] - 1] < gap_mm:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out


def short(value: float, digits: int) -> str:
    """So many digits, whole numbers from there on.

    >>> short(886.2, 2), short(0.01234, 2), short(16500.4, 4)
    ('886', '0.012', '16500')
    """
    return f"{value:.0f}" if abs(value) >= 10**digits else f"{value:.{digits}g}"


def number(value: float, unit: str) -> str:
    """A size with its unit, four digits at most.

    >>> number(0.01234, "1"), number(437.24, "mm"), number(2.5, "%")
    ('0.01234', '437.2 mm', '2.5 %')
    """
    text = short(value, 4)
    return text if unit == "1" else f"{text} {unit.replace('deg', '°')}"


def _words(
    rule: Rule, size: float, sd: float, limit: float, verdict: str, what: str, s_mm: float, mark: str, past: float
) -> str:
    """One sentence: what, how large, where, and what of the limit."""
    where = f"at {s_mm / 1000:.2f} m"
    if mark:
        where += f" ({abs(past):.0f} mm {'past' if past >= 0 else 'before'} {mark})"
    known = "" if math.isnan(sd) else f" ± {short(sd, 2)}"
    told = "not known" if math.isnan(size) else number(size, rule.size_unit) + known
    held = f"{VERDICT_WORDS[verdict]} {rule.sense} {number(limit, rule.size_unit)}"
    return f"{what[:1].upper()}{what[1:]}: {told} {where}; {held}."


def _settle(quantity: str, size: float, sd: float, limit: float, unit: str) -> str:
    """What would settle it."""
    by_hand = BY_HAND.get(quantity, ACROSS)
    if math.isnan(size) or math.isnan(sd):
        return f"the survey does not know it: survey with a sensor that sees it, {by_hand}"
    need = needed_sd(size, limit)
    if quantity in ("cant", "cant_against"):
        return (
            f"a sigma of {number(need, unit)}: a run with the wagon turned round, which cancels its own lean, {by_hand}"
        )
    times = max(2, math.ceil((sd / need) ** 2))
    passes = f"{times} times as many passes over it" if times <= 20 else "a calibrated wagon and more passes"
    return f"a sigma of {number(need, unit)}: {passes}, {by_hand}"

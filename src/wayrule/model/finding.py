"""A finding: one place of the track held against one rule, with how sure that is."""

import math
from dataclasses import dataclass
from typing import Final, Literal

from wayrule.model.rule import RuleSet
from wayrule.model.stock import Train
from wayrule.model.surveyed import Surveyed

Verdict = Literal["pass", "near", "fail", "cannot_tell"]

VERDICTS: Final[tuple[Verdict, ...]] = ("fail", "cannot_tell", "near", "pass")
"""The worst first."""

FINDING_COLUMNS: Final = (
    "kind", "verdict", "s_mm", "s0_mm", "s1_mm", "x_mm", "y_mm", "size", "sd", "limit", "unit", "sense", "rail", "rule",
    "mark", "mark_mm", "words", "why", "source", "settle",
)  # fmt: skip
"""Columns of findings.csv."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One verdict.

    kind           a quantity of `wayrule.model.rule.QUANTITIES`
    verdict        pass: on the right side by two sigmas or more; fail: on the wrong side by two sigmas or more; where
                   many places were looked at, by so much more that chance alone does not make one of them;
                   near: on the right side with less than a tenth of the limit to spare, or within a tenth of it and
                   too close to call; cannot_tell: the sigma reaches too far over the limit, or is not known
    s_mm           where it is worst; s0_mm, s1_mm: from where to where
    x_mm, y_mm     on the map
    size, sd       of the quantity in `unit`, and its standard deviation; NaN where it is not known
    limit, sense   what it was held against: "at least" or "at most"
    rail           "left", "right" or "" for both
    rule           id of the rule
    mark, mark_mm  nearest mark and how far past it the place lies, the way chainage grows; "" and NaN without marks
    words          what and where, one sentence
    why            why it matters for the stock that was named
    source         document, edition, clause
    settle         what would settle it; "" unless it cannot be told
    """

    kind: str
    verdict: Verdict
    s_mm: float
    s0_mm: float
    s1_mm: float
    x_mm: float
    y_mm: float
    size: float
    sd: float
    limit: float
    unit: str
    sense: str
    rule: str
    words: str
    why: str
    source: str
    settle: str = ""
    rail: str = ""
    mark: str = ""
    mark_mm: float = math.nan

    def __post_init__(self) -> None:
        if self.verdict not in VERDICTS:
            raise ValueError(f"Finding.verdict: expected one of {', '.join(VERDICTS)}, came {self.verdict!r}")
        if (self.verdict == "cannot_tell") != bool(self.settle):
            raise ValueError("Finding.settle: expected what would settle it, exactly where it cannot be told")
        if not self.s0_mm <= self.s_mm <= self.s1_mm:
            raise ValueError(
                f"Finding: expected s0_mm <= s_mm <= s1_mm, came {self.s0_mm:g}, {self.s_mm:g}, {self.s1_mm:g}"
            )


@dataclass(frozen=True, slots=True)
class Risk:
    """A place where a derailment is likelier than elsewhere. This is judgement, not a standard.

    score     0 and up; only its order means something
    reasons   (what, share of the score), the greatest first
    """

    s_mm: float
    x_mm: float
    y_mm: float
    score: float
    reasons: tuple[tuple[str, float], ...]
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """A line that has been judged for a train.

    findings   the worst verdicts first
    risks      places where a derailment is likelier than elsewhere, the worst first
    """

    line: Surveyed
    rules: RuleSet
    train: Train
    findings: tuple[Finding, ...]
    risks: tuple[Risk, ...]

    def count(self, verdict: Verdict) -> int:
        """How many findings have a verdict."""
        return sum(one.verdict == verdict for one in self.findings)

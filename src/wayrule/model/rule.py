"""A limit as data: what is held against what, in which document it stands, and how well that is known."""

import dataclasses
import math
from dataclasses import dataclass
from typing import Final, Literal

from wayrule.errors import UsageError

Sense = Literal["at least", "at most"]
RuleUnit = Literal["mm", "x gauge", "x longest", "%", "deg", "1"]

QUANTITIES: Final[dict[str, str]] = {
    "radius": "radius of a curve",
    "attack": "angle at which the leading wheel of the longest rigid frame meets the rail",
    "transition_shift": "how far a transition, or the lack of one, moves the curve inwards: L squared over 24 R",
    "transition": "length of a transition",
    "between_reverse": "straight between two curves of opposite hand",
    "gradient": "gradient, up or down",
    "compensated": "gradient together with the resistance of the curve on it",
    "vertical_radius": "radius of a vertical curve",
    "straight_edge": "gap under a straight-edge laid on the rail",
    "cant": "cant, either way",
    "cant_against": "cant against the curve: the inner rail is high",
    "cant_ramp": "change of cant for each mm along the track",
    "twist": "change of cant over the wheelbase",
    "kink": "angle at a joint",
    "dip": "depth of a dip",
    "hump": "height of a hump",
    "one_rail_dip": "depth of a dip of one rail",
    "lateral": "sideways bend out of line",
    "spacing": "between the centres of two tracks side by side",
    "clearance": "free space between the bodies of the stock on two tracks side by side",
    "coupler": "sideways offset of coupler against coupler",
}
"""What can be judged: name -> meaning."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One limit.

    id         "nem113.transition": how a person names it to change it
    quantity   one of `QUANTITIES`
    sense      the quantity is to be "at least" or "at most" the limit
    limit      in `unit`: mm, x gauge, x longest (length of the longest vehicle), %, deg, 1
    document, edition, clause   where it stands; document "own," for a limit of the user's
    status     "confirmed", "computed", "from memory", "own": how well the figure is known
    base_mm    of a straight-edge or a twist; NaN where there is none (twist: the wheelbase of the stock)
    above_gauges   the rule asks nothing of curves wider than so many gauges; infinite: it always asks
    coefficient_mm   curve compensation: equivalent grade of a curve is coefficient / radius; NaN where there is none
    stock      kind of stock that it is for: "bodies to 50 ft", "bodies over 50 ft" (full size), "buffers, group B"
               (touching side buffers, group of NEM 111); "" for all
    why        what goes wrong where it is not kept, one sentence
    """

    id: str
    quantity: str
    sense: Sense
    limit: float
    unit: RuleUnit
    document: str
    edition: str
    clause: str
    status: str
    why: str
    base_mm: float = math.nan
    above_gauges: float = math.inf
    coefficient_mm: float = math.nan
    stock: str = ""

    def __post_init__(self) -> None:
        if self.quantity not in QUANTITIES:
            raise ValueError(f"Rule {self.id}: expected a quantity of {', '.join(QUANTITIES)}, came {self.quantity!r}")
        if not (math.isfinite(self.limit) and self.limit >= 0):
            raise ValueError(f"Rule {self.id}: expected a limit of 0 or more, came {self.limit}")

    @property
    def source(self) -> str:
        """Where it stands, and how well that is known."""
        where = " ".join(part for part in (self.document, self.edition, self.clause) if part)
        return f"{where} ({self.status})" if self.status not in ("confirmed", "own") else where

    def value(self, gauge_mm: float, longest_mm: float) -> float:
        """The limit in the quantity's own unit; a limit in gauges or vehicle lengths becomes mm.

        >>> Rule("r", "radius", "at least", 3.0, "x longest", "rule of thumb", "", "", "confirmed", "").value(16.5, 300)
        900.0
        """
        return self.limit * {"x gauge": gauge_mm, "x longest": longest_mm}.get(self.unit, 1.0)

    @property
    def size_unit(self) -> str:
        """Unit of the judged size: that of the limit, mm for multiples."""
        return "mm" if self.unit.startswith("x ") else self.unit


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules that are judged together.

    name    as a person asks for it
    words   what it is for, one sentence
    """

    name: str
    words: str
    rules: tuple[Rule, ...]

    def __post_init__(self) -> None:
        ids = [rule.id for rule in self.rules]
        if len(set(ids)) != len(ids):
            raise ValueError(f"RuleSet {self.name}: expected each id once, came {', '.join(sorted(ids))}")

    def of(self, quantity: str) -> tuple[Rule, ...]:
        """The rules for a quantity; () where it has none."""
        return tuple(rule for rule in self.rules if rule.quantity == quantity)

    def limited(self, rule_id: str, limit: float) -> "RuleSet":
        """The same set with one limit changed, in that rule's unit; the rule is the owner's from then on.

        Raises
        ------
        UsageError   for an id that the set does not have, or a limit that is none
        """
        where = f"rule set {self.name}"
        if rule_id not in {rule.id for rule in self.rules}:
            known = ", ".join(rule.id for rule in self.rules)
            raise UsageError(expected=f"one of {known}", came=repr(rule_id), where=where, next_step="name one of these")
        if not (math.isfinite(limit) and limit >= 0):
            raise UsageError(
                expected="a limit of 0 or more",
                came=f"{limit:g}",
                where=f"{where}, {rule_id}",
                next_step="give a number",
            )
        changed = (_owned(rule, limit) if rule.id == rule_id else rule for rule in self.rules)
        return dataclasses.replace(self, rules=tuple(changed))


def _owned(rule: Rule, limit: float) -> Rule:
    """The same rule with the owner's limit."""
    instead = f"instead of {rule.document} {rule.clause}".strip()
    return dataclasses.replace(rule, limit=limit, document="own,", edition="", clause=instead, status="own")

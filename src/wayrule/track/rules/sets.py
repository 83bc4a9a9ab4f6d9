"""Rule sets by name, made for a gauge and a scale."""

import dataclasses
import math
from collections.abc import Callable
from typing import Final

from wayrule.errors import UsageError
from wayrule.model import Rule, RuleSet
from wayrule.track.rules import nem
from wayrule.track.rules.practice import EDGE_MM, HO_GAUGE_MM, compensation_mm, published, vertical_radius_mm
from wayrule.units import INCH_MM

OWN_SHARES: Final = {"dip": 1 / 33, "hump": 1 / 33, "one_rail_dip": 1 / 24, "twist": 1 / 33, "lateral": 1 / 22}
"""Limits of local faults as shares of the gauge (0.5, 0.7 and 0.75 mm in HO): common practice, no source."""

KINK_DEG: Final = 1.0
"""Common practice, no source."""

WHY: Final = {
    "radius": "long stock overhangs, couplers reach their stops and rigid frames bind",
    "attack": "the leading flange meets the rail so bluntly that it climbs",
    "transition": "cars end to end are thrown sideways where the curve begins at once",
    "between_reverse": "couplers of long cars are pulled to opposite sides at once",
    "gradient": "trains stall or run away",
    "compensated": "the curve on the grade adds its resistance to it",
    "vertical_radius": "couplers slip apart over the edge, pilots touch, end wheels lift",
    "straight_edge": "couplers slip apart over the edge, pilots touch, end wheels lift",
    "cant": "light cars lean in and tip inwards when a long train is pulled",
    "cant_against": "the outer rail is low where the flange presses: cars tip and climb outwards",
    "cant_ramp": "a stiff car stands on three wheels where cant changes fast",
    "twist": "a stiff car stands on three wheels, and the fourth climbs",
    "kink": "each flange strikes the rail head and may climb there",
    "dip": "cars pitch, and couplers slip at speed",
    "hump": "end wheels are unloaded, couplers slip, pilots touch",
    "one_rail_dip": "the wheel over the dip is unloaded while its flange still steers",
    "lateral": "cars are thrown from side to side",
    "spacing": "trains side by side touch",
    "clearance": "trains side by side touch",
    "coupler": "the coupler reaches its stop and lifts or drags its car out of the track",
}
"""What goes wrong; common knowledge of the trade, no source."""

SETS: Final[dict[str, str]] = {
    "usual": "rules of thumb and NEM sheets for stock that runs well; the default",
    "nem": "NEM sheets alone",
    "fine": "for looks and long trains: gentler than usual",
    "short": "industrial and narrow stock, short cars, sharp curves",
    "nmra": "older NMRA radius classes (N, HO, O 1:48), with rules of thumb",
    "full-size": "full-size practice, scaled",
}
"""Rule sets: name -> what for."""


def rule_set(name: str, gauge_mm: float, ratio: float) -> RuleSet:
    """A rule set for a gauge and a scale.

    Raises
    ------
    UsageError   for a name that no set has, or one that has no rows for the scale

    Examples
    --------
    >>> rules = rule_set("usual", 16.5, 87.0)
    >>> [rule.limit for rule in rules.of("gradient")]
    [4.0]
    """
    made: dict[str, Callable[[float, float], list[Rule]]] = {
        "usual": _usual, "nem": _nem, "fine": _fine, "short": _short, "nmra": _nmra, "full-size": _full,
    }  # fmt: skip
    if name not in made:
        raise UsageError(
            expected=f"a rule set: {', '.join(SETS)}, or the path of a rule file",
            came=repr(name),
            where="--rules",
            next_step="name one of these, or write your own limits into a file",
        )
    return RuleSet(name, SETS[name], tuple(made[name](gauge_mm, ratio)))


def _thumb(ident: str, quantity: str, sense: str, unit: str, name: str, *, factor: float = 1.0) -> Rule:
    """A rule from a published figure."""
    p = published(ident)
    return Rule(
        name, quantity, sense, p.value * factor, unit, p.document, "", "", p.status, WHY[quantity],  # type: ignore[arg-type]
    )  # fmt: skip


def _local(gauge_mm: float) -> list[Rule]:
    """Limits of local faults: common practice."""
    own = ("common practice", "", "", "no source")
    shares = [
        Rule(f"local.{q}", q, "at most", round(share * gauge_mm, 3), "mm", *own, WHY[q])
        for q, share in OWN_SHARES.items()
    ]
    return [*shares, Rule("local.kink", "kink", "at most", KINK_DEG, "deg", *own, WHY["kink"])]


def _nem(gauge_mm: float, ratio: float) -> list[Rule]:
    """The sheets' rules."""
    near = nem.nearest_gauge(gauge_mm)
    exact = "confirmed" if near == gauge_mm else f"carried over from {near:g} mm gauge"
    rules = [
        Rule("nem111.attack", "attack", "at most", nem.ATTACK_DEG, "deg", "NEM 111", "2016", "s2.1", "confirmed",
             WHY["attack"]),
        Rule("nem113.transition", "transition", "at least", 1.0, "x longest", "NEM 113", "2016", "s3.2", "confirmed",
             WHY["transition"], above_gauges=nem.WITHOUT_TRANSITION_GAUGES),
        Rule("nem111.reverse", "between_reverse", "at least", 1.0, "x longest", "NEM 111", "2016", "s3.2", "confirmed",
             WHY["between_reverse"]),
        Rule("nem114.cant", "cant", "at most", nem.CANT_SHARE * gauge_mm, "mm", "NEM 114", "2007", "s1", "confirmed",
             WHY["cant"]),
        Rule("nem114.against", "cant_against", "at most", 0.5 * nem.CANT_SHARE * gauge_mm, "mm", "half of NEM 114",
             "2007", "s1", "no source", WHY["cant_against"]),
    ]  # fmt: skip
    straight = _spacing(ratio, math.inf)
    if straight:
        rules.append(
            Rule("nem112.spacing", "spacing", "at least", straight, "mm", "NEM 112", "edition unknown", "open line",
                 exact, WHY["spacing"])
        )  # fmt: skip
    return [*rules, *_buffers(), *_clear(gauge_mm)]


def _buffers() -> list[Rule]:
    """Least radii for stock whose side buffers touch, a rule for each group."""
    return [
        Rule(f"nem111.buffers.{group}", "radius", "at least", gauges, "x gauge", "NEM 111", "2016", "s3.2", "confirmed",
             "side buffers lock behind each other", stock=f"buffers, group {group}")
        for group, (_, _, gauges) in nem.BUFFERS.items()
    ]  # fmt: skip


def _clear(gauge_mm: float) -> list[Rule]:
    return [
        Rule("own.clearance", "clearance", "at least", round(0.12 * gauge_mm, 2), "mm", "common practice", "", "",
             "no source", WHY["clearance"])
    ]  # fmt: skip


def _spacing(ratio: float, radius_mm: float) -> float | None:
    """Spacing of the open line in the scale's table; None where the sheet is not at hand."""
    scale = {160: "N", 120: "TT", 87: "H0"}.get(round(ratio))
    return nem.SPACING[scale].get(radius_mm) if scale else None


def _vertical(gauge_mm: float) -> list[Rule]:
    """The straight-edge of the community standard, edge and gap in proportion to the gauge."""
    edge, gap = EDGE_MM * gauge_mm / HO_GAUGE_MM, published("vertical.edge").value * gauge_mm / HO_GAUGE_MM
    status = "confirmed" if gauge_mm == HO_GAUGE_MM else "carried over from HO"
    standard = published("vertical.edge").document
    return [
        Rule("vertical.edge", "straight_edge", "at most", gap, "mm", standard, "", f"{edge:.0f} mm edge", status,
             WHY["straight_edge"], base_mm=edge),
        Rule("vertical.radius", "vertical_radius", "at least", round(vertical_radius_mm(gap, edge)), "mm", standard,
             "", "as a radius", "computed", WHY["vertical_radius"]),
    ]  # fmt: skip


def _grades(ratio: float, ident: str) -> list[Rule]:
    """The gradient alone, and with the curve's resistance."""
    plain = _thumb(ident, "gradient", "at most", "%", ident)
    thumb = published("compensation.ho")
    both = Rule(
        "gradient.compensated", "compensated", "at most", plain.limit, "%", thumb.document, "",
        "with 32 / R (inch, HO)", thumb.status, WHY["compensated"], coefficient_mm=compensation_mm(ratio),
    )  # fmt: skip
    return [plain, both]


def _without(rules: list[Rule], *ids: str) -> list[Rule]:
    return [rule for rule in rules if rule.id not in ids]


def _usual(gauge_mm: float, ratio: float) -> list[Rule]:
    radius = _thumb("radius.3cars", "radius", "at least", "x longest", "radius.cars")
    return [radius, *_grades(ratio, "gradient.most"), *_vertical(gauge_mm), *_nem(gauge_mm, ratio), *_local(gauge_mm)]


def _fine(gauge_mm: float, ratio: float) -> list[Rule]:
    radius = _thumb("radius.5cars", "radius", "at least", "x longest", "radius.cars")
    shift = Rule(
        "nem113.shift", "transition_shift", "at least", nem.shift_mm(gauge_mm), "mm", "NEM 113", "2016", "s3.1 table 1",
        "confirmed", WHY["transition"], above_gauges=nem.WITHOUT_TRANSITION_GAUGES,
    )  # fmt: skip
    tighter = [
        shift,
        *_grades(ratio, "gradient.usual"),
        *_vertical(gauge_mm),
        *_nem(gauge_mm, ratio),
        *_local(gauge_mm),
    ]
    return [radius, *tighter]


def _short(gauge_mm: float, ratio: float) -> list[Rule]:
    radius = _thumb("radius.2cars", "radius", "at least", "x longest", "radius.cars")
    kept = _without(_nem(gauge_mm, ratio), "nem113.transition", "nem112.spacing")
    return [radius, *_grades(ratio, "gradient.most"), *_vertical(gauge_mm), *kept, *_local(gauge_mm)]


def _nmra(gauge_mm: float, ratio: float) -> list[Rule]:
    classes = {
        87: (("radius.rp11.ho", "bodies over 50 ft"), ("radius.rp11.ho.short", "bodies to 50 ft")),
        160: (("radius.rp11.n", "bodies over 50 ft"), ("radius.rp11.n.short", "bodies to 50 ft")),
        48: (("radius.rp11.o.80ft", "bodies over 50 ft"),),
    }
    known = classes.get(round(ratio))
    if known is None:
        raise UsageError(
            expected="a line in HO (1:87), N (1:160) or O (1:48), for which its classes are at hand",
            came=f"1:{ratio:g}",
            where="--rules nmra",
            next_step="take --rules usual, and --limit radius.cars=... for your own",
        )
    radii = [
        dataclasses.replace(_thumb(ident, "radius", "at least", "mm", name, factor=INCH_MM), stock=stock)
        for (ident, stock), name in zip(known, ("rp11.radius", "rp11.short"), strict=False)
    ]
    return [*radii, *_without(_usual(gauge_mm, ratio), "radius.cars")]


def _full(gauge_mm: float, ratio: float) -> list[Rule]:
    scaled = 1000.0 / ratio
    ramp = published("cant.ramp")
    return [
        _thumb("radius.full", "radius", "at least", "mm", "full.radius", factor=scaled),
        _thumb("vertical.industrial", "vertical_radius", "at least", "mm", "full.vertical", factor=scaled),
        Rule("full.ramp", "cant_ramp", "at most", ramp.value, "1", ramp.document, "", "", ramp.status,
             WHY["cant_ramp"]),
        Rule("full.reverse", "between_reverse", "at least", 1.0, "x longest", "NEM 111", "2016", "s3.2", "confirmed",
             WHY["between_reverse"]),
        *_grades(ratio, "gradient.usual"),
        *_clear(gauge_mm),
        *_local(gauge_mm),
    ]  # fmt: skip

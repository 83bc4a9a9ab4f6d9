"""Rules, stock and findings that cannot be are refused; a limit in gauges or vehicle lengths becomes mm."""

import dataclasses
import math

import pytest

from wayrule.errors import UsageError
from wayrule.model import Finding, Rule, RuleSet, Train, Vehicle

RULE = Rule("a.radius", "radius", "at least", 60.0, "x gauge", "NEM 113", "2016", "1", "confirmed", "wheels climb")
CAR = Vehicle("coach", "car", 303.0, 218.0, 33.0, bogie_mm=29.0, coupling_mm=308.0, mass_g=150.0)
FINDING = Finding(
    kind="radius", verdict="pass", s_mm=5.0, s0_mm=0.0, s1_mm=9.0, x_mm=0.0, y_mm=0.0, size=700.0, sd=1.0, limit=360.0,
    unit="mm", sense="at least", rule="a.radius", words="", why="", source="",
)  # fmt: skip


def test_a_limit_in_gauges_becomes_mm() -> None:
    # NEM 113:2016 s1: a transition may be omitted above 60 gauges; the sheet's own figure for 16.5 mm is 990 mm
    assert RULE.value(16.5, math.nan) == 990.0
    assert (RULE.size_unit, RULE.source) == ("mm", "NEM 113 2016 1")


def test_an_own_limit_is_the_owners_from_then_on() -> None:
    own = RuleSet("a", "", (RULE,)).limited("a.radius", 40.0).rules[0]
    assert (own.limit, own.source) == (40.0, "own, instead of NEM 113 1")
    remembered = dataclasses.replace(RULE, status="from memory")
    assert remembered.source.endswith("(from memory)")


@pytest.mark.parametrize(("name", "limit", "message"), [("b", 1.0, "one of a.radius"), ("a.radius", -1.0, "0 or more")])
def test_an_own_limit_must_be_one(name: str, limit: float, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        RuleSet("a", "", (RULE,)).limited(name, limit)


def test_rules_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="expected a quantity"):
        dataclasses.replace(RULE, quantity="colour")
    with pytest.raises(ValueError, match="expected a limit"):
        dataclasses.replace(RULE, limit=math.nan)
    with pytest.raises(ValueError, match="each id once"):
        RuleSet("a", "", (RULE, RULE))


@pytest.mark.parametrize(
    ("other", "message"),
    [
        ({"kind": "ship"}, "kind engine or car"),
        ({"coupler": "glue"}, "expected coupler"),
        ({"pivots_mm": 303.0}, "pivots_mm above 0 and below"),
        ({"width_mm": 0.0}, "width_mm above 0"),
        ({"bogie_mm": -1.0}, "bogie_mm of 0 or more"),
        ({"axles": 1}, "2 axles or more"),
        ({"mass_g": 0.0}, "mass_g above 0"),
    ],
)
def test_vehicles_that_cannot_be(other: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        dataclasses.replace(CAR, **other)  # type: ignore[arg-type]


def test_a_train_adds_up() -> None:
    engine = dataclasses.replace(CAR, name="tank", kind="engine", length_mm=120.0, pivots_mm=50.0, bogie_mm=0.0)
    train = Train("local", (engine, CAR, CAR))
    assert (train.longest, train.longest_rigid_mm, train.mass_g) == (CAR, 50.0, 450.0)
    assert (train.length_mm, CAR.overhang_mm, engine.rigid_mm, len(train.cars)) == (924.0, 42.5, 50.0, 2)
    with pytest.raises(ValueError, match="at least one vehicle"):
        Train("none", ())


def test_findings_that_cannot_be() -> None:
    with pytest.raises(ValueError, match=r"Finding\.verdict"):
        dataclasses.replace(FINDING, verdict="perhaps")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="exactly where it cannot be told"):
        dataclasses.replace(FINDING, verdict="cannot_tell")
    with pytest.raises(ValueError, match="s0_mm <= s_mm"):
        dataclasses.replace(FINDING, s_mm=10.0)

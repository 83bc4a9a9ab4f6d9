"""Trains and rule files: what cannot be is one clear line; findings.csv holds what was found."""

import io
import math

import polars as pl
import pytest

from wayrule.errors import UsageError, WayruleError
from wayrule.formats.findingtable import write_findings
from wayrule.formats.rulefile import parse_limit, read_rules
from wayrule.formats.trainfile import PIVOTS, read_train, stock_from_words, usual_train
from wayrule.model import Finding
from wayrule.model.finding import FINDING_COLUMNS

COACH = '[[vehicle]]\nname = "coach"\nkind = "car"\nlength_mm = 303\npivots_mm = 218\nwidth_mm = 33\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("name = ", "Invalid value"),
        ('name = "none"\n', "vehicle: field required"),
        (COACH + "lenght_mm = 3\n", "vehicle.1.lenght_mm: extra inputs"),
        (COACH.replace("303", '"long"'), "vehicle.1.length_mm"),
        (COACH.replace("218", "400"), "pivots_mm above 0 and below length_mm"),
        (COACH + "mass_g = -1\n", "vehicle.1.mass_g"),
        ("vehicle = []\n", "at least one vehicle"),
    ],
)
def test_a_wrong_train_is_one_line(text: str, message: str) -> None:
    with pytest.raises(WayruleError, match=message) as caught:
        read_train(text.encode(), "valley.train.toml")
    assert str(caught.value).startswith("valley.train.toml: expected a train")
    assert "\n" not in str(caught.value)


def test_counts_make_vehicles() -> None:
    train = read_train((COACH + "count = 3\nbogie_mm = 29\n").encode())
    assert [v.name for v in train.vehicles] == ["coach"] * 3
    assert math.isnan(train.mass_g)


@pytest.mark.parametrize("word", ["coach", "ship:300", "coach:-3", "coach:300x0", "coach:0"])
def test_wrong_words_for_stock(word: str) -> None:
    with pytest.raises(UsageError, match=r"--stock: expected KIND:LENGTH"):
        stock_from_words([word], 87.0)


def test_usual_stock_has_the_proportions_of_the_sheet() -> None:
    # NEM 103:2016 p1: bodies of 20.0, 24.2 and 27.2 m have pivots 14.0, 17.2 and 19.5 m apart, at most
    for body, pivots in ((20.0, 14.0), (24.2, 17.2), (27.2, 19.5)):
        assert pytest.approx(pivots / body, rel=0.015) == PIVOTS
    # NEM 302:2015 s2: 0.4 g/mm in H0, so at least 60 g for 150 mm
    assert stock_from_words(["wagon:150"], 87.0).mass_g == pytest.approx(60.0)
    assert usual_train(160.0).longest.length_mm == 151.0  # 24.2 m; the sheet's table prints 151 mm for N


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[limit", "Expected"),
        ("rules = 3", "rules: extra inputs"),
        ('[limit]\n"radius.cars" = "big"\n', "limit.radius.cars"),
        ('[[rule]]\nid = "a"\nquantity = "colour"\nsense = "at most"\nlimit = 1\nunit = "mm"\n', "expected a quantity"),
        ('[[rule]]\nid = "a"\nquantity = "kink"\nsense = "about"\nlimit = 1\nunit = "deg"\n', "rule.1.sense"),
        ('[[rule]]\nid = "a"\nquantity = "straight_edge"\nsense = "at most"\nlimit = 1\nunit = "mm"\n', "base_mm"),
        ('[[rule]]\nid = "a"\nquantity = "compensated"\nsense = "at most"\nlimit = 1\nunit = "%"\n', "coefficient_mm"),
    ],
)  # fmt: skip
def test_a_wrong_rule_file_is_one_line(text: str, message: str) -> None:
    with pytest.raises(WayruleError, match=message) as caught:
        read_rules(text.encode(), "club.rules.toml")
    assert str(caught.value).startswith("club.rules.toml: expected rules")


def test_own_rules_are_the_owners() -> None:
    text = '[[rule]]\nid = "club.radius"\nquantity = "radius"\nsense = "at least"\nlimit = 900\nunit = "mm"\n'
    (rule,) = read_rules(text.encode()).rules
    assert (rule.limit, rule.status, rule.source) == (900.0, "own", "own")
    with pytest.raises(UsageError, match="expected ID=VALUE, came 'radius'"):
        parse_limit("radius")


def test_findings_are_read_back_by_another_library() -> None:
    found = Finding(
        kind="kink", verdict="cannot_tell", s_mm=12.34, s0_mm=12.34, s1_mm=12.34, x_mm=1.0, y_mm=2.0, size=math.nan,
        sd=math.nan, limit=1.0, unit="deg", sense="at most", rule="local.kink", words='a "kink", here', why="",
        source="", settle="look",
    )  # fmt: skip
    frame = pl.read_csv(io.BytesIO(write_findings([found])))
    assert tuple(frame.columns) == FINDING_COLUMNS
    row = frame.row(0, named=True)
    assert (row["s_mm"], row["size"], row["words"], row["mark"]) == (12.3, None, 'a "kink", here', None)

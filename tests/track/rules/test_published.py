"""Every limit against its sheet: cells typed in from the sheets, and all confirmed rows of the facts, if at hand."""

import csv
import math
from pathlib import Path

import pytest

from wayrule.errors import UsageError
from wayrule.model import Vehicle
from wayrule.track.judge.geometry import swing_mm
from wayrule.track.rules import nem, practice
from wayrule.track.rules.sets import SETS, rule_set

FACTS = Path(__file__).parents[4] / "shared" / "facts"
beside = pytest.mark.skipif(not FACTS.is_dir(), reason="the table of facts does not lie beside the repository")


def rows(name: str) -> list[dict[str, str]]:
    return [row for row in every(name) if row["status"].startswith("confirmed")]


def every(name: str) -> list[dict[str, str]]:
    with (FACTS / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_cells_of_the_sheets() -> None:
    # NEM 113:2016 s3.1 tables 1 and 2, H0: f = 9 mm; R 350 -> L 275, R 800 -> L 415, R 1000 -> L 465
    assert nem.shift_mm(16.5) == 9.0
    assert {r: nem.LENGTHS[16.5][r] for r in (350, 800, 1000)} == {350: 275, 800: 415, 1000: 465}
    # NEM 114:2007 s1: cant at most gauge / 15, 1 mm recommended in H0
    assert (nem.TRANSITION_CANT[16.5][1], round(nem.CANT_SHARE * 16.5, 3)) == (1.0, 1.1)
    # NEM 103:2016 p2: H0 group B at R 400 widens by 11 mm; beyond the table in proportion to 1 / R
    assert nem.widening_mm("H0", "B", 400.0) == 11.0
    assert nem.widening_mm("0", "C", 8000.0) == 1.5
    assert 6.0 < nem.widening_mm("H0", "B", 580.0) < 7.0
    assert math.isnan(nem.widening_mm("H0", "B", 300.0))
    # NEM 111:2016 s2.1 and s3.2: 12 deg of attack; group B with buffers 60 gauges, 990 mm in H0
    assert nem.ATTACK_DEG == 12.0
    assert nem.BUFFERS["B"][2] * 16.5 == 990.0


def test_full_size_figures() -> None:
    # US Army EM 1110-3-152: a 3 degree curve on 1 percent is 1.12 percent; handbook: V^2, V^2/4, never below 2000 m
    assert practice.full_size_compensated(1.0, 3.0) == 1.12
    assert practice.vertical_radius_full_m(60.0, least=True) == 2000.0
    assert practice.vertical_radius_full_m(120.0, least=True) == 3600.0
    # the hobby's 32 / R (inch) is 0.04 % a degree of full size at 1:87: within 2 % of each other
    degree = 2.0 * math.degrees(math.asin(50.0 / (30 * 25.4 / 304.8 * 87.0857)))
    assert practice.compensation_mm(87.0857) / (30 * 25.4) == pytest.approx(0.04 * degree, rel=0.03)


@beside
def test_lengths_of_transitions_follow_from_the_shift() -> None:
    for row in rows("nem113_transition_lengths.csv"):
        gauge, radius = float(row["track_gauge_mm"]), float(row["radius_mm"])
        published = float(row["length_L_published_mm"])
        assert nem.LENGTHS[gauge][int(radius)] == published
        # the sheet gives L to the nearest 5 mm
        assert nem.transition_length_mm(nem.shift_mm(gauge), radius) == pytest.approx(published, abs=4.0)


@beside
def test_swing_follows_the_table_less_one_allowance() -> None:
    """The table's widening is the exact swing inwards less one allowance for each scale and group, to whole mm.

    An allowance of 100 to 240 mm full size lies in the straight clearance already. The sheet's rounding is 0.5 mm, and
    the allowance is known to 0.5 mm; one cell of the sheet, II A at 4000 mm, is 1.7 mm less than its neighbours say.
    """
    ratios = dict(zip(nem.SCALES, (220, 160, 120, 87, 64, 43.5, 32, 22.5), strict=True))
    for (scale, group), cells in nem.WIDENING.items():
        pivots = nem.BODIES[group][1] * 1000.0 / ratios[scale]
        body = Vehicle("body", "car", pivots * 1.4, pivots, 10.0)
        over = [(r, float(swing_mm(body, r)[0]) - w) for r, w in cells.items() if w > 0]
        allowance = sorted(x for _, x in over)[len(over) // 2]
        assert 40.0 < allowance * ratios[scale] < 240.0
        for radius, left in over:
            odd = (scale, group, radius) == ("II", "A", 4000)
            assert left == pytest.approx(allowance, abs=1.8 if odd else 1.0)


@beside
def test_every_confirmed_row_of_widening_and_bodies() -> None:
    for row in rows("nem103_curve_widening.csv"):
        for (scale, group), cells in nem.WIDENING.items():
            cell = row[f"{scale}_{group}"]
            assert (cells.get(int(row["radius_mm"])) if cell else None) == (int(cell) if cell else None)
    for row in rows("nem103_body_lengths.csv"):
        metres, pivots, mm = nem.BODIES[row["group"]]
        assert (metres, pivots) == (
            float(row["max_body_length_prototype_m"]), float(row["max_pivot_spacing_prototype_m"])
        )  # fmt: skip
        assert mm == tuple(float(row[f"{scale}_mm"]) for scale in nem.SCALES)


@beside
def test_every_confirmed_row_of_the_other_sheets() -> None:
    for row in rows("nem102_clearance_straight.csv"):
        assert nem.CLEARANCE[row["scale"]] == tuple(float(v) for k, v in row.items() if k.endswith("_mm"))
    for row in rows("nem111_min_radius_buffers.csv"):
        length, spacing, gauges = nem.BUFFERS[row["group"]]
        assert (length, gauges) == (
            float(row["max_length_over_buffers_prototype_m"]),
            float(row["min_radius_in_gauges"]),
        )
        assert spacing == float(row["max_axle_or_pivot_spacing_prototype_m"])
        assert gauges * 16.5 == float(row["R_min_H0_16.5mm"])
    for row in rows("nem112_track_spacing_partial.csv"):
        if "station" in row["situation"]:
            assert nem.STATION_SPACING[row["scale"]] == float(row["value_mm"])
        else:
            curve = row["situation"].partition("R = ")[2].partition(" ")[0]
            assert nem.SPACING[row["scale"]][float(curve or "inf")] == float(row["value_mm"])
    for row in rows("nem113_114_transition_cant.csv"):
        gauge = float(row["track_gauge_mm"])
        wanted = (float(row["nem113_shift_f_mm"]), float(row["nem114_recommended_max_cant_mm"]))
        assert nem.TRANSITION_CANT[gauge] == wanted
        limit = float(row["nem113_R_above_which_transition_may_be_omitted_mm"])
        assert nem.WITHOUT_TRANSITION_GAUGES * gauge == limit
        assert nem.CANT_SHARE * gauge == pytest.approx(float(row["nem114_absolute_limit_gauge_over_15_mm"]), abs=6e-4)


@beside
def test_every_confirmed_number_of_the_layout_rules_is_shipped() -> None:
    sheet = {12.0, 60.0, 0.8, 55.0, 42.0, 30.0}  # of the NEM sheets, named constants of `nem`
    assert sheet == {
        nem.ATTACK_DEG, nem.WITHOUT_TRANSITION_GAUGES, nem.FREE_LENGTH, *nem.FLANGEWAY_GAUGES
    }  # fmt: skip
    shipped = {(one.topic, one.value) for one in practice.LAYOUT}
    seen = 0
    for row in rows("layout_rules.csv"):
        value = number_of(row)
        if value is None or "NEM" in row["source"] or "full-size example" in row["rule"]:
            continue
        assert (row["topic"], value) in shipped, row
        seen += 1
    assert seen >= 17


def number_of(row: dict[str, str]) -> float | None:
    """The figure of a row: a number, or the one in words such as "3 x longest car length"; None for a formula."""
    text = row["value"]
    if row["topic"] == "radius ratio":
        text = row["rule"].split()[0]
    try:
        return float(text)
    except ValueError:
        return {"32 / R_inch": 32.0, "longest car": 1.0}.get(text)


@beside
def test_cant_and_versines() -> None:
    for row in every("versine_check.csv"):
        radius, chord = float(row["R_mm"]), float(row["chord_mm"])
        assert practice.versine_mm(radius, chord) == pytest.approx(float(row["exact_versine_mm"]), rel=1e-5)
        nearly = practice.versine_mm(radius, chord, exact=False)
        assert nearly == pytest.approx(float(row["approx_C2_over_8R_mm"]), rel=1e-5)
    for row in every("degree_of_curve.csv"):
        if row["D_deg"].isdigit():
            degree = float(row["D_deg"])
            assert practice.radius_of_degree_ft(degree) == pytest.approx(float(row["R_chord_100ft_ft"]), abs=6e-4)
            assert practice.radius_of_degree_ft(degree, chord=False) == pytest.approx(
                float(row["R_arc_100ft_ft"]), abs=6e-4
            )
    # handbook: 141 mm for a base of 1676 mm, 80 km/h and 600 m (to the mm)
    assert round(practice.equilibrium_cant_mm(1676.0, 80e6 / 3600, 600e3)) == 141


@pytest.mark.parametrize("name", SETS)
def test_every_rule_of_every_set_names_its_source(name: str) -> None:
    rules = rule_set(name, 16.5, 87.0)
    assert rules.rules
    for rule in rules.rules:
        assert rule.document
        assert rule.status
        assert rule.why


def test_sets_that_are_not_there() -> None:
    with pytest.raises(UsageError, match="expected a rule set: usual"):
        rule_set("strict", 16.5, 87.0)
    with pytest.raises(UsageError, match="classes are at hand"):
        rule_set("nmra", 45.0, 22.5)

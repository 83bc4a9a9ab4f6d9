"""Tables of pieces, faults and closure, each cell worked by hand."""

import math
from dataclasses import replace

import pytest

from tests.report import sample
from wayrule.model import Element, Fault
from wayrule.report.lengths import FULL, MODEL, lengths_for
from wayrule.report.readings import radius_text
from wayrule.report.tables import Table, closure_table, fault_table, plan_table, problem_table, profile_table

NAN = float("nan")


def cells(table, row):
    return dict(zip(table.heads, (c.replace("\xa0", " ") for c in table.rows[row]), strict=True))


def test_arc_of_360_mm_by_hand():
    """R 360 +- 360^2 x 1.5e-5 = 1.944 mm; 360/25.4 = 14.173 in +- 0.0765; 565.49 mm of it turn 90 degrees."""
    k = 1 / 360.0
    length = 360.0 * math.pi / 2
    arc = Element("plan", "arc", 1000.0, 1000.0 + length, -k, -k, NAN, NAN, 1.5e-5, NAN, 3.0, 4.0, -math.pi / 2, 4e-5)
    arc = replace(arc, length_sd_mm=5.2, turned_sd_rad=0.0085)
    assert cells(plan_table([arc], MODEL), 0) == {
        "No.": "1",
        "Kind": "arc, right-hand",
        "Starts at": "1.00 m",
        "Length, mm": "565 ± 5",
        "Length, in": "22.26 ± 0.20",
        "Radius, mm": "360.0 ± 1.9",
        "Radius, in": "14.17 ± 0.08",
        "Turns, °": "\N{MINUS SIGN}90.0 ± 0.5",  # 0.0085 rad = 0.487 deg
        "Misfit, 1/m": "0.040",
    }


def test_grade_of_one_in_forty_by_hand():
    grade = Element("profile", "grade", 0.0, 800.0, NAN, NAN, -0.025, -0.025, NAN, 3e-4, 3.0, 4.0, NAN, 5e-4)
    grade = replace(grade, length_sd_mm=5.2, rise_sd_mm=0.31)
    assert cells(profile_table([grade], MODEL), 0) == {
        "No.": "1",
        "Kind": "grade",
        "Starts at": "0.00 m",
        "Length, mm": "800 ± 5",
        "Length, in": "31.50 ± 0.20",
        "Gradient, %": "\N{MINUS SIGN}2.500 ± 0.030",
        "1 in n": "1:40 down",
        "Rise, mm": "\N{MINUS SIGN}20.00 ± 0.31",
        "Misfit, %": "0.050",
    }


def test_a_piece_without_sigmas_shows_none():
    arc = Element("plan", "arc", 0.0, 500.0, 1 / 400.0, 1 / 400.0)
    row = cells(plan_table([arc], MODEL), 0)
    assert row["Radius, mm"] == "400"
    assert row["Turns, °"] == "not known"
    assert row["Misfit, 1/m"] == "–"


def test_radius_too_coarse_for_a_sigma_becomes_a_range():
    """k = 0.5 +- 0.2 1/m: radii from 1/0.7 = 1.43 m to 1/0.3 = 3.33 m; +- 0.6 1/m leaves the far end open."""
    arc = Element("plan", "arc", 0.0, 500.0, 5e-4, 5e-4, curvature_sd_1_mm=2e-4)
    assert radius_text(arc, MODEL).replace("\xa0", " ") == "1400 mm to 3300 mm"
    assert radius_text(replace(arc, curvature_sd_1_mm=6e-4), MODEL).replace("\xa0", " ") == "910 mm or more"


@pytest.mark.parametrize(
    ("fault", "what", "size"),
    [
        (Fault("kink", 1.0, -0.8, "deg", 0.2), "kink to the right", "0.80 ± 0.20 °"),
        (Fault("twist", 1.0, 0.5, "mm", 0.1), "twist, left rail up", "0.50 ± 0.10 mm"),
        (Fault("lateral", 1.0, 0.9, "mm", 0.4), "lateral bump to the left", "0.9 ± 0.4 mm"),
        (Fault("hump", 1.0, 0.9, "mm", NAN), "hump", "0.900 mm (no error bar)"),
        (Fault("one_rail_dip", 1.0, 0.3, "mm", 0.1, "right"), "dip of one rail (right)", "0.30 ± 0.10 mm"),
    ],
)
def test_faults_in_words(fault, what, size):
    row = cells(fault_table([fault]), 0)
    assert (row["What"], row["Size"]) == (what, size)


def test_closure_says_when_chance_does_not_explain_it():
    closure = sample.survey().closure
    loud = replace(closure, before=replace(closure.before, ratio_plan=7.2, height_mm=NAN, ratio_height=NAN))
    table = closure_table(loud)
    assert "7.2 times what the error bars predict: more than chance explains" in table.note
    assert table.rows[3][1:] == ("not known", "0.010\xa0mm")
    assert "one whole turn to the left a lap" in table.note
    assert "no net turn a lap" in closure_table(replace(closure, turns_per_lap=0)).note


def test_a_problem_told_twice_stands_once():
    problems = sample.survey().problems
    assert len(problem_table([*problems, *problems]).rows) == 1


def test_a_table_whose_cells_do_not_fit_cannot_exist():
    with pytest.raises(ValueError, match="Table t: 2 heads but a row of 1 cells"):
        Table("t", "", ("a", "b"), (False, False), (("x",),))
    with pytest.raises(ValueError, match="Table t: 2 heads but 1 kinds of column"):
        Table("t", "", ("a", "b"), (False,), ())


def test_full_size_lines_speak_metres_and_feet():
    """A foot is 304.8 mm: 100 m are 328.08 ft."""
    assert lengths_for(9000.0, 1.0) is FULL
    assert lengths_for(1.2e6, 87.0) is FULL
    assert lengths_for(60_000.0, 22.5) is MODEL
    assert FULL.both(100_000.0, 400.0) == ("100.0\xa0±\xa00.4", "328.1\xa0±\xa01.3")

"""String-lining against circle geometry, the metric rule of the handbooks and the rules of its worked sheets."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.track.mend.railways import surveyed
from wayrule.errors import UsageError
from wayrule.sim import Defect, arc, build, straight, transition
from wayrule.track.mend.stringlining import exact_versine, radius_from, string_lines, throws, versines

CIRCLES = [  # radius, chord, versine: R - sqrt(R^2 - C^2 / 4), circle geometry (computed by hand)
    (150.0, 50.0, 2.09801), (360.0, 100.0, 3.48913), (600.0, 200.0, 8.39202), (3000.0, 300.0, 3.75235),
]  # fmt: skip


@pytest.mark.parametrize(("radius", "chord", "versine"), CIRCLES)
def test_versines_of_circles(radius: float, chord: float, versine: float) -> None:
    assert exact_versine(radius, chord) == pytest.approx(versine, abs=1e-5)
    assert radius_from(versine, chord) == pytest.approx(radius, rel=1e-5)
    # the rule of the handbooks, V = 125 C^2 / R with V in mm, C and R in m, is the first term: within 1 %
    assert 125.0 * (chord / 1000) ** 2 / (radius / 1000) == pytest.approx(versine, rel=0.01)


def test_every_row_of_the_facts() -> None:
    table = Path(__file__).parents[4] / "shared/facts/versine_check.csv"
    if not table.exists():
        pytest.skip("the facts are not beside this checkout; the circles above are checked all the same")
    for row in csv.DictReader(table.read_text().splitlines()):
        radius, chord = float(row["R_mm"]), float(row["chord_mm"])
        assert exact_versine(radius, chord) == pytest.approx(float(row["exact_versine_mm"]), abs=6e-6)
        assert chord**2 / (8 * radius) == pytest.approx(float(row["approx_C2_over_8R_mm"]), abs=6e-6)


def test_the_three_rules_of_the_worked_sheet() -> None:
    # rules: US Army course TR0671, section IV: sums of errors and half throws end at zero, the throw is twice the half
    measured, proposed = np.array([0.0, 3, 9, 5, 9, 3, 0]), np.array([0.0, 4, 6, 9, 6, 4, 0])
    moved = throws(measured, proposed)
    half = np.array([0.0, 0, -1, 1, -1, 0, 0])  # by hand: errors 0 -1 3 -4 3 -1 0; sums 0 -1 2 -2 1 0 0
    np.testing.assert_allclose(moved, 2 * half)


@given(st.lists(st.floats(-3, 3), min_size=1, max_size=12))
def test_throws_undo_what_moved_the_track(moves: list[float]) -> None:
    # moving a station outwards by t makes its versine larger by t, and those beside it smaller by t / 2
    out = np.array([0.0, 0.0, *moves, 0.0, 0.0])
    change = out.copy()
    change[1:] -= out[:-1] / 2
    change[:-1] -= out[1:] / 2
    good = np.full(len(out), 5.0)
    np.testing.assert_allclose(throws(good + change, good), -out, atol=1e-9)


def test_proposals_that_do_not_close_are_refused() -> None:
    with pytest.raises(UsageError, match=r"same sum as the measured ones.*differs by 1 "):
        throws(np.array([1.0, 2.0, 1.0]), np.array([1.0, 1.0, 1.0]))


def test_a_bump_in_an_arc_is_thrown_back() -> None:
    k = 1 / 600.0
    pieces = [straight(600), transition(200, 0, k), arc(600, 60), transition(200, k, 0), straight(600)]
    line = build("Heather Vale curve", pieces, defects=[Defect("lateral", 1100.0, 1.5, 300.0)])
    found = surveyed(line)
    rows = string_lines(found.stations, [e for e in line.elements if e.plane == "plan"], 100.0)
    assert rows[0].throw_mm == 0.0
    assert rows[-1].throw_mm == pytest.approx(0.0, abs=1e-6)
    worst = max(rows, key=lambda r: abs(r.throw_mm))
    assert worst.s_mm == pytest.approx(1100.0, abs=50.0)
    # the bump is to the left of a left-hand curve, inwards: thrown outwards, to the right, by most of its height
    assert 0.9 < worst.throw_mm < 1.7
    assert np.median([abs(r.throw_mm) for r in rows]) < 0.25


def test_versines_of_a_simulated_arc() -> None:
    line = build("arc", [arc(-500.0 * -1, 90)])
    found = surveyed(line).stations
    measured, sd = versines(found, np.array([300.0, 400.0]), 100.0)
    assert measured == pytest.approx(exact_versine(500.0, 100.0), abs=0.02)
    assert np.all(sd > 0)


@pytest.mark.parametrize("chord", [0.0, -5.0, 1e6])
def test_a_chord_that_is_none(chord: float) -> None:
    line = build("arc", [arc(500.0, 90)])
    with pytest.raises(UsageError, match="a chord above 0"):
        string_lines(surveyed(line).stations, [], chord)
    with pytest.raises(UsageError, match="a chord above 0"):
        exact_versine(100.0, chord)

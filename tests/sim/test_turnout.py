"""A spur is its line's own track up to the turnout, and follows circle geometry beyond."""

import math

import numpy as np
import pytest

from wayrule.sim import (
    GOOD,
    HO_VAN,
    Grade,
    Leg,
    RunPlan,
    arc,
    build,
    laps,
    line_and_spur,
    oval,
    simulate,
    spur_of,
    straight,
)


@pytest.mark.parametrize("seed", range(4))
def test_up_to_the_toe_there_is_one_track(seed):
    line, spur = line_and_spur(np.random.default_rng(seed))
    s = np.linspace(0.0, line.design.pieces[0].length_mm + 2500.0, 4001)
    toe = sum(p.length_mm for p in line.design.pieces[:4]) + 0.3 * line.design.pieces[4].length_mm
    s = s[s < toe - HO_VAN.wheelbase_mm]
    assert len(s) > 3000
    # two tables of half a millimetre, rail joints of 8 mm: places to 1e-4 mm, gradients over 10 mm to 1e-5, and cant,
    # which has corners, to 1e-3 mm; all far below any sensor
    np.testing.assert_allclose(spur.xy(s), line.xy(s), atol=1e-4)
    np.testing.assert_allclose(spur.z(s), line.z(s), atol=1e-4)
    np.testing.assert_allclose(spur.heading(s), line.heading(s), atol=1e-7)
    inner = s[10:]
    np.testing.assert_allclose(spur.mean_gradient(inner, 10.0), line.mean_gradient(inner, 10.0), atol=1e-5)
    np.testing.assert_allclose(spur.cant(s), line.cant(s), atol=1e-3)
    x, y = spur.xy(spur.length_mm)
    nearest = np.min(np.hypot(*(np.array(line.xy(np.linspace(0, line.length_mm, 5000))) - np.array([[x], [y]]))))
    assert nearest > 300.0  # it has left the line for good


def test_the_spur_is_a_railway_of_its_own():
    line, spur = line_and_spur(np.random.default_rng(3))
    assert line.closed
    assert not spur.closed
    assert 5500.0 < spur.length_mm < line.length_mm
    assert spur.elements[0].kind == "straight"
    assert spur.faults == ()
    rough = (
        spur.curvature(np.linspace(0, spur.length_mm, 2000)) - spur.design.plan(np.linspace(0, spur.length_mm, 2000))[1]
    )
    assert np.std(rough) > 0


def test_an_arc_beyond_the_toe_lies_where_circle_geometry_says():
    """A 600 mm arc turned by 15 deg to the right ends 600 sin 15 ahead and 600 (1 - cos 15) to the right of the toe."""
    line = build("Main", [straight(3000.0)], grades=[Grade(1.0, 0.01)])
    spur = spur_of(line, 1000.0, [arc(600.0, -15.0)], name="Spur", grades=[Grade(157.0796, 0.0)])
    x, y = spur.xy(spur.length_mm)
    assert x == pytest.approx(1000.0 + 600.0 * math.sin(math.radians(15.0)), abs=1e-3)
    assert y == pytest.approx(-600.0 * (1.0 - math.cos(math.radians(15.0))), abs=1e-3)
    assert spur.z(spur.length_mm) == pytest.approx(0.01 * spur.length_mm, abs=1e-6)  # the grade at the toe runs on


def test_one_wagon_runs_on_both():
    line, spur = line_and_spur(np.random.default_rng(5))
    rng = np.random.default_rng(6)
    _, first = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 1, 250.0)), GOOD, rng)
    reach = spur.length_mm - 3 * HO_VAN.wheelbase_mm
    plan = RunPlan(HO_VAN.wheelbase_mm, (Leg(reach, 250.0),))
    _, second = simulate(spur, HO_VAN, plan, GOOD, rng, specimen=first.specimen)
    assert second.circumference_mm == first.circumference_mm
    assert second.chainage_mm[-1] == pytest.approx(HO_VAN.wheelbase_mm + reach, abs=0.5)


@pytest.mark.parametrize(
    ("toe", "length", "grade", "message"),
    [
        (0.0, 500.0, 500.0, "expected a toe between 0 and 3000 mm, came 0 mm"),
        (3000.0, 500.0, 500.0, "expected a toe between 0 and 3000 mm, came 3000 mm"),
        (2000.0, 1500.0, 1500.0, "expected at most the line's 3000 mm in all, came 3500 mm"),
        (1000.0, 500.0, 400.0, "expected grades over 500.0 mm like the pieces beyond the toe, came 400.0 mm"),
    ],
)
def test_a_spur_that_cannot_be_is_refused(toe, length, grade, message):
    line = build("Main", [straight(3000.0)])
    with pytest.raises(ValueError, match=message):
        spur_of(line, toe, [straight(length)], name="Spur", grades=[Grade(grade, 0.0)])


def test_a_ring_whose_grade_breaks_at_its_seam_is_refused():
    ring = build(
        "Ring", [arc(500.0, 360.0)], closed=True,
        grades=[Grade(1.0, 0.01), Grade(1.0, -0.01)],
    )  # fmt: skip
    with pytest.raises(ValueError, match=r"whose first and last grade are one, came 0\.01, -0\.01"):
        spur_of(ring, 1000.0, [straight(100.0)], name="Spur", grades=[Grade(100.0, 0.0)])
    assert oval(np.random.default_rng(1)).design.fitted_grades()[1][0] > 0

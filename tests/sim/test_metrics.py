"""Metrics on surveys whose errors are known because they were put in."""

import math
from dataclasses import replace

import numpy as np
import pytest

from wayrule.model import Element, Fault, Stations, Travel
from wayrule.sim import (
    GOOD,
    HO_VAN,
    Leg,
    RunPlan,
    branch_n,
    coverage,
    errors,
    laps,
    matching,
    oval,
    simulate,
    travel_errors,
)

SD = {"x": 0.5, "y": 0.7, "z": 0.2, "heading": 2e-3, "curvature": 3e-6, "gradient": 4e-4, "cant": 0.05}


@pytest.fixture(scope="module")
def oval_line():
    return oval(np.random.default_rng(1), defects=6)


@pytest.fixture(scope="module")
def branch_line():
    return branch_n(np.random.default_rng(1), defects=4)


def run_on(line, *, backwards=False, start=1200.0):
    """A short run is enough to fix where the survey starts and which way it grows."""
    wagon = replace(HO_VAN, gauge_mm=line.gauge_mm)
    leg = Leg(-300.0 if backwards else 300.0, 300.0)
    return simulate(line, wagon, RunPlan(start, (leg,), still_s=(0.1, 0.1)), GOOD, np.random.default_rng(2))[1]


def perfect(line, start, way, *, step=5.0, scale=1.0, turn=0.4, shift=(1000.0, -500.0)):
    """The survey that a perfect instrument would bring home, in a frame of its own; `scale` lengthens it."""
    n = int(line.length_mm / step) if line.closed else int((line.length_mm - start - 200.0) / step)
    length = line.length_mm if line.closed else n * step
    s = np.linspace(0.0, length, n, endpoint=not line.closed)
    at = start + way * s
    x, y = line.xy(at)
    plan = (x + 1j * y) * np.exp(1j * turn) * scale + complex(*shift)
    sds = {f"{k}_sd{u}": np.full(n, SD[k]) for k, u in zip(SD, ["_mm"] * 3 + ["_rad", "_1_mm", "", "_mm"], strict=True)}
    # the column holds means over a station step, so that its integral is the true one to the last digit
    a, b = at - way * step / 2, at + way * step / 2
    return Stations(
        s * scale, plan.real, plan.imag, line.z(at) * scale + 77.0,
        line.heading(at) + turn + (0.0 if way > 0 else np.pi),
        way * line.curvature_between(a, b) / scale, way * line.gradient_between(a, b), way * line.cant_between(a, b),
        passes=np.ones(n, dtype=np.int64), closed=line.closed, length_mm=length * scale,
        gauge_mm=line.gauge_mm, wheelbase_mm=65.0, **sds,
    )  # fmt: skip


@pytest.mark.parametrize("backwards", [False, True])
def test_a_perfect_survey_has_no_errors(oval_line, backwards):
    way = -1 if backwards else 1
    run = run_on(oval_line, backwards=backwards)
    survey = perfect(oval_line, run.chainage_mm[0], way)
    e = errors(oval_line, run, survey, elements=mirrored(oval_line, 1200.0, way), faults=seen(oval_line, 1200.0, way))
    assert e.plan_rms_mm < 1e-6
    assert e.height_rms_mm < 1e-9
    assert e.gradient_rms < 1e-4  # straight lines between 5 mm steps, in a roughness from 80 mm on
    assert e.curvature_rms_1_mm < 5e-6
    assert e.cant_rms_mm < 5e-3
    assert len(e.radius_error_percent) == 2
    assert np.max(np.abs(e.radius_error_percent)) < 0.1
    assert abs(e.length_error_percent) < 1e-9
    assert (e.faults.recall, e.faults.precision) == (1.0, 1.0)
    assert np.max(np.abs(e.faults.place_mm)) < 1e-6
    assert (e.plan_elements.recall, e.plan_elements.precision) == (1.0, 1.0)
    assert (e.profile_elements.recall, e.profile_elements.precision) == (1.0, 1.0)


def mirrored(line, start, way):
    """The line's own elements in survey chainage."""
    if way > 0:
        return [replace(e, s0_mm=e.s0_mm - start, s1_mm=e.s1_mm - start) for e in line.elements]
    return [
        replace(
            e, s0_mm=start - e.s1_mm, s1_mm=start - e.s0_mm, curvature0_1_mm=-e.curvature1_1_mm,
            curvature1_1_mm=-e.curvature0_1_mm, gradient0=-e.gradient1, gradient1=-e.gradient0,
        )
        for e in line.elements
    ]  # fmt: skip


def seen(line, start, way):
    other = {"left": "right", "right": "left", "": ""}
    return [
        replace(
            f,
            s_mm=(way * (f.s_mm - start)) % line.length_mm,
            size=way * f.size if f.kind in ("kink", "twist", "lateral") else f.size,
            rail=f.rail if way > 0 else other[f.rail],
        )
        for f in line.faults
    ]


def test_the_wrong_direction_is_not_forgiven(oval_line):
    run = run_on(oval_line)
    backwards = perfect(oval_line, 1200.0, -1)
    e = errors(oval_line, run, backwards)
    assert e.plan_rms_mm > 100.0
    assert e.cant_rms_mm > 0.3


def test_scale_error_shows_in_plan_length_and_radius_but_not_after_one_factor(oval_line):
    run = run_on(oval_line)
    e = errors(oval_line, run, perfect(oval_line, 1200.0, 1, scale=1.002))
    x, y = oval_line.xy(np.linspace(0, oval_line.length_mm, 2000, endpoint=False))
    spread = math.sqrt(np.var(x) + np.var(y))  # a scale error moves each point by its share of the way to the middle
    assert e.plan_rms_mm == pytest.approx(0.002 * spread, rel=1e-3)
    assert e.plan_scaled_rms_mm < 1e-6
    assert e.length_error_percent == pytest.approx(0.2, abs=1e-6)
    assert np.mean(e.radius_error_percent) == pytest.approx(0.2, abs=0.02)


def test_open_line_finds_its_own_length_ratio(branch_line):
    run = run_on(branch_line, start=300.0)
    e = errors(branch_line, run, perfect(branch_line, 300.0, 1, scale=0.997))
    assert e.length_error_percent == pytest.approx(-0.3, abs=1e-3)
    assert e.plan_scaled_rms_mm < 0.01
    assert e.plan_rms_mm > 1.0


def test_tilt_is_taken_out_of_height_and_not_out_of_gradient(oval_line):
    run = run_on(oval_line)
    survey = perfect(oval_line, 1200.0, 1)
    tilted = replace(
        survey, z_mm=survey.z_mm + 0.01 * survey.x_mm - 0.02 * survey.y_mm, gradient=survey.gradient + 0.003
    )
    e = errors(oval_line, run, tilted)
    assert e.height_rms_mm < 1e-6
    assert e.gradient_rms == pytest.approx(0.003, rel=0.02)


def test_cant_constant_is_told_apart(oval_line):
    survey = perfect(oval_line, 1200.0, 1)
    e = errors(oval_line, run_on(oval_line), replace(survey, cant_mm=survey.cant_mm + 0.4))
    assert e.cant_mean_mm == pytest.approx(0.4, abs=1e-3)
    assert e.cant_rms_mm < 5e-3


def test_gaussian_errors_are_covered_as_gauss_says(oval_line):
    rng = np.random.default_rng(5)
    survey = perfect(oval_line, 1200.0, 1)
    run = run_on(oval_line)
    many = []
    for _ in range(20):
        noisy = {
            f"{k}{u}": getattr(survey, f"{k}{u}") + SD[k] * rng.standard_normal(len(survey.s_mm))
            for k, u in (("x", "_mm"), ("y", "_mm"), ("z", "_mm"), ("heading", "_rad"))
        }
        # a constant over the whole line is a mean over any window
        level = {
            name: getattr(survey, name) + SD[k] * rng.standard_normal()
            for k, name in (("curvature", "curvature_1_mm"), ("gradient", "gradient"), ("cant", "cant_mm"))
        }
        many.append(errors(oval_line, run, replace(survey, **noisy, **level)))
    covered = coverage(many)
    for name in ("x", "y", "z", "heading"):
        # 68.27 and 95.45 % of a normal law; 36 000 draws: 0.3 %
        assert covered[name].inside_one == pytest.approx(0.6827, abs=0.01)
        assert covered[name].inside_two == pytest.approx(0.9545, abs=0.006)
    for name in ("gradient", "cant"):
        # twenty independent draws: sd 10 %; a sign or a unit wrong would leave next to nothing inside
        assert 0.4 <= covered[name].inside_one <= 0.95
    assert covered["x"].n == 20 * len(survey.s_mm)


def test_what_is_missing_is_nan_not_zero(oval_line):
    survey = perfect(oval_line, 1200.0, 1)
    nothing = np.full(len(survey.s_mm), np.nan)
    e = errors(oval_line, run_on(oval_line), replace(survey, z_mm=nothing, gradient=nothing, cant_mm=nothing))
    assert math.isnan(e.height_rms_mm)
    assert math.isnan(e.gradient_rms)
    assert math.isnan(e.cant_rms_mm)
    assert e.plan_rms_mm < 1e-6
    assert coverage([e])["z"].n == 0
    assert math.isnan(coverage([e])["z"].inside_one)


def test_an_open_line_without_a_plan_is_laid_by_its_chainage_alone(branch_line):
    survey = perfect(branch_line, 300.0, 1)
    nothing = np.full(len(survey.s_mm), np.nan)
    e = errors(branch_line, run_on(branch_line, start=300.0), replace(survey, x_mm=nothing, y_mm=nothing))
    assert math.isnan(e.plan_rms_mm)
    assert e.length_error_percent == 0.0
    assert e.height_rms_mm < 1e-6


def test_fault_pairing():
    there = [
        Fault("dip", 100.0, 0.6, "mm", 0.0),
        Fault("kink", 500.0, 1.2, "deg", 0.0),
        Fault("dip", 8990.0, 0.7, "mm", 0),
    ]
    said = [
        Fault("dip", 112.0, 0.5, "mm", 0.1),
        Fault("dip", 90.0, 0.5, "mm", 0.1),  # nearer: this one counts, the other is made up
        Fault("kink", 500.0, -1.2, "deg", 0.1),  # the wrong way
        Fault("dip", 5.0, 0.7, "mm", 0.1),  # 15 mm past the seam of a 9 m loop
    ]
    m = matching.match_faults(there, said, within_mm=65.0, period_mm=9000.0)
    assert (m.wanted, m.claimed, m.found) == (3, 4, 2)
    assert sorted(m.place_mm) == pytest.approx([-10.0, 15.0])
    assert (m.recall, m.precision) == (pytest.approx(2 / 3), 0.5)
    assert matching.match_faults(there, said, within_mm=5.0).found == 0
    assert math.isnan(matching.match_faults([], [], within_mm=5.0).recall)


def test_element_pairing():
    k = 1 / 400.0
    there = [
        Element("plan", "straight", 0.0, 500.0, 0.0, 0.0),
        Element("plan", "arc", 500.0, 1500.0, k, k),
        Element("plan", "straight", 1500.0, 2000.0, 0.0, 0.0),
    ]
    # on a loop the two straights are one, 1500 to 2500
    assert [round(e.length_mm) for e in matching.joined(there, 2000.0)] == [1000, 1000]
    said = [
        Element("plan", "arc", 480.0, 1450.0, 0.99 * k, 0.99 * k),
        Element("plan", "straight", -500.0, 480.0, 0.0, 0.0),
    ]
    m = matching.match_elements(there, said, shortest_mm=100.0, period_mm=2000.0)
    assert (m.wanted, m.claimed, m.found) == (2, 2, 2)
    assert sorted(m.place_mm) == pytest.approx([-35.0, -10.0])
    assert min(m.size) == pytest.approx(-0.01 * k)
    wrong_way = [replace(said[0], curvature0_1_mm=-k, curvature1_1_mm=-k)]
    assert matching.match_elements(there, wrong_way, shortest_mm=100.0, period_mm=2000.0).found == 0
    halves = [
        replace(said[0], s1_mm=960.0),
        replace(said[0], s0_mm=970.0, curvature0_1_mm=0.9 * k, curvature1_1_mm=0.9 * k),
    ]
    assert matching.match_elements(there, halves, shortest_mm=100.0, period_mm=2000.0).found == 0  # less than half each


def test_travel_errors_are_those_put_in(oval_line):
    plan = RunPlan(*laps(oval_line.length_mm, 1, 250.0))
    truth = simulate(oval_line, HO_VAN, plan, GOOD, np.random.default_rng(3))[1]
    n = len(truth.t_s)
    travel = Travel(
        "run", truth.t_s, 1.001 * truth.path_mm, np.full(n, 5.0), 1.02 * truth.path_speed_mm_s, np.full(n, 1.0),
        np.zeros(n, dtype=np.int8), np.full(n, np.nan), 0.004, "caliper",
    )  # fmt: skip
    e = travel_errors(travel, truth)
    assert e.distance_percent == pytest.approx(0.1, abs=1e-6)
    assert e.speed_rms_percent == pytest.approx(2.0, abs=1e-6)
    assert np.max(e.normalised_distance) == pytest.approx(0.001 * truth.path_mm[-1] / 5.0)
    assert math.isnan(travel_errors(travel, truth, at_least_mm_s=1000.0).speed_rms_percent)


def test_a_survey_of_another_place_is_refused(branch_line):
    survey = perfect(branch_line, 300.0, 1)
    run = run_on(branch_line, start=300.0)
    with pytest.raises(ValueError, match="at least 3 stations must lie on the line, came 0"):
        errors(branch_line, run, replace(survey, s_mm=survey.s_mm + 50_000.0))

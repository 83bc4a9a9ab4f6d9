"""Where a plan takes the wagon: exactly to its ends, without a jolt, never beyond its speed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.sim import Leg, RunPlan, laps
from wayrule.sim.motion import drive

DT = 0.00125

legs = st.builds(
    Leg,
    st.floats(20.0, 3000.0).flatmap(lambda d: st.sampled_from([d, -d])),
    st.floats(30.0, 500.0),
    st.floats(0.0, 3.0),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(legs, min_size=1, max_size=4), st.integers(0, 2**32))
def test_a_plan_ends_where_its_legs_add_up_and_runs_smoothly(parts, seed):
    plan = RunPlan(500.0, tuple(parts))
    s = drive(plan, DT, np.random.default_rng(seed))
    assert s[0] == 500.0
    assert s[-1] == pytest.approx(500.0 + sum(leg.distance_mm for leg in parts), abs=1e-6)
    v = np.diff(s) / DT
    fastest = max(leg.speed_mm_s for leg in parts)
    assert np.max(np.abs(v)) < 1.25 * fastest  # 3 % unevenness, at most some 4 sd, and the fit to the distance
    # the steepest ramp: 1.875 times its mean (the slope of the smooth step), twice where a leg is all ramps
    assert np.max(np.abs(np.diff(v))) / DT < 4.5 * plan.ramp_mm_s2 + 0.03 * 20 * fastest
    still = round(3.0 / DT) - 2
    assert np.all(v[:still] == 0)
    assert np.all(v[-still:] == 0)


def test_stops_last_as_long_as_planned():
    plan = RunPlan(0.0, (Leg(500.0, 200.0, 2.5), Leg(500.0, 200.0)), still_s=(3.0, 3.0))
    s = drive(plan, DT, np.random.default_rng(1))
    assert np.sum(s == s[len(s) // 2]) * DT == pytest.approx(2.5, abs=0.1)


def test_laps_end_where_they_began():
    start, (leg,) = laps(9000.0, 3, 200.0, start_mm=1200.0, backwards=True, miss_mm=4.0)
    assert (start, leg.distance_mm) == (1200.0, -27004.0)

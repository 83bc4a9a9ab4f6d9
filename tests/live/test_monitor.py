"""The monitor: what it says while samples come is what the offline pipeline says of the same bytes."""

import dataclasses
import time

import numpy as np
import pytest

from tests.lines import true_stations
from wayrule.formats.wire import Samples, gather, recording_of
from wayrule.live import follower as following
from wayrule.live.follower import Follower, KnownTrack
from wayrule.live.listener import Heard
from wayrule.live.monitor import Monitor
from wayrule.model import State
from wayrule.pipeline import travel
from wayrule.sim import GOOD, HO_VAN, Leg, RunPlan, oval, simulate
from wayrule.sim.onwire import in_time, on_wire

LOOP = oval(np.random.default_rng(4), defects=3)
AGREES_MM = 0.1
"""Promised of the distance; a sample's own noise is as large, and the same in both."""


def sent(legs, *, seed=2, start_mm=500.0, boot=1, identity="0badc0de", rate_hz=100.0):
    """(seconds, frames) of a push, and its truth."""
    plan = RunPlan(start_mm, legs, rate_hz=rate_hz, still_s=(2.0, 2.2))
    recording, truth = simulate(LOOP, HO_VAN, plan, GOOD, np.random.default_rng(seed))
    return list(in_time(*on_wire(recording, HO_VAN, identity=identity, boot=boot), rows=10)), truth


def watched(batches, **known):
    """Every number that is told, in order, and the monitor."""
    told = []
    monitor = Monitor([HO_VAN], tell=lambda _, now: told.append(now), aside=False, **known)
    for t_s, frames in batches:
        monitor.watch(Heard(1, int(t_s * 1e9), tuple(frames)))
    return told, monitor


def offline(batches):
    trips = gather([frame for _, frames in batches for frame in frames]).trips
    return travel(recording_of(trips[0], "r", sensor=HO_VAN.sensor, imu=HO_VAN.imu), HO_VAN)


LEGS = (Leg(2200.0, 200.0, 1.0), Leg(-500.0, 150.0))


@pytest.fixture(scope="module")
def push():
    batches, truth = sent(LEGS)
    told, monitor = watched(batches, track=KnownTrack.of(true_stations(LOOP), LOOP.faults))
    return batches, truth, told, monitor


def test_distance_and_speed_are_those_of_the_offline_pipeline(push):
    batches, _, told, _ = push
    went = offline(batches)
    t = np.array([now.t_s for now in told])
    off = np.array([now.distance_mm.value for now in told]) - np.interp(t, went.t_s, went.distance_mm)
    rolled = np.interp(t, went.t_s, np.maximum.accumulate(went.distance_mm))
    assert np.isnan(off[rolled < 15.0]).all(), "no distance before the axle has been through a turn (33 mm)"
    assert np.abs(off[rolled > 1000.0]).max() < AGREES_MM  # 30 turns, which a run needs to learn its field
    assert abs(off[-1]) < 0.02
    late = (rolled > 200.0) & np.isfinite(off)
    miss = np.array([now.speed_mm_s.value for now in told]) - np.interp(t, went.t_s, went.speed_mm_s)
    own = np.array([now.speed_mm_s.sd for now in told])
    z = miss[late] / np.hypot(own, np.interp(t, went.t_s, went.speed_sd_mm_s))[late]
    assert np.mean(np.abs(z) < 1) > 0.6
    assert np.mean(np.abs(z) < 2) > 0.88


def test_every_number_is_told_with_its_sigma(push):
    _, truth, told, _ = push
    rolling = [now for now in told if now.state == State.ROLLING and not now.learning][15:-15]
    for name in ("distance_mm", "trip_mm", "speed_mm_s", "gradient", "cant_mm", "curvature_1_mm", "heading_rad",
                 "scale_km_h", "scale_mph"):  # fmt: skip
        values = np.array([getattr(now, name) for now in rolling])
        assert np.isfinite(values).all(), name
        assert (values[:, 1] > 0).all(), name
    last = told[-1]
    assert last.state == State.STANDING
    turned = float(truth.heading_rad[-1] - truth.heading_rad[0])
    assert last.heading_rad.value == pytest.approx(turned, abs=4 * last.heading_rad.sd)
    assert (last.light, last.rolls) == (offline(push[0]).health.light, -1)


def test_its_place_on_the_line_and_the_next_fault(push):
    _, truth, told, _ = push
    placed = [now for now in told if np.isfinite(now.chainage_mm.value)]
    assert len(placed) > 0.5 * len(told)
    t = truth.t_s - truth.t_s[0]
    for now in placed:
        s = float(np.interp(now.t_s, t, truth.chainage_mm)) % LOOP.length_mm
        assert now.chainage_mm.value == pytest.approx(s, abs=20.0)
        assert now.fault is not None
        assert LOOP.faults[now.fault_number - 1] == now.fault
        gap = (now.rolls * (now.fault.s_mm - s)) % LOOP.length_mm
        assert min(abs(now.to_fault_mm.value - gap), LOOP.length_mm - abs(now.to_fault_mm.value - gap)) < 20.0


def test_a_trip_begins_anew(push):
    _, _, told, monitor = push
    before = told[-1]
    assert before.trip_mm == before.distance_mm
    monitor.reset_trips()
    ((_, follower),) = monitor._followers.values()
    now = follower.update()
    assert now.trip_mm.value == pytest.approx(0.0, abs=1e-9)
    assert now.trip_mm.sd < now.distance_mm.sd
    assert now.distance_mm == before.distance_mm


def test_samples_that_come_late_are_taken_in_at_the_next_look(push):
    batches, _, told, _ = push
    late = [frame for t_s, frames in batches if 6.0 < t_s < 6.5 for frame in frames if isinstance(frame, Samples)]
    holed = [(t, [f for f in frames if f not in late]) for t, frames in batches]
    at = next(k for k, (t, _) in enumerate(holed) if t > 8.0)
    holed[at] = (holed[at][0], [*holed[at][1], *late, *late])
    again, monitor = watched(holed)
    ((_, follower),) = monitor._followers.values()
    follower.look_back()
    assert follower.update().distance_mm.value == pytest.approx(offline(batches).distance_mm[-1], abs=0.02)
    assert again[-1].distance_mm.value == pytest.approx(told[-1].distance_mm.value, abs=AGREES_MM)


def test_a_wagon_switched_on_anew_goes_on_from_where_it_was(push):
    batches, _, told, _ = push
    second, _ = sent((Leg(600.0, 200.0),), boot=2, seed=5)
    both, _ = watched([*batches, *second])
    rolled = offline(second).distance_mm[-1]
    assert both[-1].distance_mm.value == pytest.approx(told[-1].distance_mm.value + rolled, abs=2 * AGREES_MM)
    older, monitor = watched([*second, *batches[:80]])
    assert len(monitor.now()) == 1
    assert older[-1].seq == second[-1][1][-1].seq[-1], "an older boot's back-fill is not followed"


def test_counts_are_forgotten_in_time_and_the_distance_goes_on(push, monkeypatch):
    batches, _, told, _ = push
    monkeypatch.setattr(following, "MOST_COUNTS", 1000)
    again, monitor = watched(batches)
    ((_, follower),) = monitor._followers.values()
    assert len(follower._log) < 1500
    assert not follower.wants_look_back
    assert again[-1].distance_mm.value == pytest.approx(told[-1].distance_mm.value, abs=1.0)  # field learnt from 10 s


def test_looks_off_to_one_side_come_to_the_same(push):
    batches, _, told, _ = push
    monitor = Monitor([HO_VAN], track=KnownTrack.of(true_stations(LOOP), LOOP.faults))
    try:
        for t_s, frames in batches:
            monitor.watch(Heard(1, int(t_s * 1e9), tuple(frames)))
        ((_, follower),) = monitor._followers.values()
        end = time.monotonic() + 20.0
        while time.monotonic() < end and np.isnan((now := follower.update()).distance_mm.value):
            time.sleep(0.02)
        assert now.distance_mm.value == pytest.approx(told[-1].distance_mm.value, abs=AGREES_MM)
        assert monitor.defect == ""
    finally:
        monitor.close()


def test_a_defect_in_a_look_is_told_and_the_numbers_go_on(push, monkeypatch):
    batches, _, _, _ = push
    monkeypatch.setattr(Follower, "look_back", lambda _: 1 / 0)
    monitor = Monitor([HO_VAN])
    try:
        for t_s, frames in batches[:80]:
            monitor.watch(Heard(1, int(t_s * 1e9), tuple(frames)))
        end = time.monotonic() + 10.0
        while not monitor.defect and time.monotonic() < end:
            time.sleep(0.02)
        assert "division by zero" in monitor.defect
    finally:
        monitor.close()
    assert monitor.now()[f"{batches[0][1][0].device:08x}"].learning


def test_a_wagon_without_a_file_or_of_another_gauge_is_not_followed_or_not_placed(push):
    batches, _, _, _ = push
    other = dataclasses.replace(HO_VAN, name="another"), dataclasses.replace(HO_VAN, name="a third")
    monitor = Monitor(other, aside=False)
    for t_s, frames in batches[:40]:
        monitor.watch(Heard(1, int(t_s * 1e9), tuple(frames)))
    assert monitor.now() == {}
    narrow = dataclasses.replace(true_stations(LOOP), gauge_mm=12.0)
    told, _ = watched(batches[:120], track=KnownTrack.of(narrow))
    assert told[-1].located is None

"""The card of a run: each item sees a cause that was planted, names it with its place, and leaves a clean run green."""

import dataclasses
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from wayrule.model import AxleReference, Health, Problem, Recording, Travel, Wagon
from wayrule.pipeline import survey, travel
from wayrule.run.axle import learn_axle
from wayrule.run.health.card import health
from wayrule.run.health.limits import LIMITS
from wayrule.sim import (
    GOOD,
    HO_VAN,
    Gap,
    Hand,
    Knock,
    Leg,
    Lump,
    Railway,
    RunPlan,
    RunTruth,
    Slide,
    Specimen,
    oval,
    simulate,
    with_stop,
)
from wayrule.sim.axlechanges import changed_field
from wayrule.units import DEG, G_MM_S2

NAMES = (
    "field", "saturation", "noise", "lost samples", "turn counting", "locked or sliding wheel", "lifted wagon",
    "knocks", "wheel wobble", "temperature", "battery", "clock",
)  # fmt: skip


@pytest.fixture(scope="module")
def line() -> Railway:
    return oval(np.random.default_rng(1))


def ran(line: Railway, **befell: object) -> tuple[Recording, RunTruth]:
    """Six metres, five seconds' stop, six more, with a cell and a thermometer that hardly move."""
    plan = RunPlan(*with_stop(6000.0, 6000.0, 220.0, start_mm=700.0), **befell)  # type: ignore[arg-type]
    run, truth = simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(3), name="monday")
    steady = np.linspace(0.0, 1.0, run.n)
    return replace(run, temp_c=21.0 + steady, battery_v=4.05 - 0.05 * steady), truth


def card(run: Recording, wagon: Wagon = HO_VAN, axle: AxleReference | None = None) -> Health:
    found = travel(run, wagon, axle=axle).health
    assert found is not None
    return found


@pytest.fixture(scope="module")
def clean(line: Railway) -> Recording:
    return ran(line)[0]


@pytest.fixture(scope="module")
def learnt(line: Railway) -> tuple[AxleReference, Specimen]:
    """The axle as an earlier run has shown it, and that wagon."""
    _, truth = ran(line)
    wagon = replace(truth.specimen, wheel=replace(truth.specimen.wheel, field=changed_field(HO_VAN)))
    run = simulate(line, HO_VAN, truth.plan, GOOD, np.random.default_rng(3), specimen=wagon, name="monday")[0]
    return learn_axle(run, place_mm=HO_VAN.sensor.place_mm, noise_mt=0.03).reference, wagon


def another_day(line: Railway, wagon: Specimen, **changed: object) -> Recording:
    """The same wagon, set down anew, another way round, with something changed at its magnets."""
    plan = RunPlan(9000.0, (Leg(-6000.0, 180.0),))
    now = replace(wagon, wheel=replace(wagon.wheel, field=changed_field(HO_VAN, **changed)))  # type: ignore[arg-type]
    return simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(11), specimen=now, name="tuesday")[0]


def test_the_field_is_green_on_another_day_and_not_calibrated_without_a_calibration(
    line: Railway, learnt: tuple[AxleReference, Specimen]
) -> None:
    reference, wagon = learnt
    later = another_day(line, wagon)
    item = card(later, axle=reference).one("field")
    assert item.light == "green", item.reason
    assert "strength 100." in item.reason or "strength 99." in item.reason
    alone = card(later).one("field")
    assert alone.light == "unknown"
    assert alone.reason.startswith("Not calibrated")
    assert "wayrule calibrate" in alone.todo


def test_a_magnet_that_came_off_is_red(line: Railway, learnt: tuple[AxleReference, Specimen]) -> None:
    """Half of a pair's field is gone."""
    reference, wagon = learnt
    item = card(another_day(line, wagon, strength=(0.0, -1.0)), axle=reference).one("field")
    assert item.light == "red", item.reason
    assert item.todo
    assert item.value > LIMITS["field changed"].amber


def test_a_middle_that_moved_is_amber_with_its_size(line: Railway, learnt: tuple[AxleReference, Specimen]) -> None:
    """By 1.12 mT: something magnetic has come near the sensor."""
    reference, wagon = learnt
    later = another_day(line, wagon)
    assert later.field_mt is not None
    item = card(replace(later, field_mt=later.field_mt + np.array([1.0, 0.0, 0.5])), axle=reference).one("field")
    assert item.light == "amber", item.reason
    assert "moved by 1.1" in item.reason
    assert item.todo


def test_a_clean_run_is_green_in_every_item(clean: Recording) -> None:
    found = card(clean)
    lights = {item.name: item.light for item in found.items}
    assert lights == dict.fromkeys(NAMES, "green") | {"field": "unknown"}
    assert found.light == "green"
    assert all(item.todo == "" and item.spots == () for item in found.of("green"))


def test_every_limit_says_where_it_comes_from() -> None:
    for name, limit in LIMITS.items():
        assert 0.0 < limit.amber <= limit.red, name
        assert len(limit.source) > 15, name
        assert limit.unit, name


def clipped(run: Recording, share: float) -> Recording:
    """The field's tops cut at a share of what they reach, as a sensor of smaller range would."""
    assert run.field_mt is not None
    top = np.abs(run.field_mt).max() * share
    return replace(run, field_mt=np.where(np.abs(run.field_mt) > top, np.nan, run.field_mt))


def noisier(run: Recording, group: str, sd: float) -> Recording:
    values = getattr(run, group)
    return replace(run, **{group: values + np.random.default_rng(5).normal(0.0, sd, values.shape)})


def without_rows(run: Recording, gone: np.ndarray) -> Recording:
    kept = {f.name: getattr(run, f.name) for f in dataclasses.fields(run) if f.name not in ("n", "marks", "problems")}
    return Recording(**{k: v[~gone] if isinstance(v, np.ndarray) else v for k, v in kept.items()})


def some(n: int, share: float) -> np.ndarray:
    gone = np.random.default_rng(6).random(n) < share
    gone[[0, -1]] = False
    return gone


def silent(run: Recording, gone: np.ndarray) -> Recording:
    assert run.gyro_rad_s is not None
    return replace(run, gyro_rad_s=np.where(gone[:, None], np.nan, run.gyro_rad_s))


def restamped(run: Recording, t_s: np.ndarray) -> Recording:
    return replace(run, t_s=t_s)


def jittered(run: Recording, share: float) -> Recording:
    step = float(np.median(np.diff(run.t_s)))
    even = np.arange(run.n) * step
    return restamped(run, even + np.clip(np.random.default_rng(7).normal(0.0, share, run.n), -0.49, 0.49) * step)


JUMP = Problem("bursts", 40, "lines 100 to 140, at 12.50 s", "times taken from a straight line", "monday: rows bunch.")

PLANTED: dict[str, tuple[str, str, Callable[[Recording], Recording]]] = {
    "field clipped at a few tops": ("saturation", "amber", lambda r: clipped(r, 0.998)),
    "field clipped a lot": ("saturation", "red", lambda r: clipped(r, 0.8)),
    "a field sensor twice as noisy": ("noise", "amber", lambda r: noisier(r, "field_mt", 0.06)),
    "a gyro five times as noisy": ("noise", "red", lambda r: noisier(r, "gyro_rad_s", 0.2 * DEG)),
    "an accelerometer twice as noisy": ("noise", "amber", lambda r: noisier(r, "acc_mm_s2", 0.0016 * G_MM_S2)),
    "one row in 200 lost": ("lost samples", "amber", lambda r: without_rows(r, some(r.n, 0.005))),
    "one row in 20 lost": ("lost samples", "red", lambda r: without_rows(r, some(r.n, 0.05))),
    "a sensor that fell silent": ("lost samples", "red", lambda r: silent(r, some(r.n, 0.03))),
    "a run that warms by 6 K": ("temperature", "amber", lambda r: replace(r, temp_c=20 + np.linspace(0, 6, r.n))),
    "a run that cools by 20 K": ("temperature", "red", lambda r: replace(r, temp_c=20 - np.linspace(0, 20, r.n))),
    "a cell at its half": ("battery", "amber", lambda r: replace(r, battery_v=np.linspace(4.15, 3.7, r.n))),
    "a cell that gives in": ("battery", "red", lambda r: replace(r, battery_v=np.linspace(4.1, 3.2, r.n))),
    "a clock that is 5 % fast": ("clock", "amber", lambda r: restamped(r, 1.05 * r.t_s)),
    "stamps that jitter by a fifth": ("clock", "amber", lambda r: jittered(r, 0.25)),
    "rows that bunch": ("clock", "amber", lambda r: replace(r, problems=(JUMP,))),
    "a clock that keeps jumping": ("clock", "red", lambda r: replace(r, problems=(JUMP,) * 3)),
}  # fmt: skip


@pytest.mark.parametrize("cause", PLANTED)
def test_what_was_done_to_a_recording_is_seen_in_its_item_alone(clean: Recording, cause: str) -> None:
    """Nothing else turns amber but what follows from it (lost rows, which the clock's steps do not count)."""
    name, light, plant = PLANTED[cause]
    found = card(plant(clean))
    item = found.one(name)
    assert item.light == light, item.reason
    assert item.todo
    assert [other.name for other in found.of("amber", "red")] == [name]


BEFELL: dict[str, tuple[str, str, dict[str, object]]] = {
    "locked over 60 mm": ("locked or sliding wheel", "amber", {"slides": (Slide(3000.0, 60.0),)}),
    "locked over 400 mm": ("locked or sliding wheel", "red", {"slides": (Slide(3000.0, 400.0),)}),
    "spun over 60 mm": ("locked or sliding wheel", "amber", {"slides": (Slide(3000.0, 60.0, -0.5),)}),
    "a hand at the stop": ("lifted wagon", "amber", {"hands": (Hand(5990.0),)}),
    "lifted at the stop": ("lifted wagon", "red", {"hands": (Hand(5990.0, 2.0, 0.0, 15.0, 12.0),)}),
    "a knock": ("knocks", "amber", {"knocks": (Knock(3000.0),)}),
    "fifteen knocks": ("knocks", "red", {"knocks": tuple(Knock(at) for at in np.linspace(500.0, 11500.0, 15))}),
    "dirt on one wheel": ("wheel wobble", "amber", {"lumps": (Lump(0.06),)}),
    "a lump right across the axle": ("wheel wobble", "red", {"lumps": (Lump(0.9, side=0),)}),
    "a second that was not written": ("turn counting", "red", {"gaps": (Gap(3000.0, 1.0),)}),
}


@pytest.mark.parametrize("cause", BEFELL)
def test_what_befell_a_run_is_seen_where_it_was(line: Railway, cause: str) -> None:
    """Its place within 0.15 s of the truth (blocks of 20 ms, three of them averaged; a hand begins softly: 0.6 s)."""
    name, light, befell = BEFELL[cause]
    run, truth = ran(line, **befell)
    item = card(run).one(name)
    assert item.light == light, item.reason
    assert item.todo
    if "lumps" in befell or cause == "fifteen knocks":
        return
    ((first, *_),) = befell.values()  # type: ignore[misc]
    at = float(truth.t_s[np.searchsorted(truth.chainage_mm, 700.0 + first.travelled_mm)])
    spot = item.spots[0]
    late = 0.7 + 0.6 if name == "lifted wagon" else 0.15
    assert (spot.last_s if "gaps" in befell else spot.first_s) == pytest.approx(at, abs=late)
    if "gaps" not in befell:
        assert spot.rolled_mm == pytest.approx(first.travelled_mm, abs=40.0)


def test_the_body_leans_by_what_the_lump_lifts_it(line: Railway) -> None:
    """By hand: a lump of 0.2 mm and 4 mm on both wheels, on a tread of 33.0 mm. Its raised cosine has the harmonics
    (2 h b / C) sin(x) / (x (1 - (x / pi)^2)) / 2 with b half its length and x = 2 pi k b / C; the first three peak to
    peak over 65 mm of wheelbase, here summed on a grid. To a tenth: filter and block edges."""
    run, _ = ran(line, lumps=(Lump(0.2, side=0),))
    tread, half = math.pi * 10.5, 2.0
    phi = np.linspace(-math.pi, math.pi, 2000)
    lump = np.where(
        np.abs(phi * tread / math.tau) < half, np.cos(phi * tread / math.tau * math.pi / (2 * half)) ** 2, 0
    )
    waves = sum(2 * np.mean(lump * np.cos(k * phi)) * np.cos(k * phi) for k in (1, 2, 3))
    expected = 1000.0 * 0.2 * float(np.ptp(waves)) / 65.0
    assert card(run).one("wheel wobble").value == pytest.approx(expected, rel=0.1)


def test_a_wheel_that_jams_before_the_wagon_stops_is_seen_though_no_second_jerk_tells_of_it(line: Railway) -> None:
    """Locked from 5 m on, while the wagon rolls on to 6 m and stands there: 1 m at 220 mm/s, 4.5 s of shaking."""
    run, truth = ran(line, slides=(Slide(5000.0, 1000.0),))
    item = card(run).one("locked or sliding wheel")
    assert item.light in ("amber", "red"), item.reason
    jammed = float(truth.t_s[np.searchsorted(truth.chainage_mm, 5700.0)])
    assert any(abs(spot.first_s - jammed) < 1.0 and spot.last_s > jammed + 2.5 for spot in item.spots)


def test_a_wheel_turned_by_a_finger_on_a_standing_wagon_is_seen() -> None:
    """A rolling run, then a wheel that turns at 200 mm/s for four seconds while the inertial sensor lies as at rest."""
    rng = np.random.default_rng(8)
    t = np.arange(0.0, 40.0, 0.005)
    v = np.where((t > 5) & (t < 20), 200.0, 0.0) + np.where((t > 28) & (t < 32), 200.0, 0.0)
    v = np.convolve(v, np.ones(200) / 200, mode="same")  # ramps of a second
    shaking = np.where((t > 5) & (t < 20), 60.0, 9.0)[:, None]
    force = rng.normal(0.0, 1.0, (len(t), 3)) * shaking + [0.0, 0.0, G_MM_S2]
    force[:, 0] += np.where(t < 24, np.gradient(v, t), 0.0)
    gyro = rng.normal(0.0, 0.0007, (len(t), 3))
    run = Recording("finger", t, wheel_mm=np.cumsum(v) * 0.005, gyro_rad_s=gyro, acc_mm_s2=force)
    item = card(run, replace(HO_VAN, wheel=replace(HO_VAN.wheel, scale_sd=0.01))).one("locked or sliding wheel")
    assert item.light == "amber", item.reason
    assert "as quiet as at rest" in item.reason
    assert any(27.0 < spot.first_s < 30.0 and spot.last_s < 33.0 for spot in item.spots)


def test_turning_near_what_the_rate_can_follow_is_amber_and_beyond_it_red(line: Railway) -> None:
    """At 20 rows a second 0.4 turn a row is 8 turns a second, 264 mm/s: 235 is 89 % of it, 300 is beyond."""
    for v, light in ((235.0, "amber"), (300.0, "red")):
        plan = RunPlan(700.0, (Leg(6000.0, v),), rate_hz=20.0, unevenness=0.0)
        run, _ = simulate(line, HO_VAN, plan, GOOD, np.random.default_rng(3), name="monday")
        assert (
            card(run, replace(HO_VAN, sensor=replace(HO_VAN.sensor, rate_hz=20.0))).one("turn counting").light == light
        )


def test_what_was_not_recorded_is_not_known_and_spoils_nothing(clean: Recording) -> None:
    bare = Recording("bare", clean.t_s, wheel_mm=travel(clean, HO_VAN).distance_mm)
    found = card(bare)
    assert {item.name for item in found.of("green")} == {"lost samples", "clock"}
    assert found.light == "green"
    assert all(item.reason for item in found.items)
    silent = replace(HO_VAN, sensor=replace(HO_VAN.sensor, noise_mt=None), imu=type(HO_VAN.imu)())
    assert card(clean, silent).one("noise").light == "unknown"
    unseen = card(replace(clean, acc_mm_s2=None))
    assert {"locked or sliding wheel", "knocks"} <= {item.name for item in unseen.of("unknown")}


def test_a_window_is_judged_by_the_same_function(line: Railway) -> None:
    """Four seconds around a knock, as a recorder would hand them in, and one second in which nothing turns a turn."""
    run, truth = ran(line, knocks=(Knock(3000.0),))
    at = float(truth.t_s[np.searchsorted(truth.chainage_mm, 3700.0)])
    window = without_rows(run, (run.t_s < at - 4.0) | (run.t_s > at + 4.0))
    assert card(window).one("knocks").light == "amber"
    short = without_rows(run, run.t_s > 0.5)
    found = health(short, HO_VAN, None)
    assert {item.name for item in found.of("green")} == {
        "saturation",
        "lost samples",
        "temperature",
        "battery",
        "clock",
    }
    assert found.one("knocks").light == "unknown"
    few = health(without_rows(run, run.t_s > 0.02), HO_VAN, None)
    assert few.one("clock").light == few.one("lost samples").light == "unknown"


def test_nothing_that_goes_in_is_changed(clean: Recording) -> None:
    before = [None if v is None else np.array(v) for v in (clean.field_mt, clean.gyro_rad_s, clean.acc_mm_s2)]
    done: Travel = travel(clean, HO_VAN)
    health(clean, HO_VAN, done)
    for old, new in zip(before, (clean.field_mt, clean.gyro_rad_s, clean.acc_mm_s2), strict=True):
        np.testing.assert_array_equal(old, new)


def test_a_survey_places_what_the_card_tells(line: Railway) -> None:
    run, _ = ran(line, slides=(Slide(3000.0, 60.0),))
    item = survey([run], HO_VAN).travels[0].health
    assert item is not None
    spot = item.one("locked or sliding wheel").spots[0]
    assert spot.chainage_mm == pytest.approx(3000.0, abs=40.0)

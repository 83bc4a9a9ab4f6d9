"""Run against run: statistics by numpy on hand-made passes, and a circle whose laps sway as is known."""

import dataclasses

import numpy as np
import pytest

from tests.track.test_adjust import SPEED, WAGON, circling
from wayrule import pipeline
from wayrule.maths.bands import Band
from wayrule.model import BodyImu, Facts, State, Travel
from wayrule.sim import GOOD, HO_VAN, RunPlan, laps, oval, simulate
from wayrule.track.adjust.adjust import adjust
from wayrule.track.adjust.problem import prepare
from wayrule.track.adjust.repeats import Looks, Piece, bands, compared, looks, repeats
from wayrule.track.place import place
from wayrule.units import G_MM_S2

RADIUS = 480.0
ROUND = 2 * np.pi * RADIUS
NAN = float("nan")


def test_differences_are_those_of_all_pairs():
    """Five passes of 40 cells by two runs, holes in them, against numpy over every pair."""
    rng = np.random.default_rng(3)
    values = rng.normal(size=(5, 40)) + np.array([0.0, 0.0, 0.0, 2.0, 2.0])[:, None]
    values[rng.random((5, 40)) < 0.3] = NAN
    run = np.array([0, 0, 0, 1, 1])
    variance = np.array([1.0, 3.0])
    within, between, told_within, told_between = [], [], [], []
    for i in range(5):
        for j in range(i):
            d = (values[i] - values[j])[np.isfinite(values[i] - values[j])]
            same = run[i] == run[j]
            (within if same else between).extend(d**2)
            (told_within if same else told_between).extend([variance[run[i]] + variance[run[j]]] * len(d))
    passes, length, *sds = compared(Looks(values, run, run), variance, 4.0)
    assert passes == 5
    assert length == 4.0 * np.sum(np.isfinite(values).sum(axis=0) >= 2)
    np.testing.assert_allclose(sds, [np.sqrt(np.mean(x)) for x in (within, told_within, between, told_between)])


def test_one_pass_compares_with_nothing():
    alone = Looks(np.ones((1, 10)), np.zeros(1, dtype=int), np.zeros(1, dtype=int))
    passes, length, *sds = compared(alone, np.ones(1), 4.0)
    assert (passes, length) == (0, 0.0)
    assert np.isnan(sds).all()


def test_laps_lie_side_by_side_where_they_are():
    """Two laps and a half of 100 cells, a wave of 20 cells that grows: the same cell holds the same phase, and the
    longest wave is left out at both ends, so that less than two laps are left."""
    cell = np.arange(250) + 30
    own = np.tile(np.sin(2 * np.pi * cell / 20) * (1 + cell / 1000), (3, 1))
    look = looks([Piece(0, 30, own)], 0, Band("D1", 10.0, 40.0), 1.0, 100)
    assert look.values.shape == (2, 100)
    assert np.isfinite(look.values).sum() == 250 - 80
    both = np.isfinite(look.values[0]) & np.isfinite(look.values[1])
    wave = np.sin(2 * np.pi * np.arange(100) / 20)
    assert np.corrcoef(look.values[0][both], wave[both])[0, 1] > 0.99
    assert np.mean(look.values[1][both] / look.values[0][both]) > 1.05


def test_a_movement_shorter_than_the_band_is_not_looked_at():
    assert len(looks([Piece(0, 0, np.ones((3, 30)))], 0, Band("D1", 10.0, 40.0), 1.0, None).values) == 0


def test_bands_are_those_of_the_full_size_over_the_ratio():
    """EN 13848-1 (from memory): 3, 25, 70, 150 m. At 1:1 with a car's knots the shortest waves are not seen."""
    assert [(b.name, b.longest) for b in bands(160.0, 3.0)] == [("D1", 156.25), ("D2", 437.5), ("D3", 937.5)]
    assert bands(1.0, 1000.0)[0].shortest == 4000.0
    assert [b.name for b in bands(1.0, 10_000.0)] == ["D2", "D3"]


def noisy(noise_rad_s: float):
    """Four laps of a circle by a gyro of so much noise a sample, started and stopped gently in two seconds."""
    still, ramp, rate_hz = 3.0, 2.0, 100.0
    rolling_s = 4 * ROUND / SPEED + ramp
    t = np.arange(0.0, 2 * still + rolling_s, 1 / rate_hz)
    v = SPEED * np.clip((t - still) / ramp, 0.0, 1.0) * np.clip((still + rolling_s - t) / ramp, 0.0, 1.0)
    s = np.concatenate(([0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) / rate_hz)))
    rng, zero = np.random.default_rng(9), np.zeros_like(t)
    gyro = rng.normal(0.0, noise_rad_s, (len(t), 3))
    gyro[:, 2] += v / RADIUS
    force = rng.normal(0.0, 3.0, (len(t), 3)) + np.array([0.0, 0.0, G_MM_S2])
    force[:, 0] += np.gradient(v, t)
    force[:, 1] += v**2 / RADIUS
    state = np.where(v > 0, State.ROLLING, State.STANDING).astype(np.int8)
    imu = BodyImu(gyro, force, np.eye(3), np.zeros(3), np.full(3, 2e-4))
    travel = Travel("circle", t, s, 0.004 * s, v, zero + 0.5, state, zero * np.nan, 0.004, "caliper", imu)
    facts = Facts(laps={"circle": 4})
    return adjust(prepare([travel], WAGON, facts, place([travel], facts, 65.0, 65.0 / 8)))


def test_laps_that_sway_differently_differ_by_what_they_sway():
    """A simulated oval; on the second and third of four laps the body yaws by 0.02 rad more in waves of 503 mm (in D2),
    a whole number a lap. Four of six pairs are of unlike laps: the rms difference of curvature is
    size k / sqrt 2 x sqrt(4 / 6), beside a tenth of it that the wagon sways of itself; 10 %: where laps meet."""
    rng = np.random.default_rng(11)
    line = oval(rng, length_mm=9048.0)
    run, truth = simulate(line, HO_VAN, RunPlan(*laps(line.length_mm, 4, 220.0), rate_hz=100), GOOD, rng, name="a")
    wave, size = line.length_mm / 18, 0.02
    path, k = np.interp(run.t_s, truth.t_s, truth.path_mm), 2 * np.pi * 18 / line.length_mm
    other = np.isin(np.floor(path / line.length_mm), (1, 2))
    gyro = run.gyro_rad_s.copy()
    gyro[:, 2] += other * size * k * np.cos(k * path) * np.gradient(path, run.t_s)
    survey = pipeline.survey([dataclasses.replace(run, gyro_rad_s=gyro)], HO_VAN, Facts(laps={"a": 4}))
    found = {(r.quantity, r.band): r for r in survey.repeats}
    seen = found["curvature", "D2"]
    assert seen.one_run == pytest.approx(size * 2 * np.pi / wave / np.sqrt(2) * np.sqrt(4 / 6), rel=0.1)
    assert seen.passes == 4
    assert seen.length_mm == pytest.approx(line.length_mm, rel=0.01)
    assert np.isnan(seen.two_runs)
    assert found["curvature", "D1"].one_run < 0.3 * seen.one_run
    assert found["curvature", "D3"].one_run < 0.3 * seen.one_run


def test_laps_that_only_noise_tells_apart_differ_as_promised():
    """White rates of sd n at 100 Hz are q = n^2 / (rate v) rad^2 a mm; two passes differ in curvature by
    sqrt(2 x 2 q (1 / shortest - 1 / longest)), as the band's edges are sharp but for 10 %. Climb is the walk of the
    pitch: by sqrt(2 x 2 q / (2 pi)^2 (longest - shortest)). D3 holds
    some 9 degrees of freedom (2 x bandwidth x length): an sd of 24 %, taken twice."""
    noise = 2e-3
    q = noise**2 / 100.0 / SPEED
    for r in repeats(noisy(noise)):
        sharp = 1 / r.shortest_mm - 1 / r.longest_mm if r.quantity == "curvature" else r.longest_mm - r.shortest_mm
        by_hand = (
            np.sqrt(4 * q * sharp)
            * {"curvature": 1.0, "gradient": 1 / (2 * np.pi), "cant": 16.5 / (2 * np.pi)}[r.quantity]
        )
        loose = 0.48 if r.band == "D3" else 0.12
        assert r.one_run == pytest.approx(by_hand, rel=loose), (r.quantity, r.band)
        assert 0.9 * by_hand < r.one_run_promised < 1.35 * by_hand, (
            "the larger of two estimates of noise, and a least sway"
        )


def test_a_line_passed_once_has_nothing_to_compare():
    travel = circling(RADIUS, 1)
    facts = Facts(laps={"circle": 1})
    assert repeats(adjust(prepare([travel], WAGON, facts, place([travel], facts, 65.0, 65.0 / 8)))) == ()

"""Noise of logs at rest, against the sensor that was drawn, a reference library, and a real vehicle's log."""

from pathlib import Path

import allantools
import numpy as np
import polars as pl
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import Imu, Recording
from wayrule.run.clock import clock
from wayrule.run.noise import compare, noise_at_rest, step_texts
from wayrule.sim import CHEAP, GOOD
from wayrule.sim.byhand import left_alone
from wayrule.sim.imu import draw_imu
from wayrule.units import DEG, G_MM_S2

REAL = Path(__file__).parents[3] / "shared/data/rail_imu_ethpbl_samples/imu_decoded.csv"


@pytest.fixture(scope="module")
def log() -> Recording:
    return left_alone(draw_imu(CHEAP, np.random.default_rng(1)), 1200.0, np.random.default_rng(2))


def test_density_and_floor_are_those_the_sensor_was_drawn_with(log: Recording) -> None:
    gyro, force = noise_at_rest(log)
    assert gyro is not None
    assert force is not None
    assert gyro.density / DEG == pytest.approx(np.full(3, CHEAP.gyro_noise_dps_rthz), rel=0.04)
    assert force.density / G_MM_S2 == pytest.approx(np.full(3, CHEAP.acc_noise_g_rthz), rel=0.04)
    lowest = gyro.deviation.min(axis=0) / DEG * 3600  # the floor as drawn is 12 deg/h, from 30 s on
    assert (lowest > 6).all()
    assert (lowest < 30).all()
    assert (gyro.low < gyro.deviation).all()
    assert (gyro.deviation < gyro.high).all()
    assert (np.isnan(gyro.terms) | (gyro.terms < gyro.terms_below)).all()
    assert gyro.step / DEG == pytest.approx(np.full(3, 500 / 2**16), rel=1e-6)
    assert gyro.seconds == pytest.approx(1200.0, rel=1e-3)


def test_the_curve_is_that_of_the_reference_library(log: Recording) -> None:
    gyro, _ = noise_at_rest(log)
    assert gyro is not None
    assert log.gyro_rad_s is not None
    for axis in range(3):
        taus, deviation, _, _ = allantools.oadev(log.gyro_rad_s[:, axis], rate=200.0, data_type="freq", taus=gyro.tau_s)
        assert taus == pytest.approx(gyro.tau_s)
        assert gyro.deviation[:, axis] == pytest.approx(deviation, rel=1e-9)


@pytest.mark.parametrize(
    ("claimed", "verdict", "words"),
    [
        (CHEAP.gyro_noise_dps_rthz, "as claimed", "as the wagon file claims"),
        (0.004, "noisier", "3.0 times the wagon file's 0.004: correct gyro_noise_dps_rthz"),
        (0.05, "quieter", "error bars are wider than need be"),
        (None, "not claimed", "write gyro_noise_dps_rthz = 0.012 into [imu]"),
    ],
)
def test_claims_of_the_wagon_file_are_held_against_the_log(
    log: Recording, claimed: float | None, verdict: str, words: str
) -> None:
    claim = compare(noise_at_rest(log), Imu(gyro_noise_dps_rthz=claimed))[0]
    assert claim.verdict == verdict
    assert words in claim.text
    assert claim.found == pytest.approx(0.012, rel=0.03)
    assert claim.found_sd < 0.001


def test_the_densitys_sigma_is_how_much_it_scatters_from_log_to_log() -> None:
    rng, found = np.random.default_rng(5), []
    for _ in range(60):
        white = rng.normal(0.0, 0.01, (3000, 3))
        claim = compare(noise_at_rest(Recording("a", np.arange(3000) / 100.0, gyro_rad_s=white)), Imu())[0]
        found.append((claim.found, claim.found_sd))
    values, sds = np.array(found).T
    assert 0.75 < sds.mean() / values.std() < 1.6


def test_a_few_missing_rows_change_little_and_many_are_refused(log: Recording) -> None:
    keep = np.random.default_rng(3).random(log.n) > 0.01
    keep[:2] = True
    thinned = Recording("thinned", log.t_s[keep], gyro_rad_s=log.gyro_rad_s[keep])
    whole, some = noise_at_rest(log)[0], noise_at_rest(thinned)[0]
    assert some.density == pytest.approx(whole.density, rel=0.02)
    keep = np.random.default_rng(3).random(log.n) > 0.05
    with pytest.raises(UndeterminedError, match=r"gyro with its rows, came 5\.\d% of them missing"):
        noise_at_rest(Recording("holes", log.t_s[keep], gyro_rad_s=log.gyro_rad_s[keep]))


def test_short_and_deaf_logs_are_refused() -> None:
    with pytest.raises(UndeterminedError, match=r"expected 10 s of rest and more, came 1\.0 s, 200 rows"):
        noise_at_rest(Recording("short", np.arange(200) / 199.0, gyro_rad_s=np.zeros((200, 3))))
    with pytest.raises(UndeterminedError, match="a gyro or an accelerometer, came neither"):
        noise_at_rest(Recording("deaf", np.arange(200) / 10.0))


def test_steps_coarser_than_the_noise_are_told() -> None:
    rng = np.random.default_rng(4)
    coarse = np.round(rng.normal([0.0, 0.0, 0.004], [1e-4, 5e-3, 1e-4], (4000, 3)) / 0.003) * 0.003
    coarse[::500, [0, 2]] += 0.003
    gyro, _ = noise_at_rest(Recording("coarse", np.arange(4000) / 200.0, gyro_rad_s=coarse))
    texts = step_texts(gyro)
    assert [text.split("'s ")[1][0] for text in texts] == ["x", "z"]
    assert "choose a smaller range" in texts[0]


def test_a_log_of_noise_free_readings_shows_no_walk() -> None:
    flat = np.zeros((4000, 3))
    claim = compare(noise_at_rest(Recording("flat", np.arange(4000) / 200.0, gyro_rad_s=flat)), Imu())[0]
    assert claim.verdict == "not found"


def test_a_real_vehicle_at_rest_by_its_own_log() -> None:
    """Twelve starts of an open log (sample sd 0.16 to 0.21 deg/s, rates 1685 to 1698 Hz, stated beside the data)."""
    if not REAL.exists():
        pytest.skip("the open recordings are not here; the simulated log above is held against the same")
    rows = pl.read_csv(REAL.read_bytes())
    seen = 0
    for (_, node), one in rows.group_by("run", "node", maintain_order=True):
        t = one["t_s"].to_numpy()
        keep = np.append(True, np.diff(np.maximum.accumulate(t)) > 0)
        found = clock(t[keep])
        low, high = ((1685, 1687), (1695, 1698))[int(node) - 1]
        assert low - 1 < found.rate_hz < high + 1
        gyro = one.select("gyro_x_rad_s", "gyro_y_rad_s", "gyro_z_rad_s").to_numpy()[keep]
        slow = Recording("start", np.arange(len(gyro)) / found.rate_hz * 10, gyro_rad_s=gyro)  # ten times the time
        noise, _ = noise_at_rest(slow)
        assert (noise.deviation[0] / DEG < 0.25).all()
        assert (noise.deviation[0] / DEG > 0.02).all()
        seen += 1
    assert seen == 12


def test_the_good_sensor_is_quieter_than_the_cheap_one(log: Recording) -> None:
    good = left_alone(draw_imu(GOOD, np.random.default_rng(1)), 60.0, np.random.default_rng(2))
    assert (noise_at_rest(good)[0].density < 0.5 * noise_at_rest(log)[0].density).all()

"""The inertial sensor: densities, wander, filter and steps against their definitions."""

import math

import numpy as np
import pytest

from wayrule.sim import CHEAP, GOOD, imu
from wayrule.units import DEG, G_MM_S2

RATE = 200.0


def allan_sd(x, m):
    """Overlapping Allan deviation of a rate at m samples (IEEE 952, from the integrated signal)."""
    theta = np.concatenate([[0.0], np.cumsum(x)])
    d = theta[2 * m :] - 2 * theta[m:-m] + theta[: -2 * m]
    return math.sqrt(np.mean(d**2) / 2) / m


def still(quality, n, seed=1):
    rng = np.random.default_rng(seed)
    specimen = imu.draw_imu(quality, rng)
    nothing = np.zeros((n, 3))
    level = np.tile([0.0, 0.0, G_MM_S2], (n, 1))
    return specimen, imu.read(specimen, nothing, level, np.zeros(n), RATE, np.eye(3), rng)


@pytest.mark.parametrize("quality", [GOOD, CHEAP])
def test_noise_has_the_one_sided_density_that_is_stated(quality):
    _, reading = still(quality, 40_000)
    # sd of a sample = n sqrt(rate / 2); its estimate from 120 000 samples is right to 0.2 %, steps add below 1 %
    gyro = np.std(np.diff(reading.gyro_rad_s, axis=0)) / math.sqrt(2)
    acc = np.std(np.diff(reading.acc_mm_s2, axis=0)) / math.sqrt(2)
    assert gyro == pytest.approx(quality.gyro_noise_dps_rthz * 10.0 * DEG, rel=0.02)
    assert acc == pytest.approx(quality.acc_noise_g_rthz * 10.0 * G_MM_S2, rel=0.02)


def test_cheap_is_three_times_noisier_and_four_times_less_steady():
    assert CHEAP.gyro_noise_dps_rthz == pytest.approx(3 * GOOD.gyro_noise_dps_rthz)
    assert CHEAP.acc_noise_g_rthz == pytest.approx(3 * GOOD.acc_noise_g_rthz)
    for name in ("gyro_bias_sd_dps", "gyro_wander_dph", "acc_bias_sd_g", "acc_repeat_sd_g", "acc_wander_g"):
        assert getattr(CHEAP, name) == pytest.approx(4 * getattr(GOOD, name))


def test_wander_has_its_allan_floor_where_it_says():
    # 2 Hz for 30 h, three axes: at 600 s there are some 180 independent spans an axis, so about 6 % of spread
    rate = 2.0
    x = imu.wander(int(30 * 3600 * rate), rate, 3.0, np.random.default_rng(3))
    for tau in (60.0, 200.0, 600.0):
        got = math.sqrt(np.mean([allan_sd(x[:, i], int(tau * rate)) ** 2 for i in range(3)]))
        assert got == pytest.approx(3.0, rel=0.2)


def test_low_pass_halves_power_at_its_corner_and_delays_as_it_says():
    rate, corner = 1600.0, 60.0
    t = np.arange(0, 2, 1 / rate)
    out = imu.low_pass(np.sin(2 * np.pi * corner * t)[:, None], rate, corner)[len(t) // 2 :]
    assert np.std(out) * math.sqrt(2) == pytest.approx(math.sqrt(0.5), rel=1e-3)
    slow = np.sin(2 * np.pi * 1.0 * t)
    late = np.interp(t - imu.delay_s(corner), t, slow)
    assert np.max(np.abs(imu.low_pass(slow[:, None], rate, corner)[400:, 0] - late[400:])) < 3e-3
    assert np.all(imu.low_pass(np.full((50, 3), 7.0), rate, corner) == pytest.approx(7.0))  # no start-up jolt


def test_steps_are_even_and_end_at_the_range():
    values = imu.steps(np.linspace(-300, 300, 10_001), 250.0, 16)
    assert (values.min(), values.max()) == (-250.0, 250.0 - 500.0 / 65536)
    assert np.allclose(values / (500.0 / 65536), np.round(values / (500.0 / 65536)))


def test_switching_on_again_draws_another_gyro_bias_but_nearly_the_same_accelerometer_bias():
    rng = np.random.default_rng(2)
    first = imu.draw_imu(GOOD, rng)
    again = imu.turn_on(first, rng)
    assert np.array_equal(again.gyro_matrix, first.gyro_matrix)
    assert np.all(again.gyro_bias_rad_s != first.gyro_bias_rad_s)
    assert np.max(np.abs(again.acc_bias_mm_s2 - first.acc_bias_mm_s2)) < 5 * GOOD.acc_repeat_sd_g * G_MM_S2


def test_specimens_scatter_as_stated():
    rng = np.random.default_rng(4)
    many = [imu.draw_imu(GOOD, rng) for _ in range(2000)]
    # the sd of 2000 (times axes) draws is known to 1-2 %
    assert np.std([s.gyro_bias_rad_s for s in many]) == pytest.approx(0.4 * DEG, rel=0.05)
    assert np.std([s.acc_bias_mm_s2 for s in many]) == pytest.approx(0.010 * G_MM_S2, rel=0.05)
    assert np.std([np.diag(s.gyro_matrix) for s in many]) == pytest.approx(0.005, rel=0.05)
    askew = [s.acc_matrix[0, 2] for s in many]
    assert np.std(askew) == pytest.approx(math.hypot(0.7 * DEG, 0.002), rel=0.05)


def test_an_imu_on_its_side_reads_gravity_elsewhere():
    n = 400
    rng = np.random.default_rng(1)
    specimen = imu.draw_imu(GOOD, rng)
    level = np.tile([0.0, 0.0, G_MM_S2], (n, 1))
    axes = imu.coarse_axes(("x", "z", "-y"))
    reading = imu.read(specimen, np.zeros((n, 3)), level, np.zeros(n), RATE, axes, rng)
    assert int(np.argmax(np.abs(reading.acc_mm_s2.mean(axis=0)))) == 1


@pytest.mark.parametrize(
    ("axes", "words"), [(("x", "y", "up"), "came 'up'"), (("x", "y", "-z"), "right-handed frame, came x, y, -z")]
)
def test_axes_that_are_no_frame_are_refused(axes, words):
    with pytest.raises(ValueError, match=words):
        imu.coarse_axes(axes)

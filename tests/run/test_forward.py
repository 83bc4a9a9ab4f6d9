"""Direction of forward from the accelerometer: made motion, and gravity's share taken out."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from wayrule.errors import UndeterminedError
from wayrule.run.attitude import find_attitude, mean_gravity, up_rotation
from wayrule.run.forward import forward_evidence


@pytest.mark.parametrize("yaw_deg", [0, 25, -70, 140, 180])
def test_angle_is_found_with_its_sd(make_roll, yaw_deg):
    to_sensor = Rotation.from_euler("z", yaw_deg, degrees=True).as_matrix()
    made = make_roll(rotation=to_sensor)
    found = forward_evidence(made.t_s, made.v_mm_s, made.gyro, made.acc)
    miss = np.degrees(np.angle(np.exp(1j * (found.angle_rad - np.radians(yaw_deg)))))
    assert abs(miss) < 3 * np.degrees(found.sd_rad)
    assert np.degrees(found.sd_rad) < 5.0
    assert found.gain == pytest.approx(1.0, abs=0.15)
    assert found.strong


def test_cant_ramps_do_not_pass_for_centripetal_force(make_roll):
    """Roll into each curve by far more than it needs: with the gyro's help forward is still found, without it not."""
    made = make_roll()
    rate = made.gyro[:, 2] - 0.015
    inside = np.convolve(rate > 0.2, np.ones(60) / 60, mode="same") > 0.5
    roll = np.convolve(inside * 0.06, np.ones(160) / 160, mode="same")  # 1 mm of cant on 16.5 mm
    gyro, acc = made.gyro.copy(), made.acc.copy()
    gyro[:, 0] += np.gradient(-roll, made.t_s)
    acc[:, 1] -= 9806.65 * np.sin(roll)
    found = forward_evidence(made.t_s, made.v_mm_s, gyro, acc)
    assert found.strong
    assert abs(np.degrees(found.angle_rad)) < 5.0
    blind = forward_evidence(made.t_s, made.v_mm_s, gyro * [0.0, 1.0, 1.0], acc)
    assert blind is not None
    assert not (blind.strong and abs(np.degrees(blind.angle_rad)) < 5.0)


def test_steady_speed_gives_no_evidence(make_roll):
    made = make_roll()
    level = np.full(len(made.t_s), 150.0)
    assert forward_evidence(made.t_s, level, None, made.acc) is None
    assert forward_evidence(made.t_s[:500], made.v_mm_s[:500], None, made.acc[:500]) is None  # 2.5 s
    notes = find_attitude(made.t_s, level, None, made.acc, can_flip=True, direction_known=True).notes
    assert "the speed changes too little to check it" in notes[-1]


def test_a_person_may_say_that_forward_is_as_mounted(make_roll):
    """The whole sensor half a turn about up: strong evidence turns the wheel round, unless somebody knows better."""
    made = make_roll()
    half = np.diag([-1.0, -1.0, 1.0])
    felt = {"can_flip": True, "direction_known": True}
    found = find_attitude(made.t_s, made.v_mm_s, made.gyro @ half, made.acc @ half, **felt)
    assert found.flip_wheel
    assert found.answer == "the wheel turned round"
    stated = find_attitude(made.t_s, made.v_mm_s, made.gyro @ half, made.acc @ half, **felt, as_mounted=True)
    assert not stated.flip_wheel
    assert stated.answer == "as mounted"
    np.testing.assert_array_equal(stated.rotation, np.eye(3))


def test_noise_turns_nothing(make_roll):
    made = make_roll()
    acc = np.random.default_rng(1).normal([0, 0, 9806.65], 2000.0, made.acc.shape)
    found = find_attitude(made.t_s, made.v_mm_s, made.gyro, acc, can_flip=True, direction_known=True)
    np.testing.assert_array_equal(found.rotation, np.eye(3))
    assert not found.flip_wheel
    assert "too weak" in found.notes[-1]


def test_known_accelerations_are_taken_out_of_gravity(make_roll):
    made = make_roll(bias=(0, 0, 0))
    ramp = made.t_s < 9.5  # standing and the start: dv/dt does not average out here
    dv = np.gradient(made.v_mm_s, made.t_s)
    plain = made.acc[ramp].mean(axis=0)
    found = mean_gravity(made.v_mm_s[ramp], dv[ramp], made.gyro[ramp], made.acc[ramp])
    assert abs(plain[0]) > 12.0
    np.testing.assert_allclose(found, [0, 0, 9806.65], atol=6.0)  # noise 30 to 150 over 1900 samples: 1.5


def test_no_gravity_is_refused():
    with pytest.raises(UndeterminedError, match=r"expected an accelerometer that feels gravity, came .* 0; check"):
        up_rotation(np.zeros(3), "r")


@pytest.mark.parametrize("up", [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)])
def test_least_rotation_brings_each_axis_up(up):
    found, tilt = up_rotation(9.8 * np.array(up) + [0.3, 0.2, -0.2], "r")
    np.testing.assert_allclose(found @ up, [0, 0, 1], atol=1e-12)
    assert np.degrees(Rotation.from_matrix(found).magnitude()) == pytest.approx(
        np.degrees(np.arccos(np.clip(up[2], -1, 1))), abs=1e-6
    )
    assert np.degrees(tilt) == pytest.approx(2.0, abs=0.5)


def test_a_run_that_ends_fast_does_not_pass_for_a_crooked_mounting():
    """A fifth of a g on average: the plain mean leans 11 deg forward, with dv/dt taken out gravity is upright."""
    t = np.arange(0.0, 10.0, 0.01)
    rng = np.random.default_rng(1)
    v = 2000.0 * np.maximum(t - 0.5 + 0.3 * np.sin(3 * t), 0.0)
    dv = np.gradient(v, t)
    acc = np.column_stack([dv, 0 * t, np.full(len(t), 9806.65)]) + rng.normal(0, 50, (len(t), 3))
    assert np.degrees(up_rotation(acc.mean(axis=0), "r")[1]) > 10.0
    found = find_attitude(t, v, np.zeros((len(t), 3)), acc, can_flip=False, direction_known=True)
    np.testing.assert_array_equal(found.rotation, np.eye(3))
    assert found.notes[0].startswith("Sensor axis +z is up, gravity 0.")

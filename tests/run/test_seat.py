"""Which way the sensor sits: every order and sign of the gyro's columns is told from every other."""

import itertools

import numpy as np
import pytest

from wayrule.errors import UndeterminedError
from wayrule.model import Recording
from wayrule.run.seat import gyro_columns, seat
from wayrule.sim import CHEAP
from wayrule.sim.byhand import FACES, laid, left_alone
from wayrule.sim.imu import coarse_axes, draw_imu

SPECIMEN = draw_imu(CHEAP, np.random.default_rng(1))


@pytest.fixture(scope="module")
def turned_over() -> Recording:
    return laid(SPECIMEN, FACES, np.random.default_rng(2), rest_s=2.0)


def test_each_of_the_48_ways_is_found(turned_over: Recording) -> None:
    assert turned_over.gyro_rad_s is not None
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[np.arange(3), order] = signs
            mixed = Recording(
                "m", turned_over.t_s, gyro_rad_s=turned_over.gyro_rad_s @ matrix, acc_mm_s2=turned_over.acc_mm_s2
            )
            found = gyro_columns(mixed)
            assert found.matrix.tolist() == matrix.tolist()
            assert found.margin > 3


def test_a_gyro_turned_on_its_board_is_told_with_what_to_write(turned_over: Recording) -> None:
    mixed = Recording(
        "m",
        turned_over.t_s,
        gyro_rad_s=turned_over.gyro_rad_s[:, [1, 0, 2]] * [1, -1, 1],
        acc_mm_s2=turned_over.acc_mm_s2,
    )
    found = gyro_columns(mixed)
    assert found.columns == ("-y", "+x", "+z")
    assert 'gx_dps = "-(the column now called gy)"' in found.text
    assert seat(np.eye(3), found).gyro_columns == ("-y", "+x", "+z")


def test_too_little_turning_is_refused() -> None:
    rng = np.random.default_rng(3)
    with pytest.raises(UndeterminedError, match="expected a sensor laid on several sides, came gravity turned by"):
        gyro_columns(laid(SPECIMEN, [(0, 0, 1.0), (0, 1.0, 0)], rng, rest_s=2.0, askew_rad=0.0))
    with pytest.raises(UndeterminedError, match="two orders or signs that fit alike"):
        gyro_columns(laid(SPECIMEN, [(0, 0, 1.0), (0, 1.0, 0), (1.0, 0, 0)], rng, rest_s=2.0, askew_rad=0.0))
    rest = left_alone(SPECIMEN, 5.0, rng)
    with pytest.raises(UndeterminedError, match="lay the sensor on three sides and more"):
        gyro_columns(rest)
    with pytest.raises(UndeterminedError, match="a gyro and an accelerometer, came one of them or neither"):
        gyro_columns(Recording("deaf", rest.t_s, gyro_rad_s=rest.gyro_rad_s))
    loud = Recording(
        "loud",
        rest.t_s,
        gyro_rad_s=rng.normal(size=(rest.n, 3)),
        acc_mm_s2=rng.normal([0, 0, 9800], 3000, (rest.n, 3)),
    )
    with pytest.raises(UndeterminedError, match="left over by the best"):
        gyro_columns(loud)


@pytest.mark.parametrize("axes", [("x", "y", "z"), ("y", "-x", "z"), ("-z", "y", "x"), ("x", "-y", "-z")])
def test_the_words_name_the_way_each_axis_points(axes: tuple[str, str, str]) -> None:
    """`coarse_axes` names the body axis each sensor axis points along; its transpose brings readings back."""
    names = {"x": "forward", "y": "left", "z": "up", "-x": "backward", "-y": "right", "-z": "down"}
    found = seat(coarse_axes(axes).T)
    assert found.points == tuple(names[axis] for axis in axes)
    assert found.off_rad == pytest.approx(np.zeros(3), abs=1e-6)
    assert not found.gyro_known
    assert "was not shown" in found.text


def test_a_crooked_mounting_is_told_in_degrees() -> None:
    c, s = np.cos(np.radians(30)), np.sin(np.radians(30))
    found = seat(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]))
    assert "x points forward (30 deg off), y points left (30 deg off), z points up." in found.text

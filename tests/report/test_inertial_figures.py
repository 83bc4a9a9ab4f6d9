"""The sensor's seat and its noise as figures: what they say is what was found."""

import re

import numpy as np
import pytest

from wayrule.model import Seat
from wayrule.report.canvas import NARROW, WIDE
from wayrule.report.noise import noise_figure, noise_rows, noise_svg, noise_words
from wayrule.report.seat import VIEW, seat_figure, seat_svg, seat_words
from wayrule.run.noise import noise_at_rest
from wayrule.run.seat import seat
from wayrule.sim import CHEAP
from wayrule.sim.byhand import left_alone
from wayrule.sim.imu import coarse_axes, draw_imu
from wayrule.units import DEG


@pytest.fixture(scope="module")
def noises():
    return noise_at_rest(left_alone(draw_imu(CHEAP, np.random.default_rng(1)), 300.0, np.random.default_rng(2)))


def texts(figure) -> list[str]:
    return [text.get_text() for axes in figure.axes for text in axes.texts]


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=lambda size: size.name)
def test_the_seat_says_where_each_axis_points(size) -> None:
    one = seat(coarse_axes(("y", "-x", "z")).T)
    said = texts(seat_figure(one, size))
    for words in ("x points left", "y points backward", "z points up", "marked front"):
        assert words in said
    assert "gyro's columns taken to be the same" in said
    assert "x points left, y points backward, z points up" in seat_words(one)


def test_gyro_columns_are_named_once_they_are_known_and_degrees_where_it_is_askew() -> None:
    c, s = np.cos(0.5), np.sin(0.5)
    askew = Seat(
        np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), ("forward", "left", "up"), np.array([0.5, 0.5, 0.0]),
        ("+x", "-z", "+y"), True, "",
    )  # fmt: skip
    said = texts(seat_figure(askew))
    assert "x points forward, 29° off" in said
    assert "turning about it: gyro column −gz" in said


def test_arrows_point_where_the_axes_do_on_paper() -> None:
    """Seen from the right: forward to the right, up upwards, left away from the eye, so to the right and up."""
    assert VIEW[0, 0] > 0
    assert VIEW[2].tolist() == [0.0, 1.0]
    assert (VIEW[1] > 0).all()
    figure = seat_figure(seat(coarse_axes(("-x", "-y", "z")).T))
    letters = {t.get_text(): t.get_position() for t in figure.axes[0].texts if t.get_text() in ("x", "y", "z")}
    assert letters["x"][0] < -0.5
    assert letters["z"][1] > 1.0
    assert letters["y"][1] < 0


def test_svgs_follow_the_page_and_say_what_they_show(noises) -> None:
    for svg in (seat_svg(seat(np.eye(3))), noise_svg(noises[0], 0.004 * DEG)):
        assert svg.startswith("<svg")
        assert "aria-label" in svg
        assert "var(--ink" in svg
        assert not re.search(r"#(?:1d4e6b|b0371b|8a6a14)(?!\))", svg.replace(",#", "(#")) or "var(" in svg


def test_the_noise_figure_draws_three_axes_and_the_claim(noises) -> None:
    gyro, force = noises
    figure = noise_figure(gyro, 0.004 * DEG)
    axes = figure.axes[0]
    labels = [line.get_label() for line in axes.lines]
    assert labels == ["x", "y", "z", "wagon file"]
    assert axes.lines[0].get_ydata()[0] == pytest.approx(0.012 * 10 * 3600, rel=0.03)  # sd of a sample: n sqrt(100 Hz)
    assert axes.lines[3].get_ydata()[0] == pytest.approx(0.004 * 10 * 3600, rel=1e-6)
    assert len(noise_figure(force).axes[0].lines) == 3
    assert "deg/h" in noise_words(gyro)
    assert "300 s of rest" in noise_words(gyro)


def test_the_table_of_terms_reads_in_the_trades_units(noises) -> None:
    rows = dict(noise_rows(noises[0]))
    walk = rows["angle random walk, deg/sqrt(h)"]  # n / sqrt 2 in deg/sqrt(s), times 60
    values = [float(part.split(" ± ")[0]) for part in walk.split(" · ")]
    assert values == pytest.approx([0.012 / np.sqrt(2) * 60] * 3, rel=0.03)
    assert all(part.startswith("< ") for part in rows["quantisation, deg"].split(" · "))
    assert "velocity random walk, mm/s/sqrt(h)" in dict(noise_rows(noises[1]))

"""What a wagon that is guided hears, sentence by sentence."""

import dataclasses

import numpy as np
import pytest

from tests.lines import true_stations
from wayrule.desk.guidewords import Target, guidance
from wayrule.desk.nowwords import cant, curve, gradient, now_table, now_words
from wayrule.model import Fault, LikelyPlace, Located
from wayrule.model.now import Now, Told
from wayrule.model.travel import State
from wayrule.sim import oval
from wayrule.track.known import known_line

LOOP = oval(np.random.default_rng(4))
LINE = known_line(true_stations(LOOP))
DIP = Fault("dip", 3150.0, 0.43, "mm", 0.05)
HERE = Now(
    12.0, 2400, 87.0, learning=False, state=State.ROLLING, distance_mm=Told(1500.0, 1.5), trip_mm=Told(500.0, 1.0),
    speed_mm_s=Told(-150.0, 1.2), gradient=Told(0.02, 0.001), cant_mm=Told(-0.82, 0.02),
    curvature_1_mm=Told(1 / 450.0, 2e-5), heading_rad=Told(3.1, 0.004), chainage_mm=Told(2310.0, 2.6), way=1, rolls=1,
    fault=DIP, fault_number=2, to_fault_mm=Told(840.0, 2.6), light="amber", troubles=("battery: low.",),
)  # fmt: skip
TARGET = Target(3150.0, "No. 2, dip of 0.43 ± 0.05 mm")


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("s_mm", "way", "rolls", "step", "words"),
    [
        (2310.0, 1, 1, "ahead", "0.84 m ahead (± 3 mm)"),
        (3138.0, 1, 1, "ahead", "12 mm ahead (± 3 mm)"),
        (3148.0, 1, 1, "here", "here (± 3 mm)"),
        (3850.0, 1, 1, "behind", "0.70 m behind (± 3 mm); push the other way"),
        (3850.0, 1, -1, "ahead", "0.70 m ahead (± 3 mm)"),  # it is being pushed backwards
        (3850.0, -1, 1, "ahead", "0.70 m ahead (± 3 mm)"),  # it stands the other way round
        (LOOP.length_mm - 850.0, 1, 1, "ahead", "4.00 m ahead (± 3 mm)"),  # round the seam
    ],
)
def test_so_far_ahead_here_behind(s_mm, way, rolls, step, words):
    now = dataclasses.replace(HERE, chainage_mm=Told(s_mm, 2.6), way=way, rolls=rolls)
    said = guidance(now, TARGET, LINE, 16.5)
    assert said.step == step
    assert plain(said.sentence) == f"No. 2, dip of 0.43 ± 0.05 mm: {words}."


def test_where_am_i():
    said = guidance(HERE, None, LINE, 16.5)
    assert said.step == "placed"
    assert plain(said.sentence) == (
        "You are at 2.3100 ± 0.0026 m, marked front towards growing chainage; next No. 2, dip of 0.43 ± 0.05 mm, "
        "0.84 m ahead (± 3 mm)."
    )


def test_what_is_not_certain_is_said_so():
    lost = dataclasses.replace(HERE, chainage_mm=Told(), way=0)
    assert guidance(None, TARGET, LINE, 16.5).step == "waiting"
    assert guidance(dataclasses.replace(lost, learning=True), TARGET, LINE, 16.5).step == "travel"
    assert guidance(lost, TARGET, LINE, 16.5).step == "travel"
    places = LikelyPlace(2310.0, 4.0, 1, 0.54), LikelyPlace(6790.0, 5.0, -1, 0.46)
    two = dataclasses.replace(lost, located=Located("several", places, 900.0, 0.9))
    said = guidance(two, TARGET, LINE, 16.5)
    assert said.step == "several"
    assert plain(said.sentence) == (
        "It may be at 2.310 ± 0.004 m (54%, marked front towards growing chainage) or at 6.790 ± 0.005 m (46%, marked "
        "front towards falling chainage); push on."
    )
    off = dataclasses.replace(lost, located=Located("nowhere", (), 900.0, 7.2))
    assert "fits no place of the survey (misfit 7.2, good is 1)" in guidance(off, TARGET, LINE, 16.5).sentence


def test_the_numbers_of_a_moment_in_words():
    told = [plain(cell) for cell in now_words(HERE)]
    assert told == [
        "1.5000 ± 0.0015 m", "500.0 ± 1.0 mm", "−150.0 ± 1.2 mm/s, backward", "47.0 ± 0.4 km/h = 29.19 ± 0.23 mile/h",
        "20.0 ± 1.0 ‰ (1:50, climbing)", "right rail high by 0.820 ± 0.020 mm", "left-hand, radius 450 ± 4 mm",
        "177.62 ± 0.23 °", "2.3100 ± 0.0026 m", "No. 2, dip, in 840.0 ± 2.6 mm", "amber; battery: low.",
    ]  # fmt: skip
    empty = now_words(Now(0.0, 0, 87.0))
    assert empty[0] == "waiting for the axle's first turn"
    assert set(empty[1:]) == {"not known"}
    table = now_table([("0a", HERE), ("0b", HERE)], {"0a": "Van 7"})
    assert table.heads == ("Now", "Van 7", "0b")


def test_level_straight_and_falling():
    assert plain(gradient(dataclasses.replace(HERE, gradient=Told(-0.01, 0.001)))) == "−10.0 ± 1.0 ‰ (1:100, falling)"
    assert plain(gradient(dataclasses.replace(HERE, gradient=Told(1e-5, 0.001)))).endswith("(level)")
    assert plain(cant(dataclasses.replace(HERE, cant_mm=Told(0.1, 0.02)))) == "left rail high by 0.100 ± 0.020 mm"
    assert plain(curve(dataclasses.replace(HERE, curvature_1_mm=Told(1e-5, 2e-5)))) == "straight, or 20.0 m and wider"

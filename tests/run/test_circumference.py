"""The circumference from taped legs: known wheels, shared tapings, what the legs can and cannot tell."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wayrule.run.circumference import LIKELY_SLIP_MM, TapedLeg, taped
from wayrule.run.legs import Leg

FILE_MM = 33.0
RUN = (("there", "ab" * 32),)


def leg(
    length: float,
    *,
    scale: float = 0.002,
    slip: float = 0.4,
    turned: float = 0.0,
    error: float = 0.0,
    backward: bool = False,
    taping: str = "floor",
    sd: float = 0.7,
) -> TapedLeg:
    """A leg of a wheel of known scale and slip: rolled = (L - k T) / (1 + w), read with an error."""
    rolled = (length - slip * turned) / (1 + scale) + error
    return TapedLeg(Leg("there", -rolled if backward else rolled, 0.1, turned, 0.0, 20.0), taping, length, sd)


def test_a_straight_gives_the_wheel() -> None:
    found = taped([leg(3000.0)], FILE_MM, RUN)
    (straight, forward) = found.circles
    assert straight.circumference_mm == pytest.approx(FILE_MM * 1.002, rel=1e-6)
    assert straight.circumference_sd_mm == pytest.approx(FILE_MM * np.hypot(0.7, 0.1) / 3000.0, rel=0.01)
    assert (straight.way, forward.way, straight.legs, straight.way_mm) == ("straight", "forward", 1, 3000.0)
    assert math.isnan(found.one_way_mm)
    assert not found.slip_known


def test_three_tapings_are_better_by_root_three_and_three_legs_of_one_are_not() -> None:
    """Independent errors average out (any textbook); one tape's error is in all its legs."""
    apart = taped([leg(3000.0, taping=name) for name in "abc"], FILE_MM, RUN).circles[0]
    one = taped([leg(3000.0, taping="a") for _ in range(3)], FILE_MM, RUN).circles[0]
    assert apart.scale_sd * 3000 == pytest.approx(np.hypot(0.7, 0.1) / np.sqrt(3), rel=0.01)
    assert one.scale_sd * 3000 == pytest.approx(np.hypot(0.7, 0.1 / np.sqrt(3)), rel=0.01)


def test_forward_and_backward_are_kept_apart_and_compared_without_the_tape() -> None:
    legs = [leg(3000.0, scale=0.002), leg(3000.0, scale=0.0025, backward=True)]
    found = taped(legs, FILE_MM, RUN)
    ways = {one.way: one for one in found.circles}
    assert ways["backward"].scale - ways["forward"].scale == pytest.approx(5e-4, rel=1e-3)
    assert found.one_way_mm == pytest.approx(-5e-4 * FILE_MM, rel=1e-3)
    assert found.one_way_sd_mm == pytest.approx(FILE_MM * 0.1 * np.sqrt(2) / 3000, rel=0.01), "not the tape's 0.7 mm"
    # a run may go either way: half of the difference is what the one size that a survey takes does not know
    assert found.covariance[0, 0] ** 0.5 > 0.45 * 5e-4
    assert found.spread == 1.0, "two ways that differ are no scatter"


def test_straights_and_curves_give_slip() -> None:
    """Six laps of 9 m that turn 2 pi each lose 0.4 mm a radian: the wheel turns 0.028 % too little, so that one turn of
    it goes further."""
    legs = [
        *(leg(3000.0, taping=name) for name in "abc"),
        leg(54000.0, turned=12 * np.pi, taping="lap", sd=30.0),
    ]
    found = taped(legs, FILE_MM, RUN)
    ways = {one.way: one for one in found.circles}
    assert found.slip_known
    assert found.slip_mm == pytest.approx(0.4, abs=1e-6)
    assert found.scale == pytest.approx(0.002, abs=1e-9)
    assert ways["curves"].scale - ways["straight"].scale == pytest.approx(0.4 * 2 * np.pi / 9000, rel=0.01)
    # sd: the lap's and the straights' shares of 54 m over the 12 pi rad
    expected = 54000 / (12 * np.pi) * np.hypot(30 / 54000, 0.7 / np.sqrt(3) / 3000)
    assert found.covariance[1, 1] ** 0.5 == pytest.approx(expected, rel=0.03)


def test_a_way_with_curves_only_does_no_harm() -> None:
    legs = [leg(3000.0, taping="a"), leg(3000.0, taping="b"), leg(9000.0, turned=6.0, backward=True, taping="lap")]
    found = taped(legs, FILE_MM, RUN)
    assert [one.way for one in found.circles] == ["straight", "forward", "curves"]
    assert found.slip_mm == pytest.approx(0.4, abs=1e-6)


def test_legs_that_contradict_each_other_widen_the_sigma() -> None:
    """By root chi squared over its degrees of freedom: here three that differ by 3 mm, with sds of 0.7 mm."""
    lengths = np.array([2997.0, 3000.0, 3003.0])
    legs = [TapedLeg(Leg("r", 3000.0, 0.1, 0.0, 0.0, 1.0), str(i), mm, 0.7) for i, mm in enumerate(lengths)]
    found = taped(legs, FILE_MM, RUN)
    chi = np.sum((lengths - 3000.0) ** 2) / (0.7**2 + 0.1**2)
    assert found.spread == pytest.approx(np.sqrt(chi / 2), rel=1e-3)
    assert found.circles[0].scale_sd * 3000 == pytest.approx(found.spread * np.hypot(0.7, 0.1) / np.sqrt(3), rel=1e-3)


def test_curves_alone_leave_slip_as_likely_and_the_wheel_as_unsure() -> None:
    found = taped([leg(18000.0, slip=0.3, turned=4 * np.pi, taping="lap", sd=3.0)], FILE_MM, RUN)
    assert not found.slip_known
    assert found.slip_mm == LIKELY_SLIP_MM[0]
    assert found.scale == pytest.approx(0.002, abs=2e-6)
    assert found.covariance[0, 0] ** 0.5 > LIKELY_SLIP_MM[1] * 4 * np.pi / 18000
    assert [one.way for one in found.circles] == ["curves"]


@given(st.integers(0, 3000), st.integers(2, 6))
def test_the_news_say_what_the_fit_says(seed: int, n: int) -> None:
    """Shown, solved by itself with a broad prior on both constants, is the fit: nothing is lost on the way."""
    rng = np.random.default_rng(seed)
    legs = [leg(3000.0, error=0.1 * rng.standard_normal(), taping=str(i)) for i in range(n)]
    legs.append(leg(30000.0, turned=20.0, error=0.1 * rng.standard_normal(), taping="lap", sd=5.0))
    found = taped(legs, FILE_MM, RUN)
    weight = np.linalg.inv(found.shown.covariance)
    covariance = np.linalg.inv(found.shown.matrix.T @ weight @ found.shown.matrix)
    best = covariance @ found.shown.matrix.T @ weight @ found.shown.values
    np.testing.assert_allclose(best, [found.scale, found.slip_mm], rtol=1e-6)
    np.testing.assert_allclose(covariance, found.covariance, rtol=1e-6)


def test_sigmas_hold_over_many_draws() -> None:
    """Errors drawn as they are claimed: two sigmas hold 95 % (Gauss); of 400, within three sd of that: 92 to 98 %."""
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(400):
        legs = [
            leg(3000.0 + 0.7 * rng.standard_normal(), scale=0.0, error=0.1 * rng.standard_normal(), taping=str(i))
            for i in range(3)
        ]
        # the true scale is 0: the taped length errs, the rolled one is of the true 3000
        legs = [
            TapedLeg(Leg("r", 3000.0 + 0.1 * rng.standard_normal(), 0.1, 0.0, 0.0, 1.0), one.taping, one.length_mm, 0.7)
            for one in legs
        ]
        circle = taped(legs, FILE_MM, RUN).circles[0]
        inside += abs(circle.scale) < 2 * circle.scale_sd
    assert 0.92 <= inside / 400 <= 0.99, "widening by what the legs scatter errs on the safe side"


def test_a_wheel_without_a_diameter_is_told_by_its_scale() -> None:
    found = taped([leg(3000.0)], math.nan, RUN)
    assert math.isnan(found.circles[0].circumference_mm)
    assert "+0.200 +- 0.024 % of what the input says on straights (1 taped leg)" in found.shown.text
    assert "33.066 +- 0.0078 mm on straights" in taped([leg(3000.0)], FILE_MM, RUN).shown.text

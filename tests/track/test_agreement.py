"""Steps that contradict each other or what was known are named and lose weight; others stay as they are."""

import numpy as np
import pytest
from scipy import stats

from tests.track.test_calibrated import LEVEL, TAPE, VAN
from wayrule.model import Shown
from wayrule.track.agreement import CHANCE, agreed
from wayrule.track.calibrated import before_the_day

BEFORE = before_the_day(VAN, None, wheel_scale_sd=0.004)


def tape(value: float, sd: float, name: str) -> Shown:
    return Shown("taped runs", ("wheel_scale",), np.eye(1), np.array([value]), np.array([[sd**2]]), ((name, ""),), "")


def test_steps_that_agree_stay_as_they_are() -> None:
    kept, apart = agreed(BEFORE, [TAPE, tape(0.0021, 1e-4, "second"), LEVEL])
    assert apart == ()
    assert kept[0] is TAPE


def test_two_that_contradict_each_other_both_lose_weight() -> None:
    """Two tapes 1.4 mm apart on a metre, each good to 0.1 mm: ten sigmas of their difference."""
    kept, apart = agreed(BEFORE, [tape(0.0, 1e-4, "first"), tape(0.0014, 1e-4, "second"), LEVEL])
    assert [one.runs for one in apart] == [("first",), ("second",)]
    assert apart[0].sigmas == pytest.approx(0.0014 / np.hypot(1e-4, 1e-4), rel=0.03)
    assert kept[0].covariance[0, 0] == pytest.approx(1e-8 * apart[0].factor ** 2)
    assert kept[2] is LEVEL
    assert "first told (taped runs) contradicts the other steps and what was known by 9." in apart[0].text


def test_one_that_contradicts_what_was_known() -> None:
    _, apart = agreed(BEFORE, [tape(0.1, 1e-4, "first")])
    assert apart[0].text.startswith("What first told (taped runs) contradicts what was known before by 25.0 sigmas")


def test_chance_alone_is_told_as_seldom_as_it_says() -> None:
    """One step of two numbers, drawn as the prior and its noise say: flagged in 1 of 1000 (binomial bounds, scipy)."""
    rng = np.random.default_rng(3)
    at = [BEFORE.names.index(name) for name in ("level_x", "level_y")]
    spread = np.linalg.cholesky(BEFORE.as_met[np.ix_(at, at)] + 4.0 * np.eye(2))
    flagged = 0
    for _ in range(2000):
        values = spread @ rng.standard_normal(2)
        one = Shown("level", ("level_x", "level_y"), np.eye(2), values, 4.0 * np.eye(2), (("a", ""),), "")
        flagged += len(agreed(BEFORE, [one])[1])
    assert flagged <= stats.binom(2000, CHANCE).ppf(0.9999)

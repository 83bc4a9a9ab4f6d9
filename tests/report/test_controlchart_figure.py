"""The control chart drawn: every calibration, its limits, and what stands out, readable in both widths."""

import re

import numpy as np
import pytest

from wayrule.maths.controlchart import chart
from wayrule.report.controlchart import History, chart_picture

DATES = tuple(f"2026-0{1 + i // 3}-{10 + i}" for i in range(9))
STEADY = 33.05 + 0.001 * np.array([0.0, 2.0, -1.0, 1.0, 0.0, -2.0, 1.0, 0.0, -1.0])


def history(values: np.ndarray, dates: tuple[str, ...] = DATES) -> History:
    sds = np.full(len(values), 0.004)
    return History(
        "on straights", dates[: len(values)], values, sds, "mm", chart(values, sds) if len(values) > 1 else None
    )


def test_a_steady_wheel_is_in_control() -> None:
    picture = chart_picture(history(STEADY))
    assert "9 calibrations about 33.0500 mm, one scatters by 0.0017" in picture.reading
    assert picture.reading.endswith("all in control.")
    for drawn in (picture.wide, picture.narrow):
        assert "Circumference on straights, mm" in drawn
        assert "26-03-18" in drawn, "the newest date is always there"
        assert "33.05" in drawn, "no offset is split off the axis"


def test_a_jump_is_named_with_its_date_and_drawn_otherwise() -> None:
    values = STEADY.copy()
    values[-1] -= 0.05
    picture = chart_picture(history(values))
    assert "Out of control: 2026-03-18, beyond three sigmas; clean wheels and rails" in picture.reading
    assert picture.wide.count("var(--mark") > chart_picture(history(STEADY)).wide.count("var(--mark")


def test_a_first_calibration_has_no_chart_but_a_sentence() -> None:
    picture = chart_picture(history(STEADY[:1]))
    assert (picture.wide, picture.narrow) == ("", "")
    assert picture.reading.startswith("The first calibration on straights: 33.050 ± 0.004 mm")


@pytest.mark.parametrize("count", [2, 5, 9])
def test_dates_do_not_run_into_each_other(count: int) -> None:
    picture = chart_picture(history(STEADY[:count]))
    assert 1 <= len(re.findall(r"26-0\d-\d\d", picture.narrow)) <= 4


def test_without_dates_they_are_numbered() -> None:
    picture = chart_picture(history(STEADY, ("",) * 9))
    assert "Calibration, in order" in picture.wide

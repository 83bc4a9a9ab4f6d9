"""The spur's rows: what is run, what a level start would give, radii with one scale out, and that rows can fail."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from benchmarks.adjusting import spur
from wayrule.model import Stations
from wayrule.sim import CHEAP, GOOD, HO_VAN

LIMITS = {"plan": (0.6, 0.9), "spur": (2.0, 3.0), "height": (0.4, 2.0), "radius": (0.3, 1.0), "gradient": (0.5, 2.0)}
"""The promise's table, typed from it."""


def test_limits_are_those_of_the_promise() -> None:
    found = (spur.LINE_PLAN_MM, spur.SPUR_PLAN_MM, spur.HEIGHT_MM, spur.RADIUS_PERCENT, spur.GRADIENT_PER_MILLE)
    assert found == tuple(LIMITS.values())
    assert spur.CANT_MM == 0.02


def test_one_wagon_goes_round_the_line_and_once_along_the_spur_unturned() -> None:
    made, cheap = spur.make(GOOD, 2), spur.make(CHEAP, 2)
    assert made.line.closed
    assert not made.spur.closed
    assert cheap.spur.length_mm == made.spur.length_mm
    line, along = made.truths
    assert line.circumference_mm == along.circumference_mm
    assert not line.turned
    assert not along.turned
    assert not np.array_equal(line.gyro_bias_rad_s[0], along.gyro_bias_rad_s[0]), "switched on anew"
    assert line.chainage_mm[-1] - line.chainage_mm[0] == pytest.approx(4 * made.line.length_mm, abs=0.01)
    assert np.all(np.diff(along.chainage_mm) >= 0), "a single pass"
    assert along.chainage_mm[0] > 0
    assert along.chainage_mm[-1] + HO_VAN.wheelbase_mm < made.spur.length_mm


def stations(gradient: np.ndarray) -> Stations:
    s = np.arange(len(gradient)) * 5.0
    names = [f.name for f in dataclasses.fields(Stations) if f.name.endswith(("_mm", "_rad", "ent", "_sd"))]
    zero = {name: np.zeros_like(s) for name in (*names, "curvature_1_mm", "curvature_sd_1_mm")}
    z = np.concatenate(([0.0], np.cumsum(0.5 * (gradient[1:] + gradient[:-1]) * np.diff(s))))
    own = {"s_mm": s, "gradient": gradient, "z_mm": z, "length_mm": s[-1], "gauge_mm": 16.5, "wheelbase_mm": 65.0}
    return Stations(**zero | own, passes=np.ones(len(s), int), closed=False)


def test_a_level_start_takes_the_first_gradient_from_all() -> None:
    """A line at 2 %, then at 3 %: begun level it runs at 0 and 1 %, and ends 1 % of its second half high."""
    found = spur.levelled(stations(np.where(np.arange(401) < 200, 0.02, 0.03)))
    assert found.gradient[0] == pytest.approx(0.0, abs=1e-12)
    assert found.gradient[-1] == pytest.approx(0.01, abs=1e-12)
    assert found.z_mm[-1] == pytest.approx(0.01 * 1000.0, abs=0.05)


def test_radii_lose_one_scale() -> None:
    """A survey 1 % too long has radii 1 % too large: nothing is left."""
    errors = SimpleNamespace(length_error_percent=1.0, radius_error_percent=(1.0, 2.0))
    assert spur.radius_percent(errors) == pytest.approx([0.0, 100 * (1.02 / 1.01 - 1)])  # type: ignore[arg-type]


def outcome(height_mm: float, alone_mm: float, level_mm: float, said: str) -> SimpleNamespace:
    shares = {name: np.zeros(50) for name in ("x", "y", "z", "heading", "curvature", "gradient", "cant")}

    def errors(height: float) -> SimpleNamespace:
        return SimpleNamespace(height_rms_mm=height, cant_mean_mm=0.2, normalised=shares)

    return SimpleNamespace(
        spur=errors(height_mm), alone=errors(alone_mm), level_start=errors(level_mm), tilted_mm=(0.3, alone_mm),
        level_tilted_mm=level_mm, said=said,
    )  # fmt: skip


def test_rows_fail_where_the_calibration_helps_little_or_a_level_start_more() -> None:
    said = "the cant is known but for one constant of about 0.21 mm, which"
    good = list(spur.remembered_rows("x", [outcome(0.2, 4.0, 20.0, said)]))  # type: ignore[list-item]
    bad = list(spur.remembered_rows("x", [outcome(2.0, 4.0, 3.0, "")]))  # type: ignore[list-item]
    assert [row.ok for row in good] == [True] * len(good)
    assert [row.ok for row in bad] == [False, True, False, False, False, True]

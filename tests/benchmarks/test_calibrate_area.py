"""The area `calibrate`: a part that is missing or fails is a row; the distance's figures are of the truth."""

import pytest

from benchmarks import calibrate as area
from benchmarks.calibrating import distance
from benchmarks.row import Row, at_most
from wayrule.sim import HO_VAN


def test_a_part_that_cannot_be_measured_is_a_row(monkeypatch: pytest.MonkeyPatch) -> None:
    def measured(part: str, *, quick: bool) -> list[Row]:
        assert quick
        if part == "health":
            raise ModuleNotFoundError("no part")
        return [at_most(part, 1.0, 2.0, "")]

    monkeypatch.setattr(area, "measured", measured)
    found = list(area.rows(quick=True))
    assert [row.what for row in found] == ["distance", "axle", "inertial", "calibration: health"]
    assert [row.ok for row in found] == [True, True, True, False]
    assert "no part" in found[-1].why


def test_three_runs_of_one_seed() -> None:
    """0.03 % rms is promised: one seed lies within three times that, and within four of its sigmas."""
    one = distance.three_runs(HO_VAN, distance.FIRST_SEED)
    assert abs(one.error) < 1e-3
    assert abs(one.error) < 4 * one.sd
    assert one.kept_sd > one.sd


def test_rows_fall_short_where_the_figures_do() -> None:
    good = [distance.Outcome(1e-4, 1.4e-4, 1e-4, 2.4e-4)] * 9
    wild = distance.Outcome(5e-3, 1.4e-4, 5e-3, 2.4e-4)
    assert all(row.ok for row in distance.tape_rows("HO", good))
    assert [row.ok for row in distance.tape_rows("HO", [*good, wild])] == [False, False, False]
    assert [row.ok for row in distance.slip_rows([(0.1, 0.2)] * 10 + [(0.9, 0.2)] * 2)] == [False]

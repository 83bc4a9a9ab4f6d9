"""Two surveys of one line: laid upon each other, and only what really changed is told.

Truth comes from closed-form lines with planted changes (`tests.track.synthetic_stations`), never from the code.
"""

import numpy as np
import pytest

from tests.track.compare.seen import moved, part, reversed_line, started_at, stretched, surveyed
from tests.track.synthetic_stations import GOOD, HO, N, Noise, Truth, oval, random_line, stations
from wayrule.errors import UndeterminedError
from wayrule.model import Comparison, Fault, Stations
from wayrule.track.compare.compare import compare
from wayrule.track.compare.register import register

QUIET = Noise("quiet", 2e-6, 1e-4, 0.01, 0.0)


def line(seed: int, noise_seed: int = 0, faults: tuple[tuple[str, float, float, float], ...] = ()) -> Stations:
    truth = random_line(np.random.default_rng(seed), HO)
    return stations(HO, truth, QUIET, np.random.default_rng(noise_seed), faults=faults)


def ring(noise_seed: int, faults: tuple[tuple[str, float, float, float], ...] = ()) -> Stations:
    shape = oval(HO)
    plan = [(k, w * (1.3 if i == 0 else 1.0), a, b) for i, (k, w, a, b) in enumerate(shape.plan)]
    return stations(
        HO, Truth(plan, shape.profile), QUIET, np.random.default_rng(noise_seed), closed=True, faults=faults
    )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("way", [1, -1])
def test_part_of_a_line_the_other_way_with_another_wheel_is_laid_where_it_lies(seed: int, way: int) -> None:
    whole = line(seed, 1)
    again = line(seed, 2)
    first, last = len(again.s_mm) // 5, 4 * len(again.s_mm) // 5
    other = part(again, first, last)
    other = stretched(reversed_line(other) if way < 0 else other, 1.004)
    found = register(whole, moved(other, 500.0, -300.0, 40.0, 1.1))
    assert found.way == way
    assert found.stretch == pytest.approx(1 / 1.004, abs=max(4 * found.stretch_sd, 2e-5))
    start = whole.s_mm[last - 1 if way < 0 else first]
    assert found.start_mm == pytest.approx(start, abs=max(4 * found.start_sd_mm, 0.3))
    assert found.overlap_mm == pytest.approx(0.6 * whole.length_mm, rel=0.02)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("index", [0, 150, 700])
def test_a_ring_begun_elsewhere_and_run_the_other_way_is_laid_where_it_lies(way: int, index: int) -> None:
    one, other = ring(1), started_at(ring(2), index)
    found = register(one, reversed_line(other) if way < 0 else other)
    assert found.way == way
    start = found.start_mm - one.s_mm[index]
    assert start - one.length_mm * round(start / one.length_mm) == pytest.approx(0.0, abs=1.0)
    assert found.stretch == pytest.approx(1.0)


def told(comparison: Comparison) -> list[str]:
    return [f"{c.quantity} at {c.s_mm:.0f}: {c.size:.3g} {c.unit}, {c.sigma:.1f}" for c in comparison.changes]


def test_a_line_measured_twice_has_hardly_ever_changed() -> None:
    # 5 % false alarm promised for each pair; with 12 pairs three or more would come in 2 of 100 such tests
    pairs = [compare(surveyed(line(seed, 1)), surveyed(line(seed, 2))) for seed in range(12)]
    assert sum(bool(pair.changes) for pair in pairs) <= 2, [told(pair) for pair in pairs]


@pytest.mark.parametrize(
    ("planted", "fault"),
    [
        (("dip", 2000.0, 0.8, 130.0), Fault("dip", 2000.0, 0.8, "mm", 0.08)),
        (("twist", 2000.0, -1.0, 130.0), Fault("twist", 2000.0, -1.0, "mm", 0.08)),
        (("left_dip", 2000.0, 1.0, 130.0), Fault("one_rail_dip", 2000.0, 1.0, "mm", 0.08, "left")),
        (("lateral", 2000.0, 1.2, 200.0), Fault("lateral", 2000.0, 1.2, "mm", 0.1)),
        (("kink", 2000.0, -1.6, 0.0), Fault("kink", 2000.0, -1.6, "deg", 0.2)),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
@pytest.mark.parametrize("way", [1, -1])
def test_a_mended_fault_is_gone_and_a_new_one_is_new(
    planted: tuple[str, float, float, float], fault: Fault, way: int
) -> None:
    bad, good = line(3, 1, (planted,)), line(3, 2)
    if way < 0:
        good = reversed_line(good)
    mended = compare(surveyed(bad, faults=(fault,)), surveyed(good))
    [fate] = mended.fates
    assert fate.fate == "gone"
    # a quarter: the survey's mean over part of a wheelbase flattens a short bump, and its sides lie in the contrast
    assert fate.change == pytest.approx(-fault.size, abs=max(2 * fate.sd, 0.25 * abs(fault.size)))
    near = [c for c in mended.changes if abs(c.s_mm - 2000.0) < 150.0]
    assert near
    spoilt = compare(surveyed(line(3, 2)), surveyed(bad, faults=(fault,)))
    assert [f.fate for f in spoilt.fates] == ["new"]


def test_a_fault_that_only_one_list_tells_is_not_called_gone_when_nothing_changed() -> None:
    planted = (("dip", 2000.0, 0.8, 130.0),)
    fault = Fault("dip", 2003.0, 0.8, "mm", 0.08)
    one, two = line(3, 1, planted), line(3, 2, planted)
    assert [f.fate for f in compare(surveyed(one, faults=(fault,)), surveyed(two)).fates] == ["not told"]
    assert [f.fate for f in compare(surveyed(one), surveyed(two, faults=(fault,))).fates] == ["newly told"]
    both = compare(surveyed(one, faults=(fault,)), surveyed(two, faults=(fault,)))
    assert [f.fate for f in both.fates] == ["same"]


def test_a_change_has_place_size_and_sign() -> None:
    before, after = line(5, 1), line(5, 2, (("twist", 1500.0, 0.9, 260.0),))
    cant = [c for c in compare(surveyed(before), surveyed(after)).changes if c.quantity == "cant"]
    [change] = cant
    assert change.size == pytest.approx(0.9, abs=0.1)  # a tenth: the moving mean over 13 of 260 mm, and noise of 0.03
    assert change.s_mm == pytest.approx(1500.0, abs=20.0)
    assert (change.unit, change.s0_mm < 1450.0, change.s1_mm > 1550.0) == ("mm", True, True)


def test_lines_that_are_not_one_are_refused() -> None:
    with pytest.raises(UndeterminedError, match="two surveys of one line"):
        compare(surveyed(line(3, 1)), surveyed(line(4, 2)))


def test_a_line_without_bends_needs_a_word_and_takes_it() -> None:
    truth = Truth([("straight", 3000.0, 0.0, 0.0)], [("grade", 3000.0, 0.0, 0.0)])
    one, two = (stations(N, truth, GOOD, np.random.default_rng(k)) for k in (1, 2))
    with pytest.raises(UndeterminedError, match="--same-start"):
        compare(surveyed(one), surveyed(two))
    assert compare(surveyed(one), surveyed(two), same_start=True).registered.way == 1


def test_a_survey_without_curvature_is_refused() -> None:
    import dataclasses

    flat = dataclasses.replace(line(3), curvature_1_mm=np.full(len(line(3).s_mm), np.nan))
    with pytest.raises(UndeterminedError, match="the later one without"):
        compare(surveyed(line(3)), surveyed(flat))

"""What happens in logs: each defect planted, found with its exact count and place, and repaired; real logs read."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wayrule.errors import RecordingError
from wayrule.formats.bursts import even_times, mean_period
from wayrule.formats.counters import undo_wrap
from wayrule.formats.recording import read_recording
from wayrule.formats.stamps import time_defects
from wayrule.model import ColumnMap, FieldSensor, Imu

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data"

open_data = pytest.mark.skipif(not DATA.exists(), reason="the open recordings are not beside this checkout")


def rows(n=200, seed=1):
    """Rows of a clean run at 100 Hz: time, field, gyro, accelerometer."""
    rng = np.random.default_rng(seed)
    t = np.arange(n) / 100
    field = np.stack([20 * np.cos(9 * t), 15 * np.sin(9 * t)], axis=1) + rng.normal(0, 0.03, (n, 2))
    gyro, acc = rng.normal(0, 0.05, (n, 3)), rng.normal(0, 0.002, (n, 3)) + np.array([0, 0, 1.0])
    return [[f"{t[k]:.4f}", *(f"{v:.5f}" for v in (*field[k], *gyro[k], *acc[k]))] for k in range(n)]


HEADER = "t_s,bx_mT,by_mT,gx_dps,gy_dps,gz_dps,ax_g,ay_g,az_g".split(",")  # noqa: SIM905


def text(table, header=HEADER):
    return ("\n".join(",".join(row) for row in [header, *table]) + "\n").encode()


def read(table, **known):
    run = read_recording(text(table), "r", **known)
    return run, {p.kind: p for p in run.problems}


def test_a_clean_run_has_no_problems():
    run, found = read(rows())
    assert (run.n, found) == (200, {})
    assert run.rate_hz == pytest.approx(100.0)


# ------------------------------------------------------------------------------------------------ rows and time


def test_repeated_rows_go():
    table = rows()
    run, found = read([*table[:50], table[49], table[49], *table[50:80], table[79], *table[80:]])
    assert run.n == 200
    assert found["repeated rows"].text == "3 repeated rows (lines 52, 53, 84, first at 0.490 s): dropped."


def test_rows_out_of_order_are_sorted_and_each_step_back_counted():
    table = rows()
    for k in (20, 60, 61, 150):
        table[k], table[k + 1] = table[k + 1], table[k]
    run, found = read(table)
    clean, _ = read(rows())
    np.testing.assert_array_equal(run.acc_mm_s2, clean.acc_mm_s2)
    # swapping 60, 61 and then 61, 62 moves one row by two places: steps back at 20, 62 and 150
    assert found["out of order"].count == 3 == time_defects(np.array([float(r[0]) for r in table])).backward_steps
    assert found["out of order"].where == "lines 23, 64, 153, first at 0.200 s"
    assert found["out of order"].done == "sorted by time"


@settings(max_examples=60, deadline=None)
@given(st.permutations(list(range(40))))
def test_the_count_of_steps_back_is_that_of_the_file(order):
    table = rows(40)
    run, found = read([table[k] for k in order])
    back = sum(b < a for a, b in pairwise(order))
    assert (found["out of order"].count if "out of order" in found else 0) == back
    assert run.n == 40


def test_equal_stamps_with_other_readings_keep_the_first():
    table = rows()
    table[31][0] = table[30][0]
    run, found = read(table)
    assert run.n == 199
    assert (found["equal stamps"].count, found["equal stamps"].where) == (1, "line 33, at 0.300 s")


def test_gaps_are_placed_and_left_open():
    table = rows()
    run, found = read(table[:50] + table[60:120] + table[121:])
    assert run.n == 189
    assert found["gap"].text == (
        "2 gaps, about 11 rows lost, the longest 0.11 s at 0.490 s (lines 52, 112, first at 0.490 s): left open."
    )


def test_a_stray_stamp_costs_its_row_only():
    table = rows()
    table[70][0], table[150][0] = "4294967.2", "-17"
    run, found = read(table)
    assert run.n == 198
    assert found["stray stamp"].where == "lines 72, 152"
    table = rows()
    table[0][0] = "1700000000.0"
    assert read(table)[0].n == 199


def test_a_row_without_time_goes():
    table = rows()
    table[9][0] = ""
    run, found = read(table)
    assert run.n == 199
    assert (found["no time"].where, found["empty cells"].where) == ("line 11", "line 11")


def burst_stamps(n=3000, period=0.005, size=16, seed=3):
    """True times, and stamps as a link gives them that collects `size` rows and then sends them at once."""
    rng = np.random.default_rng(seed)
    true = np.arange(n) * period
    sent = true[np.minimum(np.arange(n) // size * size + size - 1, n - 1)]
    return true, sent + 0.0002 * (np.arange(n) % size) + rng.exponential(0.002, n // size + 1)[np.arange(n) // size]


def test_bursts_from_a_buffered_link_give_the_true_period():
    true, stamps = burst_stamps()
    table = [[f"{t:.6f}", f"{k}"] for k, t in enumerate(stamps)]
    run = read_recording(text(table, ["t_s", "wheel_mm"]), "r")
    found = {p.kind: p for p in run.problems}
    period_ms = float(found["bursts"].text.partition("true period ")[2].split()[0])
    assert period_ms == pytest.approx(5.0, abs=5e-4)
    # one burst (80 ms) in 3000 rows bounds the slope of any line by 80 / 3000 = 0.03 ms a row; robust it is far better
    assert np.diff(run.t_s) == pytest.approx(np.full(2999, 0.005), abs=2e-6)
    # the delay itself cannot be known (it is the same for all rows), its variation is out: 1 ms, against 80 ms before
    assert np.ptp(run.t_s - true) < 1e-3 < 0.07 < np.ptp(stamps - true)


def test_bursts_with_a_real_gap_do_not_bend_the_line():
    true, stamps = burst_stamps()
    keep = np.r_[0:1200, 1712:3000]
    times, period, _ = even_times(stamps[keep])
    assert period == pytest.approx(0.005, rel=1e-3)
    assert np.ptp(times - true[keep]) < 0.005  # within one row
    assert np.diff(times)[1199] == pytest.approx(513 * 0.005, abs=0.005)


def test_a_few_late_bursts_do_not_pull_the_line():
    _, stamps = burst_stamps()
    held_up = (np.arange(3000) // 16 % 8 == 3) & (np.arange(3000) > 1800)
    late = stamps + np.where(held_up, 0.05, 0.0)
    _, period, _ = even_times(np.maximum.accumulate(late))
    plain = np.polyfit(np.arange(3000), late, 1)[0]
    # 6e-7 s a row is 2 ms after these 15 s, what the link varies by; the control, plain least squares, is 9 ms off
    assert abs(period - 0.005) < 6e-7 < 2e-6 < abs(plain - 0.005)


def test_a_coarse_clock_gives_even_times():
    t = np.floor(np.arange(2000) * 0.4) / 1000  # 2500 Hz stamped in whole ms
    table = [[f"{v:.3f}", f"{k}"] for k, v in enumerate(t)]
    run = read_recording(text(table, ["t_s", "wheel_mm"]), "r")
    assert run.n == 2000
    assert {p.kind for p in run.problems} == {"coarse clock"}
    assert np.median(np.diff(run.t_s)) == pytest.approx(0.0004, rel=1e-3)


def test_rows_that_never_came_evenly_keep_their_stamps():
    rng = np.random.default_rng(5)
    t = np.cumsum(np.where(rng.random(800) < 0.6, 1e-4, rng.exponential(0.05, 800)))
    table = [[f"{v:.6f}", f"{k}"] for k, v in enumerate(t)]
    run = read_recording(text(table, ["t_s", "wheel_mm"]), "r")
    assert {p.kind: p.done for p in run.problems}["bursts"] == "stamps kept"
    np.testing.assert_allclose(run.t_s, t, atol=1e-6)


def test_even_jitter_is_no_burst():
    rng = np.random.default_rng(6)
    t = np.arange(3000) / 100 + rng.normal(0, 0.0008, 3000)
    assert not time_defects(t).bursty
    assert mean_period(t) == pytest.approx(0.01, rel=1e-3)


# ------------------------------------------------------------------------------------------------ lines


def test_lines_with_another_number_of_columns_go():
    table = rows()
    table[40] = table[40][:4]
    table[90] = [*table[90], "7"]
    run, found = read(table)
    assert run.n == 198
    assert found["wrong column count"].text == (
        "2 lines with another number of columns than the header's 9 (first: 4 columns) (lines 42, 92): dropped."
    )


def test_a_line_with_256_columns_too_many_is_not_taken_for_whole():
    table = rows()
    table[40] = [*table[40], *["7"] * 256]
    assert read(table)[1]["wrong column count"].text.endswith("(first: 265 columns) (line 42): dropped.")


def test_many_broken_lines_are_refused_with_the_first_one():
    table = rows()
    for k in range(0, 60, 2):
        table[k + 10] = table[k + 10][:7]
    with pytest.raises(RecordingError) as caught:
        read(table)
    assert str(caught.value).startswith(
        "r line 12: expected 9 columns as in the header (t_s ... az_g), came 7 columns: "
    )
    assert "and 30 of 200 lines so" in str(caught.value)


@pytest.mark.parametrize("cut", [1, 3, 20, 60])
def test_a_last_line_cut_short_goes(cut):
    data = text(rows())
    run = read_recording(data[: -1 - cut], "r")
    assert run.n == 199
    assert [(p.kind, p.where, p.done) for p in run.problems] == [("last line cut short", "line 201", "dropped")]


def test_a_whole_last_line_without_line_end_stays():
    run = read_recording(text(rows())[:-1], "r")
    assert (run.n, run.problems) == (200, ())


def test_a_header_again_is_told():
    table = rows()
    run, found = read([*table[:100], HEADER, *table[100:]])
    assert run.n == 200
    assert found["header again"].where == "line 102"


def test_empty_cells_nan_and_texts_are_missing_in_their_group():
    table = rows()
    table[5][3] = ""
    table[6][3] = "NaN"
    table[7][3] = "ovf"
    table[8][8] = "inf"
    run, found = read(table)
    assert np.isnan(run.gyro_rad_s[5:8, 0]).all()
    assert not np.isnan(run.gyro_rad_s[5:8, 1:]).any()
    assert np.isnan(run.acc_mm_s2[8, 2])
    texts = [p.text for p in run.problems]
    assert texts == [
        "1 cell of gx_dps without a number (line 9): marked missing.",
        "2 empty cells in gx_dps (lines 7, 8): marked missing.",
        "1 cell of az_g without a number (line 10): marked missing.",
    ]
    assert found["empty cells"].count == 2


# ------------------------------------------------------------------------------------------------ readings


def test_all_zero_rows_of_a_sensor_are_missing():
    table = rows()
    for k in (30, 31):
        table[k][1:] = ["0"] * 8
    table[50][6:] = ["0", "0.0", "-0"]
    table[70][3:6] = ["0", "0", "0"]  # a gyro at rest may read zero while the others speak
    run, _ = read(table)
    assert np.isnan(run.field_mt[30:32]).all()
    assert np.isnan(run.acc_mm_s2[[30, 31, 50]]).all()
    assert np.isnan(run.gyro_rad_s[30:32]).all()
    assert not np.isnan(run.gyro_rad_s[[50, 70]]).any()
    assert [(p.count, p.where) for p in run.problems if p.kind == "all zero"] == [
        (2, "lines 32, 33, first at 0.300 s"),
        (2, "lines 32, 33, first at 0.300 s"),
        (3, "lines 32, 33, 52, first at 0.300 s"),
    ]


def test_a_sensor_that_gave_nothing_is_left_out():
    table = [[*row[:3], "0", "0", "0", *row[6:]] for row in rows()]
    run, found = read(table)
    assert run.gyro_rad_s is None
    assert found["dead sensor"].text.startswith("the gyro sensor gave nothing but zeros")


@pytest.mark.parametrize(
    ("column", "level", "known", "name"),
    [
        (2, "16", {"sensor": FieldSensor(range_mt=16.0)}, "the field sensor's y axis at its end (16 mT)"),
        (5, "-249.99", {"imu": Imu(gyro_range_dps=250.0)}, "the gyro sensor's z axis at its end (250 deg/s)"),
        (6, "1.99994", {"imu": Imu(acc_range_g=2.0)}, "the acceleration sensor's x axis at its end (2 g)"),
    ],
)
def test_readings_at_the_stated_range_are_missing(column, level, known, name):
    table = rows()
    for k in (12, 13, 99):
        table[k][column] = level
    run, found = read(table, **known)
    assert found["saturated"].text == f"3 readings of {name} (lines 14, 15, 101, first at 0.120 s): marked missing."
    group = {1: run.field_mt, 3: run.gyro_rad_s, 6: run.acc_mm_s2}[(1, 3, 6)[(column >= 3) + (column >= 6)]]
    axis = (column - (1, 3, 6)[(column >= 3) + (column >= 6)]) % 3
    assert np.flatnonzero(np.isnan(group[:, axis])).tolist() == [12, 13, 99]


def test_readings_beyond_the_stated_range_show_that_it_is_wrong():
    run, found = read(rows(), sensor=FieldSensor(range_mt=8.0))
    assert found["beyond range"].done == "kept"
    assert "beyond its stated range of 8 mT: the range is stated wrongly" in found["beyond range"].text
    assert not np.isnan(run.field_mt[:, :2]).any()


def wheel(limit=None, quantum=0.02, n=4000):
    rng = np.random.default_rng(4)
    t = np.arange(n) / 100
    field = np.stack([20 * np.cos(6 * t), 15 * np.sin(6 * t)], axis=1) + rng.normal(0, 0.03, (n, 2))
    field = np.round(field / quantum) * quantum
    return np.clip(field, -limit, limit) if limit else field


def test_an_unstated_range_is_told_from_the_flat_crests():
    clipped = wheel(limit=18.0)
    table = [[f"{k / 100}", f"{x:.2f}", f"{y:.2f}"] for k, (x, y) in enumerate(clipped)]
    run = read_recording(text(table, HEADER[:3]), "r")
    assert np.isnan(run.field_mt[:, 0]).sum() == np.sum(np.abs(clipped[:, 0]) >= 17.999)
    assert not np.isnan(run.field_mt[:, 1]).any()
    assert [p.kind for p in run.problems] == ["saturated"]


@pytest.mark.parametrize("quantum", [0.02, 0.3, 2.0])
def test_an_honest_wheel_however_coarse_is_not_called_saturated(quantum):
    table = [[f"{k / 100}", f"{x:.2f}", f"{y:.2f}"] for k, (x, y) in enumerate(wheel(quantum=quantum))]
    assert read_recording(text(table, HEADER[:3]), "r").problems == ()


# ------------------------------------------------------------------------------------------------ counters


@pytest.mark.parametrize("bits", [8, 16, 32])
@pytest.mark.parametrize("signed", [False, True])
def test_a_counter_that_runs_over_is_made_continuous(bits, signed):
    rng = np.random.default_rng(bits)
    step = 2**bits // 50
    true = np.cumsum(rng.integers(-step // 4, step, 2000)).astype(float)
    span, low = 2**bits, -(2 ** (bits - 1)) if signed else 0
    shown = (true - low) % span + low
    table = [[f"{k / 100}", f"{c:.0f}"] for k, c in enumerate(shown)]
    run = read_recording(text(table, ["t_s", "ticks_count"]), "r")
    np.testing.assert_array_equal(np.diff(run.ticks_count), np.diff(true))
    assert run.problems[0].kind == "counter ran over"
    assert f"the {bits}-bit counter ran over" in run.problems[0].text


@settings(max_examples=100, deadline=None)
@given(st.integers(4, 40), st.lists(st.integers(-100, 100), min_size=1, max_size=50), st.integers(0, 2**30))
def test_a_stated_width_undoes_any_wrap_below_half_the_span(bits, steps, start):
    limit = 2 ** (bits - 1) - 1
    true = start + np.cumsum(np.clip(steps, -limit, limit)).astype(float)
    whole, _, _ = undo_wrap(true % 2**bits, bits)
    np.testing.assert_array_equal(np.diff(whole), np.diff(true))


def test_a_jump_that_is_no_wrap_stays():
    for count in ([0.0, 100.0, 30_000.0, 30_100.0], [0.0, 200.0, 90.0, 10.0], [5.0, 5.0, 5.0]):
        whole, wraps, _ = undo_wrap(np.array(count))
        assert wraps == 0
        np.testing.assert_array_equal(whole, count)


def test_a_missing_count_does_not_hide_a_wrap():
    whole, wraps, bits = undo_wrap(np.array([250.0, np.nan, 2.0]))
    assert (wraps, bits) == (1, 8)
    np.testing.assert_array_equal(whole, [250.0, np.nan, 258.0])


def test_a_microsecond_clock_runs_over_after_71_minutes():
    # 2^32 us = 4294.967296 s
    stamps = (2**32 - 30_000 + 10_000 * np.arange(8)) % 2**32
    run = read_recording(text([[str(s), "1"] for s in stamps], ["t_us", "wheel_mm_s"]), "r")
    assert np.diff(run.t_s) == pytest.approx([0.01] * 7, abs=1e-6)
    assert run.t_s[0] == pytest.approx(4294.937296)
    assert [p.text for p in run.problems] == ["the 32-bit clock ran over 1 time (column t_us): made continuous."]


def test_a_stray_stamp_at_the_clocks_end_is_no_wrap():
    for unit, stamps in (
        ("us", [0, 10_000, 2**32 - 1, 30_000, 40_000]),
        ("us", [1e15, 1e15 + 1e4, 0, 1e15 + 3e4, 1e15 + 4e4]),
    ):
        run = read_recording(text([[f"{s:.0f}", "1"] for s in stamps], [f"t_{unit}", "wheel_mm_s"]), "r")
        assert [p.kind for p in run.problems] == ["stray stamp", "gap"]
        assert run.t_s - run.t_s[0] == pytest.approx([0, 0.01, 0.03, 0.04], abs=1e-6)


def test_counts_that_do_not_fit_the_stated_counter_are_refused():
    table = [[f"{k / 100}", f"{10 * k}"] for k in range(40)]
    with pytest.raises(RecordingError, match="expected counts that fit a 8-bit counter, came counts over 390"):
        read_recording(text(table, ["t_s", "ticks_count"]), "r", counter_bits=8)


# ------------------------------------------------------------------------------------------------ open data

SIX = tuple(
    (f"{g}{a}_{u}", f"{w}_{a}_{u}") for g, w, u in (("g", "gyro", "rad_s"), ("a", "acc", "m_s2")) for a in "xyz"
)


@open_data
@pytest.mark.parametrize(
    ("path", "n", "hz"),
    [
        # rows as stated beside the data; rates: 104 Hz and 30 Hz
        ("comma2k19_example/recording.csv", 6255, 104.0),
        ("robot_localization_bags/test1_recording.csv", 11863, 30.0),
    ],
)
def test_car_and_robot_read_cleanly(path, n, hz):
    run = read_recording((DATA / path).read_bytes(), "r")
    assert run.n == n
    assert run.rate_hz == pytest.approx(hz, rel=0.01)
    assert not {p.kind for p in run.problems} - {"gap"}
    assert not np.isnan(run.gyro_rad_s).any()


@open_data
def test_the_disordered_log_reports_its_602_steps_back():
    data = (DATA / "radish_carmen" / "disordered_odometry.csv").read_bytes()
    run = read_recording(data, "r", ColumnMap((("wheel_m", "x_m"),)))
    found = {p.kind: p for p in run.problems}
    # stated beside the data: 602 backward steps, worst -0.90 s; 26915 rows, none lost here
    assert (found["out of order"].count, run.n) == (602, 26915)
    assert "602 steps back in time, the worst by 0.9 s" in found["out of order"].text
    stamps = np.loadtxt(data.decode().splitlines()[1:], delimiter=",", usecols=0)
    defects = time_defects(stamps)
    assert (defects.backward_steps, defects.n) == (602, 26915)
    assert defects.worst_back_s == pytest.approx(0.90, abs=0.005)
    assert defects.longest_gap_s == pytest.approx(3.54, abs=0.005)
    assert time_defects(np.sort(stamps)).backward_steps == 0  # the control: sorted first, it would be blind


@open_data
def test_rail_vehicle_runs_have_the_stated_bias_and_gravity():
    lines = (DATA / "rail_imu_ethpbl_samples" / "imu_decoded.csv").read_bytes().splitlines()
    for number in range(1, 13):
        own = [line for line in lines[1:] if line.startswith(b"%d," % number)]
        run = read_recording(b"\n".join([lines[0], *own]) + b"\n", f"run {number}", ColumnMap(SIX))
        gyro_dps = np.degrees(run.gyro_rad_s.mean(axis=0))
        norm_g = float(np.linalg.norm(run.acc_mm_s2.mean(axis=0))) / 9806.65
        # ranges as stated beside the data, with its own tolerances: 0.02 deg/s and 0.001 g
        one = own[0].split(b",")[1] == b"1"
        low, high = (
            ([1.36, -1.77, -0.83], [1.41, -1.68, -0.77]) if one else ([0.47, -1.06, -0.56], [0.49, -1.03, -0.54])
        )
        assert (np.array(low) - 0.02 <= gyro_dps).all()
        assert (gyro_dps <= np.array(high) + 0.02).all()
        assert (1.0111 if one else 1.0162) - 0.001 <= norm_g <= (1.0125 if one else 1.0225) + 0.001
        assert 1990 <= run.n <= 1998

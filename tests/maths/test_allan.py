"""Allan deviations against published sets to every printed digit, and terms of simulated noise against the truth."""

import csv
from pathlib import Path

import allantools
import numpy as np
import pytest

from benchmarks.calibrating.sp1065 import ONE_DIGIT_APART, PRINTED, RATES, agreeing
from wayrule.maths.allan import (
    DEVIATIONS,
    FOUND_SDS,
    SLOPES,
    allan_curve,
    degrees_of_freedom,
    interval,
    oadev,
    phase_of,
)


@pytest.mark.parametrize(("what", "same"), list(agreeing()))
def test_every_printed_digit(what: str, same: bool) -> None:
    assert same, what


def test_35_values_are_held_against_the_handbook() -> None:
    assert sum(len(printed) for printed in PRINTED.values()) + len(ONE_DIGIT_APART) == 35


def test_where_sources_differ_in_the_last_digit_so_do_we_by_no_more() -> None:
    for (name, m), (kind, value) in ONE_DIGIT_APART.items():
        found = DEVIATIONS[kind](phase_of(RATES[name], 1.0), m, 1.0)
        assert abs(found - value) < 1.5e-5 * 10 ** np.floor(np.log10(value)) / 10


def test_the_table_beside_the_repository_says_the_same() -> None:
    path = Path(__file__).parents[3] / "shared/facts/allan_reference_values.csv"
    if not path.exists():
        pytest.skip("the table is not here; the typed values above are the same")
    checked = 0
    for row in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
        kind, name = row["statistic"].lower().replace(" (sp 1065 edition)", ""), row["dataset"].split("-")[0]
        if kind in DEVIATIONS:
            found = DEVIATIONS[kind](phase_of(RATES[name], 1.0), int(row["averaging_factor"]), 1.0)
            assert found == pytest.approx(float(row["value"]), rel=3e-7)
            checked += 1
    assert checked == 35


@pytest.mark.parametrize("kind", list(DEVIATIONS))
def test_a_simulated_log_reads_as_the_reference_library_reads_it(kind: str) -> None:
    rng = np.random.default_rng(5)
    log = 1e-3 * rng.standard_normal(6000) + np.cumsum(1e-5 * rng.standard_normal(6000)) + 0.02
    factors = [1, 2, 8, 64, 512]
    reference = getattr(allantools, kind)(log, rate=200.0, data_type="freq", taus=np.array(factors) / 200.0)
    ours = [DEVIATIONS[kind](phase_of(log, 200.0), m, 1 / 200.0) for m in factors]
    assert len(reference[1]) == len(factors)
    assert ours == pytest.approx(reference[1], rel=1e-9)


@pytest.mark.parametrize(("slope", "alpha"), [(-1.0, 2), (-0.5, 0), (0.0, -1), (0.5, -2)])
def test_degrees_of_freedom_are_those_of_the_reference_library(slope: float, alpha: int) -> None:
    for n, m in ((1001, 4), (1001, 100), (721, 30)):
        assert degrees_of_freedom(slope, n, m) == pytest.approx(allantools.ci.edf_simple(n, m, alpha), rel=1e-12)


def test_flicker_at_one_point_has_about_a_degree_for_each_reading() -> None:
    """The 1981 paper's 2 (N - 2)^2 / (2.3 N - 4.9) (from memory); without the square it would not grow with the log."""
    assert 800 < degrees_of_freedom(0.0, 1001, 1) < 1000


def test_two_in_three_intervals_hold_the_true_deviation() -> None:
    """White noise of sd s has the deviation s / sqrt(m)."""
    rng, inside, m = np.random.default_rng(6), 0, 20
    for _ in range(400):
        x = phase_of(rng.standard_normal(1000), 1.0)
        low, high = interval(np.array([oadev(x, m, 1.0)]), np.array([degrees_of_freedom(-0.5, 1001, m)]))
        inside += bool(low[0] < 1 / np.sqrt(m) < high[0])
    assert 0.60 < inside / 400 < 0.76


def synthetic(rng: np.random.Generator, n: int, rate_hz: float, walk: float, drift: float, ramp: float) -> np.ndarray:
    """A rate with random walk N, rate random walk K and ramp R."""
    white = walk * np.sqrt(rate_hz) * rng.standard_normal(n)
    return white + np.cumsum(drift / np.sqrt(rate_hz) * rng.standard_normal(n)) + ramp * np.arange(n) / rate_hz


def test_terms_of_simulated_noise_are_found_within_their_sds() -> None:
    rng, off = np.random.default_rng(7), []
    for _ in range(40):
        curve = allan_curve(synthetic(rng, 40_000, 100.0, 0.01, 0.005, 0.0), 100.0)
        off.append((curve.squares[[1, 3]] - np.square([0.01, 0.005])) / curve.squares_sd[[1, 3]])
    assert (np.sqrt(np.mean(np.square(off), axis=0)) < 1.8).all()
    assert (np.std(off, axis=0) > 0.5).all(), "sds wider than they need be"


def test_each_term_alone_is_known_for_what_it_is() -> None:
    rng, n, rate = np.random.default_rng(8), 60_000, 50.0
    steps = rng.uniform(-0.5, 0.5, n + 1) * 0.02  # an angle read in steps of 0.02: Q = step / sqrt(12)
    alone = {
        0: (np.diff(steps) * rate, 0.02 / np.sqrt(12)),
        1: (synthetic(rng, n, rate, 0.03, 0.0, 0.0), 0.03),
        3: (synthetic(rng, n, rate, 0.0, 0.002, 0.0), 0.002),
        4: (synthetic(rng, n, rate, 1e-6, 0.0, 2e-5), 2e-5),
    }
    for term, (log, truth) in alone.items():
        curve = allan_curve(log, rate)
        assert np.sqrt(curve.squares[term]) == pytest.approx(truth, rel=0.15), f"slope {SLOPES[term]}"
        assert curve.squares[term] > FOUND_SDS * curve.squares_sd[term]


def test_a_flat_floor_is_bias_instability() -> None:
    """Flicker of one-sided density h / f has the deviation sqrt(2 ln 2 h) at all times (IEEE Std 952)."""
    rng, n = np.random.default_rng(9), 2**16
    spectrum = (rng.standard_normal(n // 2 + 1) + 1j * rng.standard_normal(n // 2 + 1)) / np.sqrt(2)
    f = np.arange(n // 2 + 1) / n
    f[0] = np.inf
    log = np.fft.irfft(spectrum * np.sqrt(1e-4 / f * n / 2), n)  # one-sided density 1e-4 / f at 1 Hz
    curve = allan_curve(log, 1.0)
    middle = (curve.tau_s > 16) & (curve.tau_s < 2000)
    assert np.median(curve.deviation[middle]) == pytest.approx(np.sqrt(2 * np.log(2) * 1e-4), rel=0.1)
    assert np.sqrt(curve.squares[2]) * np.sqrt(2 * np.log(2) / np.pi) == pytest.approx(
        np.sqrt(2 * np.log(2) * 1e-4), rel=0.2
    )

"""The band filter against sines, and against noise whose spectrum is known."""

import numpy as np
import pytest

from wayrule.maths.bands import Band

BAND = Band("D2", 287.0, 805.0)
STEP = 4.0
S = np.arange(0.0, 12_000.0, STEP)
INNER = slice(round(BAND.end / STEP), -round(BAND.end / STEP))


def amplitude(values: np.ndarray) -> float:
    """Of a sine, from its rms over the part that the ends do not reach."""
    return float(np.sqrt(2 * np.mean(values[INNER] ** 2)))


@pytest.mark.parametrize(
    ("wave", "low", "high"),
    [
        (480.0, 0.97, 1.0),  # the band's middle: 1 / (1 + (c / f)^8) of both edges
        (400.0, 0.93, 1.0),
        (287.0, 0.69, 0.72),  # -3 dB at the ends: 1 / sqrt 2
        (805.0, 0.69, 0.72),
        (143.0, 0.0, 0.02),  # an octave out: 1 / (1 + (0.9 x 2)^8) = 0.9 %, and what the ends add
        (1610.0, 0.0, 0.02),  # likewise; its own ends add a little
        (34.0, 0.0, 0.01),  # nothing but what the ends add
    ],
)
def test_waves_in_the_band_pass_and_others_do_not(wave: float, low: float, high: float) -> None:
    kept = amplitude(BAND.filtered(np.sin(2 * np.pi * S / wave), STEP))
    assert low <= kept <= high
    assert BAND.gain(np.array([wave]), STEP)[0] == pytest.approx(kept, abs=0.01), "the gain is what a sine keeps"


def test_waves_are_not_shifted() -> None:
    wave = np.sin(2 * np.pi * S / 480.0 + 0.3)
    kept = BAND.filtered(wave, STEP)
    assert np.corrcoef(kept[INNER], wave[INNER])[0, 1] > 0.9999


def test_a_drift_leaves_nothing_but_at_the_ends() -> None:
    """A straight trend of 100 and a bow of one wave over the whole length beside a sine of 1."""
    drift = 100.0 * S / S[-1] + 20.0 * np.sin(np.pi * S / S[-1])
    kept = BAND.filtered(drift + np.sin(2 * np.pi * S / 480.0), STEP)
    assert amplitude(kept) == pytest.approx(amplitude(BAND.filtered(np.sin(2 * np.pi * S / 480.0), STEP)), abs=0.02)


def test_noise_keeps_the_variance_that_its_spectrum_says() -> None:
    """White noise of variance 1 a sample has density `STEP`; its running sum STEP / (2 pi f STEP)^2.
    400 000 samples hold some 3000 waves: 3 %."""
    noise = np.random.default_rng(5).normal(size=400_000)
    waves = np.geomspace(60.0, 4000.0, 600)
    white = Band("D2", 287.0, 805.0).variance(np.full(600, STEP), waves, STEP)
    assert np.var(BAND.filtered(noise, STEP)) == pytest.approx(white, rel=0.05)
    walk = BAND.variance(STEP * (waves / (2 * np.pi * STEP)) ** 2, waves, STEP)
    assert np.var(BAND.filtered(np.cumsum(noise), STEP)[INNER]) == pytest.approx(walk, rel=0.05)


def test_a_series_too_short_is_refused() -> None:
    with pytest.raises(ValueError, match="a series of 400 is shorter than 805"):
        BAND.filtered(np.zeros(100), STEP)


def test_a_band_upside_down_cannot_exist() -> None:
    with pytest.raises(ValueError, match=r"expected 0 < shortest < longest, came 5\.0, 4\.0"):
        Band("D1", 5.0, 4.0)


def test_a_low_pass_above_what_the_sampling_holds_is_left_out() -> None:
    band = Band("D1", 8.0, 100.0)
    assert band.gain(np.array([9.0]), 4.0)[0] == pytest.approx(1.0, abs=0.01)

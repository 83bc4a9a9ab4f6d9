"""Matched filters: amplitudes, noise and the rate of false alarms, by simulation and by Rice's formula."""

import numpy as np
import pytest

from wayrule.maths.matched import Template, end_factor, respond, robust_sd, search, threshold


def bump(h, width):
    x = np.arange(-h, h + 1)
    return np.where(np.abs(x) < width / 2, 0.5 + 0.5 * np.cos(2 * np.pi * x / width), 0.0)


BUMP = Template("bump", 20.0, bump(25, 20.0), 1)
STEP = Template("step", 10.0, np.clip(np.arange(-20, 21) / 6.0, -0.5, 0.5), 1)


@pytest.mark.parametrize("template", [BUMP, STEP])
@pytest.mark.parametrize("ring", [True, False])
def test_amplitude_of_the_shape_itself_on_any_slope(template, ring):
    """The filter gives back the height of its own shape, whatever straight line lies under it."""
    n, h = 400, len(template.shape) // 2
    dy = np.full(n, 0.0 if ring else 0.3)
    dy[200 - h : 200 + h] += 2.5 * np.diff(template.shape)
    a = respond(dy, template, ring=ring)
    assert len(a) == (n if ring else n + 1)
    assert a[200] == pytest.approx(2.5, rel=1e-12)
    away = np.abs(np.arange(len(a)) - 200) > 2 * h
    assert np.abs(a[away]).max() < 1e-9


def test_amplitude_by_general_least_squares():
    """The same amplitude from numpy's least squares with shape, constant and slope as unknowns."""
    rng = np.random.default_rng(2)
    y = rng.normal(size=301)
    a = respond(np.diff(y), BUMP, ring=False)[150]
    h = 25
    design = np.column_stack([BUMP.shape, np.ones(2 * h + 1), np.arange(2 * h + 1)])
    assert a == pytest.approx(np.linalg.lstsq(design, y[150 - h : 150 + h + 1], rcond=None)[0][0], rel=1e-10)


def test_false_alarms_at_the_stated_rate():
    """Two hundred thousand points of noise: up and down crossings of the threshold as often as Rice's formula says."""
    rng = np.random.default_rng(3)
    y = np.convolve(rng.normal(size=200_000), np.hanning(7), mode="same")
    a = respond(np.diff(y), BUMP, ring=False)
    sd = np.median(np.abs(a)) * 1.4826
    u = threshold([a], 1.0, 2e-4)
    loud = np.abs(a) > u * sd
    crossings = int(np.count_nonzero(loud[1:] & ~loud[:-1]))
    assert 15 < crossings < 70  # 40 expected; three sd of a Poisson count and the formula's own error at u near 3


def test_search_in_pure_noise_finds_what_was_allowed():
    rng = np.random.default_rng(4)
    found = 0
    for _ in range(20):
        dy = np.diff(rng.normal(size=5001))
        args = {"ring": False, "claimed_sd": [0.0, 0.0], "least": [np.zeros(5001)] * 2, "window": 1000}
        searched = search(dy, 1.0, [BUMP, STEP], alarms_per_length=2e-5, usable=np.ones(5001, bool), **args)
        # 5000 points at 2e-5, a little more than that at the ends where half a window is a mirror image
        assert searched.alarms == pytest.approx(0.1, rel=0.05)
        found += len(searched.found)
    assert found <= 7  # two are expected at most; a Poisson count of mean 2 exceeds 7 in 0.1 % of cases


def test_alarms_are_counted_and_come():
    """Where noise decides, as many as stated, but for what correlated shapes share; none where the least size does."""
    rng = np.random.default_rng(9)
    stated, found, n = 0.0, 0, 20_000
    for _ in range(5):
        dy = rng.normal(size=n)  # a random walk, as an integral of a rate is
        args = {"ring": True, "claimed_sd": [0.0, 0.0], "window": 2000, "usable": np.ones(n, bool)}
        searched = search(dy, 1.0, [BUMP, STEP], least=[np.zeros(n)] * 2, alarms_per_length=5e-4, **args)
        stated, found = stated + searched.alarms, found + len(searched.found)
        high = search(dy, 1.0, [BUMP, STEP], least=[np.full(n, 100.0)] * 2, alarms_per_length=5e-4, **args)
        assert high.alarms < 1e-6
        assert high.found == ()
    assert stated == pytest.approx(50.0, rel=0.02)
    assert 15 < found < 70  # two shapes share at most half; three sd of a Poisson count on either side


def test_search_tells_shapes_apart_and_takes_them_away():
    rng = np.random.default_rng(5)
    dy = np.diff(rng.normal(0, 0.05, 2001))
    for at, template, size in ((300, BUMP, 2.0), (900, STEP, -1.5), (1500, BUMP, -1.0)):
        h = len(template.shape) // 2
        dy[at - h : at + h] += size * np.diff(template.shape)
    least = [np.zeros(2001)] * 2
    searched = search(
        dy,
        2.0,
        [BUMP, STEP],
        ring=False,
        claimed_sd=[0.0, 0.0],
        least=least,
        alarms_per_length=1e-6,
        window=500,
        usable=np.ones(2001, bool),
    )
    found = sorted(searched.found, key=lambda f: f.at)
    assert [f.template.name for f in found] == ["bump", "step", "bump"]
    assert [f.at for f in found] == pytest.approx([600.0, 1800.0, 3000.0], abs=1.0)
    for f, size in zip(found, (2.0, -1.5, -1.0), strict=True):
        assert f.amplitude == pytest.approx(size, abs=4 * f.sd + 0.02)
    assert all(np.all(lo == 0) for lo in least)  # the caller's arrays are left alone


def test_a_ring_has_no_seam():
    """A step across the seam of a ring is found as well as any other, and leaves no second one behind."""
    rng = np.random.default_rng(6)
    dy = rng.normal(0, 0.02, 1000)
    h = len(STEP.shape) // 2
    at = np.arange(-h, h) % 1000
    dy[at] += np.diff(STEP.shape)
    args = {"claimed_sd": [0.0], "least": [np.zeros(1000)], "alarms_per_length": 1e-5, "window": 300}
    found = search(dy, 1.0, [STEP], ring=True, usable=np.ones(1000, bool), **args).found
    assert len(found) == 1
    assert min(found[0].at, 1000 - found[0].at) < 2.0
    assert found[0].amplitude == pytest.approx(1.0, abs=0.4)  # 4 sd of a sum of some twenty steps of 0.02


def test_noise_near_an_open_end():
    """Sd of the amplitude at an end, over many draws of independent values: as the factor says, within 10 %."""
    rng = np.random.default_rng(8)
    a = np.array([respond(np.diff(rng.normal(size=101)), BUMP, ring=False) for _ in range(1500)])
    inner = a[:, 50].std()
    factor = end_factor(BUMP, 101)
    for d in (0, 3, 8, 15):
        assert a[:, d].std() / inner <= factor[d] * 1.1
        assert a[:, 100 - d].std() / inner <= factor[100 - d] * 1.1
    assert a[:, 3].std() / inner >= 0.9 * factor[3]
    assert factor[50] == 1.0


def test_noise_is_judged_locally_and_robustly():
    rng = np.random.default_rng(7)
    a = rng.normal(size=8000) * np.where(np.arange(8000) < 4000, 1.0, 3.0)
    a[1000:1010] = 50.0
    sd = robust_sd(a, 1000)
    assert sd[1000] == pytest.approx(0.95, abs=0.3)  # not below 0.6 of the whole, which is 1.6
    assert sd[6000] == pytest.approx(3.0, rel=0.15)

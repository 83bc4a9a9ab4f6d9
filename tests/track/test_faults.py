"""Faults found on lines whose faults are known, and not found where there are none."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.track.synthetic_stations import (
    GOOD,
    HEAVY,
    HO,
    ROUGH,
    SIZES,
    N,
    Noise,
    Truth,
    oval,
    random_line,
    stations,
)
from wayrule.track.elements import elements
from wayrule.track.faults import ALARMS_PER_100_WHEELBASES, SEARCHES, detect, false_alarm_words, faults


def draw(rng, size, truth, *, clear):
    """Random faults of every kind from the size that must be found up to twice that, `clear` wheelbases from breaks."""
    length, w = sum(p[1] for p in truth.plan), size.wheelbase
    breaks = np.array([e.s0_mm for e in truth.elements("plan") + truth.elements("profile")])
    out, s = [], 2 * w
    while (s := s + rng.uniform(6, 20) * w) < length - 2 * w:
        if np.abs(breaks - s).min() < clear * w:
            continue
        kind = str(rng.choice(["kink", "dip", "hump", "twist", "left_dip", "right_dip"]))
        sign = rng.choice([-1, 1]) if kind in ("kink", "twist") else 1
        least = {"kink": 1.2, "dip": size.dip, "hump": size.dip}.get(kind, size.twist)
        out.append((kind, s, sign * least * rng.uniform(1, 2), rng.uniform(1, 3) * w))
    return out


def survey(seed, noise, *, clear=2.5):
    """Random line with faults: size, what was put in, what was found."""
    rng = np.random.default_rng(seed)
    size = SIZES[seed % 3]
    truth = random_line(rng, size)
    put = draw(rng, size, truth, clear=clear)
    st = stations(size, truth, noise, rng, blur=(1.0, 0.5, 0.0)[seed // 3 % 3], faults=put)
    return size, put, list(faults(st, elements(st)))


@pytest.mark.parametrize("noise", [GOOD, ROUGH])
def test_recall_precision_place_and_size(noise):
    """Five random lines of all scales and two degrees of blur, at the sizes that were promised."""
    put_n = hit_n = found_n = 0
    place, sizes = [], []
    for seed in range(200, 205):
        size, put, found = survey(seed, noise)
        put_n, found_n = put_n + len(put), found_n + len(found)
        for kind, s, amount, _ in put:
            name = "one_rail_dip" if kind.endswith("_dip") else kind
            near = [f for f in found if f.kind == name and abs(f.s_mm - s) < 0.4 * size.wheelbase]
            if near:
                hit_n += 1
                found.remove(near[0])
                place.append(abs(near[0].s_mm - s) * HO.wheelbase / size.wheelbase)
                sizes.append(near[0].size / amount)
                assert near[0].rail == (kind.removesuffix("_dip") if kind.endswith("_dip") else "")
    assert put_n >= 15
    assert hit_n / put_n >= 0.95
    assert hit_n / found_n >= 0.9
    assert max(place) < 15.0  # mm in H0, as promised; other scales by their wheelbase
    assert np.median(sizes) == pytest.approx(1.0, abs=0.1)


def test_false_alarms_as_stated():
    """No faults, noise of cant far above the least twist: no more than the stated rate allows at 98 %."""
    false, wheelbases, stated = 0, 0.0, 0.0
    for seed in range(4):
        rng = np.random.default_rng(seed)
        st = stations(N, random_line(rng, N), Noise("even", 1e-4, 2e-3, 0.15, 0.0), rng, blur=0.5)
        detected = detect(st, elements(st))
        false, stated = false + len(detected.faults), stated + detected.false_alarms
        wheelbases += st.length_mm / N.wheelbase
    allowed = SEARCHES * ALARMS_PER_100_WHEELBASES * wheelbases / 100
    assert stated < allowed < 1.0
    assert false <= 3  # Poisson of mean 1.0 exceeds 3 in 2 % of cases


def test_false_alarms_are_said():
    """Quiet track: the least sizes leave nothing to noise; rough track: some, and the sentence says how many."""
    said = []
    for noise in (GOOD, HEAVY):
        rng = np.random.default_rng(3)
        st = stations(HO, random_line(rng, HO), noise, rng, blur=0.5)
        said.append(false_alarm_words(st, detect(st, elements(st))))
    assert "feign fewer than 0.001 on this line, and on no line more than 0.06 on 6.5 m" in said[0]
    assert "kinks under 0.6 deg, dips, humps and lateral bumps under 0.43 mm" in said[0]
    assert re.search(r"feign about 0\.[0-9]+ at most on this line", said[1])


def test_a_tilt_hides_no_dip():
    """An open line whose gradients all share an unknown constant of 2 per mille: its dips are found as without."""
    truth = Truth([("straight", 4000, 0, 0)], [("grade", 4000, 0, 0)])
    st = stations(HO, truth, GOOD, np.random.default_rng(5), faults=[("dip", 1500.0, 0.7, 130.0)], blur=0.2)
    tilted = replace(
        st,
        z_sd_mm=np.hypot(st.z_sd_mm, 2e-3 * (st.s_mm - 2000.0)),
        gradient_sd=np.hypot(st.gradient_sd, 2e-3),
    )
    (dip,) = faults(tilted, elements(tilted))
    assert (dip.kind, dip.s_mm, dip.size) == ("dip", pytest.approx(1500.0, abs=5.0), pytest.approx(0.7, abs=0.1))


@pytest.mark.parametrize(("passes", "swing_deg"), [(1, 0.69), (2, 0.49), (9, 0.23)])
def test_play_makes_kinks_uncertain(passes, swing_deg):
    """A wagon with play swings by 16.5 / 21 = 0.786 mm over 65 mm, 0.69 deg, in one pass; the mean of n less."""
    st = stations(HO, oval(HO), GOOD, np.random.default_rng(4), closed=True, faults=[("kink", 400.0, 1.8, 0.0)])
    st = replace(st, passes=np.full(len(st.s_mm), passes))
    (kink,) = faults(st, elements(st))
    assert kink.sd == pytest.approx(np.hypot(swing_deg, 0.05 * kink.size), rel=0.05)


def test_sectional_track_has_no_kinks():
    """An oval whose arcs begin without a transition: the steps of curvature are the design, not a fault."""
    for blur in (0.0, 0.4, 1.0):
        st = stations(HO, oval(HO, ease=0.0), GOOD, np.random.default_rng(2), closed=True, blur=blur)
        assert faults(st, elements(st)) == ()


def test_mirror():
    """Left and right change places: kinks and twists change sign, one-rail dips their rail."""
    truth = oval(HO)
    put = [("kink", 300.0, 2.0, 0.0), ("twist", 500.0, 1.2, 120.0), ("left_dip", 2900.0, 1.2, 120.0)]
    st = stations(HO, truth, GOOD, np.random.default_rng(3), closed=True, faults=put, blur=0.5)
    other = replace(st, heading_rad=-st.heading_rad, curvature_1_mm=-st.curvature_1_mm, cant_mm=-st.cant_mm)
    a, b = faults(st, elements(st)), faults(other, elements(other))
    assert [f.kind for f in a] == ["kink", "twist", "one_rail_dip"] == [f.kind for f in b]
    assert [f.size for f in b] == pytest.approx([-a[0].size, -a[1].size, a[2].size])
    assert [f.rail for f in a] == ["", "", "left"]
    assert [f.rail for f in b] == ["", "", "right"]
    assert a[0].unit == "deg"
    assert a[0].size == pytest.approx(2.0, abs=0.3)


def test_kink_angle_from_a_versine():
    """A kink of angle a in a straight stands a chord C centred on it off by (C / 2) tan(a / 2): geometry of a roof.

    The size that is reported gives back the offset that a straight-edge of 200 mm would show.
    """
    angle = 1.8
    st = stations(HO, oval(HO), GOOD, np.random.default_rng(4), closed=True, faults=[("kink", 400.0, angle, 0.0)])
    (found,) = faults(st, elements(st))
    assert found.s_mm == pytest.approx(400.0, abs=15.0)
    assert 100 * np.tan(np.radians(found.size) / 2) == pytest.approx(1.5709, abs=0.15)  # 100 tan(0.9 deg) = 1.5709 mm


def test_nothing_known():
    rng = np.random.default_rng(0)
    st = stations(HO, random_line(rng, HO), GOOD, rng, faults=[("dip", 400.0, 2.0, 100.0)], blur=0.5)
    nan = np.full(len(st.s_mm), np.nan)
    assert faults(replace(st, z_mm=nan, heading_rad=nan, cant_mm=nan), ()) == ()
    only_level = replace(st, heading_rad=nan, curvature_1_mm=nan, cant_mm=nan)
    (found,) = faults(only_level, elements(only_level))
    assert (found.kind, found.unit) == ("dip", "mm")
    assert found.s_mm == pytest.approx(400.0, abs=15.0)
    assert found.size == pytest.approx(2.0, abs=0.3)

"""Elements found on lines whose pieces are known, and on published alignments."""

import csv
import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.track.synthetic_stations import (
    CLEAN,
    GOOD,
    HO,
    ROUGH,
    SIZES,
    Noise,
    Size,
    Truth,
    matched,
    oval,
    random_line,
    stations,
    values,
)
from wayrule.model.track import STATION_COLUMNS
from wayrule.track.elements import elements, plan, profile


def scores(noise, seeds):
    """(recall, precision) of plan and of profile, and relative radius errors of the arcs, over random lines."""
    count = np.zeros((2, 3))
    radius = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        size = SIZES[seed % 3]
        truth = random_line(rng, size)
        found = elements(stations(size, truth, noise, rng, blur=(0.4, 0.2, 0.0)[seed // 3 % 3]))
        for row, plane in enumerate(("plan", "profile")):
            real, seen = truth.elements(plane), [e for e in found if e.plane == plane]
            pairs = matched(real, seen)
            count[row] += len(real), len(seen), len(pairs)
            radius += [abs(f.radius_mm / t.radius_mm - 1) for t, f in pairs if t.kind == "arc"]
    return count[:, 2] / count[:, 0], count[:, 2] / count[:, 1], np.array(radius)


def test_clean_lines_come_back_whole():
    recall, precision, radius = scores(CLEAN, range(4))
    assert recall.min() >= 0.99
    assert precision.min() >= 0.99
    assert radius.max() < 0.005  # half a per cent is what was promised for clean data


def test_lines_with_roughness():
    """0.03 mm of roughness and a good gyro in H0; lines of all three scales, three degrees of blur."""
    recall, precision, radius = scores(GOOD, range(4, 9))
    assert recall.min() >= 0.95
    assert precision.min() >= 0.95
    assert np.median(radius) < 0.002


def test_an_oval_has_no_seam():
    """Eight elements of a closed line that starts in the middle of a straight: that straight comes back in one."""
    truth = oval(HO)
    found = plan(stations(HO, truth, GOOD, np.random.default_rng(1), closed=True))
    length = sum(p[1] for p in truth.plan)
    assert [e.kind for e in found] == ["transition", "arc", "transition", "straight"] * 2
    assert found[-1].s1_mm > length
    assert found[-1].s1_mm - length == pytest.approx(found[0].s0_mm, abs=1e-6)
    assert sum(e.turned_rad for e in found) == pytest.approx(2 * np.pi, abs=0.01)
    assert sum(e.length_mm for e in found) == pytest.approx(length, abs=1e-6)


@pytest.mark.parametrize("shift", [0.1, 0.37, 0.61])
def test_where_a_ring_is_begun_does_not_matter(shift):
    """The same ring from another start gives the same pieces, places moved by the shift to a tenth of the step."""
    truth = oval(HO, ease=0.0)
    length = sum(p[1] for p in truth.plan)
    st = stations(HO, truth, GOOD, np.random.default_rng(5), closed=True)
    n = round(shift * len(st.s_mm))
    turn = np.where(np.arange(len(st.s_mm)) >= len(st.s_mm) - n, 2 * np.pi, 0.0)
    rolled = replace(
        st,
        s_mm=st.s_mm.copy(),
        heading_rad=np.roll(st.heading_rad, -n) + turn,
        curvature_1_mm=np.roll(st.curvature_1_mm, -n),
        z_mm=np.roll(st.z_mm, -n),
    )
    base = sorted((e.s0_mm % length, e.kind) for e in plan(st))
    moved = sorted(((e.s0_mm + st.s_mm[n]) % length, e.kind) for e in plan(rolled))
    assert [k for _, k in moved] == [k for _, k in base]
    # the last station is nearer to the first than a step, so that rolling shifts some places by up to that
    assert [s for s, _ in moved] == pytest.approx([s for s, _ in base], abs=HO.step)


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_mirrored_line_gives_mirrored_elements(seed):
    rng = np.random.default_rng(seed)
    st = stations(HO, random_line(rng, HO), ROUGH, rng)
    a = plan(st)
    b = plan(replace(st, heading_rad=-st.heading_rad, curvature_1_mm=-st.curvature_1_mm))
    assert [e.kind for e in a] == [e.kind for e in b]
    assert [e.s0_mm for e in a] == pytest.approx([e.s0_mm for e in b])
    assert [e.curvature0_1_mm for e in a] == pytest.approx([-e.curvature0_1_mm for e in b])


@pytest.mark.parametrize("seed", [1, 2])
def test_a_line_from_its_other_end(seed):
    rng = np.random.default_rng(seed)
    st = stations(HO, random_line(rng, HO), GOOD, rng)
    length = st.s_mm[-1]
    back = replace(
        st,
        s_mm=length - st.s_mm[::-1],
        heading_rad=st.heading_rad[::-1] + np.pi,
        curvature_1_mm=-st.curvature_1_mm[::-1],
    )
    a, b = plan(st), plan(back)[::-1]
    assert [e.kind for e in a] == [e.kind for e in b]
    assert [e.s0_mm for e in a] == pytest.approx([length - e.s1_mm for e in b], abs=2.0)  # blocks fall elsewhere
    assert [e.curvature0_1_mm for e in a] == pytest.approx([-e.curvature1_1_mm for e in b], abs=2e-6)


def tilted(st, tilt):
    """The same open line where nobody knows which way is up to within this gradient, and it is off by as much."""
    about = st.s_mm - st.s_mm.mean()
    return replace(
        st,
        z_mm=st.z_mm + tilt * about,
        gradient=st.gradient + tilt,
        z_sd_mm=np.hypot(st.z_sd_mm, tilt * about),
        gradient_sd=np.hypot(st.gradient_sd, tilt),
    )


def test_the_piece_across_the_seam_has_the_sigmas_of_its_twin():
    """Two straights of an oval, one of them across the seam of its chainage: equal sigmas of length and of turn."""
    found = plan(stations(HO, oval(HO, ease=0.0), GOOD, np.random.default_rng(1), closed=True))
    assert [e.kind for e in found] == ["arc", "straight"] * 2
    across, other = found[3], found[1]
    assert across.length_sd_mm == pytest.approx(other.length_sd_mm, rel=0.1)  # two alike, one across the seam
    assert across.turned_sd_rad == pytest.approx(other.turned_sd_rad, rel=0.1)
    for e in found:  # 2 mm that no joint is placed better than, at both ends
        assert e.length_sd_mm >= 0.03 * HO.wheelbase


@pytest.mark.parametrize("seed", [1, 5])
def test_a_tilt_hides_no_grade(seed):
    """An unturned run leaves a tilt of a per mille: all gradients shift by it, their sigmas grow, places stay."""
    rng = np.random.default_rng(seed)
    st = stations(HO, random_line(rng, HO), GOOD, rng)
    level, tilt = profile(st), 1e-3
    found = profile(tilted(st, tilt))
    assert [e.kind for e in found] == [e.kind for e in level]
    assert [e.s0_mm for e in found] == pytest.approx([e.s0_mm for e in level], abs=6.0)  # a third of their sd
    assert [e.gradient0 for e in found] == pytest.approx([e.gradient0 + tilt for e in level], abs=1e-4)
    assert [e.gradient_sd for e in found] == pytest.approx([np.hypot(e.gradient_sd, tilt) for e in level], rel=0.02)


def test_transitions_are_continuous():
    rng = np.random.default_rng(8)
    found = plan(stations(HO, random_line(rng, HO), GOOD, rng))
    for a, b in itertools.pairwise(found):
        assert a.s1_mm == b.s0_mm
        if "transition" in (a.kind, b.kind):
            assert a.curvature1_1_mm == pytest.approx(b.curvature0_1_mm, abs=1e-12)


def test_sigmas_hold():
    """Noise at the claimed sigma and nothing else: errors of curvature, joints, lengths and turns are of their sd."""
    ratio_k, ratio_s, ratio_l, ratio_t = [], [], [], []
    noise = Noise("white", 2e-5, 1e-4, 0.01, 0.0)
    for seed in range(8):
        rng = np.random.default_rng(seed)
        truth = random_line(rng, HO)
        for t, f in matched(truth.elements("plan"), plan(stations(HO, truth, noise, rng))):
            if t.kind == "arc":
                ratio_k.append((f.curvature0_1_mm - t.curvature0_1_mm) / f.curvature_sd_1_mm)
            if f.s0_sd_mm > 0:
                ratio_s.append((f.s0_mm - t.s0_mm) / f.s0_sd_mm)
                ratio_l.append((f.length_mm - t.length_mm) / f.length_sd_mm)
            if f.kind != "straight":
                turned = 0.5 * (t.curvature0_1_mm + t.curvature1_1_mm) * t.length_mm
                ratio_t.append((f.turned_rad - turned) / f.turned_sd_rad)
    # honest sigmas have 0.68 inside one and 0.95 inside two; 30 to 110 values each: 0.17 and 0.08 less are two sd
    # of chance for the fewest; more inside one, as a joint has 2 mm for the wagon's play, of which there is none here
    for ratio in (ratio_k, ratio_s, ratio_l, ratio_t):
        off = np.abs(ratio)
        assert len(off) >= 30
        assert 0.51 < np.mean(off < 1) < 0.9
        assert np.mean(off < 2) > 0.87


@pytest.mark.parametrize(
    ("degree", "radius_ft"),
    # radius of an arc that turns by so many degrees on a chord of 100 ft (North American railway practice, R = 50 /
    # sin(D/2)), handbook values
    [(10, 573.686), (20, 287.939), (30, 193.185)],
)
def test_radius_by_degree_of_curve(degree, radius_ft):
    """A curve laid out in H0 by degree of curve: turn per 100 ft chord as surveyed is the degree put in."""
    foot = 304.8 / 87.0
    k = 1.0 / (radius_ft * foot)
    truth = Truth([("straight", 800, 0, 0), ("arc", 900, k, k), ("straight", 800, 0, 0)], [("grade", 2500, 0, 0)])
    found = plan(stations(HO, truth, CLEAN, np.random.default_rng(0)))
    assert [e.kind for e in found] == ["straight", "arc", "straight"]
    half_chord = 50 * foot
    assert 2 * np.degrees(np.arcsin(half_chord * found[1].curvature0_1_mm)) == pytest.approx(degree, rel=0.002)


def test_published_road_alignments():
    """Lines and arcs of the InfraModel sample set (CC BY 4.0), sampled at 0.5 m: all but pieces under two metres."""
    table = Path(__file__).parents[3] / "shared/data/landxml_inframodel/elements.csv"
    if not table.exists():
        pytest.skip("the published alignments are not here")
    with table.open(newline="") as f:
        rows = [r for r in csv.DictReader(f) if r["alignment"] == "M3"]
    pieces = [
        ("straight" if r["type"] == "line" else "arc", 1e3 * float(r["length_m"]), k, k)
        for r in rows
        for k in [float(r["curvature_ccw_per_m"]) / 1e3]
    ]
    car = Size("car", 1500.0, 2700.0, 500.0, 20.0, 20.0)
    truth = Truth(pieces, [("grade", sum(p[1] for p in pieces), 0.0, 0.0)])
    noise = Noise("car", 1e-7, 1e-4, 1.0, 0.0)
    found = plan(stations(car, truth, noise, np.random.default_rng(0)))
    real = [e for e in truth.elements("plan") if e.length_mm > 2000]
    pairs = matched(real, found)
    assert len(pairs) == len(real)
    for t, f in pairs:
        assert f.curvature0_1_mm == pytest.approx(t.curvature0_1_mm, abs=1e-3 * 0.004 / 1e3 + 3 * f.curvature_sd_1_mm)


def test_nothing_known_and_next_to_nothing():
    rng = np.random.default_rng(0)
    st = stations(HO, random_line(rng, HO), GOOD, rng)
    nan = np.full(len(st.s_mm), np.nan)
    no_gyro = replace(st, heading_rad=nan, curvature_1_mm=nan, curvature_sd_1_mm=nan)
    assert {e.plane for e in elements(no_gyro)} == {"profile"}
    no_height = replace(st, z_mm=nan, gradient=nan, gradient_sd=nan)
    assert {e.plane for e in elements(no_height)} == {"plan"}
    for n in (0, 1, 2, 3, 9):
        short = cut(st, n)
        found = elements(short)
        assert len(found) == (0 if n < 2 else 2)
        for e in found:
            assert (e.s0_mm, e.s1_mm) == (short.s_mm[0], short.s_mm[-1])


def cut(st, n):
    """The first n stations."""
    names = (*STATION_COLUMNS, "passes")
    return replace(st, length_mm=float(st.s_mm[n - 1]) if n else 0.0, **{k: getattr(st, k)[:n] for k in names})


def test_missing_stretch_is_bridged():
    truth = Truth(
        [("straight", 1000, 0, 0), ("arc", 1000, 0.002, 0.002), ("straight", 1000, 0, 0)], [("grade", 3000, 0, 0)]
    )
    st = stations(HO, truth, GOOD, np.random.default_rng(3))
    heading = st.heading_rad.copy()
    heading[280:300] = np.nan
    found = plan(replace(st, heading_rad=heading))
    assert [e.kind for e in found] == ["straight", "arc", "straight"]
    assert found[1].curvature0_1_mm == pytest.approx(0.002, rel=0.005)


def test_twelve_thousand_stations():
    """Sixty metres of H0 at 5 mm."""
    rng = np.random.default_rng(4)
    truth = random_line(rng, HO)
    pieces = list(truth.plan)
    while sum(p[1] for p in pieces) < 60000:
        pieces += truth.plan
    long = Truth(pieces, [("grade", sum(p[1] for p in pieces), 0.0, 0.0)])
    st = stations(HO, long, ROUGH, rng)
    found = plan(st)
    assert len(matched(long.elements("plan"), found)) > 0.8 * len(pieces)


def test_values_of_the_truth():
    """The test's own ruler: a ramp from 0 to 2 over 10."""
    assert values([("x", 5, 0, 0), ("y", 10, 0, 2)], np.array([2.0, 10.0, 15.0])).tolist() == [0.0, 1.0, 2.0]

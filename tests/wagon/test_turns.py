"""Turns of thousands of wagons against plain rotation of one; what floors do to them; limits of physics."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from wayrule.model import FloorLayer, Magnets
from wayrule.wagon.fields import field_mt
from wayrule.wagon.plates import passage, sheets_between
from wayrule.wagon.sources import Source, as_drawn, sources_of
from wayrule.wagon.turns import fields_over_turn

PLACE = (0.8, 1.2, 12.5)
KINDS = {
    "disc_pair": Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"),
    "single": Magnets("single", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"),
    "ring": Magnets("ring", diameter_mm=6.0, hole_mm=2.0, thickness_mm=3.0, grade="N42"),
    "block": Magnets(
        "block", length_mm=4, width_mm=2, thickness_mm=1, flat_radius_mm=0.7, grade="N42", magnetisation=(1, 0, 2)
    ),
}
PHI = np.linspace(0.0, 2 * math.pi, 72, endpoint=False)


def drawn_builds(magnets, wagons, seed):
    rng = np.random.default_rng(seed)
    return replace(
        as_drawn(wagons, magnets),
        strength=rng.normal(0, 0.03, (wagons, magnets)),
        turned_rad=rng.normal(0, 0.03, (wagons, magnets)),
        shift_mm=rng.normal(0, 0.05, (wagons, magnets, 3)),
        axle_rad=rng.normal(0, 0.02, (wagons, 2)),
        sensor_mm=rng.normal(0, 0.2, (wagons, 3)),
        sensor_rad=rng.normal(0, 0.03, (wagons, 3)),
    )


def one_by_one(sources, place, build, n, phi):
    """A wagon turned by hand: its magnets as built, the axle tilted and turned, the sensor's axes last."""
    built = []
    for m, source in enumerate(sources):
        about = Rotation.from_euler("y", build.turned_rad[n, m]).as_matrix()
        built.append(
            Source(
                source.shape,
                source.size_mm,
                source.polarisation_mt * (1 + build.strength[n, m]),
                about @ source.place_mm + build.shift_mm[n, m],
                about @ source.rotation,
            )
        )
    tilt = Rotation.from_euler("z", build.axle_rad[n, 1]) * Rotation.from_euler("x", build.axle_rad[n, 0])
    at, seen = np.asarray(place) + build.sensor_mm[n], Rotation.from_rotvec(build.sensor_rad[n].copy())
    fields = []
    for angle in phi:
        turn = tilt * Rotation.from_euler("y", angle)
        fields.append(seen.inv().apply(turn.apply(field_mt(tuple(built), turn.inv().apply(at)))))
    return np.array(fields)


@pytest.mark.parametrize("kind", KINDS)
def test_wagons_with_build_errors_are_the_magnets_turned_by_hand(kind):
    sources = sources_of(KINDS[kind])
    build = drawn_builds(len(sources), 3, 7)
    got = fields_over_turn(sources, PLACE, build=build)
    for n in range(3):
        exact = one_by_one(sources, PLACE, build, n, PHI)
        assert np.max(np.abs(got[n] - exact)) < 1e-6 * np.max(np.abs(exact))  # promised 1e-7, and its like


def test_next_to_the_magnets_every_angle_is_computed_by_itself():
    sources = sources_of(KINDS["disc_pair"])
    near = (0.3, 0.4, 3.2)
    exact = one_by_one(sources, near, as_drawn(1, 2), 0, PHI)
    assert np.max(np.abs(fields_over_turn(sources, near)[0] - exact)) < 1e-9 * np.max(np.abs(exact))


def test_a_disc_behind_a_plate_is_its_series_of_images():
    # exact: behind a plate a body's field is (1 - b2) sum b^2n of its field moved away by 2 n t (method of images)
    sources, mu, t = sources_of(KINDS["disc_pair"]), 30.0, 1.5
    b = (mu - 1) / (mu + 1)
    got = fields_over_turn(
        sources, PLACE, floor=passage([FloorLayer(None, t, 4.0, relative_permeability=mu)], PLACE[2])
    )[0]
    exact = np.zeros_like(got)
    for n in range(400):
        moved = (PLACE[0], PLACE[1], PLACE[2] + 2 * n * t)
        exact += (1 - b * b) * b ** (2 * n) * fields_over_turn(sources, moved, truncated=1e-9)[0]
    assert np.max(np.abs(got - exact)) < 1e-5 * np.max(np.abs(exact))


def test_far_aside_the_copies_are_still_the_series_of_images():
    sources, mu, t, place = sources_of(KINDS["disc_pair"]), 30.0, 1.5, (20.0, 25.0, 12.5)
    b = (mu - 1) / (mu + 1)
    plate = [FloorLayer(None, t, 4.0, relative_permeability=mu)]
    got = fields_over_turn(sources, place, floor=passage(plate, place[2], over_mm=place[:2]))[0]
    exact = np.zeros_like(got)
    for n in range(400):
        moved = (place[0], place[1], place[2] + 2 * n * t)
        exact += (1 - b * b) * b ** (2 * n) * fields_over_turn(sources, moved, truncated=1e-9)[0]
    assert np.max(np.abs(got - exact)) < 1e-4 * np.max(np.abs(exact))


def test_before_a_thick_plate_the_field_is_that_of_magnet_and_image():
    # sensor under a thick soft roof at height h: free field plus the mirrored one, times (mu - 1)/(mu + 1)
    sources, mu, h = sources_of(KINDS["disc_pair"]), 50.0, 16.0
    roof = [FloorLayer(None, 3000.0, h, relative_permeability=mu)]
    got = fields_over_turn(sources, PLACE, floor=passage(roof, PLACE[2]))[0]
    free = fields_over_turn(sources, PLACE)[0]
    image = fields_over_turn(sources, (PLACE[0], PLACE[1], 2 * h - PLACE[2]))[0] * [-1.0, -1.0, 1.0]
    exact = free + (mu - 1) / (mu + 1) * image
    assert np.max(np.abs(got - exact)) < 1e-5 * np.max(np.abs(exact))


def test_between_two_plates_the_field_is_the_double_series_of_images():
    # an upright dipole straight below, Bz = 1 / z3: through the plate, back from the roof, back from the plate's upper
    # face, and so on, every passage and return a series of images of its own
    mu, h, z = 8.0, 16.0, 12.5
    floor = [FloorLayer(None, 1.0, 5.0, relative_permeability=mu), FloorLayer(None, 500.0, h, relative_permeability=mu)]
    copies = passage(floor, z)
    got = float(np.sum(copies.weight[0].real * (copies.side * z + copies.shift_mm) ** -3.0))
    b, t = (mu - 1) / (mu + 1), 1.0
    exact = 0.0
    for n in range(200):
        weight, shift = (1 - b * b) * b ** (2 * n), 2 * n * t
        for times in range(14):
            returned = np.array(_to_and_fro(b, t, h - 6.0, times))
            up, down = z + shift + returned[:, 1], 2 * h - z + shift + returned[:, 1]
            exact += weight * float(np.sum(returned[:, 0] * (up**-3.0 + b * down**-3.0)))
    assert got == pytest.approx(exact, rel=1e-5)


def layered_bz(k, faces, permeabilities, z):
    """Bz at z of a source wave e^{-kz} under layers, by solving for all waves at once: the fields' jumps at every face.

    In region i, Bz = a e^{k(z - z_i)} + b e^{-k(z - z_i)} (z_i: the region's lower face) and Bz'/mu; the first region
    has b = 1 at z = 0, the last a = 0.
    """
    regions = len(permeabilities)
    lower = [0.0, *faces]
    matrix, right = np.zeros((2 * regions, 2 * regions)), np.zeros(2 * regions)
    matrix[0, 1], right[0] = 1.0, 1.0
    matrix[1, 2 * regions - 2] = 1.0
    for i, face in enumerate(faces):
        grow = math.exp(k * (face - lower[i]))
        for row, sign in ((2 + 2 * i, 1.0), (3 + 2 * i, -1.0)):
            slope = 1.0 if sign > 0 else 1 / permeabilities[i]
            matrix[row, 2 * i : 2 * i + 2] = [grow * slope, sign / grow * slope]
            slope = 1.0 if sign > 0 else 1 / permeabilities[i + 1]
            matrix[row, 2 * i + 2 : 2 * i + 4] = [-slope, -sign * slope]
    waves = np.linalg.solve(matrix, right)
    i = sum(face <= z for face in faces)
    return waves[2 * i] * math.exp(k * (z - lower[i])) + waves[2 * i + 1] * math.exp(-k * (z - lower[i]))


def test_an_uneven_stack_below_and_a_roof_above_solved_wave_by_wave():
    z = 12.0
    floor = [
        FloorLayer(None, 1.0, 4.0, relative_permeability=40.0),
        FloorLayer(None, 2.0, 6.0, relative_permeability=3.0),
        FloorLayer(None, 1.5, 15.0, relative_permeability=25.0),
    ]
    copies = passage(floor, z)
    got = float(np.sum(copies.weight[0].real * (copies.side * z + copies.shift_mm) ** -3.0))
    faces, mus = [4.0, 5.0, 6.0, 8.0, 15.0, 16.5], [1.0, 40.0, 1.0, 3.0, 1.0, 25.0, 1.0]
    k = np.linspace(0.0, 3.0, 3001)[1:]
    exact = sum(x * x * layered_bz(x, faces, mus, z) for x in k) * (k[1] - k[0]) / 2
    assert got == pytest.approx(exact, rel=1e-4)


def test_each_harmonic_has_the_factor_of_its_own_frequency():
    floor = [FloorLayer("copper", 2.0, 4.0)]
    slow, fast = passage(floor, 12.5, 50.0), passage(floor, 12.5, 100.0)
    assert slow.weight[2] == pytest.approx(fast.weight[1], rel=1e-9)
    assert slow.weight[4] == pytest.approx(fast.weight[2], rel=1e-9)
    assert slow.weight[0] == pytest.approx([1.0] + [0.0] * 9)  # what does not turn makes no currents


@lru_cache
def _to_and_fro(b, t, gap, times):
    """Weights and shifts after `times` returns: roof b; plate b (1 - e-2kt) / (1 - b2 e-2kt), in powers of e-2kt."""
    series = [(1.0, 0.0)]
    plate = [(b, 0.0)] + [(-b * (1 - b * b) * b ** (2 * (m - 1)), 2 * m * t) for m in range(1, 40)]
    for _ in range(times):
        combined = {}
        for w, s in series:
            for v, u in plate:
                combined[round(s + u + 2 * gap, 6)] = combined.get(round(s + u + 2 * gap, 6), 0.0) + w * v * b
        series = [(w, s) for s, w in combined.items() if abs(w) > 1e-10]
    return series


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(["steel", "tinplate", "transformer steel"]),
    st.floats(0.1, 5.0),
    st.floats(3.0, 6.0),
    st.floats(-4.0, 4.0),
    st.floats(-4.0, 4.0),
    st.sampled_from(sorted(KINDS)),
)
def test_steel_below_the_sensor_always_lowers_the_field(material, t, height, x, y, kind):
    sources = sources_of(KINDS[kind])
    place = (x, y, 12.5)
    free = fields_over_turn(sources, place)[0]
    behind = fields_over_turn(sources, place, floor=passage([FloorLayer(material, t, height)], 12.5))[0]
    assert np.linalg.norm(behind) < np.linalg.norm(free)


def test_brass_aluminium_lead_and_zinc_change_nothing_at_rest():
    floor = [FloorLayer(m, 1.0, 4.0 + 1.1 * i) for i, m in enumerate(["brass", "aluminium", "lead", "zinc", "plastic"])]
    assert passage(floor, 12.5) is None
    # and not because they were left out: beside steel they go through the same sums
    steel = FloorLayer("steel", 0.5, 3.0)
    alone, beside = passage([steel], 12.5), passage([steel, *floor], 12.5)
    assert beside.weight == pytest.approx(alone.weight, abs=1e-7)  # the solve's own digits: its condition is 1e8


def test_taking_the_steel_out_restores_the_field():
    sources = sources_of(KINDS["disc_pair"])
    floor = [FloorLayer("plastic", 1.0, 3.0), FloorLayer("steel", 0.5, 4.0)]
    with_it = fields_over_turn(sources, PLACE, floor=passage(floor, 12.5))
    without = fields_over_turn(sources, PLACE, floor=passage(floor[:1], 12.5))
    assert np.max(np.abs(with_it)) < 0.2 * np.max(np.abs(without))
    assert np.array_equal(without, fields_over_turn(sources, PLACE))


def test_a_floor_at_speed_lags_turning_forwards_and_leads_turning_back():
    sources = sources_of(KINDS["disc_pair"])
    floor = [FloorLayer("aluminium", 2.0, 4.0)]
    still = fields_over_turn(sources, (0.0, 0.0, 12.5))[0]
    for rate in (60.0, -60.0):
        moving = fields_over_turn(sources, (0.0, 0.0, 12.5), floor=passage(floor, 12.5, rate))[0]
        # the up part is cos(phi - lag): its phase is that of the first harmonic
        lag = np.angle(np.fft.rfft(still[:, 2])[1] / np.fft.rfft(moving[:, 2])[1])
        assert np.sign(lag) == np.sign(rate)
        by_hand = 4e-7 * math.pi * 35e6 * 2e-3 * abs(rate) * 12.5e-3 / 4  # thin sheet: mu0 s t w z / 4
        assert abs(lag) == pytest.approx(by_hand, rel=0.03)


@pytest.mark.parametrize(
    ("floor", "words"),
    [
        ([FloorLayer("steel", 1.0, -1.0)], "above the axle's centre, came one from -1 to 0 mm"),
        ([FloorLayer("steel", 1.0, 12.0)], "clear of the sensor at 12.5 mm, came one from 12 to 13 mm"),
        (
            [FloorLayer("steel", 2.0, 4.0), FloorLayer("steel", 1.0, 5.0)],
            "begins at 5 mm below another's upper side at 6 mm",
        ),
        ([FloorLayer("cheese", 2.0, 4.0)], "expected material to be one of air, plastic"),
    ],
)
def test_a_floor_that_cannot_be_is_refused(floor, words):
    with pytest.raises(ValueError, match=words):
        passage(floor, 12.5)


def test_air_between_layers_is_a_sheet_of_its_own():
    sheets = sheets_between([FloorLayer("steel", 1.0, 6.0), FloorLayer("brass", 0.5, 4.0)])
    assert [(s.thickness_mm, s.permeability, s.conductivity_ms_m) for s in sheets] == [
        (0.5, 1.0, 15.5), (1.5, 1.0, 0.0), (1.0, 200.0, 7.0),
    ]  # fmt: skip


def test_a_build_for_other_magnets_is_refused():
    with pytest.raises(ValueError, match="expected errors of 2 magnets, came 1"):
        fields_over_turn(sources_of(KINDS["disc_pair"]), PLACE, build=as_drawn(4, 1))

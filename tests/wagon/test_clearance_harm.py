"""Clearances of the magnets, what they can do, and the cautions of each step."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from tests.wagon.wagons import ALL, HO
from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import Axle, Board, Body, Cell, Clearance, FieldSensor, FloorLayer, Magnets, Part
from wayrule.model.worksheet import DEFER, STEPS
from wayrule.wagon.cautions import at_step, cautions
from wayrule.wagon.clearance import clash_lines, clearances
from wayrule.wagon.harm import harm
from wayrule.wagon.magnets import turn_field

FACTS = Path(__file__).resolve().parents[2].parent / "shared" / "facts"

# (disc diameter, thickness [mm], greatest field 0.38 mm above the pole [T], flux index [kG^2 mm^2], reach of a pair of
# dipoles to 1 and 0.5 mT [cm]) of discs of 1.3 T: computed elsewhere with the uniformly magnetised disc model
DISCS = [
    (2, 1, 0.295, 27, 1.1, 1.4),
    (3, 1, 0.28, 56, 1.4, 1.8),
    (4, 2, 0.376, 178, 2.2, 2.8),
    (8, 3, 0.372, 695, 4.0, 5.0),
]


def pair(diameter, thickness, flat_radius=0.01):
    return Magnets(
        "disc_pair", diameter_mm=diameter, thickness_mm=thickness, flat_radius_mm=flat_radius, remanence_mt=(1200, 1300)
    )


def check_disc(diameter, thickness, field_t, index, one_cm, half_cm):
    got = harm(pair(diameter, thickness))
    assert got.surface_mt / 1000 == pytest.approx(field_t, abs=0.0006)  # printed to 1 mT
    assert got.flux_index == pytest.approx(index, abs=0.6)  # printed whole
    assert got.over_limit == (index >= 50)
    # printed to 1 mm, and the real pair, its discs touching, is no point: under 1 mm at these distances
    assert got.reach_1_mt_mm == pytest.approx(10 * one_cm, abs=1.0)
    assert got.reach_0_5_mt_mm == pytest.approx(10 * half_cm, abs=1.0)


@pytest.mark.parametrize("row", DISCS)
def test_flux_index_and_reach_against_estimates_made_elsewhere(row):
    check_disc(*row)


def test_every_row_of_the_table_of_facts():
    path = FACTS / "magnet_flux_index_estimates.csv"
    if not path.exists():
        pytest.skip("the table of facts is not beside this checkout")
    names = ("disc_diameter_mm", "disc_thickness_mm", "max_axial_field_T", "flux_index_kG2mm2")
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            check_disc(*(float(row[n]) for n in (*names, "pair_distance_to_1_mT_cm", "pair_distance_to_0.5_mT_cm")))


def test_the_reach_is_where_the_turning_field_says():
    magnets = replace(pair(4.0, 1.0, 0.7), remanence_mt=(1300, 1300))
    got = harm(magnets)
    for reach, limit in ((got.reach_1_mt_mm, 1.0), (got.reach_0_5_mt_mm, 0.5)):
        assert turn_field(magnets, (0.0, 0.0, reach)).at([0.0])[0, 2] == pytest.approx(limit, rel=1e-4)


def test_a_ring_is_the_difference_of_discs_and_a_block_has_a_pole():
    ring = harm(Magnets("ring", diameter_mm=6.0, hole_mm=2.0, thickness_mm=3.0, remanence_mt=(1200, 1300)))
    assert ring.pole_mm2 == pytest.approx(3.14159265 / 4 * (36 - 4))
    # far away only the moment counts: V/2pi = r^3 B / Br, so 1 mT lies at (1300 V / 2 pi)^(1/3)
    volume = ring.pole_mm2 * 3.0
    assert ring.reach_1_mt_mm == pytest.approx((1300 * volume / (2 * 3.14159265)) ** (1 / 3), rel=0.02)
    block = harm(Magnets("block", length_mm=5.0, width_mm=4.0, thickness_mm=2.0, remanence_mt=(1200, 1300)))
    assert block.pole_mm2 == 20.0
    weak = harm(Magnets("single", diameter_mm=2.0, thickness_mm=0.05, remanence_mt=(50, 60)))
    assert weak.reach_1_mt_mm == pytest.approx((60 * 0.157 / 6.2832) ** (1 / 3), abs=0.6)


def test_a_magnet_without_size_is_asked_for():
    with pytest.raises(
        UndeterminedError, match=r"magnets: expected magnets.thickness_mm, came nothing; measure a magnet"
    ):
        harm(Magnets("single", diameter_mm=4.0, grade="N42"))


def test_an_unknown_grade_is_answered_with_the_known_ones():
    with pytest.raises(UsageError, match=r"magnets: expected a grade of the table.*came N99; .*one of .*N42"):
        cautions(replace(HO, magnets=replace(HO.magnets, grade="N99")))


def test_cautions_carry_the_wagon_s_own_numbers():
    found = {c.title: c.text for c in cautions(HO)}
    # 4 x 1 discs of N42: 81 kG^2 mm^2 at 1.3 T (estimate made elsewhere), so 81 (1.32/1.30)^2 = 83.5 at its upper end
    assert "about 84 kG²mm²" in found["Swallowed magnets"]
    assert "over the limit of 50" in found["Swallowed magnets"]
    assert "keeps 150 mm (6 in) or more away" in found["Pacemakers and other implants"]
    small = replace(HO, magnets=replace(HO.magnets, diameter_mm=2.0))
    assert "below the limit of 50" in at_step(small, "buy")[0].text
    assert (
        "below the limit is not safe" in at_step(small, "buy")[0].text
        or "does not make it safe" in at_step(small, "buy")[0].text
    )


@pytest.mark.parametrize("wagon", ALL.values(), ids=ALL.keys())
def test_every_step_has_its_cautions_in_the_order_of_the_work(wagon):
    steps = [c.step for c in cautions(wagon)]
    assert steps == sorted(steps, key=list(STEPS).index)
    assert set(steps) == set(STEPS)
    words = " ".join(c.text for c in cautions(wagon)).lower()
    for danger in (
        "implant",
        "swallow",
        "chip",
        "filings",
        "glasses",
        "knife",
        "lead",
        "epoxy",
        "fumes",
        "phones",
        "4.2 v",
    ):
        assert danger in words or danger in " ".join(c.title for c in cautions(wagon)).lower(), danger
    assert "Local codes" in DEFER


def test_lead_and_cells_are_told_as_they_are():
    assert "The ballast is lead" in at_step(replace(HO, body=Body(ballast_material="lead shot")), "open")[-1].text
    assert "may be lead" in at_step(replace(HO, body=Body()), "open")[-1].text
    assert [c.title for c in at_step(HO, "open")] == ["Saw and knife"]
    brick = replace(HO, parts=(Part("lead weight", (5, 5, 5), (0, 0, 20)),))
    assert at_step(brick, "open")[-1].title == "Lead"
    assert at_step(replace(HO, cell=Cell("nimh")), "cell")[0].title == "Shorts and leaks"
    assert "burns through" in at_step(replace(HO, cell=Cell("lithium_coin")), "cell")[0].text
    assert at_step(replace(HO, cell=Cell()), "cell")[0].text.startswith("If it is a lithium cell")


def test_without_sizes_the_worst_is_taken():
    unknown = replace(HO, magnets=Magnets("disc_pair", grade="N42"))
    assert "no flux index can be reckoned: take them to be dangerous" in at_step(unknown, "buy")[0].text
    assert not at_step(replace(HO, magnets=None), "buy")


def test_clearances_by_hand():
    # swing sqrt(1.7^2 + 2^2) = 2.625; 5.25 - 2.625 = 2.625 above rail top; studs at -0.2: 2.825; sleepers: 4.725;
    # brake gear 4.2 - 2.625 = 1.575; floor 3.2 - 0.05 - 2.625 = 0.525; wheels (14.4 - 4) / 2 = 5.2
    got = {gap.what.split(" ")[0]: gap for gap in clearances(HO)}
    expected = {"rail": 2.625, "studs": 2.825, "sleepers": 4.725, "brake": 1.575, "floor": 0.525, "wheels": 5.2}
    assert {key: gap.gap_mm for key, gap in got.items()} == pytest.approx(expected, abs=1e-3)
    assert all(gap.ok for gap in got.values())
    # the caliper's 0.04 mm on the diameter is 0.02 on the radius, with 0.05 of assembly
    assert got["rail"].sd_mm == pytest.approx((0.02**2 + 0.05**2) ** 0.5)
    assert clash_lines(HO) == ()


CLASHES = [
    (
        replace(HO, clearance=Clearance(over_rail_mm=3.0)),
        "rail top: the magnets stay 2.63 ± 0.05 mm above it (3 mm wanted): too near",
    ),
    (
        replace(HO, clearance=Clearance(between_rails_mm=3.1)),
        "studs or rack at 3.1 mm above rail top: the magnets stay -0.47 ± 0.05 mm above them (0.5 mm wanted): they "
        "clash by 0.47 mm",
    ),
    (
        replace(HO, clearance=Clearance(brake_gear_mm=2.0)),
        "brake gear 2 mm from the axle's centre: -0.62 ± 0.05 mm are left (0.25 mm wanted): they clash by 0.62 mm",
    ),
    (
        replace(HO, axle=Axle(), body=Body(spring_mm=0.5)),
        "floor (plastic) 3.2 mm above the axle's centre, 0.5 mm lower when it sinks: 0.08 ± 0.05 mm are left above the "
        "magnets (0.2 mm wanted): too near",
    ),
    (
        replace(HO, axle=Axle(), clearance=Clearance(frame_width_mm=4.2)),
        "wheels or frames 4.2 mm apart: 0.10 ± 0.05 mm are left on either side of the magnets (0.2 mm wanted): too "
        "near",
    ),
    (
        replace(HO, board=Board(), sensor=FieldSensor(place_mm=(0.0, 0.0, 3.9))),
        "sensor: 3.9 mm above the axle's centre it lies inside the plastic layer from 3.2 to 4.4 mm: cut a hole "
        "there, or",
    ),
]


@pytest.mark.parametrize(("wagon", "words"), CLASHES, ids=[words.split(":")[0] for _, words in CLASHES])
def test_each_clash_is_one_line_with_its_numbers(wagon, words):
    (line,) = clash_lines(wagon)
    assert words in line


def test_a_sensor_off_its_board_is_told():
    away = replace(HO, sensor=FieldSensor(place_mm=(-9.0, 1.2, 12.5)))
    assert clash_lines(away) == (
        "sensor: -9 mm forward of the rear axle's middle it lies off its board, which reaches from -7 to 35 mm: "
        "correct sensor.place_mm or board.place_mm",
    )
    high = replace(HO, sensor=FieldSensor(place_mm=(0.8, 1.2, 13.5)))
    assert clash_lines(high) == (
        "sensor: 18.75 mm above rail top by sensor.place_mm, but 17.75 mm by board.place_mm and "
        "board.sensor_height_mm: correct one of them",
    )


def test_a_plate_that_does_not_reach_over_the_axle_is_not_above_it():
    plate = FloorLayer("steel", 0.8, 2.7, length_mm=20.0, width_mm=14.0, centre_mm=(30.0, 0.0))
    assert [gap.what for gap in clearances(replace(HO, floor=(plate,))) if gap.what.startswith("floor")] == []
    over = replace(plate, centre_mm=(9.0, 0.0))
    assert any(gap.what.startswith("floor") for gap in clearances(replace(HO, floor=(over,))))
    beside = replace(HO, floor=(replace(plate, height_mm=12.0),), sensor=FieldSensor(place_mm=(0.8, 1.2, 12.5)))
    assert clash_lines(beside) == ()


def test_no_magnets_no_clearances():
    assert clearances(replace(HO, magnets=None)) == ()
    assert clearances(replace(HO, magnets=Magnets("block"))) == ()

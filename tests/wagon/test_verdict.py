"""The verdict and the changes: words follow the numbers, and every change was really tried."""

from dataclasses import replace

import pytest

from tests.wagon.wagons import ALL, HO
from wayrule.errors import UndeterminedError, UsageError, WayruleError
from wayrule.model import Bench, FieldSensor, FloorLayer, Magnets, Option, Wagon
from wayrule.sim.wagons import HO_COACH, HO_VAN, N_VAN
from wayrule.wagon.budget import budget
from wayrule.wagon.verdict import bench

STEEL = FloorLayer("steel", 0.5, 2.6)
TINY = Magnets("disc_pair", diameter_mm=2.0, thickness_mm=1.0, grade="N45", flat_radius_mm=0.4)


def option(found: Bench, words: str) -> Option:
    return next(one for one in found.options if words in one.change)


@pytest.mark.parametrize("wagon", [*ALL.values(), HO_VAN, HO_COACH], ids=lambda wagon: wagon.name)
def test_usual_wagons_work(wagon: Wagon):
    found = bench(wagon)
    assert found.word == "works"
    assert found.verdict[0].startswith("Works: ")
    assert [one.gain for one in found.options] == sorted((one.gain for one in found.options), reverse=True)
    assert all(one.gain > 1 for one in found.options)


def test_taking_the_plate_out_is_what_the_budget_without_it_says():
    plated = replace(N_VAN, magnets=TINY, floor=(STEEL,))
    found = option(bench(plated), "take the steel 0.5 mm layer out")
    bare = budget(replace(plated, floor=()))
    assert found.distance_mm == pytest.approx(bare.repeats_mm, rel=1e-9)
    assert found.gain == pytest.approx(budget(plated).repeats_mm / bare.repeats_mm, rel=1e-9)


def test_a_small_pair_in_n_reads_through_the_ballast_plate_but_worse():
    # common practice, no source
    ballast = FloorLayer("steel", 0.5, 3.6)
    plated, bare = bench(replace(N_VAN, magnets=TINY, floor=(ballast,))), bench(replace(N_VAN, magnets=TINY))
    assert plated.word != "fails"
    assert plated.budget.repeats_mm > 1.5 * bare.budget.repeats_mm
    assert any("steel in the floor costs" in sentence for sentence in plated.verdict)


def test_off_the_edge_of_a_plate_the_field_comes_back():
    plate = FloorLayer("steel", 1.0, 4.0, length_mm=60.0, width_mm=14.0, centre_mm=(29.0, 0.0))  # begins 1 mm behind
    wagon = replace(HO_VAN, floor=(plate,))
    found = bench(wagon)
    moved = option(found, "move the sensor")
    assert "backward" in moved.change  # 1.8 mm to that edge, 5.8 and 8.2 mm to the sides, 58 mm to the far end
    by = float(moved.change.split()[3])
    there = replace(wagon, sensor=replace(wagon.sensor, place_mm=(0.8 - by, 1.2, 12.5)))
    assert moved.distance_mm == pytest.approx(budget(there).repeats_mm, rel=1e-3)  # the change is told to 0.1 mm
    cut = option(found, "cut the steel 1 mm plate back")
    short = float(cut.change.split("ends ")[1].split()[0])
    piece = replace(plate, length_mm=59.0 - 0.8 - short, centre_mm=((59.0 + 0.8 + short) / 2, 0.0))
    assert cut.distance_mm == pytest.approx(budget(replace(wagon, floor=(piece,))).repeats_mm, rel=1e-9)


def test_a_plate_beside_the_sensor_is_not_said_to_cover_it():
    beside = FloorLayer("steel", 1.0, 4.0, length_mm=60.0, width_mm=14.0, centre_mm=(34.0, 0.0))
    over = replace(beside, centre_mm=(29.0, 0.0))
    told = [" ".join(bench(replace(HO_VAN, floor=(plate,))).verdict) for plate in (beside, over)]
    assert "No plate with ends reaches over the sensor" in told[0]
    assert "Without ends it would leave" in told[1]


def test_a_move_that_loses_more_than_the_plate_costs_is_not_told():
    # 8 mm wide, the axle under its middle: off to its side the sensor is further from the magnets than the plate costs
    narrow = FloorLayer("steel", 1.0, 3.0, length_mm=30.0, width_mm=8.0, centre_mm=(0.0, 0.0))
    wagon = replace(N_VAN, magnets=TINY, floor=(narrow,))
    aside = replace(wagon, sensor=replace(wagon.sensor, place_mm=(0.4, 6.0, 6.5)))
    assert budget(aside).repeats_mm > budget(wagon).repeats_mm
    assert not any("move the sensor" in one.change for one in bench(wagon).options)


def test_the_board_goes_along_with_its_sensor():
    found = [one for one in bench(HO).options if "mm lower" in one.change]
    assert found  # the board's own place and the sensor's would else contradict each other


def test_a_full_sensor_is_told_and_its_cure_tried():
    full = replace(HO_VAN, sensor=replace(HO_VAN.sensor, range_mt=2.0))
    found = bench(full)
    assert found.word == "fails"
    assert any(sentence.startswith("The sensor is full: 2.7") for sentence in found.verdict)


def test_a_field_below_the_noise_fails():
    loud = replace(HO_VAN, sensor=replace(HO_VAN.sensor, noise_mt=0.5, bits=16))
    found = bench(loud)
    assert found.word == "fails"
    assert any(
        sentence.startswith("The field is lost in the noise: 1.3 mT, a reading has 0.5 mT")
        for sentence in found.verdict
    )


def test_a_wheel_that_steel_holds_is_told():
    # 12 mm discs a hair under a steel plate, on an axle that carries 5 g: grip 0.1 x 0.05 N x 5.25 mm = 0.026 N mm
    strong = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.5, grade="N52", flat_radius_mm=0.7)
    light = replace(HO_VAN, magnets=strong, floor=(FloorLayer("steel", 1.0, 3.4),), body=replace(HO.body, mass_g=34.0))
    found = bench(light)
    assert found.word == "fails"
    assert any("The wheel skids: steel holds the magnets with" in sentence for sentence in found.verdict)
    assert bench(replace(light, floor=())).turning[0] == "The wheel turns freely: the floor holds no steel."


def test_what_was_not_stated_is_listed():
    bare = replace(HO_VAN, sensor=FieldSensor(place_mm=(0.0, 0.0, 12.5)))
    told = " ".join(bench(bare).missing)
    for word in ("noise_mt", "range_mt", "rate_hz", "play_mm", "mass_g"):
        assert word in told
    assert not any("mass_g" in line for line in bench(HO).missing)


def test_the_sensor_never_goes_into_the_floor_or_the_magnets():
    for one in bench(replace(HO_VAN, sensor=_low())).options:
        assert "lower" not in one.change


def _low() -> FieldSensor:
    return replace(HO_VAN.sensor, place_mm=(0.0, 0.0, 3.0))


def test_a_sensor_in_its_free_space_stays_there():
    from wayrule.model import FreeSpace

    boxed = replace(HO_VAN, space=FreeSpace((-1.0, -2.0, 12.0), (2.0, 2.0, 13.0)))
    assert not any("mm lower" in one.change for one in bench(boxed).options)
    free = replace(HO_VAN, sensor=replace(HO_VAN.sensor, place_mm=(0.0, 0.0, 14.0)))
    assert any("2 mm lower" in one.change for one in bench(free).options)


@pytest.mark.parametrize(
    ("wagon", "words"),
    [
        (replace(HO_VAN, magnets=None), r"\[magnets\] missing"),
        (replace(HO_VAN, magnets=replace(TINY, grade="N99")), "expected .*grade to be one of"),
        (replace(HO_VAN, floor=(FloorLayer("steel", 1.0, 12.0),)), "clear of the sensor at 12.5 mm"),
        (replace(HO_VAN, floor=(FloorLayer("steel", 1.0, 2.0),)), "beyond 2.62 mm, where the magnets swing, came 2"),
        (replace(HO_VAN, floor=(FloorLayer("unobtainium", 1.0, 4.0),)), "came 'unobtainium'"),
    ],
)
def test_what_cannot_be_is_one_line(wagon: Wagon, words: str):
    with pytest.raises((UsageError, UndeterminedError), match=words) as caught:
        bench(wagon)
    assert isinstance(caught.value, WayruleError)
    assert "\n" not in str(caught.value)

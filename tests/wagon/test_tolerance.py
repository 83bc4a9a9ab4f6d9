"""Wagons with build errors against a loop over wagons, closed forms far away, and what cannot change a distance."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.wagon.wagons import ALL, HO
from wayrule.errors import UndeterminedError, UsageError
from wayrule.maths.turnfit import angle_errors, calibrated, rings_of
from wayrule.model import FieldSensor, FloorLayer, Magnets, Wheel
from wayrule.wagon.plates import passage
from wayrule.wagon.reading import reader_of
from wayrule.wagon.sources import as_drawn, sources_of
from wayrule.wagon.tolerance import study, tolerance_study
from wayrule.wagon.tolerances import USUAL, build_of, columns_of, tolerances_of
from wayrule.wagon.turns import fields_over_turn

DISCS = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
PAIR = sources_of(DISCS)
PLACE = (0.8, 1.2, 12.5)
PHI = np.arange(72) * 2 * np.pi / 72
NONE = {one.name: 0.0 for one in USUAL}


def only(**sizes):
    return tolerances_of(DISCS, NONE | {name.replace("_", "-"): size for name, size in sizes.items()})


def drawn_at(seed, wagons, tolerances, place=PLACE, floor=None):
    return study(PAIR, place, tolerances, np.random.default_rng(seed), wagons=wagons, radius_mm=5.25, floor=floor)


@pytest.mark.parametrize("floor", [None, passage([FloorLayer("steel", 0.5, 3.0)], PLACE[2])])
def test_percentiles_are_those_of_a_loop_over_wagons(floor):
    found = drawn_at(7, 700, tolerances_of(DISCS), floor=floor)
    normal = np.random.default_rng(7).standard_normal((700, 16))
    build = build_of(normal, PAIR, tolerances_of(DISCS))
    drawn = reader_of(fields_over_turn(PAIR, PLACE, floor=floor)[0])
    terms = [np.ones(72)]
    rows = []
    for n in range(700):
        one = replace(build, **{f: getattr(build, f)[n : n + 1] for f in build.__slots__})
        field = fields_over_turn(PAIR, PLACE, build=one, floor=floor)[0]
        before = drawn.error_rad(field, PHI)
        own = reader_of(field).error_rad(field, PHI)
        psi = PHI + own
        terms = np.column_stack([np.ones(72), *(f(k * psi) for k in range(1, 7) for f in (np.cos, np.sin))])
        left = own - terms @ np.linalg.lstsq(terms, own, rcond=None)[0]
        rows.append([5.25 * e.std() for e in (before, own, left)])
    for stage, column, close in zip(found.stages, np.array(rows).T, (1e-4, 1e-4, 0.15), strict=True):
        # harmonics left out of the field, 1e-5 rad, are 0.05 um: as much as a tenth of what calibration leaves
        for percentile in stage.rms_mm:
            assert percentile.value == pytest.approx(np.percentile(column, percentile.percent), rel=close, abs=2e-5)


def far(shift=(0.0, 0.0, 0.0), sensor=(0.0, 0.0, 0.0)):
    """Errors of one wagon far away: before, by its own ellipse, after harmonics."""
    build = replace(
        as_drawn(1, 2),
        shift_mm=np.broadcast_to(np.array(shift), (1, 2, 3)),
        sensor_mm=np.array([sensor]),
    )
    fields = fields_over_turn(PAIR, (0.0, 0.0, 500.0), build=build, truncated=1e-12)
    drawn = rings_of(fields_over_turn(PAIR, (0.0, 0.0, 500.0), truncated=1e-12))
    return (
        angle_errors(fields, drawn.centre, drawn.to_circle)[0],
        *(e[0] for e in calibrated(fields, rings_of(fields))),
    )


# From the field of a dipole, (3 r (r m) - m)/r^3 (any textbook), to first order in the shift over the distance, our
# algebra: the line of sight turns by -3 and -3/2 times its angle on the two axes of the ellipse.


def test_an_eccentric_pair_errs_once_a_turn_and_no_ellipse_takes_that_away():
    before, own, left = far(shift=(0.5, 0.0, 0.0))
    exact = 1e-3 * (21 / 8 * np.cos(PHI) + 3 / 8 * np.cos(3 * PHI))
    assert np.allclose(before, exact, atol=2e-5)
    assert np.allclose(own, exact, atol=2e-5)
    assert left.std() < 1e-8


def test_unequal_flats_err_once_a_turn_a_quarter_on():
    before, own, left = far(shift=(0.0, 0.0, 0.5))
    assert np.allclose(before, 1e-3 * (15 / 8 * np.sin(PHI) + 3 / 8 * np.sin(3 * PHI)), atol=2e-5)
    # its own centre is 3/4 of the shift off the drawing's: taken away, it adds as much to the error
    assert np.allclose(own, 1e-3 * (21 / 8 * np.sin(PHI) + 3 / 8 * np.sin(3 * PHI)), atol=2e-5)
    assert left.std() < 1e-8


def test_a_sensor_off_its_place_errs_twice_a_turn_until_it_is_calibrated():
    before, own, _ = far(sensor=(0.5, 0.0, 0.0))
    assert np.allclose(before - before.mean(), -1e-3 * 3 / 4 * np.cos(2 * PHI), atol=1e-5)
    assert before.mean() == pytest.approx(-1e-3 * 9 / 4, abs=1e-5)  # a constant, which no distance sees
    assert own.std() < 1e-5  # a dipole's would be 0; the discs' own size over the distance, squared, is 3e-5


def test_the_share_of_eccentric_discs_has_its_closed_form():
    # both discs by themselves: their mean counts, so sd / sqrt 2; rms of the two harmonics as above, straight above
    place = (0.0, 0.0, 60.0)
    found = drawn_at(3, 4000, only(eccentric=0.1), place=place)
    exact = 5.25 * 0.1 / math.sqrt(2) / 60.0 * math.sqrt((21**2 + 3**2) / 64 / 2)
    median = exact * 0.6745  # of the absolute value of a normal number; along the axle does nothing here
    rms = found.stages[1].rms_mm[0]
    assert rms.value == pytest.approx(median, abs=4 * rms.sd + 0.02 * median)  # finite size: (reach/d)^2 and like
    shares = found.stages[1].shares  # the rest is the field's own shape, always there
    assert shares.alone["eccentric"] + shares.always == pytest.approx(1.0, abs=0.002)
    assert shares.always < 0.1


def test_the_sensor_turned_or_all_discs_stronger_cost_nothing_once_calibrated():
    tilted = drawn_at(1, 1000, only(sensor_tilt=3.0))
    plain = drawn_at(1, 1000, only())
    assert tilted.stages[0].rms_mm[1].value > 2 * plain.stages[0].rms_mm[1].value  # it did, before
    for k in (1, 2):
        assert tilted.stages[k].rms_mm[2].value == pytest.approx(plain.stages[k].rms_mm[2].value, rel=1e-6)
        assert abs(tilted.stages[k].shares.alone["sensor-tilt"]) < 1e-6
    stronger = replace(as_drawn(2, 2), strength=np.array([[0.0, 0.0], [0.2, 0.2]]))
    fields = fields_over_turn(PAIR, PLACE, build=stronger)
    errors, _ = calibrated(fields, rings_of(fields))
    assert np.allclose(errors[0], errors[1], atol=1e-12)


def test_without_build_errors_all_wagons_are_the_drawing():
    found = drawn_at(1, 1000, only())
    reader = reader_of(fields_over_turn(PAIR, PLACE)[0])
    shape = reader.error_rad(fields_over_turn(PAIR, PLACE)[0], PHI)
    for stage in found.stages[:2]:
        for percentile in stage.rms_mm:
            assert percentile.value == pytest.approx(5.25 * shape.std(), rel=1e-4)
            assert percentile.sd < 1e-12
        assert stage.shares.always == pytest.approx(1.0)
    assert found.signal_mt[0].value == pytest.approx(found.drawn_mt, rel=1e-5)


def test_shares_are_those_of_one_tolerance_at_a_time():
    together = drawn_at(11, 6000, tolerances_of(DISCS))
    normal = np.random.default_rng(12).standard_normal((6000, 16))
    for k in (0, 1):
        whole, alone = None, {}
        for one in (None, *USUAL):
            tolerances = tolerances_of(DISCS) if one is None else only(**{one.name: tolerance_size(one.name)})
            fields = fields_over_turn(PAIR, PLACE, build=build_of(normal, PAIR, tolerances))
            ring = rings_of(fields_over_turn(PAIR, PLACE)) if k == 0 else rings_of(fields)
            e = angle_errors(fields, ring.centre, ring.to_circle)
            e -= e.mean(axis=1, keepdims=True)
            if one is None:
                whole = np.mean(e**2)
            else:
                alone[one.name] = np.sum(e.var(axis=0)) / 72
        for name, variance in alone.items():  # 6000 wagons: variances to 2 %, so shares to 0.02
            assert together.stages[k].shares.alone[name] == pytest.approx(variance / whole, abs=0.02)


def tolerance_size(name):
    return next(one.sd for one in tolerances_of(DISCS) if one.name == name)


def test_twice_as_far_is_half_the_error_far_away():
    one, two = (drawn_at(2, 700, only(eccentric=0.1, depth=0.05), place=(0.0, 0.0, d)) for d in (80.0, 160.0))
    assert one.stages[1].rms_mm[1].value / two.stages[1].rms_mm[1].value == pytest.approx(2.0, rel=0.01)


def test_a_percentile_is_as_sure_as_it_says():
    values = [drawn_at(seed, 700, tolerances_of(DISCS)).stages[1].rms_mm[1] for seed in range(40)]
    scatter = np.std([v.value for v in values], ddof=1)
    assert scatter == pytest.approx(np.mean([v.sd for v in values]), rel=0.35)  # 40 of them: 11 %, three sigma


@pytest.mark.parametrize("scale", ALL)
def test_every_scale_has_its_study(scale):
    wagon = ALL[scale]
    if wagon.magnets is None:
        with pytest.raises(UndeterminedError, match="magnets"):
            tolerance_study(wagon, np.random.default_rng(1), wagons=700)
        return
    found = tolerance_study(wagon, np.random.default_rng(1), wagons=700)
    before, ellipse, after = (stage.rms_mm[1].value for stage in found.stages)
    assert before >= ellipse > after
    assert found.radius_mm == wagon.wheel.diameter_mm / 2


def test_a_seed_is_a_result():
    assert drawn_at(5, 700, tolerances_of(DISCS)) == drawn_at(5, 700, tolerances_of(DISCS))
    assert drawn_at(5, 700, tolerances_of(DISCS)) != drawn_at(6, 700, tolerances_of(DISCS))


def test_the_grade_says_how_far_discs_differ():
    # GUM (JCGM 100:2008, 4.3.7): a rectangular range has its width over sqrt 12; N42 1280 to 1320 mT
    assert tolerances_of(DISCS)[0].sd == pytest.approx(100 * 40 / math.sqrt(12) / 1300)
    exact = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, remanence_mt=(1300, 1300))
    assert tolerances_of(exact)[0].source == "common practice, no source"


def test_discs_along_the_axle_are_a_sensor_the_other_way():
    columns = columns_of(2)
    normal = np.zeros((2, 16))
    normal[0, columns["eccentric"].start + 2 : columns["eccentric"].stop] = 1.0
    normal[1, columns["sensor-place"].start + 1] = -1.0
    fields = fields_over_turn(PAIR, PLACE, build=build_of(normal, PAIR, only(eccentric=0.3, sensor_place=0.3)))
    assert np.allclose(fields[0], fields[1], atol=1e-6)
    assert np.ptp(fields[0] - fields_over_turn(PAIR, PLACE)[0]) > 1e-3


def test_across_is_the_way_that_a_disc_turns():
    columns = columns_of(2)
    normal = np.zeros((1, 16))
    normal[0, columns["eccentric"].start : columns["eccentric"].start + 2] = 1.0
    shift = build_of(normal, PAIR, only(eccentric=0.01)).shift_mm[0]
    for source, moved in zip(PAIR, shift, strict=True):
        turned = Rotation.from_euler("y", 0.01 / 1.2).apply(source.place_mm.copy())  # its middle is 1.2 mm out
        assert np.allclose(moved, turned - source.place_mm, atol=1e-4)


def test_a_ring_on_the_axle_is_off_in_all_directions():
    ring = sources_of(Magnets("ring", diameter_mm=6.0, hole_mm=2.0, thickness_mm=3.0, grade="N42"))
    build = build_of(np.eye(11), ring, USUAL)
    assert columns_of(1)["sensor-tilt"] == slice(8, 11)
    assert build.shift_mm[2, 0].tolist() == [0.0, 0.0, 0.05]
    assert build.shift_mm[3, 0].tolist() == [0.1, 0.0, 0.0]


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        (
            {"deepness": 0.1},
            "a tolerance named remanence, opposite, depth, eccentric, .* came 'deepness'",
        ),
        ({"depth": -0.1}, "an sd of depth from 0 to 10 mm, came -0.1"),
        ({"remanence": 1300.0}, "an sd of remanence from 0 to 30 %, came 1300"),
        ({"opposite": math.nan}, "an sd of opposite from 0 to 20 °, came nan"),
    ],
)
def test_tolerances_that_cannot_be_are_refused(stated, words):
    with pytest.raises(UsageError, match=words):
        tolerances_of(DISCS, stated)


@pytest.mark.parametrize("wagons", [10, 1_000_000])
def test_too_few_or_too_many_wagons_are_refused(wagons):
    with pytest.raises(UsageError, match=f"from 612 to 200000 wagons .* came {wagons}"):
        drawn_at(1, wagons, tolerances_of(DISCS))


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"magnets": None}, UndeterminedError, r"came \[magnets\] missing"),
        (
            {"sensor": FieldSensor(), "wheel": Wheel()},
            UndeterminedError,
            "sensor.place_mm and wheel.diameter_mm missing",
        ),
        ({"magnets": replace(DISCS, grade="N99")}, UsageError, "expected grade to be one of N35.*came 'N99'"),
        ({"magnets": replace(DISCS, thickness_mm=None)}, UsageError, "one of them missing: thickness_mm"),
        ({"floor": (FloorLayer("steel", 5.0, 10.0),)}, UsageError, "clear of the sensor at 12.5 mm, came one from 10"),
    ],
)
def test_what_the_file_does_not_say_is_told_in_one_line(change, error, words):
    with pytest.raises(error, match=words) as told:
        tolerance_study(replace(HO, **change), np.random.default_rng(1))
    assert "\n" not in str(told.value)

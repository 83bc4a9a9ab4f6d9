"""Filing jig and sensor spacer: closed solids (by a mesh library of others), and sizes that do what they are for."""

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.wagon.wagons import HO, G, N
from wayrule.errors import UsageError
from wayrule.formats.wagonfile import read_wagon
from wayrule.model import Axle, Board, FieldSensor, Magnets
from wayrule.report.solids import stl_bytes, threemf_bytes
from wayrule.wagon.jig import BACK_TO_BACK, GRIP_MM, Fit, Jig, filing_jig
from wayrule.wagon.shapes import Shape, box, cylinder_along_y, on_the_bed, shape_of
from wayrule.wagon.spacer import sensor_spacer

SCALES = {"HO": HO, "N": N, "G": G}


def mesh(solid) -> trimesh.Trimesh:
    return trimesh.Trimesh(solid.vertices_mm, solid.triangles)


def assert_closed(solid):
    """What a printer's program needs: closed, all faces outwards, one piece, some material, on the bed."""
    got = mesh(solid)
    assert got.is_watertight
    assert got.is_winding_consistent
    assert got.is_volume
    assert got.body_count == 1
    assert got.volume > 0
    assert got.bounds[0, 2] == pytest.approx(0.0, abs=1e-9)


def in_the_vice(jig: Jig) -> tuple[Shape, Shape]:
    """The two halves as they close on the axle: x across the vice, y along the axle, z up."""
    up = shape_of(jig.solid).rotate((0, 0, -90)).rotate((0, -90, 0))  # undo how it lies on the bed
    x0, _, _, x1, _, _ = up.bounding_box()
    assert min(abs(x0), abs(x1)) < 1e-9
    one = up.translate((jig.half_mm - max(x0, x1), 0, 0))
    return one, one.rotate((0, 180, 0))


@pytest.mark.parametrize("scale", SCALES)
def test_the_halves_close_on_the_axle_and_on_nothing_else(scale):
    wagon = SCALES[scale]
    jig = filing_jig(wagon)
    one, other = in_the_vice(jig)
    radius = jig.flat.diameter_mm / 2
    assert (one ^ other).volume() == pytest.approx(0.0, abs=1e-6)
    # the Vs touch the axle: nothing in a bar 0.01 mm thinner, something in one 0.02 mm thicker
    long = (-jig.width_mm, jig.width_mm)
    assert ((one + other) ^ cylinder_along_y(radius - 0.01, *long)).volume() == pytest.approx(0.0, abs=1e-9)
    assert (one ^ cylinder_along_y(radius + 0.02, *long)).volume() > 0
    # between the halves a gap stays, so that the vice presses the axle
    assert one.min_gap(other, 5.0) <= GRIP_MM + 1e-6
    slabs = box((-GRIP_MM / 2 + 1e-3, -9, -0.2), (GRIP_MM / 2 - 1e-3, 9, 0.2))
    assert ((one + other) ^ slabs).volume() == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("scale", SCALES)
def test_a_file_in_either_slot_cuts_exactly_the_flat(scale):
    wagon = SCALES[scale]
    jig = filing_jig(wagon)
    both = in_the_vice(jig)[0] + in_the_vice(jig)[1]
    f, slot = jig.flat.flat_radius_mm, jig.slot_mm
    for side in (1.0, -1.0):
        # a flat file of the widest width passes the whole slot on the floor and meets no plastic
        low, high = sorted((side * (f + 1e-6), side * (f + 20.0)))
        file = box((-40, -jig.file_mm / 2, low), (40, jig.file_mm / 2, high))
        assert (both ^ file).volume() == pytest.approx(0.0, abs=1e-6)
        # 0.01 mm deeper the floor is in its way, over the whole slot but for the axle's own groove
        low, high = sorted((side * (f - 0.01), side * f))
        deeper = box((-jig.half_mm, -slot / 2, low), (jig.half_mm, slot / 2, high))
        touched = (both ^ deeper).volume() / deeper.volume()
        assert touched > 0.6
    left = cylinder_along_y(f * 0 + jig.flat.diameter_mm / 2, -slot / 2, slot / 2, 720)
    filed = left ^ box((-9, -99, -f), (9, 99, f))
    low, high = filed.bounding_box()[2], filed.bounding_box()[5]
    assert high - low == pytest.approx(jig.flat.across_mm, abs=1e-6)


@pytest.mark.parametrize("scale", SCALES)
def test_the_wheels_may_stay_on(scale):
    wagon = SCALES[scale]
    jig = filing_jig(wagon)
    both = in_the_vice(jig)[0] + in_the_vice(jig)[1]
    # NEM 310: least distance between the backs, and a flange up to 1.2 mm (2.2 at 45 mm) beyond the tread
    half = BACK_TO_BACK[wagon.gauge_mm] / 2
    flange = wagon.wheel.diameter_mm / 2 + (2.2 if wagon.gauge_mm == 45 else 1.2)
    for side in (cylinder_along_y(flange, half, half + 6), cylinder_along_y(flange, -half - 6, -half)):
        assert (both ^ side).volume() == pytest.approx(0.0, abs=1e-9)
    assert flange < jig.half_mm  # the vice's jaws, wider than the jig, pass the wheels
    assert jig.slot_mm >= wagon.magnets.diameter_mm + 0.3  # the disc lies within its flat


def test_printer_and_tools_change_the_jig():
    plain = filing_jig(HO)
    assert filing_jig(HO, Fit(trim_mm=0.05)).floor_mm == pytest.approx(plain.floor_mm - 0.05)
    guided = filing_jig(HO, Fit(guide_mm=0.3))
    assert guided.floor_mm == pytest.approx(0.4)
    assert "Glue a steel strip of 0.3 mm" in guided.steps[1]
    off = filing_jig(HO, Fit(wheels_on=False))
    assert (off.width_mm, off.half_mm) == (22.5, 10.0)
    assert shape_of(filing_jig(HO, Fit(clearance_mm=0.3)).solid).volume() < shape_of(plain.solid).volume()
    # a block is as wide along the axle as its width; a wagon file may state the room between wheels
    narrow = replace(HO, clearance=replace(HO.clearance, frame_width_mm=10.0))
    assert filing_jig(narrow).width_mm == pytest.approx(9.4)


def test_the_words_carry_the_sizes():
    words = " ".join(filing_jig(HO).steps)
    # 2 sqrt(1 - 0.49) = 1.428 wide, 1.40 across, 0.30 deep
    for size in (
        "1.43 mm wide",
        "1.40 mm across the flats",
        "0.30 mm less",
        "up to 6.2 mm wide",
        "Flats are 6.5 mm long",
    ):
        assert size in words


def test_the_example_s_wagon_file_says_enough():
    path = Path(__file__).resolve().parents[2] / "examples" / "van7.wagon.toml"
    van = read_wagon(path.read_bytes())
    assert replace(van, sha256="", space=None, disturbers=()) == HO
    assert van.space is not None
    assert [item.kind for item in van.disturbers] == ["motor"]


REFUSED = [
    (replace(HO, axle=Axle()), Fit(), "filing jig: expected axle.diameter_mm, and magnets with a size"),
    (replace(HO, magnets=None), Fit(), "came one of them missing, or a ring, which needs no flat"),
    (HO, Fit(clearance_mm=2.0), "expected clearance_mm from 0 to 0.6 mm, came 2; usual printers need"),
    (HO, Fit(trim_mm=0.5), "expected trim_mm from -0.3 to 0.3 mm, came 0.5"),
    (HO, Fit(guide_mm=0.6), "came 0.10 mm (flat_radius_mm 0.7 less trim 0 and guide 0.6); thinner guides"),
    (
        replace(N, magnets=replace(N.magnets, diameter_mm=4.0)),
        Fit(),
        "expected room for 7.4 mm of jig between the wheels, came 6.8 mm (7.4 mm between their backs); pull one "
        "wheel off",
    ),
    (replace(HO, axle=Axle(1.2)), Fit(), "expected a flat between the centre and the outside of the axle, 0 to 0.6 mm"),
]


@pytest.mark.parametrize(("wagon", "fit", "words"), REFUSED)
def test_a_jig_that_cannot_be_is_refused_with_its_numbers(wagon, fit, words):
    with pytest.raises(UsageError) as caught:
        filing_jig(wagon, fit)
    assert words in str(caught.value)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.8, 8.0),
    st.floats(0.35, 0.97),
    st.floats(1.0, 12.0),
    st.floats(0, 0.4),
    st.floats(1.5, 9.0),
    st.booleans(),
)
def test_any_jig_is_closed(diameter, share, disc, clearance, file_mm, wheels_on):
    radius = max(0.25, share * diameter / 2)
    magnets = Magnets("disc_pair", diameter_mm=disc, thickness_mm=1.0, flat_radius_mm=radius, grade="N42")
    wagon = replace(G, axle=Axle(diameter), magnets=magnets)
    assert_closed(filing_jig(wagon, Fit(clearance, 0.0, file_mm, 0.0, wheels_on)).solid)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(8, 80), st.floats(6, 40), st.floats(0.45, 30), st.floats(0, 0.5), st.floats(-50, 50), st.floats(-12, 12)
)
def test_any_spacer_is_closed_and_as_high_as_it_should_be(length, width, height, clearance, forward, left):
    board = Board((length, width, 4.0), (forward, left, 40.0), 1.0)
    wagon = replace(G, board=board, sensor=FieldSensor(place_mm=(0.0, 0.0, 17.0 + height + 1.0)))
    got = sensor_spacer(wagon, clearance)
    assert got.height_mm == pytest.approx(height, abs=1e-9)
    assert_closed(got.solid)


@pytest.mark.parametrize("scale", SCALES)
def test_the_board_rests_at_the_stated_height(scale):
    wagon = SCALES[scale]
    got = sensor_spacer(wagon, 0.2)
    frame = shape_of(got.solid)
    length, width, _ = wagon.board.size_mm
    board = box((-length / 2, -width / 2, got.height_mm), (length / 2, width / 2, got.height_mm + 3))
    assert (frame ^ board).volume() == pytest.approx(0.0, abs=1e-6)  # it drops in
    assert (frame ^ board.translate((0, 0, -0.05))).volume() > 0  # and no deeper
    assert (frame ^ board.translate((0.3, 0, 0))).volume() > 0  # and stays there
    # floor's top + spacer + the sensor's height on its board is where the file puts the sensor
    top = max(layer.height_mm + layer.thickness_mm for layer in wagon.floor)
    assert top + got.height_mm + wagon.board.sensor_height_mm == pytest.approx(wagon.sensor.place_mm[2])


SPACERS = [
    (
        replace(HO, board=Board()),
        0.2,
        "sensor spacer: expected the board's size, the sensor's place and height on it, and",
    ),
    (replace(HO, floor=()), 0.2, "came nothing for a [[floor]]; measure them"),
    (HO, 2.0, "expected a clearance from 0 to 1 mm round the board, came 2"),
    (
        replace(HO, sensor=FieldSensor(place_mm=(0.8, 1.2, 6.5))),
        0.2,
        "expected the board's underside at least 0.4 mm above the floor's top at 5.2 mm, came 5.15 mm (the "
        "sensor's 6.5 mm less its height on the board); raise sensor.place_mm by 0.45 mm",
    ),
]


@pytest.mark.parametrize(("wagon", "clearance", "words"), SPACERS)
def test_a_spacer_that_cannot_be_is_refused_with_its_numbers(wagon, clearance, words):
    with pytest.raises(UsageError) as caught:
        sensor_spacer(wagon, clearance)
    assert words in str(caught.value)


def test_stl_is_read_back_by_another_library():
    solid = filing_jig(HO).solid
    got = trimesh.load(io.BytesIO(stl_bytes(solid)), file_type="stl")
    assert got.is_watertight
    assert got.volume == pytest.approx(mesh(solid).volume, rel=1e-5)  # corners are 4-byte floats
    assert got.extents == pytest.approx(solid.size_mm, abs=1e-5)
    facing = np.einsum("ij,ij->i", got.face_normals, np.frombuffer(stl_bytes(solid)[84:], _rows())["normal"])
    assert facing.min() > 0.999


def _rows():
    return np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def test_3mf_is_read_back_by_another_library():
    solids = (filing_jig(HO).solid, sensor_spacer(HO).solid)
    scene = trimesh.load(io.BytesIO(threemf_bytes(*solids)), file_type="3mf")
    assert scene.units in ("mm", "millimeter")
    bodies = scene.dump()
    assert len(bodies) == 2
    for body, solid in zip(sorted(bodies, key=lambda b: b.extents[0]), solids, strict=True):
        assert body.is_watertight
        assert body.extents == pytest.approx(solid.size_mm, abs=1e-5)
        assert body.volume == pytest.approx(mesh(solid).volume, rel=1e-5)
    low, high = (body.bounds for body in sorted(bodies, key=lambda b: b.bounds[0, 0]))
    assert low[1, 0] < high[0, 0]  # side by side on the bed
    assert threemf_bytes(*solids) == threemf_bytes(*solids)


def test_3mf_is_valid_to_the_consortium_s_own_library():
    lib3mf = pytest.importorskip("lib3mf", reason="no wheel of it for this machine")
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(threemf_bytes(filing_jig(HO).solid, sensor_spacer(HO).solid))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    objects = model.GetMeshObjects()
    names = []
    while objects.MoveNext():
        found = objects.GetCurrentMeshObject()
        assert found.IsManifoldAndOriented()
        names.append(found.GetName())
    assert names == ["filing jig, one of two halves", "sensor spacer"]


def test_an_empty_shape_is_a_defect():
    with pytest.raises(ValueError, match="nothing: expected a closed solid"):
        on_the_bed(box((0, 0, 0), (1, 1, 1)) - box((-1, -1, -1), (2, 2, 2)), "nothing")


def test_a_bar_by_its_textbook_volume():
    # 720 corners: area short by (2 pi / 720)^2 / 6
    assert cylinder_along_y(2.0, -1, 4, 720).volume() == pytest.approx(math.pi * 4 * 5, rel=2e-5)

"""LandXML written and read: round trips, an independent reader, published alignments recomputed, refusals."""

import csv
import math
import re
from pathlib import Path

import numpy as np
import pytest
from lxml import etree
from scipy.integrate import quad

from tests.report.sample import survey
from wayrule.errors import WayruleError
from wayrule.formats.landxml import write_landxml
from wayrule.formats.landxmlreader import SCHEMA, read_landxml, unfit
from wayrule.model import Alignment, surveyed_of
from wayrule.track.alignment import alignment_of, heights, piece_from, places

SAMPLES = Path(__file__).parents[2] / ".." / "shared" / "data" / "landxml_inframodel"
WITHIN_M = 1e-4

# One of three road alignments of the buildingSMART Finland InfraModel sample set M3_Road (commit
# eb2720b8b909d44f18ee4f84acfb113322405a87, CC BY 4.0): its numbers, written out anew. Directions count
# counter-clockwise from north there, and the profile ends 2.13 mm from the plan's end.
Y10 = """<?xml version="1.0"?>
<LandXML xmlns="http://www.inframodel.fi/inframodel" version="1.2" date="2020-09-11" time="19:05:07">
<Units><Metric linearUnit="meter" areaUnit="squareMeter" volumeUnit="cubicMeter" temperatureUnit="celsius"
 pressureUnit="HPA" angularUnit="grads" directionUnit="grads"/></Units>
<Alignments><Alignment name="Y10" length="37.339894" staStart="0.0"><CoordGeom>
<Line length="12.054697" staStart="0" dir="27.869549"><Start>6783004.396000 21530669.455100</Start>
<End>6783015.313910 21530664.344821</End></Line>
<Curve length="17.729458" radius="25.0" rot="ccw" dirStart="27.869549" dirEnd="73.017244">
<Start>6783015.313910 21530664.344821</Start><Center>6783004.715803 21530641.702381</Center>
<End>6783027.503670 21530651.984067</End></Curve>
<Line length="7.555739" dir="73.017244"><Start>6783027.503670 21530651.984067</Start>
<End>6783030.611100 21530645.096900</End></Line></CoordGeom>
<Profile><ProfAlign name="Y10"><PVI>0.000000 17.695830</PVI>
<CircCurve length="6.499997" radius="100.0">7.247876 17.478129</CircCurve>
<CircCurve length="11.383712" radius="-750.0">23.389279 18.042864</CircCurve>
<PVI>37.337764 18.318999</PVI></ProfAlign></Profile></Alignment></Alignments></LandXML>"""


def line() -> Alignment:
    return alignment_of(surveyed_of(survey(), "Vale loop"))


def written(alignment: Alignment) -> bytes:
    cant = [(100.0, 0.8), (200.0, -0.4)]
    return write_landxml(alignment, date="2026-08-01", time="14:05:00", version="0", gauge_mm=16.5, cant=cant)


def test_a_line_comes_back_within_a_tenth_of_a_millimetre_of_a_metre() -> None:
    there = line()
    back = read_landxml(written(there), "line.xml")
    [note] = back.notes  # the sample lists a kink that its places do not have; what is left of it is told
    assert re.fullmatch(r"Pieces 2 and 3 meet at [+-]0\.01\d\d deg\.", note)
    s = np.linspace(there.s0_mm, there.s0_mm + there.length_mm, 2001)
    for one, two in zip(places(there, s)[:2], places(back, s)[:2], strict=True):
        assert np.max(np.abs(one - two)) / 1000 < WITHIN_M
    for one, two in zip(heights(there, s), heights(back, s), strict=True):
        assert np.nanmax(np.abs(one - two)) / 1000 < WITHIN_M
    assert len(back.plan) == len(there.plan)


def test_another_reader_finds_the_same_line() -> None:
    """Parsed by lxml; each piece by quadrature from its start, `dirStart` and radii, clockwise from north."""
    there = line()
    root = etree.fromstring(written(there))
    space = {"x": SCHEMA}
    found = root.xpath("//x:CoordGeom/*", namespaces=space)
    assert {etree.QName(e).localname for e in found} == {"Line", "Curve", "Spiral"}
    for element, piece in zip(found, there.plan, strict=True):
        kind = etree.QName(element).localname
        east, north = (float(v) for v in reversed(element.find(f"{{{SCHEMA}}}Start").text.split()))
        azimuth = float(element.get("dir") or element.get("dirStart"))
        length = float(element.get("length"))
        side = -1.0 if element.get("rot") == "cw" else 1.0
        radius = {"Line": ("INF", "INF"), "Curve": (element.get("radius"),) * 2}.get(
            kind, (element.get("radiusStart"), element.get("radiusEnd"))
        )
        k0, k1 = (0.0 if r == "INF" else side / float(r) for r in radius)

        def bearing(u: float, k0: float = k0, k1: float = k1, a: float = azimuth, n: float = length) -> float:
            return a - k0 * u - (k1 - k0) * u * u / (2 * n)

        x = east + quad(lambda u, b=bearing: math.sin(b(u)), 0, length, epsabs=1e-12)[0]
        y = north + quad(lambda u, b=bearing: math.cos(b(u)), 0, length, epsabs=1e-12)[0]
        assert math.hypot(x - piece.x1_mm / 1000, y - piece.y1_mm / 1000) < WITHIN_M
    [element] = root.xpath("//x:Cant", namespaces=space)
    assert [e.get("curvature") for e in element] == ["cw", "ccw"]
    assert [e.get("appliedCant") for e in element] == ["0.800", "0.400"]


def test_a_published_alignment_is_recomputed_and_its_flaw_reported() -> None:
    alignment = read_landxml(Y10.encode(), "Y10")
    assert [p.kind for p in alignment.plan] == ["straight", "arc", "straight"]
    recomputed(alignment)
    [note] = alignment.notes
    assert "ends -2.130 mm from its end" in note
    # vertical curves are circles there: length = radius x change of the slope's angle
    curves = [p for p in alignment.profile if p.gradient0 != p.gradient1]
    for piece, radius in zip(curves, (100_000.0, -750_000.0), strict=True):
        length = radius * (math.atan(piece.gradient1) - math.atan(piece.gradient0))
        assert length == pytest.approx(piece.s1_mm - piece.s0_mm, abs=0.01)  # 10 um, of files in micrometres


def recomputed(alignment: Alignment) -> None:
    """Every piece from its start, by its own curvature and length, ends within 1 mm of its stated end."""
    for p in alignment.plan:
        again = piece_from(p.x0_mm, p.y0_mm, p.heading0_rad, p.curvature0_1_mm, p.curvature1_1_mm, p.length_mm)
        assert math.hypot(again.x1_mm - p.x1_mm, again.y1_mm - p.y1_mm) < 1.0
        assert abs(math.remainder(again.heading1_rad - p.heading1_rad, 2 * math.pi)) < 1e-6


@pytest.mark.skipif(not SAMPLES.exists(), reason="the published samples are not at hand")
@pytest.mark.parametrize(
    ("name", "length_m", "flaw"),
    [  # the folder's README: length; declared less sum, and the profile's range
        ("M3", 1266.246238, "-0.0010 mm"),
        ("Y10", 37.339894, "-2.130 mm"),
        ("Y11", 48.601865, "+17.951 mm"),
    ],
)
def test_published_samples_are_recomputed_within_a_millimetre(name: str, length_m: float, flaw: str) -> None:
    alignment = read_landxml((SAMPLES / f"{name}_RS-CL.tg.xml").read_bytes(), name)
    recomputed(alignment)
    assert alignment.length_mm / 1000 == pytest.approx(length_m, abs=2e-6)
    assert flaw in " ".join(alignment.notes)
    with (SAMPLES / "elements.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["alignment"] == name]
    x, y = (float(rows[0][key]) * 1000 for key in ("start_east_m", "start_north_m"))
    h = float(rows[0]["start_heading_ccw_from_east_rad"])
    for piece, row in zip(alignment.plan, rows, strict=True):  # dead reckoning from the first start alone
        k, length = float(row["curvature_ccw_per_m"]) / 1000, piece.length_mm
        assert piece.curvature0_1_mm == pytest.approx(k, abs=1e-12)
        end = piece_from(x, y, h, k, k, length)
        x, y, h = end.x1_mm, end.y1_mm, end.heading1_rad
        assert math.hypot(x - 1000 * float(row["end_east_m"]), y - 1000 * float(row["end_north_m"])) < 1.0


def test_what_does_not_fit_is_a_sentence_each() -> None:
    one = piece_from(0.0, 0.0, 0.0, 0.0, 0.0, 100.0)
    two = piece_from(100.5, 0.0, 0.01, 0.0, 0.0, 100.0)
    notes = unfit(Alignment("line", 0.0, (one, two), (), 201.0))
    assert len(notes) == 3
    assert "Declared length 0.201000 m, its elements sum to 0.200000 m: -1.0000 mm." in notes
    assert "Pieces 1 and 2 are 0.500 mm apart." in notes
    assert any("meet at +0.573 deg" in note.replace("0.5730", "0.573") for note in notes)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('<?xml version="1.0"?>', "<!DOCTYPE a>", "one with a document type"),
        ("</LandXML>", "", "expected XML"),
        ("LandXML", "RoadXML", "came <RoadXML>"),
        ('linearUnit="meter"', 'linearUnit="cubit"', "came 'cubit'"),
        ("Metric", "Metres", "expected Units"),
        ('length="12.054697"', 'length="long"', "expected a number length, came 'long'"),
        ("6783004.396000 21530669.455100", "6783004.396000", 'Start as "north east"'),
        ("<Alignment name", "<Aligned name", "expected"),
        ("7.247876 17.478129", "7.247876", "a point of the profile"),
        ("CoordGeom", "OtherGeom", "lines, curves and spirals"),
    ],
)
def test_what_cannot_be_read_is_one_line(old: str, new: str, said: str) -> None:
    text = Y10.replace(old, new)
    with pytest.raises(WayruleError) as caught:
        read_landxml(text.encode(), "Y10")
    assert said in str(caught.value)


def test_one_of_several_alignments_is_named() -> None:
    with pytest.raises(WayruleError, match="the file has 'Y10'"):
        read_landxml(Y10.encode(), "file.xml", which="Y11")


def test_a_kink_that_the_survey_found_stays_one_and_bends_nothing_else() -> None:
    """A planted step of 2 deg: drawn as such, and the arcs keep their radius."""
    from dataclasses import replace

    from wayrule.model import Fault

    one = survey()
    st = one.stations
    step = math.radians(2.0)
    after = st.s_mm > 1500.0
    place = st.x_mm + 1j * st.y_mm
    at = complex(np.interp(1500.0, st.s_mm, st.x_mm), np.interp(1500.0, st.s_mm, st.y_mm))
    bent = np.where(after, at + (place - at) * np.exp(1j * step), place)
    line = replace(
        st, x_mm=bent.real, y_mm=bent.imag, heading_rad=st.heading_rad + step * after, closed=False,
        length_mm=float(st.s_mm[-1]),
    )  # fmt: skip
    pieces = tuple(e for e in one.elements if e.plane == "plan" and e.s1_mm <= st.s_mm[-1])
    kinked = replace(one, stations=line, elements=pieces, faults=(Fault("kink", 1500.0, 1.9, "deg", 0.2),))
    drawn = alignment_of(surveyed_of(kinked, "kinked"))
    notes = read_landxml(written(drawn), "line.xml").notes
    [note] = [note for note in notes if "meet at" in note]
    assert note.startswith("Pieces 1 and 2 meet at")
    assert float(note.split()[-2]) == pytest.approx(2.0, abs=0.002)  # the sample's noise-free places, within 0.3 mm
    x, y, _ = places(drawn, st.s_mm[: 9 * len(st.s_mm) // 10])
    assert np.max(np.hypot(x - bent.real[: len(x)], y - bent.imag[: len(y)])) < 0.3  # the sample's own integration

"""The sheet to work from is 1:1: lengths and places are read back from the files' own coordinates."""

import io
import math
import re
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pypdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from tests.wagon.wagons import ALL, G_LONG, HO
from wayrule.errors import UsageError
from wayrule.model import Axle, Magnets, Part, Wheel
from wayrule.report.worksheet import worksheet_pages, worksheet_pdf, worksheet_svg
from wayrule.sim.wagons import HO_COACH
from wayrule.wagon.worksheet import worksheet

WAGONS = {**ALL, "bare coach": HO_COACH}
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ASME Y14.1
CASES = [(wagon, paper) for wagon in WAGONS for paper in PAPERS]
FINE_MM = 0.002  # files round coordinates to six decimals of a point; a printer's step is 0.02 mm
SVG = "{http://www.w3.org/2000/svg}"


@cache
def sheets(wagon: str):
    return worksheet(WAGONS[wagon])


@cache
def pdf_file(wagon: str, paper: str) -> bytes:
    return worksheet_pdf(sheets(wagon), paper)


def pdf(wagon: str, paper: str) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf_file(wagon, paper)))


@cache
def svg(wagon: str, paper: str) -> tuple[dict[str, tuple[float, float, float, float]], ...]:
    return tuple(boxes_mm(text) for text in worksheet_svg(sheets(wagon), paper))


def mm(text: str) -> float:
    assert text.endswith("mm")
    return float(text[:-2])


def boxes_mm(text: str) -> dict[str, tuple[float, float, float, float]]:
    """Group id -> box of its paths in mm of paper: left, low, right, high; origin lower left."""
    root = ElementTree.fromstring(text)
    x0, y0, wide, tall = (float(v) for v in root.attrib["viewBox"].split())
    width, height = mm(root.attrib["width"]), mm(root.attrib["height"])
    assert (x0, y0) == (0, 0)
    assert width / wide == pytest.approx(height / tall, rel=1e-6)  # one scale both ways
    found = {"page": (0.0, 0.0, width, height)}
    for group in root.iter(f"{SVG}g"):
        paths = [p.attrib["d"] for p in group.iter(f"{SVG}path") if "id" in group.attrib]
        points = [point for d in paths for point in on_path(d)]
        if points:
            xs = [x * width / wide for x, _ in points]
            ys = [height - y * height / tall for _, y in points]
            found[group.attrib["id"]] = (min(xs), min(ys), max(xs), max(ys))
    return found


def on_path(d: str) -> list[tuple[float, float]]:
    """End points of a path's parts (a circle of eight arcs has them at its outermost places)."""
    numbers = re.findall(r"([MLCQ])([^MLCQZz]*)", d)
    return [(float(v.split()[-2]), float(v.split()[-1])) for _, v in numbers if v.strip()]


def size(box):
    return box[2] - box[0], box[3] - box[1]


def middle(box):
    return (box[0] + box[2]) / 2, (box[1] + box[3]) / 2


def strokes_mm(page) -> list[tuple[float, float]]:
    """Straight strokes of a PDF page as (across, up) [mm]: 1 pt is 25.4/72 mm (ISO 32000-1, 8.3.2.3)."""
    found, start = [], None
    for operands, operator in page.get_contents().operations:
        if operator == b"m":
            start = [float(v) for v in operands]
        elif operator == b"l" and start is not None:
            end = [float(v) for v in operands]
            found.append(((end[0] - start[0]) * 25.4 / 72, (end[1] - start[1]) * 25.4 / 72))
            start = end
        elif operator == b"cm":  # nothing that is stroked is scaled on the way
            a, b, c, d = (float(v) for v in operands[:4])
            assert (a * a + b * b, a * c + b * d, c * c + d * d) == (1, 0, 1)
    return found


def count(strokes, across, up) -> int:
    return sum(abs(abs(x) - across) < FINE_MM and abs(abs(y) - up) < FINE_MM for x, y in strokes)


@pytest.mark.parametrize(("wagon", "paper"), [("HO", "Letter"), ("G coach", "A4")])
def test_bars_and_paper_have_their_size_in_the_pdf(wagon, paper):
    pages = pdf(wagon, paper).pages
    assert len(pages) >= 3
    for number, page in enumerate(pages):
        wide, tall = (float(v) * 25.4 / 72 for v in (page.mediabox.width, page.mediabox.height))
        assert sorted((wide, tall)) == pytest.approx(sorted(PAPERS[paper]), abs=FINE_MM)
        assert "/UserUnit" not in page
        strokes = strokes_mm(page)
        assert count(strokes, 100.0, 0.0) >= (2 if number == 0 else 1)
        if number == 0:
            assert count(strokes, 0.0, 100.0) >= 1
            assert count(strokes, 101.6, 0.0) == 1  # 4 in


@pytest.mark.parametrize(("wagon", "paper"), CASES)
def test_bars_and_paper_have_their_size_in_the_svg(wagon, paper):
    pages = svg(wagon, paper)
    for page in pages:
        assert sorted(page["page"][2:]) == sorted(PAPERS[paper])
        assert size(page["foot-100-mm"]) == pytest.approx((100.0, 0.0), abs=FINE_MM)
    assert size(pages[0]["bar-100-mm"]) == pytest.approx((100.0, 0.0), abs=FINE_MM)
    assert size(pages[0]["bar-4-in"]) == pytest.approx((101.6, 0.0), abs=FINE_MM)
    assert size(pages[0]["bar-100-mm-upright"]) == pytest.approx((0.0, 100.0), abs=FINE_MM)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("wagon", ALL)
def test_strips_and_flats_are_true(wagon, paper):
    first, drawn = svg(wagon, paper)[0], ALL[wagon]
    # pi times (diameter + 0.1 mm of paper), computed here
    assert size(first["strip-wheel"])[0] == pytest.approx(math.pi * (drawn.wheel.diameter_mm + 0.1), abs=FINE_MM)
    assert size(first["strip-axle"])[0] == pytest.approx(math.pi * (drawn.axle.diameter_mm + 0.1), abs=FINE_MM)
    width = 2 * math.sqrt((drawn.axle.diameter_mm / 2) ** 2 - drawn.magnets.flat_radius_mm**2)
    assert size(first["flat-true-size"])[1] == pytest.approx(width, abs=FINE_MM)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("wagon", ["HO", "N"])
def test_side_and_plan_are_true(wagon, paper):
    page, drawn = svg(wagon, paper)[1], ALL[wagon]
    radius, place = drawn.wheel.diameter_mm / 2, drawn.sensor.place_mm
    assert size(page["side-wheel"]) == pytest.approx((2 * radius, 2 * radius), abs=FINE_MM)
    rail = page["side-rail-top"][1]
    axle_x = middle(page["side-axle"])[0]
    assert page["side-wheel"][1] == pytest.approx(rail, abs=FINE_MM)
    assert middle(page["side-sensor"])[1] - rail == pytest.approx(radius + place[2], abs=FINE_MM)
    assert middle(page["side-sensor"])[0] - axle_x == pytest.approx(place[0], abs=FINE_MM)
    line = page["plan-middle"][1]
    assert middle(page["plan-sensor"])[1] - line == pytest.approx(place[1], abs=FINE_MM)  # left is up
    assert middle(page["plan-sensor"])[0] - page["plan-axle-line"][0] == pytest.approx(place[0], abs=FINE_MM)
    assert page["plan-rail-left"][1] - page["plan-rail-right"][1] == pytest.approx(drawn.gauge_mm, abs=FINE_MM)
    assert size(page["side-body"]) == pytest.approx(
        (drawn.body.length_mm, drawn.body.height_mm - radius - drawn.floor[0].height_mm), abs=FINE_MM
    )
    assert size(page["plan-body"]) == pytest.approx((drawn.body.length_mm, drawn.body.width_mm), abs=FINE_MM)
    # axle above axle: the two views are in line
    assert page["plan-axle-line"][0] == pytest.approx(axle_x, abs=FINE_MM)


def test_dome_and_plate_stand_where_the_file_says():
    page = svg("HO", "A4")[1]
    axle_x, rail = middle(page["side-axle"])[0], page["side-rail-top"][1]
    # dome 8 wide, middle 32.5 forward, underside 37 up; plate from 36 - 30 to 36 + 30 of the axle, 5.25 + 4.4 up
    dome, plate = page["side-part-dome"], page["side-floor-steel"]
    for box, expected in ((dome, [28.5, 37.0, 36.5, 42.0]), (plate, [6.0, 9.65, 66.0, 10.45])):
        placed = [value - origin for value, origin in zip(box, (axle_x, rail) * 2, strict=True)]
        assert placed == pytest.approx(expected, abs=FINE_MM)
    assert size(page["plan-plate-steel"]) == pytest.approx((60.0, 14.0), abs=FINE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_tiles_join_cross_on_cross(paper):
    tiles = [page for page in svg("G coach", paper) if "side-floor-plastic" in page]
    assert len(tiles) >= 3
    seen = []
    for tile in tiles:
        # the floor stands whole in every tile's file, cut by the window only when drawn: it tells where the view lies
        x, y = tile["side-floor-plastic"][:2]
        assert size(tile["side-floor-plastic"]) == pytest.approx((480.0, 3.0), abs=FINE_MM)
        crosses = [box for name, box in tile.items() if name.startswith("register-")]
        seen.append({(round(middle(b)[0] - x, 2), round(b[1] - y, 2)) for b in crosses})
    for one, other in pairwise(seen):
        assert len(one & other) == 3  # the three crosses of the edge they share, at one place of the wagon


@pytest.mark.parametrize(("wagon", "paper"), CASES)
def test_no_word_leaves_the_page_or_lies_on_another(wagon, paper):
    for page in worksheet_pages(sheets(wagon), paper):
        renderer = FigureCanvasAgg(page.figure).get_renderer()
        boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in page.axes.texts if t.get_text()]
        for text, box in boxes:
            assert box.x0 > 5 * 72 / 25.4, text
            assert box.x1 < (page.width_mm - 5) * 72 / 25.4, text
            assert box.y0 > 3 * 72 / 25.4, text
            assert box.y1 < (page.height_mm - 5) * 72 / 25.4, text
        for (one, a), (other, b) in combinations(boxes, 2):
            over = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            # a box has room for the deepest and tallest letters, so lines of a paragraph may share 1 pt of it
            assert min(over) < 1.5, (one, other)


def words_of(wagon) -> str:
    """All words of a sheet, lines joined."""
    return " ".join(t.get_text() for page in worksheet_pages(worksheet(wagon)) for t in page.axes.texts)


WORDS = [
    "Print at 100 %", "never “fit to page”", "L/100 of what it should be", "17.75 mm (0.699 in) above rail top",
    "12.50 mm (0.492 in) above the axle's centre", "strip of 33.30 mm (1.311 in)", "across the flats 1.40 mm",
    "flux index of about 84", "NEM 302 (2015)", "Wear safety glasses", "Local codes",
    "1.2 mm to the left of the middle line",
]  # fmt: skip


def test_the_words_are_there():
    words = words_of(HO)
    for expected in WORDS:
        assert expected in words, expected
    assert "not reckoned: flats: axle.diameter_mm" in words_of(HO_COACH)


def test_a_ring_needs_no_flats_and_none_are_shown():
    ring = Magnets("ring", diameter_mm=4.5, hole_mm=2.2, thickness_mm=2.0, grade="N42")
    words = words_of(replace(HO, magnets=ring))
    assert "Nothing is filed" in words
    assert "it goes round it" in words
    assert "flats lie under" not in words
    assert "flats lie under" in words_of(HO)


def test_the_same_sheet_gives_the_same_bytes():
    assert worksheet_pdf(sheets("HO"), "Letter") == pdf_file("HO", "Letter")
    assert worksheet_svg(sheets("N")) == worksheet_svg(sheets("N"))


def test_an_svg_page_needs_nothing_from_outside():
    for text in worksheet_svg(sheets("HO")):
        assert not re.findall(r'(?:href|src)="(?!#)', text)
        assert "<script" not in text


def test_odd_wagons_get_a_sheet():
    assert "Wagen 7 ? very very" in words_of(replace(HO, name="Wagen 7 \u7532 " + "very " * 30 + "long"))
    ring = replace(HO, magnets=Magnets("ring", diameter_mm=6.0, hole_mm=2.0, thickness_mm=2.0, grade="N42"))
    assert "Nothing is filed: a ring goes over the axle" in words_of(ring)
    assert "Too long for this paper" in words_of(replace(G_LONG, wheel=Wheel(70.0)))
    crowd = tuple(Part(f"screw {k}", (1, 1, 1), (3.0 * k, 0, 30)) for k in range(20))
    assert "screw 19, 1 × 1 × 1 mm" in words_of(replace(HO, parts=crowd, axle=Axle()))
    assert "No diameter is stated" in words_of(replace(HO, wheel=Wheel(scale_sd=0.01), magnets=None, axle=Axle()))


def test_a_pdf_carries_its_words():
    assert "Heather Vale inspection van 7" in pdf("HO", "Letter").pages[0].extract_text()
    assert pdf("HO", "Letter").metadata.title == "To work from: Heather Vale inspection van 7"


def test_another_paper_is_refused():
    with pytest.raises(UsageError, match=r"expected a paper: A4 or Letter, came 'A5'; the drawing is 1:1 on either"):
        worksheet_pdf(sheets("HO"), "A5")

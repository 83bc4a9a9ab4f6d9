"""The drawings themselves: equal axes, bands that are what they say, and what stands where."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.colors import rgb_to_hsv
from matplotlib.patches import Polygon

from tests.report import sample
from wayrule.model import Mark
from wayrule.report import alongline, speed
from wayrule.report.canvas import NARROW, VARIABLES, WIDE, to_svg
from wayrule.report.lengths import FULL, MODEL, lengths_for
from wayrule.report.plan import across_sd_mm, plan_exaggeration, plan_figure
from wayrule.report.plancolour import COLOURS
from wayrule.report.svg import plan_svg, speed_svg

SIZES = [WIDE, NARROW]


@pytest.fixture(scope="module")
def oval():
    return sample.survey()


@pytest.mark.parametrize("size", SIZES, ids=lambda s: s.name)
def test_plan_has_equal_axes_and_holds_the_whole_line(oval, size):
    figure = plan_figure(oval.stations, oval.faults, oval.marks, MODEL, size)
    axes = figure.axes[0]
    assert axes.get_aspect() == 1.0
    box = axes.get_window_extent()
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    assert box.width / (x1 - x0) == pytest.approx(box.height / (y1 - y0), rel=1e-9)
    assert x0 * 1000 < oval.stations.x_mm.min()
    assert x1 * 1000 > oval.stations.x_mm.max()
    assert y0 * 1000 < oval.stations.y_mm.min()
    assert y1 * 1000 > oval.stations.y_mm.max()


@pytest.mark.parametrize("turned", [False, True])
def test_no_two_words_of_a_plan_overlap(oval, turned):
    """The line lying and standing; words measured by the font that runs widest."""
    st = oval.stations
    if turned:
        st = replace(st, x_mm=-st.y_mm, y_mm=st.x_mm, heading_rad=st.heading_rad + np.pi / 2)
    for size in SIZES:
        figure = plan_figure(st, oval.faults, oval.marks, MODEL, size)
        boxes = [(t.get_text(), t.get_window_extent()) for t in figure.axes[0].texts if t.get_text()]
        assert {"start", "1", "2", "3"} <= {text for text, _ in boxes}
        for i, (a, box) in enumerate(boxes):
            for b, other in boxes[i + 1 :]:
                assert not box.overlaps(other), (size.name, a, b)


def test_uncertainty_on_the_plan_is_the_sigma_times_the_stated_number(oval):
    """At the middle of the first straight (heading 0) the band is 2 x times x y_sd high."""
    times, largest = plan_exaggeration(oval.stations, WIDE)
    assert largest == pytest.approx(across_sd_mm(oval.stations).max())
    figure = plan_figure(oval.stations, (), (), MODEL, WIDE)
    band = next(p for p in figure.axes[0].patches if isinstance(p, Polygon)).get_xy() * 1000
    i = int(np.searchsorted(oval.stations.s_mm, 1450.0))
    near = band[np.abs(band[:, 0] - 1450.0) < 12.0]
    near = near[np.abs(near[:, 1]) < 200.0]
    assert np.ptp(near[:, 1]) == pytest.approx(2 * times * oval.stations.y_sd_mm[i], rel=0.01)


def test_bands_reach_one_and_two_sigma(oval):
    figure = alongline.cant_figure(oval.stations, oval.elements, (), WIDE)
    two, one = (c.get_paths()[0].vertices for c in figure.axes[0].collections[:2])
    low, high = oval.stations.cant_mm.min(), oval.stations.cant_mm.max()
    assert two[:, 1].max() == pytest.approx(high + 2 * 0.06, abs=1e-9)
    assert one[:, 1].min() == pytest.approx(low - 0.06, abs=1e-9)
    assert figure.axes[0].get_ylim()[0] < low - 0.12


def test_radius_stands_on_the_arcs_and_on_the_right(oval):
    figure = alongline.curvature_figure(oval.stations, oval.elements, (), MODEL, WIDE)
    assert [t.get_text() for t in figure.axes[0].texts].count("R 358") == 2
    to_svg(figure, "c", "c")
    ticks = zip(figure.axes[1].get_yticks(), figure.axes[1].get_yticklabels(), strict=True)
    right = {round(float(place), 3): label.get_text() for place, label in ticks}
    assert right[2.0] == "500"  # curvature 2 1/m is R 500 mm
    assert right[0.0] == "∞"


def test_curvature_unit_follows_the_line():
    assert alongline.curvature_unit(np.array([1 / 358.0])) == ("1/m", 1e3)
    assert alongline.curvature_unit(np.array([1 / 300_000.0])) == ("1/km", 1e6)


def test_piece_that_runs_over_the_seam_shows_at_both_ends(oval):
    """The strip of a line whose pieces all start 500 mm later is the old strip, 500 mm later, seam and all."""
    st, by = oval.stations, 500.0
    starts = [((e.s0_mm + by) % st.length_mm, e) for e in sample.plan_elements()]
    later = [replace(e, s0_mm=s0, s1_mm=s0 + e.length_mm) for s0, e in starts]
    assert any(e.s1_mm > st.length_mm for e in later)
    was, now = alongline._curves(st, sample.plan_elements()), alongline._curves(st, later)
    for s_mm in (60.0, 300.0, 470.0, 4000.0, st.length_mm - 10.0):
        before = (s_mm - by) % st.length_mm
        assert np.interp(s_mm / 1000, *now) == pytest.approx(np.interp(before / 1000, *was), abs=1e-9)


def test_speed_axis_on_the_right_is_scale_speed(oval):
    """Scale-speed table: 319.28 mm/s in 1:87 is 100 km/h."""
    figure = speed.speed_time_figure(oval.travels[0], 87.0, WIDE)
    side = figure.axes[0].child_axes[0]
    to_svg(figure, "v", "v")  # the right axis takes its limits when drawn
    low, high = figure.axes[0].get_ylim()
    assert side.get_ylim()[1] == pytest.approx(high / 319.28 * 100, rel=1e-4)
    assert figure.axes[0].child_axes[1].get_ylim()[0] == pytest.approx(low / 308.3 * 60, rel=1e-3)


def test_laps_are_not_joined_across_the_diagram(oval):
    st = oval.stations
    run = sample.travel(laps=2.5)
    figure = speed.speed_place_figure(run, 87.0, WIDE, length_mm=st.length_mm, closed=True)
    x = figure.axes[0].lines[0].get_xdata()
    jumps = np.abs(np.diff(x))
    assert np.nanmax(jumps) < 0.1 * st.length_mm / 1000
    assert np.isnan(x).sum() == 2  # two and a half laps pass the start twice


def test_colours_rise_evenly_in_lightness():
    """Rec. 709 luma of the scale never falls, so that grey print keeps its order; three equal steps differ clearly."""
    luma = COLOURS(np.linspace(0, 1, 64))[:, :3] @ [0.2126, 0.7152, 0.0722]
    assert np.all(np.diff(luma) > 0)
    assert np.diff(luma[[0, 21, 42, 63]]).min() > 0.15
    assert rgb_to_hsv(COLOURS(0.5)[:3])[1] < 0.3  # straight and level track is the quiet colour


def shown(figure):
    """Every word that is drawn: texts, axis names and the labels of ticks within the axis limits."""
    for axes in [a for main in figure.axes for a in (main, *main.child_axes)]:
        yield from axes.texts
        for axis in (axes.xaxis, axes.yaxis):
            yield axis.label
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if low <= tick.get_loc() <= high:
                    yield from (tick.label1, tick.label2)


@pytest.mark.parametrize("name", ["oval", "car", "straight"])
def test_every_word_lies_inside_its_drawing(name):
    """Measured by a font that runs wider than any the page asks for; 0.5 px for the rounding of a glyph's box."""
    s = sample.survey() if name == "oval" else sample.ODD[name][0]()
    st, el, fa = s.stations, s.elements, s.faults
    lengths = lengths_for(st.length_mm, s.ratio)
    for size in SIZES:
        drawn = [plan_figure(st, fa, s.marks, lengths, size)]
        drawn += [alongline.curvature_figure(st, el, fa, lengths, size), alongline.gradient_figure(st, el, fa, size)]
        drawn += [alongline.height_figure(st, el, fa, lengths, size), alongline.cant_figure(st, el, fa, size)]
        for t in s.travels[:1]:
            drawn += [speed.speed_time_figure(t, s.ratio, size), speed.distance_time_figure(t, size)]
        for figure in filter(None, drawn):
            to_svg(figure, "x", "x")
            for text in shown(figure):
                if not (text.get_text().strip() and text.get_visible()):
                    continue
                box = text.get_window_extent()
                assert box.x0 >= -0.5, (size.name, text)
                assert box.x1 <= figure.bbox.x1 + 0.5, (size.name, text)
                assert box.y0 >= -0.5, (size.name, text)
                assert box.y1 <= figure.bbox.y1 + 0.5, (size.name, text)


def test_words_are_left_as_they_are(oval):
    """Digits, colours and font names in a mark's name are words, not drawing."""
    for name in ("km 0.12345", "#17242e", "'DejaVu Sans'", "a & b < c", "$x_1$", "\u6c7d\u8eca"):
        text = plan_svg(replace(oval, marks=((1450.0, Mark(0.0, name)),)))
        words = [e.text for e in ElementTree.fromstring(text).iter() if e.text]
        assert name in words, name


def test_tick_labels_keep_their_digits():
    s = sample.straight()
    text = to_svg(alongline.gradient_figure(s.stations, (), (), WIDE), "g", "g")
    words = [e.text for e in ElementTree.fromstring(text).iter() if e.text]
    assert {"0.02", "0.00"} <= set(words) or {"0.010", "0.000"} <= set(words), words


def test_noise_gets_no_colour():
    """A straight, level line whose readings stay inside their sigmas is one quiet colour throughout."""
    s = sample.straight()
    for colour_by in ("curvature", "gradient"):
        figure = plan_figure(s.stations, (), (), MODEL, WIDE, colour_by=colour_by)
        colours = figure.axes[0].collections[-1].get_colors()
        luma = colours[:, :3] @ [0.2126, 0.7152, 0.0722]
        assert np.ptp(luma) < 0.12


@pytest.mark.parametrize("lengths", [MODEL, FULL])
def test_svg_parses_and_points_at_nothing_outside(oval, lengths):
    for size in SIZES:
        for figure in (
            plan_figure(oval.stations, oval.faults, oval.marks, lengths, size, colour_by="gradient"),
            alongline.height_figure(oval.stations, oval.elements, oval.faults, lengths, size),
        ):
            text = to_svg(figure, "x", "what & why <b>")
            root = ElementTree.fromstring(text)
            assert root.attrib["role"] == "img"
            assert root.attrib["aria-label"] == "what & why <b>"
            assert float(root.attrib["width"]) == size.width
            assert set(re.findall(r"https?://[^\"' <]+", text)) == {"http://www.w3.org/2000/svg"}
            assert "<image" not in text
            assert "DejaVu" not in text


def test_ink_follows_the_page(oval):
    """No ink colour is left as a bare colour: each is a CSS variable with the colour as its fallback."""
    text = plan_svg(oval)
    for colour, variable in VARIABLES.items():
        assert text.count(colour) == text.count(f"var({variable},{colour})")
    assert "var(--ink," in text


def test_drawing_leaves_the_drawing_librarys_settings_alone(oval):
    import matplotlib

    before = dict(matplotlib.rcParams)
    assert speed_svg(oval.travels[0], 87.0) == speed_svg(oval.travels[0], 87.0)
    assert dict(matplotlib.rcParams) == before


def test_nothing_to_draw_gives_no_svg():
    assert plan_svg(sample.one_station()) == ""
    t = sample.travel()
    assert speed_svg(replace(t, speed_mm_s=np.full(len(t.t_s), np.nan)), 87.0) == ""

"""Built track against its plan: a slewed stretch is told with its size and side, whatever file the plan came in."""

from pathlib import Path

import ezdxf
import numpy as np
import pytest

import wayrule
from tests.report.sample import plan_elements
from tests.track.compare.seen import moved, reversed_line, surveyed
from tests.track.synthetic_stations import HO, Noise, Truth, stations
from wayrule.cli import main as cli
from wayrule.desk.comparing import read_plan
from wayrule.errors import WayruleError
from wayrule.formats.dxfreader import read_dxf
from wayrule.formats.landxml import write_landxml
from wayrule.model import Alignment, Stations
from wayrule.track.alignment import places
from wayrule.track.compare.asplanned import against_plan, drawn_from, reduced

QUIET = Noise("quiet", 2e-6, 1e-4, 0.01, 0.0)
PIECES = [
    ("straight", 900.0, 0.0, 0.0),
    ("arc", 500.0, 1 / 600.0, 1 / 600.0),
    ("straight", 700.0, 0.0, 0.0),
    ("arc", 400.0, -1 / 450.0, -1 / 450.0),
    ("straight", 1300.0, 0.0, 0.0),
]


def built(slew_mm: float = 0.0) -> Stations:
    """Track to the plan, a stretch about 3.2 m slewed to the left over 0.6 m."""
    faults = (("lateral", 3200.0, slew_mm, 600.0),) if slew_mm else ()
    truth = Truth(PIECES, [("grade", 3800.0, 0.0, 0.0)])
    return stations(HO, truth, QUIET, np.random.default_rng(2), faults=faults)


def plan_csv() -> bytes:
    rows = [f"{length},{1 / k if k else ''}" for _, length, k, _ in PIECES]
    return ("length_mm,radius_mm\n" + "\n".join(rows) + "\n").encode()


def plan_dxf() -> bytes:
    """Drawn by the library itself, out of order and direction, in cm, beside a layer of scenery."""
    import io

    document = ezdxf.new("R2010", units=5)
    space = document.modelspace()
    line = drawn(plan_csv())
    for index in (2, 0, 4, 1, 3):
        p = line.plan[index]
        a, b = (p.x0_mm / 10, p.y0_mm / 10), (p.x1_mm / 10, p.y1_mm / 10)
        if p.kind == "straight":
            space.add_line(b, a, dxfattribs={"layer": "TRACK"})
        else:
            r = 1 / p.curvature0_1_mm
            cx, cy = p.x0_mm - r * np.sin(p.heading0_rad), p.y0_mm + r * np.cos(p.heading0_rad)
            angles = [float(np.degrees(np.arctan2(10 * y - cy, 10 * x - cx))) for x, y in (a, b)]
            space.add_arc(
                (cx / 10, cy / 10), abs(r) / 10, *(angles if r > 0 else angles[::-1]), dxfattribs={"layer": "TRACK"}
            )
    space.add_line((500, 500), (600, 500), dxfattribs={"layer": "SCENERY"})
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def drawn(data: bytes) -> Alignment:
    from wayrule.formats.plantable import read_plan_table

    return drawn_from(read_plan_table(data, "plan.csv"), "plan")


@pytest.fixture(params=["csv", "dxf", "xml"])
def plan(request: pytest.FixtureRequest, tmp_path: Path) -> Alignment:
    path = tmp_path / f"plan.{request.param}"
    line = drawn(plan_csv())
    path.write_bytes(
        {
            "csv": plan_csv,
            "dxf": plan_dxf,
            "xml": lambda: write_landxml(line, date="2026-08-01", time="12:00:00", version="0", gauge_mm=16.5),
        }[request.param]()
    )
    return read_plan(path, layers=("TRACK",) if request.param == "dxf" else ())


def test_a_slewed_stretch_is_told_and_nothing_else(plan: Alignment) -> None:
    found = against_plan(plan, surveyed(moved(built(8.0), 100.0, 50.0, 3.0, 0.7)))
    [change] = [c for c in found.changes if c.quantity == "plan"]
    # the noise of the survey wanders by some tenths, and the line as a whole gives way by a share of the slew
    assert abs(change.size) == pytest.approx(8.0, abs=1.2)
    way = found.registered.way
    s = change.s_mm if plan.plan[0].length_mm < 1000 else 3800.0 - change.s_mm
    assert s == pytest.approx(3200.0, abs=60.0)
    assert np.sign(change.size) == way
    assert not [c for c in found.changes if c.quantity == "height"]


def test_track_to_the_plan_leaves_it_nowhere(plan: Alignment) -> None:
    assert not against_plan(plan, surveyed(built())).changes
    assert not against_plan(plan, surveyed(reversed_line(built()))).changes


def test_a_tolerance_forgives() -> None:
    assert not against_plan(drawn(plan_csv()), surveyed(built(8.0)), tolerance_mm=12.0).changes


def test_a_full_size_plan_is_reduced() -> None:
    large = reduced(drawn(plan_csv().replace(b"900.0", b"900.0")), 1 / 87.0)
    back = reduced(large, 87.0)
    s = np.linspace(0, 3800, 200)
    np.testing.assert_allclose(places(back, s), places(drawn(plan_csv()), s), atol=1e-6)


def test_a_spline_keeps_its_curvature() -> None:
    """A quarter circle of radius 400 as a spline through points of the circle: curvature to 1 per mille inside."""
    import io

    angle = np.linspace(0, np.pi / 2, 40)
    document = ezdxf.new("R2010", units=4)
    points = [(400 * np.sin(a), 400 - 400 * np.cos(a), 0.0) for a in angle]
    document.modelspace().add_spline_control_frame(points, dxfattribs={"layer": "T"})
    stream = io.StringIO()
    document.write(stream)
    line = read_dxf(stream.getvalue().encode(), "a.dxf")
    assert line.length_mm == pytest.approx(200 * np.pi, rel=1e-5)
    inner = [p.curvature0_1_mm for p in line.plan[3:-3]]
    np.testing.assert_allclose(inner, 1 / 400.0, rtol=2e-3)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"length_mm,radius\n1,2\n", "columns length_mm and radius_mm"),
        (b"length_mm,radius_mm\n1,wide\n", "a number in radius_mm"),
        (b"length_mm,radius_mm\n0,500\n", "a length above 0"),
        (b"length_mm,radius_mm\n10,0\n", "a radius other than 0"),
        (b"length_mm,radius_mm\n10,inf\n", "a finite number"),
        (b"plane,length_mm,radius_mm\nside,10,5\n", "plan or profile"),
    ],
)
def test_a_table_that_is_no_plan_is_refused(text: bytes, said: str) -> None:
    with pytest.raises(WayruleError) as caught:
        drawn(text)
    assert said in str(caught.value)


def test_a_drawing_with_a_gap_or_without_track_is_refused() -> None:
    with pytest.raises(WayruleError, match="pieces apart from it"):
        read_dxf(plan_dxf(), "plan.dxf")  # the scenery is no part of the line
    with pytest.raises(WayruleError, match="layers with some: SCENERY, TRACK"):
        read_dxf(plan_dxf(), "plan.dxf", ("RAILS",))
    with pytest.raises(WayruleError, match="expected a DXF file"):
        read_dxf(b"no drawing", "plan.dxf")


def test_the_command_takes_one_survey_and_a_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from tests.report.sample import survey
    from wayrule import store

    store.write_survey(tmp_path / "loop", survey(), "")
    table = tmp_path / "plan.csv"
    rows = [f"plan,{e.length_mm},{e.curvature0_1_mm},{e.curvature1_1_mm}" for e in plan_elements()]
    table.write_text("plane,length_mm,curvature0_1_mm,curvature1_1_mm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    words = ["compare", str(tmp_path / "loop"), "--plan", str(table), "--out", str(tmp_path / "out"), "--no-open"]
    assert cli.run(words) == 0, capsys.readouterr().err
    assert "The track leaves its plan nowhere" in capsys.readouterr().out
    assert "leaves its plan" in (tmp_path / "out" / "comparison.html").read_text(encoding="utf-8")
    assert cli.run([*words[:2], *words[1:]]) == 2
    assert "one survey with --plan" in capsys.readouterr().err
    assert wayrule.compare_with_plan(survey(), table).planned

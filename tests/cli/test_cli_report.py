"""`wayrule report`: a survey folder in; paper and files for other programs out, each read back by another reader."""

import io
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow.parquet as pq
import pypdf
import pytest

import wayrule
from tests.report.sample import LENGTH_MM, only_lengths, only_plan, straight, survey
from wayrule import store
from wayrule.cli import main as cli
from wayrule.errors import UsageError
from wayrule.model import surveyed_of
from wayrule.report.linemap import OVERLAP_MM, drawn, map_pdf, map_svg, tiles_of
from wayrule.report.strip import bands, strip_pdf

POINT_MM = 25.4 / 72


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hand-over")
    store.write_survey(folder / "loop", survey(), "")
    words = ["report", str(folder / "loop"), "--out", str(folder / "out"), "--map-scale", "10", "--strip-scale", "10"]
    assert cli.run(words) == 0
    return folder / "out"


def sizes(data: bytes) -> list[tuple[float, float]]:
    """Width and height of every page [mm], as another reader finds them."""
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return [(float(p.mediabox.width) * POINT_MM, float(p.mediabox.height) * POINT_MM) for p in pages]


def test_all_files_are_there(made: Path) -> None:
    assert {path.name for path in made.iterdir()} == {
        "strip.pdf", "strip-endless.pdf", "map.pdf", "map.svg", "line.dxf", "line.xml", "stations.csv", "elements.csv",
        "faults.csv", "stations.parquet", "elements.parquet", "faults.parquet",
    }  # fmt: skip


def test_the_strip_chart_has_the_paper_s_size_and_the_line_s_length(made: Path) -> None:
    paged = sizes((made / "strip.pdf").read_bytes())
    assert all(size == pytest.approx((297.0, 210.0), abs=0.1) for size in paged)
    assert len(paged) == int(np.ceil(LENGTH_MM / 10 / (297 - 26 - 24)))
    [(width, _)] = sizes((made / "strip-endless.pdf").read_bytes())
    assert width == pytest.approx(LENGTH_MM / 10 + 26 + 24, abs=0.1)
    words = pypdf.PdfReader(made / "strip.pdf").pages[0].extract_text()
    for name in ("Curvature", "Cant", "Twist", "Gradient", "Level", "Alignment", "Marks", "Faults", "Pieces"):
        assert name in words
    assert "Heather Vale Junction" in words


def test_letter_is_letter() -> None:
    data = strip_pdf(surveyed_of(survey(), "loop"), paper="letter", scale=50)
    assert sizes(data)[0] == pytest.approx((279.4, 215.9), abs=0.1)
    data, scale = map_pdf(surveyed_of(survey(), "loop"), paper="letter", scale=20)
    assert (sizes(data)[0], scale) == (pytest.approx((215.9, 279.4), abs=0.1), 20)


def test_a_bump_of_the_cant_shows_as_twist_over_the_wheelbase() -> None:
    one = survey()
    s = one.stations.s_mm
    ramp = np.where(s < 3000.0, 0.0, np.minimum((s - 3000.0) / 1000.0, 1.0))
    line = replace(one, stations=replace(one.stations, cant_mm=ramp))
    twist = next(b for b in bands(surveyed_of(line, "")) if b.name.startswith("Twist"))
    middle = (s > 3100.0) & (s < 3900.0)
    np.testing.assert_allclose(twist.value[middle], 0.065, atol=0.006)  # 1 per mille over 65 mm; a station either way


def test_the_map_comes_on_sheets_that_overlap_and_cover_the_line(made: Path) -> None:
    one = surveyed_of(survey(), "loop")
    shape = drawn(one, 1.0)
    wide, high = 184.0, 245.0
    tiles = tiles_of(shape, wide, high)
    on = [(shape.x >= t.x) & (shape.x <= t.x + wide) & (shape.y >= t.y) & (shape.y <= t.y + high) for t in tiles]
    assert np.any(on, axis=0).all()
    columns = sorted({t.x for t in tiles})
    np.testing.assert_allclose(np.diff(columns), wide - OVERLAP_MM)
    assert len({t.name for t in tiles}) == len(tiles)
    reader = pypdf.PdfReader(made / "map.pdf")
    assert f"{len(reader.pages) - 1} sheets" in reader.pages[0].extract_text()
    names = [re.search(r"sheet ([A-Z]+\d+)", page.extract_text()) for page in reader.pages[1:]]
    assert all(names)
    joints = [set(re.findall(r"[A-Z]+\d+/[A-Z]+\d+ \d", page.extract_text())) for page in reader.pages[1:]]
    for joint in set().union(*joints):  # every cross stands on both of its sheets
        assert sum(joint in found for found in joints) == 2


def test_the_svg_is_in_millimetres_and_true(made: Path) -> None:
    one = surveyed_of(survey(), "loop")
    for text, scale in ((map_svg(one, 1), 1.0), ((made / "map.svg").read_text(encoding="utf-8"), 10.0)):
        root = ET.fromstring(text)
        assert root.get("width", "").endswith("mm")
        assert [float(v) for v in root.get("viewBox", "").split()][2:] == [
            float(root.get(side, "")[:-2]) for side in ("width", "height")
        ]
        found = {e.get("id"): e for e in root.iter() if e.get("id")}
        bar = found["bar-100-mm"]
        assert float(bar.get("x2", "")) - float(bar.get("x1", "")) == 100.0
        points = np.array([[float(v) for v in p.split(",")] for p in found["centre"].get("points", "").split()])
        true = np.hypot(np.diff(one.stations.x_mm), np.diff(one.stations.y_mm))
        np.testing.assert_allclose(np.hypot(*np.diff(points, axis=0).T)[: len(true)] * scale, true, atol=2e-4 * scale)


def test_tables_are_read_by_others_too(made: Path) -> None:
    for name in ("stations", "elements", "faults"):
        other = pq.read_table(made / f"{name}.parquet")
        own = pl.read_csv(made / f"{name}.csv")
        assert other.column_names == own.columns
        assert other.num_rows == own.height
    x = pq.read_table(made / "stations.parquet")["x_mm"].to_numpy()
    np.testing.assert_allclose(x, survey().stations.x_mm, atol=6e-5)  # from the folder: 4 decimals
    assert pq.read_table(made / "faults.parquet")["kind"].to_pylist() == ["kink", "dip", "one_rail_dip"]


def test_what_a_survey_cannot_give_is_told_and_the_rest_made() -> None:
    flat = wayrule.hand_over(only_plan(), map_scale=20, strip_scale=50)
    assert "line.dxf" not in flat.files
    assert any("no pieces" in line for line in flat.without)
    assert {"strip.pdf", "map.pdf", "stations.parquet"} <= set(flat.files)
    bare = wayrule.hand_over(only_lengths())
    assert any(line.startswith("map: ") for line in bare.without)
    assert "stations.csv" in bare.files
    assert "strip.pdf" in wayrule.hand_over(straight()).files


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--map-scale", "0"], "a map scale of 1 or more"),
        (["--strip-scale", "0"], "a scale of 1 or more"),
        (["--paper", "vellum"], "A4 or Letter"),
    ],
)
def test_what_cannot_be_printed_is_one_line(
    words: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store.write_survey(tmp_path / "loop", survey(), "")
    assert cli.run(["report", str(tmp_path / "loop"), "--out", str(tmp_path / "out"), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_map_of_too_many_sheets_is_refused() -> None:
    one = survey()
    large = replace(one.stations, x_mm=one.stations.x_mm * 60, y_mm=one.stations.y_mm * 60)
    with pytest.raises(UsageError, match="at most 400 sheets"):
        map_pdf(surveyed_of(replace(one, stations=large), "loop"), scale=1)


def test_a_machine_is_told_how_far_the_pieces_lie_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store.write_survey(tmp_path / "loop", survey(), "")
    words = ["--out", str(tmp_path / "out"), "--map-scale", "50", "--strip-scale", "100", "--json"]
    assert cli.run(["report", str(tmp_path / "loop"), *words]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["map_scale"] == 50
    assert 0 < told["pieces_off_rms_mm"] < 1.0  # the sample's curve is what its pieces say

"""Handing a survey over: what other readers find in the files."""

import io
import math
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import numpy as np

from benchmarks.judging.comparing import FIRST_SEED, twice
from benchmarks.row import Row, at_most
from wayrule.desk.handover import departure, dxf, landxml
from wayrule.formats.landxmlreader import read_landxml
from wayrule.model import Alignment, Surveyed
from wayrule.track.alignment import alignment_of, heights, piece_from, places

SAMPLES: Final = Path(__file__).parents[2] / ".." / "shared" / "data" / "landxml_inframodel"
NAMES: Final = ("M3", "Y10", "Y11")


def handover_rows(quick: bool) -> Iterator[Row]:
    """Every figure of the hand-over."""
    surveys = [twice(FIRST_SEED + index)[0] for index in range(1 if quick else 3)]
    lines = [(survey, alignment_of(survey)) for survey in surveys]
    worst = max(_dxf_mm(survey, line) for survey, line in lines)
    yield at_most("DXF read back by its library, ends of pieces", worst, 0.001, "mm")
    worst = max(_landxml_m(survey, line) for survey, line in lines)
    yield at_most("LandXML there and back, places and heights", worst, 1e-4, "m")
    off = max(departure(survey, line)[0] for survey, line in lines)
    yield Row("drawn pieces off the stations, rms, worst line", f"{off:.2f} mm", "none, to be stated", ok=True)
    yield from _sample_rows()


def _dxf_mm(survey: Surveyed, line: Alignment) -> float:
    import ezdxf

    document = ezdxf.read(io.StringIO(dxf(survey, line).decode()))  # type: ignore[attr-defined]
    pieces = [e for e in document.modelspace() if e.dxf.layer in ("STRAIGHT", "ARC", "TRANSITION")]
    if len(pieces) != len(line.plan):
        return math.inf
    worst = 0.0
    for entity, piece in zip(pieces, line.plan, strict=True):
        wanted = ((piece.x0_mm, piece.y0_mm), (piece.x1_mm, piece.y1_mm))
        for x, y in _ends(entity):
            worst = max(worst, min(math.hypot(x - a, y - b) for a, b in wanted))
    return worst


def _ends(entity: Any) -> list[tuple[float, float]]:
    if entity.dxftype() == "SPLINE":
        curve = entity.construction_tool()
        points = (curve.point(0.0), curve.point(curve.max_t))
    elif entity.dxftype() == "ARC":
        points = (entity.start_point, entity.end_point)
    else:
        points = (entity.dxf.start, entity.dxf.end)
    return [(float(p[0]), float(p[1])) for p in points]


def _landxml_m(survey: Surveyed, line: Alignment) -> float:
    back = read_landxml(landxml(survey, line, datetime(2026, 8, 1, tzinfo=UTC)), "line.xml")
    s = np.linspace(line.s0_mm, line.s0_mm + line.length_mm, 4001)
    plan = [np.max(np.abs(a - b)) for a, b in zip(places(line, s)[:2], places(back, s)[:2], strict=True)]
    return float(max(*plan, np.nanmax(np.abs(heights(line, s)[0] - heights(back, s)[0])))) / 1000


def _sample_rows() -> Iterator[Row]:
    """Published alignments: each piece from its start; and what they state of themselves that does not fit."""
    what = "published LandXML alignments, each piece recomputed"
    if not SAMPLES.exists():
        yield Row(what, "", "<= 1 mm", ok=False, why="the samples are not at hand")
        return
    worst, told = 0.0, []
    for name in NAMES:
        line = read_landxml((SAMPLES / f"{name}_RS-CL.tg.xml").read_bytes(), name)
        told.append(f"{name}: {' '.join(line.notes)}")
        for p in line.plan:
            again = piece_from(p.x0_mm, p.y0_mm, p.heading0_rad, p.curvature0_1_mm, p.curvature1_1_mm, p.length_mm)
            worst = max(worst, math.hypot(again.x1_mm - p.x1_mm, again.y1_mm - p.y1_mm))
    yield at_most(what, worst, 1.0, "mm")
    flaws = all("Declared" in text or "profile" in text for text in told)
    yield Row("their known flaws reported", "; ".join(told), "each of them", ok=flaws)

"""DXF read back by the library that others use, and LINE once more by its bare group codes."""

import io
import math

import ezdxf
import numpy as np
import pytest
from ezdxf.document import Drawing
from scipy.special import fresnel

from tests.report.sample import survey
from wayrule.desk.handover import dxf
from wayrule.model import Alignment, surveyed_of
from wayrule.track.alignment import alignment_of

WITHIN_MM = 0.001


@pytest.fixture(scope="module")
def drawn() -> tuple[bytes, Alignment]:
    one = surveyed_of(survey(), "Vale loop")
    line = alignment_of(one)
    return dxf(one, line), line


@pytest.fixture(scope="module")
def document(drawn: tuple[bytes, Alignment]) -> Drawing:
    return ezdxf.read(io.StringIO(drawn[0].decode()))


def ends(entity: object) -> list[tuple[float, float]]:
    """Both ends in plan, as the library reads them."""
    if entity.dxftype() == "SPLINE":
        curve = entity.construction_tool()
        points = (curve.point(0.0), curve.point(curve.max_t))
    elif entity.dxftype() == "ARC":
        points = (entity.start_point, entity.end_point)
    else:
        points = (entity.dxf.start, entity.dxf.end)
    return [(p[0], p[1]) for p in points]


def test_every_piece_ends_where_it_should(document: Drawing, drawn: tuple[bytes, Alignment]) -> None:
    assert not document.audit().errors
    assert document.header["$INSUNITS"] == 4  # millimetres
    pieces = [e for e in document.modelspace() if e.dxf.layer in ("STRAIGHT", "ARC", "TRANSITION")]
    assert {e.dxftype() for e in pieces} == {"LINE", "ARC", "SPLINE"}
    for entity, piece in zip(pieces, drawn[1].plan, strict=True):
        assert entity.dxf.layer == piece.kind.upper()
        wanted = {(piece.x0_mm, piece.y0_mm), (piece.x1_mm, piece.y1_mm)}
        for x, y in ends(entity):
            assert min(math.hypot(x - a, y - b) for a, b in wanted) < WITHIN_MM


def test_transitions_are_clothoids(document: Drawing, drawn: tuple[bytes, Alignment]) -> None:
    """Against Fresnel integrals of scipy: k = s / A^2, x = A sqrt(pi) C(s / (A sqrt(pi)))."""
    splines = [e for e in document.modelspace() if e.dxftype() == "SPLINE"]
    pieces = [p for p in drawn[1].plan if p.kind == "transition"]
    for entity, p in zip(splines, pieces, strict=True):
        if min(abs(p.curvature0_1_mm), abs(p.curvature1_1_mm)) > 1e-9:
            continue
        k = p.curvature1_1_mm or p.curvature0_1_mm
        unit = math.sqrt(math.pi * p.length_mm / abs(k))
        u = np.linspace(0.0, p.length_mm, 4001)
        s, c = fresnel(u / unit)
        path = unit * (c + 1j * np.sign(k) * s)
        if p.curvature1_1_mm:
            path = complex(p.x0_mm, p.y0_mm) + path * np.exp(1j * p.heading0_rad)
        else:  # seen from its flat end, it runs back with the other hand
            path = complex(p.x1_mm, p.y1_mm) + np.conj(path) * np.exp(1j * (p.heading1_rad + np.pi))
        curve = entity.construction_tool()
        for point in curve.points(np.linspace(0.0, curve.max_t, 60)):
            gap = np.abs(path - complex(point[0], point[1]))
            near = int(np.argmin(gap))
            low, high = max(near - 1, 0), min(near + 1, len(u) - 1)
            chord = path[high] - path[low]
            off = abs(((complex(point[0], point[1]) - path[low]) * np.conj(chord)).imag) / abs(chord)
            assert off < WITHIN_MM


def test_stations_lie_in_space_and_faults_and_marks_have_their_places(document: Drawing) -> None:
    one = survey()
    [line] = [e for e in document.modelspace() if e.dxf.layer == "STATIONS"]
    points = np.array([tuple(v.dxf.location) for v in line.vertices])
    np.testing.assert_allclose(points[:, 0], one.stations.x_mm, atol=WITHIN_MM)
    np.testing.assert_allclose(points[:, 2], one.stations.z_mm, atol=WITHIN_MM)
    assert line.is_closed
    texts = {e.dxf.text for e in document.modelspace() if e.dxftype() == "TEXT"}
    assert {"Moss Siding", "dip +0.82 mm"} <= texts


def test_lines_by_their_bare_group_codes(drawn: tuple[bytes, Alignment]) -> None:
    """Pairs of code and value as the DXF reference has them: 10, 20 the start, 11, 21 the end of a LINE."""
    rows = drawn[0].decode().splitlines()
    pairs = [(int(code), value) for code, value in zip(rows[::2], rows[1::2], strict=True)]
    starts = [i for i, pair in enumerate(pairs) if pair == (0, "LINE")]
    found = []
    for i in starts:
        codes = dict(pairs[i + 1 : next(k for k in range(i + 1, len(pairs)) if pairs[k][0] == 0)])
        found.append([float(codes[code]) for code in (10, 20, 11, 21)])
    wanted = [[p.x0_mm, p.y0_mm, p.x1_mm, p.y1_mm] for p in drawn[1].plan if p.kind == "straight"]
    np.testing.assert_allclose(found, wanted, atol=WITHIN_MM)

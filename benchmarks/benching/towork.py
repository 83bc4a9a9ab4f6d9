"""What is to be worked from: true size on paper, closed solids, flux index, strength."""

import io
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import trimesh

from benchmarks.row import Row, at_most
from wayrule.model import Axle, Board, FieldSensor, FloorLayer, Magnets, Solid
from wayrule.report.solids import stl_bytes, threemf_bytes
from wayrule.report.worksheet import worksheet_svg
from wayrule.sim.wagons import G_COACH, G_WAGON, HO_VAN, N_VAN
from wayrule.wagon.axle import section
from wayrule.wagon.harm import harm
from wayrule.wagon.jig import Fit, filing_jig
from wayrule.wagon.spacer import sensor_spacer
from wayrule.wagon.worksheet import worksheet

ESTIMATES = ((2, 1, 27), (3, 1, 56), (4, 1, 81), (4, 2, 178), (6, 2, 313), (8, 3, 695))
"""Disc diameter, thickness [mm], flux index [kG2 mm2] of discs of 1.3 T, estimated elsewhere with the uniform disc."""

BARS = {
    "bar-100-mm": (100.0, 0.0),
    "bar-4-in": (101.6, 0.0),
    "bar-100-mm-upright": (0.0, 100.0),
    "foot-100-mm": (100.0, 0.0),
}


def towork_rows(quick: bool) -> Iterator[Row]:
    """The figures of sheet, jig, spacer, cautions and axle."""
    yield at_most(
        "bars of the sheet, A4 and Letter, HO, N, G and a G coach: worst error of a length", _bars(), 0.002, "mm"
    )
    count = 40 if quick else 300
    closed = _closed(count)
    what = f"jig and spacer of {count} drawn wagons, closed and in one piece (STL and 3MF)"
    yield Row(what, f"{closed} of {count}", "all", closed == count)
    worst = max(abs(_index(d, t) / index - 1) for d, t, index in ESTIMATES)
    yield at_most("flux index of six discs against estimates made elsewhere, printed whole, relative", worst, 0.02, "")
    yield at_most(
        "section moduli of an axle with flats against integration of its outline, relative", _moduli(), 1e-6, ""
    )


def _bars() -> float:
    errors = []
    for wagon in (HO_VAN, N_VAN, G_WAGON, G_COACH):
        for paper in ("A4", "Letter"):
            for text in worksheet_svg(worksheet(wagon), paper):
                errors += [
                    abs(value - want)
                    for name, size in _sizes(text)
                    for value, want in zip(size, BARS[name], strict=True)
                ]
    return max(errors)


def _sizes(text: str) -> Iterator[tuple[str, tuple[float, float]]]:
    """Each bar of a page and its size in mm of paper, from the file's own coordinates."""
    root = ElementTree.fromstring(text)
    wide = float(root.attrib["viewBox"].split()[2])
    mm = float(root.attrib["width"].removesuffix("mm")) / wide
    for group in root.iter("{http://www.w3.org/2000/svg}g"):
        name = group.attrib.get("id", "")
        if name in BARS:
            path = " ".join(p.attrib["d"] for p in group.iter("{http://www.w3.org/2000/svg}path"))
            points = np.array([float(v) for v in re.findall(r"[\d.]+", path)]).reshape(-1, 2)
            across, up = np.ptp(points, axis=0) * mm
            yield name, (float(across), float(up))


def _closed(count: int) -> int:
    rng = np.random.default_rng(4)
    good = 0
    for _ in range(count):
        thick = float(rng.uniform(0.8, 8.0))
        disc = Magnets("disc_pair", diameter_mm=float(rng.uniform(1, 12)), thickness_mm=1.0, grade="N42",
                       flat_radius_mm=max(0.25, float(rng.uniform(0.3, 0.97)) * thick / 2))  # fmt: skip
        board = Board((float(rng.uniform(8, 80)), float(rng.uniform(6, 40)), 4.0), sensor_height_mm=1.0)
        wagon = replace(
            G_WAGON, axle=Axle(thick), magnets=disc, board=board, floor=(FloorLayer("plastic", 3.0, 14.0),),
            sensor=FieldSensor(place_mm=(0.0, 0.0, float(rng.uniform(18.5, 40.0)))),
        )  # fmt: skip
        fit = Fit(float(rng.uniform(0, 0.4)), file_mm=float(rng.uniform(2, 8)), wheels_on=bool(rng.integers(2)))
        good += all(_is_closed(s) for s in (filing_jig(wagon, fit).solid, sensor_spacer(wagon, fit.clearance_mm).solid))
    return good


def _is_closed(solid: Solid) -> bool:
    """As another library reads both files."""
    files = (("stl", stl_bytes(solid)), ("3mf", threemf_bytes(solid)))
    meshes = [trimesh.load_mesh(io.BytesIO(data), file_type=kind) for kind, data in files]
    return all(m.is_watertight and m.is_winding_consistent and m.body_count == 1 for m in meshes)


def _index(diameter: float, thickness: float) -> float:
    return harm(
        Magnets("single", diameter_mm=diameter, thickness_mm=thickness, remanence_mt=(1300.0, 1300.0))
    ).flux_index


def _moduli() -> float:
    """Worst relative difference of area and both second moments to the sums over a polygon's corners (Green)."""
    worst = 0.0
    for share in (0.05, 0.3, 0.6, 0.9, 0.999):
        r, angle = 1.0, math.asin(share)
        turn = np.linspace(-angle, angle, 40_000)
        turn = np.concatenate([turn, math.pi + turn])
        u, v = r * np.cos(turn), r * np.sin(turn)
        u2, v2 = np.roll(u, -1), np.roll(v, -1)
        cross = u * v2 - u2 * v
        sums = (
            cross.sum() / 2,
            (cross * (v * v + v * v2 + v2 * v2)).sum() / 12,
            (cross * (u * u + u * u2 + u2 * u2)).sum() / 12,
        )
        got = section(2 * r, share)
        mine = (got.area_mm2, got.weak_i_mm4, got.stiff_i_mm4)
        worst = max(worst, *(abs(a / b - 1) for a, b in zip(mine, sums, strict=True)))
    return worst

"""Fields of bodies in air against evaluations that share nothing with closed forms."""

import csv
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import magpylib
import numpy as np

from benchmarks.row import Row, at_most
from wayrule.model import Magnets
from wayrule.model.arrays import Array
from wayrule.wagon.fields import field_mt
from wayrule.wagon.grades import GRADES
from wayrule.wagon.sources import Source, sources_of

BR = 1300.0
FACTS = Path(__file__).parents[3] / "shared" / "facts" / "magnets_ndfeb_grades.csv"
PUBLISHED = {"N35": (1170.0, 1220.0), "N42": (1280.0, 1320.0), "N45": (1320.0, 1380.0), "N52": (1420.0, 1480.0)}
"""Ranges over suppliers' published tables, for a checkout without the shared facts."""


def body_rows() -> Iterator[Row]:
    """The figures of bodies in air."""
    what = "greatest relative difference from surface charges integrated over the faces"
    yield at_most(f"discs of 2 to 12 mm, {what}", _discs(), 1e-6, "")
    yield at_most(f"block of 4 x 3 x 2 mm magnetised askew, {what}", _block(), 1e-6, "")
    yield at_most("disc on its axis against the textbook formula, relative", _on_axis(), 1e-6, "")
    yield at_most(
        "ring as difference of discs against the closed form of two half rings, three magnetisations, relative",
        _ring(),
        1e-6,
        "",
    )
    yield at_most(
        "disc pair against a dipole at 100 and 1000 times its size, times size over distance", _far(), 1.0, ""
    )
    found, rows = _grades()
    yield Row("remanence of the published grades", f"{found} of {rows} alike", "all alike", found == rows)


def around(seed: int, count: int, nearest: float) -> Array:
    """Points all round, from `nearest` outwards to eight times that."""
    rng = np.random.default_rng(seed)
    way = rng.standard_normal((count, 3))
    return np.asarray(way / np.linalg.norm(way, axis=1, keepdims=True) * rng.uniform(nearest, 8 * nearest, (count, 1)))


def worst(got: Array, exact: Array) -> float:
    """Greatest difference over the size of the exact field there."""
    return float(np.max(np.linalg.norm(got - exact, axis=-1) / np.linalg.norm(exact, axis=-1)))


def _charges(points: Array, place: Array, charge: Array) -> Array:
    """Field of charges (polarisation times area) at places: B = q r / (4 pi r3)."""
    gap = points[:, None] - place
    return np.asarray(
        np.einsum("pqk,q->pk", gap / np.linalg.norm(gap, axis=-1, keepdims=True) ** 3, charge) / (4 * math.pi)
    )


def _discs() -> float:
    found = 0.0
    node, weight = np.polynomial.legendre.leggauss(60)
    a = np.arange(240) * 2 * math.pi / 240
    for diameter, thickness in ((2.0, 1.0), (3.0, 1.0), (4.0, 1.0), (12.0, 3.0)):
        r = (diameter / 4 * (1 + node))[:, None]
        area = (diameter / 4 * weight[:, None] * r * np.full(240, 2 * math.pi / 240)).ravel()
        face = np.stack(np.broadcast_arrays(r * np.cos(a), r * np.sin(a), thickness / 2), -1).reshape(-1, 3)
        points = around(1, 40, 0.75 * math.hypot(diameter, thickness))
        place = np.concatenate([face, face * [1.0, 1.0, -1.0]])
        exact = _charges(points, place, BR * np.concatenate([area, -area]))
        found = max(found, worst(field_mt((_disc(diameter, thickness),), points), exact))
    return found


def _block() -> float:
    size, way = np.array([4.0, 3.0, 2.0]), np.array([300.0, -700.0, 900.0])
    node, weight = np.polynomial.legendre.leggauss(50)
    places, charges = [], []
    for axis in range(3):
        i, j = (k for k in range(3) if k != axis)
        for sign in (1.0, -1.0):
            face = np.zeros((50, 50, 3))
            face[..., axis] = sign * size[axis] / 2
            face[..., i], face[..., j] = size[i] / 2 * node[:, None], size[j] / 2 * node
            places.append(face.reshape(-1, 3))
            charges.append((sign * way[axis] * np.outer(weight, weight) * size[i] * size[j] / 4).ravel())
    points = around(3, 40, 0.8 * float(np.linalg.norm(size)))
    exact = _charges(points, np.concatenate(places), np.concatenate(charges))
    block = Source("block", (4.0, 3.0, 2.0), way, np.zeros(3), np.eye(3))
    return worst(field_mt((block,), points), exact)


def _on_axis() -> float:
    z = np.linspace(0.1, 60.0, 200)
    exact = BR / 2 * ((z + 1) / np.hypot(2.0, z + 1) - z / np.hypot(2.0, z))
    got = field_mt((_disc(4.0, 1.0),), np.stack([0 * z, 0 * z, z + 0.5], -1))[:, 2]
    return float(np.max(np.abs(got / exact - 1)))


def _ring() -> float:
    """Against two halves by the closed form of cylinder segments (F. Slanovc et al., J. Magn. Magn. Mater. 559 (2022)
    169482): other formulas of the same library, which for a whole ring would take the difference of discs itself."""
    points = around(4, 40, 5.0)
    found = 0.0
    for way in ((0.0, 0.0, BR), (BR, 0.0, 0.0), (400.0, 500.0, 600.0)):
        ring = Source("ring", (8.0, 3.0, 4.0), np.array(way), np.zeros(3), np.eye(3))
        exact = np.zeros_like(points)
        for begin in (0.0, 180.0):
            half: Any = magpylib.magnet.CylinderSegment(  # type: ignore[no-untyped-call]
                dimension=(1.5, 4.0, 4.0, begin, begin + 180.0), polarization=way
            )
            exact += half.getB(points)
        found = max(found, worst(field_mt((ring,), points), exact))
    return found


def _far() -> float:
    pair = sources_of(Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42"))
    moment = np.sum([source.moment_mt_mm3 for source in pair], axis=0)
    found = 0.0
    for times in (100.0, 1000.0):
        points = around(5, 30, 1.0)
        unit = points / np.linalg.norm(points, axis=1, keepdims=True)
        far = 4.0 * times
        dipole = (3 * (unit @ moment)[:, None] * unit - moment) / (4 * math.pi * far**3)
        found = max(found, worst(field_mt(pair, unit * far), dipole) * times)
    return found


def _grades() -> tuple[int, int]:
    published = PUBLISHED
    if FACTS.exists():
        with FACTS.open(encoding="utf-8") as file:
            published = {
                row["grade"]: (1e3 * float(row["Br_min_T"]), 1e3 * float(row["Br_max_T"]))
                for row in csv.DictReader(file)
            }
    alike = sum(np.allclose(GRADES[name].remanence_mt, published[name]) for name in published)
    return int(alike), len(published)


def _disc(diameter: float, thickness: float) -> Source:
    return Source("disc", (diameter, thickness), np.array([0.0, 0.0, BR]), np.zeros(3), np.eye(3))

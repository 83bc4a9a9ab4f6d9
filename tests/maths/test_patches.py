"""Thin permeable sheets on a grid against closed forms: an endless soft sheet, a spheroid's, a charged rectangle."""

import math

import numpy as np
import pytest

from wayrule.maths.patches import Patch, added_field, charged

DEPTH = 4.0


def dipole_below(points):
    """Upright and level dipole of moment 4 pi at depth DEPTH below the origin: (m, 3, 2)."""
    gap = points + np.array([0.0, 0.0, DEPTH])
    r = np.linalg.norm(gap, axis=1, keepdims=True)
    return np.stack([3 * gap[:, [k]] * gap / r**5 - np.eye(3)[k] / r**3 for k in (2, 0)], axis=-1)


def test_a_wide_soft_sheet_shields_as_the_endless_one_does():
    # T = 1 / (1 + L k), L = c/2: upright dipole straight above: integral of k2 e^{-kz} / (1 + L k)
    c, z = 8.0, 6.0
    solved = charged((Patch((0.0, 0.0, 0.0), 120.0, 120.0, c),), dipole_below, cell_mm=0.8)
    at = np.array([[0.0, 0.0, z]])
    got = (dipole_below(at) + added_field(solved, at))[0]
    x = np.linspace(0.0, 60.0, 200_001)
    kernel = x * x * np.exp(-x) / (1 + c / 2 * x / (z + DEPTH)) / (z + DEPTH) ** 3
    exact = float(np.sum((kernel[1:] + kernel[:-1]) / 2 * np.diff(x)))
    assert got[2, 0] == pytest.approx(exact, rel=0.02)  # grid: (cell / depth)^2 is 0.04
    # level dipole, straight above: half of it, the other way, along the dipole
    assert got[0, 1] == pytest.approx(-exact / 2, rel=0.02)


def test_the_flux_in_a_perfect_sheet_is_what_arrives():
    # perfectly soft: nothing passes, the flux that arrives within a circle doubles and leaves along the sheet:
    # K = 2 m r / (4 pi (r2 + h2)^1.5), greatest at r = h/sqrt 2; here m = 4 pi
    solved = charged((Patch((0.0, 0.0, 0.0), 120.0, 120.0, 1e5),), dipole_below, cell_mm=0.8)
    r = DEPTH / math.sqrt(2)
    exact = 2 * r / (r * r + DEPTH**2) ** 1.5
    # the greatest of both parts at once is at most sqrt 2 too much
    assert exact * 0.98 < solved.flux[0, 0] < exact * 1.45


def test_an_even_field_along_a_long_strip_is_carried_by_its_permeability():
    # a strip much longer than c: in its middle the field is hardly changed, K = c H
    solved = charged(
        (Patch((0.0, 0.0, 0.0), 400.0, 10.0, 1.0),),
        lambda p: np.broadcast_to([[1.0], [0.0], [0.0]], (len(p), 3, 1)),
        cell_mm=1.5,
    )
    assert solved.flux[0, 0] == pytest.approx(1.0, rel=0.03)


def test_charges_sum_to_nothing_and_their_field_is_a_gradient():
    solved = charged(
        (Patch((1.0, -2.0, 0.0), 30.0, 20.0, 5.0), Patch((0.0, 0.0, 2.0), 10.0, 10.0, 3.0)), dipole_below, cell_mm=1.0
    )
    total = np.sum(solved.charge * 4 * np.prod(solved.cell_mm, axis=1)[:, None], axis=0)
    assert np.max(np.abs(total)) < 1e-10
    place, h = np.array([3.0, 1.0, 5.0]), 1e-3
    slopes = np.stack(
        [
            (added_field(solved, (place + h * e)[None]) - added_field(solved, (place - h * e)[None]))[0] / (2 * h)
            for e in np.eye(3)
        ]
    )
    for f in range(2):
        assert np.max(np.abs(slopes[..., f] - slopes[..., f].T)) < 1e-6 * np.max(np.abs(slopes[..., f]))
        assert abs(np.trace(slopes[..., f])) < 1e-6 * np.max(np.abs(slopes[..., f]))


def test_far_away_the_charged_cells_are_points():
    solved = charged((Patch((0.0, 0.0, 0.0), 4.0, 4.0, 5.0),), dipole_below, cell_mm=1.0)
    at = np.array([[30.0, 40.0, 60.0]])
    gap = at - solved.place_mm
    point = (solved.charge * 4 * np.prod(solved.cell_mm, axis=1)[:, None] / (4 * math.pi)).T @ (
        gap / np.linalg.norm(gap, axis=1, keepdims=True) ** 3
    )
    assert np.max(np.abs(added_field(solved, at)[0].T - point)) < 1e-3 * np.max(np.abs(point))


def test_two_wide_sheets_one_above_the_other_shield_as_two_endless_ones():
    # two thin sheets c a gap g apart: with q = c k/2 each, T = 1 / (1 + 2 q + q2 (1 - e^{-2kg})) (waves to and fro)
    c, gap, z = 8.0, 2.0, 8.0
    pair = (Patch((0.0, 0.0, 0.0), 120.0, 120.0, c), Patch((0.0, 0.0, gap), 120.0, 120.0, c))
    solved = charged(pair, dipole_below, cell_mm=1.0)
    at = np.array([[0.0, 0.0, z]])
    got = (dipole_below(at) + added_field(solved, at))[0, 2, 0]
    x = np.linspace(0.0, 60.0, 200_001)
    k = x / (z + DEPTH)
    q = c * k / 2
    kernel = x * x * np.exp(-x) / (1 + 2 * q + q * q * (1 - np.exp(-2 * k * gap))) / (z + DEPTH) ** 3
    assert got == pytest.approx(float(np.sum((kernel[1:] + kernel[:-1]) / 2 * np.diff(x))), rel=0.03)

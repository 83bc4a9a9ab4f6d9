"""Reading a field by an axle's reference: the axle angle, and what of its harmonics the reference leaves."""

import numpy as np

from wayrule.maths.ellipse import even_subset, robust_ellipse
from wayrule.maths.harmonics import Harmonics, all_harmonics
from wayrule.maths.turncurve import slopes_of, terms_of, towards
from wayrule.model import AxleReference
from wayrule.model.arrays import Array
from wayrule.run.decode import LEAST_COVERED, LONG_STEP_TURNS, steady_samples
from wayrule.run.field import covered_share
from wayrule.run.unwrap import TAU, unwrap, wrap

GRID = 720
"""Angles of the reference at which the nearest one to a reading is sought where the readings draw no ring."""
AT_ONCE = 10_000


def read_by(reference: AxleReference, field_mt: Array) -> tuple[Array, Array]:
    """Axle angle within a turn of readings (n, 3), and its sd from noise and harmonics: (n,) each [rad].

    The reference's own middle is used: as long as the wagon keeps its heading, Earth's field is part of it. NaN where
    an axis is missing.
    """
    axes = reference.axes
    points = field_mt[:, axes]
    seen = np.isfinite(points).all(axis=1)
    curve = reference.curve_mt[:, axes]
    phi, sd = np.full(len(points), np.nan), np.full(len(points), np.nan)
    at = _nearest(points[seen], curve)
    for _ in range(2):
        step, _, slope = towards(at, points[seen], curve)
        at = at + step
    phi[seen] = at % TAU
    sd[seen] = np.hypot(reference.residual_mt / slope, np.sqrt(np.sum(reference.angle_sd_rad**2)))
    return phi, sd


def first_angles(points: Array, reference: AxleReference) -> Array:
    """Angles (n,) of readings (n, d): by the ring that they draw, whatever its size and middle; else the nearest."""
    flat = points @ reference.basis[:, reference.axes].T
    ellipse, near = robust_ellipse(flat[even_subset(flat)])
    if ellipse is not None and near.mean() > 0.6 and ellipse.semi_axes[1] > 3.0 * reference.noise_mt:
        circle = ellipse.on_circle(flat)
        psi = reference.forward * np.arctan2(circle[:, 1], circle[:, 0])
        if covered_share(psi) >= LEAST_COVERED:
            turn = np.outer(psi, np.arange(1, reference.angle_rad.shape[1] + 1))
            return np.asarray(psi - np.cos(turn) @ reference.angle_rad[0] - np.sin(turn) @ reference.angle_rad[1])
    return _nearest(points, reference.curve_mt[:, reference.axes])


def angle_harmonics(t_s: Array, phi_rad: Array, points: Array, curve: Array) -> Harmonics | None:
    """Periodic error of the angle that a curve reads from points (n, d); None with too few turns."""
    for _ in range(2):
        phi_rad = phi_rad + np.clip(towards(phi_rad, points, curve)[0], -0.5, 0.5)
    counted = unwrap(t_s, wrap(phi_rad))
    told = all_harmonics(t_s, counted.psi_rad, steady_samples(counted, LONG_STEP_TURNS))
    return None if told is None else told[0]


def angle_by(curve: Array, columns: Array) -> Array:
    """Harmonics (2 K, p), cosines then sines, of the angle that a curve reads when the field changes by each column."""
    orders = len(curve) // 2
    phi = np.linspace(0.0, TAU, GRID, endpoint=False)
    terms, tangent = terms_of(phi, orders), slopes_of(phi, curve)
    change = np.tensordot(terms, columns, axes=(1, 1))
    along = np.einsum("nd,npd->np", tangent, change) / np.maximum(np.sum(tangent**2, axis=1), 1e-12)[:, None]
    return np.asarray(2.0 / GRID * terms[:, 1:].T @ along)


def _nearest(points: Array, curve: Array) -> Array:
    """The nearest of `GRID` angles to each reading."""
    grid = np.linspace(0.0, TAU, GRID, endpoint=False)
    there = terms_of(grid, len(curve) // 2) @ curve
    square = np.sum(there**2, axis=1)
    parts = [points[a : a + AT_ONCE] for a in range(0, len(points), AT_ONCE)]
    return np.concatenate([grid[np.argmin(square - 2.0 * part @ there.T, axis=1)] for part in parts])

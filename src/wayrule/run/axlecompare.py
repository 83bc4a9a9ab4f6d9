"""A field against a reference: a linear model of what may have changed, the best sizes of it and their evidence.

B(phi)  field of the reference      theta (p,)  sizes of what may have changed      J (n d, p)  what they do
"""

from dataclasses import dataclass, replace

import numpy as np

from wayrule.maths.turncurve import slopes_of, terms_of, towards
from wayrule.model import AxleReference
from wayrule.model.arrays import Array
from wayrule.run.axlecauses import PLAIN, Explanation
from wayrule.run.axlereading import angle_by, angle_harmonics, first_angles
from wayrule.run.axlesigns import SIGNS, STRENGTH, signs

SOME = 800
"""At most so many readings, evenly spread, are compared: more do not make a change surer than it is usual."""
ROUNDS = 5
"""Angles and sizes are found in turns; a sixth round changes nothing."""
BENDS = 3
"""Other bends of the curve are let up to this order: harmonics above come with sharper changes than these."""
CLEARLY = 6.0
"""Numbers above that order are believed where they are so many times their sd."""
FIRST_RAD = 0.006
"""Once a turn a later run's angle may err by so much without a fault: an out-of-round wheel of 0.02 mm, and jerks."""
OTHERS_RAD = 0.002


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """A recording against a reference, ready for any explanation.

    points (n, d), phi_rad (n,) first guess; curve (2 K + 1, d) of the reference
    columns (p, 2 K + 1, d)   what theta does: the signs, then bends of the curve, each of them with its usual sd
                              `bend_sd` [mT]; noise_mt of a component
    told (2 K,), told_sd (2 K,), by (2 K, p): harmonics of the angle as the reference reads it, and what theta makes of
    them; all without rows where the recording cannot tell
    """

    points: Array
    phi_rad: Array
    curve: Array
    columns: Array
    bend_sd: Array
    noise_mt: float
    told: Array
    told_sd: Array
    by: Array


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """An explanation at its best: sizes, their covariance, log of its evidence, rest of the curve's bending [mT]."""

    explanation: Explanation
    theta: Array
    covariance: Array
    log_evidence: float
    bent_mt: float


def compared(
    reference: AxleReference, t_s: Array, field_mt: Array, place_mm: tuple[float, float, float] | None
) -> Compared:
    """Readings, first angles, columns; and the harmonics of the angle where there are turns enough."""
    reference = _believed(reference)
    axes = reference.axes
    curve = reference.curve_mt[:, axes]
    bends = _bends(*curve.shape)
    sd = np.repeat(reference.curve_sd_mt[np.minimum(_order(len(bends) // curve.shape[1]), BENDS)], curve.shape[1])
    phi = first_angles(field_mt[:, axes], reference)
    some = slice(None, None, -(-len(phi) // SOME))
    nothing = np.empty(0)
    found = Compared(
        points=field_mt[some][:, axes],
        phi_rad=phi[some],
        curve=curve,
        columns=np.concatenate([signs(reference, place_mm), bends]),
        bend_sd=sd,
        noise_mt=max(reference.residual_mt, 1e-6),
        told=nothing,
        told_sd=nothing,
        by=np.empty((0, SIGNS + len(bends))),
    )
    plain = fitted(found, PLAIN)
    theta = np.concatenate([plain.theta, np.zeros(len(bends))])
    changed = curve + np.tensordot(theta, found.columns, axes=1)
    told = angle_harmonics(t_s, phi, field_mt[:, axes], changed)
    if told is None:
        return found
    by = angle_by(changed, found.columns)
    usual = np.where(np.arange(len(told.sd_rad)) == 0, FIRST_RAD, OTHERS_RAD)
    sd = np.sqrt(told.sd_rad**2 + reference.angle_sd_rad**2 + usual**2)
    return replace(found, told=np.concatenate([told.cosine, told.sine]) + by @ theta, told_sd=np.tile(sd, 2), by=by)


def _believed(reference: AxleReference) -> AxleReference:
    """The reference without numbers above order `BENDS` that do not stand out of their noise.

    A plate taken out makes the field many times stronger, and with it the noise of what was learnt behind it.
    """
    order = _order(len(reference.curve_mt))
    noise = CLEARLY * reference.curve_sd_mt[order][:, None]
    with np.errstate(invalid="ignore"):
        feigned = (order[:, None] > BENDS) & (np.abs(reference.curve_mt) < noise)
    return replace(reference, curve_mt=np.where(feigned, 0.0, reference.curve_mt))


def _bends(count: int, axes: int) -> Array:
    """A column for each number of the curve up to order `BENDS`: (p, count, axes)."""
    rows = np.flatnonzero(_order(count) <= BENDS)
    out = np.zeros((len(rows), axes, count, axes))
    for i, row in enumerate(rows):
        out[i, np.arange(axes), row, np.arange(axes)] = 1.0
    return out.reshape(-1, count, axes)


def across_curve(points: Array, phi_rad: Array, curve: Array, columns: Array) -> tuple[Array, Array]:
    """Readings less the curve (n, d), and columns (p, 2 K + 1, d) at the readings (n, d, p), each across the curve."""
    terms = terms_of(phi_rad, len(curve) // 2)
    tangent = slopes_of(phi_rad, curve)
    unit = tangent / np.maximum(np.linalg.norm(tangent, axis=1), 1e-12)[:, None]
    away = points - terms @ curve
    away = away - unit * np.sum(away * unit, axis=1)[:, None]
    each = np.tensordot(terms, columns, axes=(1, 1)).transpose(0, 2, 1)
    return away, each - unit[:, :, None] * np.einsum("nd,ndp->np", unit, each)[:, None]


def fitted(found: Compared, one: Explanation) -> Fitted:
    """The best sizes for one explanation, and its evidence."""
    curve, columns, noise = found.curve, found.columns, found.noise_mt
    theta = np.concatenate([one.mean, np.zeros(len(found.bend_sd))])
    mean, phi = theta.copy(), found.phi_rad
    for _ in range(ROUNDS):
        change = np.tensordot(theta[STRENGTH:SIGNS], columns[STRENGTH:SIGNS], axes=1)
        crude = one.crude * float(np.sqrt(np.sum(change**2) / 2.0))
        own = found.bend_sd * max(1.0, 1.0 + theta[STRENGTH])
        sd = np.concatenate([one.sd, np.hypot(np.hypot(own, crude), one.bending_mt)])
        changed = curve + np.tensordot(theta, columns, axes=1)
        phi = phi + np.clip(towards(phi, found.points, changed)[0], -0.5, 0.5)
        away, each = across_curve(found.points, phi, changed, columns)
        rows = np.concatenate([each.reshape(-1, len(theta)) / noise, found.by / found.told_sd[:, None]])
        data = np.concatenate(
            [(away.ravel() + each.reshape(-1, len(theta)) @ theta) / noise, found.told / found.told_sd]
        )
        information = rows.T @ rows
        covariance = np.linalg.inv(information + np.diag(1.0 / sd**2))
        theta = covariance @ (rows.T @ data + mean / sd**2)
    left = data - rows @ theta
    chi2 = float(left @ left + np.sum(((theta - mean) / sd) ** 2))
    free = float(np.linalg.slogdet(np.eye(len(theta)) + sd[:, None] * information * sd)[1])
    best = np.asarray(covariance[:SIGNS, :SIGNS], dtype=np.float64)
    bent = float(np.sqrt(np.sum(theta[SIGNS:] ** 2) / 2.0))
    return Fitted(one, theta[:SIGNS], best, -0.5 * (chi2 + free), bent)


def _order(count: int) -> Array:
    """Order of each row of a curve: 0, 1 .. K, 1 .. K."""
    half = np.arange(1, count // 2 + 1)
    return np.concatenate([[0], half, half])

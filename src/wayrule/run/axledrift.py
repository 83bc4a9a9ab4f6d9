"""What has changed at an axle since it was calibrated: told from the field alone, with the size and how likely.

B(phi)  field of the reference      theta (p,)  sizes of what may have changed      J (n d, p)  what they do
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths.turncurve import slopes_of, terms_of, towards
from wayrule.model import AxleDrift, AxleReference, DriftCause, DriftKind
from wayrule.model.arrays import Array
from wayrule.run.axlecauses import ODDS, PLAIN, USUAL, Explanation, cause_of, explanations
from wayrule.run.axlereading import angle_by, angle_harmonics, first_angles
from wayrule.run.axlesigns import MIDDLE, SIGNS, STRENGTH, signs
from wayrule.run.field import is_still
from wayrule.run.unwrap import TAU

LEAST = 10
"""Readings without which nothing is compared."""
SOME = 800
"""At most so many readings, evenly spread, are compared: more do not make a change surer than it is usual."""
GRID = 720
"""Angles of the reference at which a standing axle's field is looked for."""
ROUNDS = 5
"""Angles and sizes are found in turns; a sixth round changes nothing."""
BENDS = 3
"""Other bends of the curve are let up to this order: harmonics above come with sharper changes than these."""
CLEARLY = 6.0
"""Numbers above that order are believed where they are so many times their sd."""
FIRST_RAD = 0.006
"""Once a turn a later run's angle may err by so much without a fault: an out-of-round wheel of 0.02 mm, and jerks."""
OTHERS_RAD = 0.002
CLEAR = 4.0
"""A standing axle's field is called changed when it is so many sds off the curve."""


def axle_drift(
    reference: AxleReference,
    t_s: Array,
    field_mt: Array,
    *,
    place_mm: tuple[float, float, float] | None = None,
    temperature_c: float = math.nan,
    change_pct_k: float = -0.12,
    pair: bool = True,
    run: str = "run",
) -> AxleDrift:
    """What has changed since the reference was learnt.

    Parameters
    ----------
    reference : AxleReference
    t_s : (n,) array             time, strictly rising [s]
    field_mt : (n, 3) array      readings of the later recording, or of a window of it [mT]; NaN where missing
    place_mm : (3,)              sensor from the axle centre: forward, left, up; sizes of moves are shares of the
                                 distance from axle to sensor where it is None
    temperature_c : float        of the later recording; NaN: not known
    change_pct_k : float         change of the magnets' remanence [%/K]; -0.12 is neodymium's
    pair : bool                  whether there are two magnets, one of which may come off

    Raises
    ------
    UndeterminedError   no readings in the axes of the reference

    Notes
    -----
    The angle of a reading is the nearest place of the changed curve. What lies across the curve tells, however the axle
    turned; and where it turned on for eight turns and more, so do the harmonics of that angle about smooth motion. Each
    explanation is a prior N(mean, P) of the numbers theta (`run.axlecauses`), the field they make is B + J theta
    (`run.axlesigns`); what is usual from day to day is part of each. Its evidence is that of a linear model with
    Gaussian prior and noise, log p = -(chi2 + log det(P J'J / s2 + 1)) / 2 at the best theta, chi2 with the prior's
    share (Bishop, Pattern Recognition and Machine Learning, 2006, 3.5.1): freedom that is not needed costs. With the
    odds beforehand that makes the probabilities.
    """
    seen = np.isfinite(field_mt[:, reference.axes]).all(axis=1)
    if seen.sum() < LEAST:
        raise UndeterminedError(
            expected=f"at least {LEAST} readings in the axes of the field that the calibration has",
            came=f"{seen.sum()}",
            where=run,
            next_step="record the field sensor as it was when the wagon was calibrated",
        )
    t, field = t_s[seen], field_mt[seen]
    if is_still(field[:, reference.axes], reference.noise_mt):
        return _stood(field[:, reference.axes], reference)
    found = _compared(reference, t, field, place_mm)
    off = _across(found.points, found.phi_rad, found.curve, found.columns[:0])[0]
    tried = explanations(
        reference.temperature_c, temperature_c, change_pct_k, pair=pair, size_mt=float(reference.semi_axes_mt[0])
    )
    fitted = [_fitted(found, one) for one in tried]
    far_mm = math.nan if place_mm is None else float(np.linalg.norm(place_mm))
    return _verdict(fitted, _fitted(found, PLAIN), _rms(off), far_mm, change_pct_k, reference)


@dataclass(frozen=True, slots=True, eq=False)
class _Compared:
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
class _Fitted:
    """An explanation at its best: sizes, their covariance, log of its evidence, rest of the curve's bending [mT]."""

    explanation: Explanation
    theta: Array
    covariance: Array
    log_evidence: float
    bent_mt: float


def _compared(
    reference: AxleReference, t_s: Array, field_mt: Array, place_mm: tuple[float, float, float] | None
) -> _Compared:
    """Readings, first angles, columns; and the harmonics of the angle where there are turns enough."""
    reference = _believed(reference)
    axes = reference.axes
    curve = reference.curve_mt[:, axes]
    bends = _bends(*curve.shape)
    sd = np.repeat(reference.curve_sd_mt[np.minimum(_order(len(bends) // curve.shape[1]), BENDS)], curve.shape[1])
    phi = first_angles(field_mt[:, axes], reference)
    some = slice(None, None, -(-len(phi) // SOME))
    nothing = np.empty(0)
    found = _Compared(
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
    plain = _fitted(found, PLAIN)
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


def _across(points: Array, phi_rad: Array, curve: Array, columns: Array) -> tuple[Array, Array]:
    """Readings less the curve (n, d), and columns (p, 2 K + 1, d) at the readings (n, d, p), each across the curve."""
    terms = terms_of(phi_rad, len(curve) // 2)
    tangent = slopes_of(phi_rad, curve)
    unit = tangent / np.maximum(np.linalg.norm(tangent, axis=1), 1e-12)[:, None]
    away = points - terms @ curve
    away = away - unit * np.sum(away * unit, axis=1)[:, None]
    each = np.tensordot(terms, columns, axes=(1, 1)).transpose(0, 2, 1)
    return away, each - unit[:, :, None] * np.einsum("nd,ndp->np", unit, each)[:, None]


def _fitted(found: _Compared, one: Explanation) -> _Fitted:
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
        away, each = _across(found.points, phi, changed, columns)
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
    return _Fitted(one, theta[:SIGNS], best, -0.5 * (chi2 + free), bent)


def _order(count: int) -> Array:
    """Order of each row of a curve: 0, 1 .. K, 1 .. K."""
    half = np.arange(1, count // 2 + 1)
    return np.concatenate([[0], half, half])


def _verdict(
    fitted: list[_Fitted],
    plain: _Fitted,
    off_mt: float,
    far_mm: float,
    change_pct_k: float,
    reference: AxleReference,
) -> AxleDrift:
    """Probabilities, and the plain description by strength and middle alone."""
    share = {kind: sum(one.explanation.kind == kind for one in fitted) for kind in ODDS}
    odds = np.array([math.log(ODDS[one.explanation.kind] / share[one.explanation.kind]) for one in fitted])
    score = odds + np.array([one.log_evidence for one in fitted])
    possible = [one.explanation.allows(one.theta) for one in fitted]
    chance = np.where(possible, np.exp(score - score[possible].max()), 0.0)
    chance /= chance.sum()
    of_kind: dict[DriftKind, list[tuple[float, _Fitted]]] = {}
    for one, p in zip(fitted, chance, strict=True):
        of_kind.setdefault(one.explanation.kind, []).append((float(p), one))
    causes = []
    for kind, several in of_kind.items():
        best = max((pair for pair in several if pair[1].explanation.sizes), key=lambda pair: pair[0])[1]
        total = math.fsum(p for p, _ in several)
        causes.append(cause_of(kind, best.theta, best.covariance, total, far_mm=far_mm, change_pct_k=change_pct_k))
    causes.sort(key=lambda cause: -cause.probability)
    as_it_was = next(one.log_evidence for one in fitted if one.explanation.kind == "nothing")
    sd = np.sqrt(np.diag(plain.covariance))
    smaller = float(reference.semi_axes_mt[1])
    return AxleDrift(
        turned=True,
        strength=1.0 + float(plain.theta[STRENGTH]),
        strength_sd=float(sd[STRENGTH]),
        moved_mt=np.where(reference.axes, plain.theta[MIDDLE], np.nan),
        moved_sd_mt=np.where(reference.axes, sd[MIDDLE], np.nan),
        bent=plain.bent_mt / smaller,
        bent_sd=reference.residual_mt / math.sqrt(SOME) / smaller,
        off_mt=off_mt,
        sigma=math.sqrt(max(0.0, 2.0 * (max(one.log_evidence for one in fitted) - as_it_was))),
        causes=tuple(causes),
    )


def _rms(across: Array) -> float:
    """Rms of each component across the curve."""
    return float(np.sqrt(np.sum(across**2) / (len(across) * (across.shape[1] - 1))))


def _stood(points: Array, reference: AxleReference) -> AxleDrift:
    """A standing axle: on the curve, or off it; no more can be told."""
    curve = reference.curve_mt[:, reference.axes]
    middle = points.mean(axis=0)
    grid = np.linspace(0.0, TAU, GRID, endpoint=False)
    off = float(np.min(np.linalg.norm(terms_of(grid, len(curve) // 2) @ curve - middle, axis=1)))
    usual = math.hypot(USUAL["middle_mt"], 0.02 * float(reference.semi_axes_mt[0]))
    sigma = off / math.hypot(usual, reference.residual_mt / math.sqrt(len(points)))
    nan = np.full(3, np.nan)
    if sigma < CLEAR:
        text = f"The axle stood; its field lies {off:.2f} mT off the curve of the calibration, which is usual."
        cause = DriftCause("nothing", math.nan, math.nan, "", 1.0, text, "")
    else:
        text = f"The axle stood; its field lies {off:.2f} mT off the curve of the calibration."
        cause = DriftCause("unknown", off, usual, "mT", 1.0, text, "Turn the axle: only then can it be told why.")
    return AxleDrift(False, math.nan, math.nan, nan, nan.copy(), math.nan, math.nan, off, sigma, (cause,))

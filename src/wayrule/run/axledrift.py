"""What has changed at an axle since it was calibrated: told from the field alone, with the size and how likely.

B(phi)  field of the reference      theta (p,)  sizes of what may have changed      J (n d, p)  what they do
"""

import math

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.maths.turncurve import terms_of
from wayrule.model import AxleDrift, AxleReference, DriftCause, DriftKind
from wayrule.model.arrays import Array
from wayrule.run.axlecauses import ODDS, PLAIN, USUAL, cause_of, explanations
from wayrule.run.axlecompare import SOME, Fitted, across_curve, compared, fitted
from wayrule.run.axlesigns import MIDDLE, STRENGTH
from wayrule.run.field import is_still
from wayrule.run.unwrap import TAU

LEAST = 10
"""Readings without which nothing is compared."""
GRID = 720
"""Angles of the reference at which a standing axle's field is looked for."""
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
    found = compared(reference, t, field, place_mm)
    off = across_curve(found.points, found.phi_rad, found.curve, found.columns[:0])[0]
    tried = explanations(
        reference.temperature_c, temperature_c, change_pct_k, pair=pair, size_mt=float(reference.semi_axes_mt[0])
    )
    best = [fitted(found, one) for one in tried]
    far_mm = math.nan if place_mm is None else float(np.linalg.norm(place_mm))
    return _verdict(best, fitted(found, PLAIN), _rms(off), far_mm, change_pct_k, reference)


def _verdict(
    best: list[Fitted],
    plain: Fitted,
    off_mt: float,
    far_mm: float,
    change_pct_k: float,
    reference: AxleReference,
) -> AxleDrift:
    """Probabilities, and the plain description by strength and middle alone."""
    share = {kind: sum(one.explanation.kind == kind for one in best) for kind in ODDS}
    odds = np.array([math.log(ODDS[one.explanation.kind] / share[one.explanation.kind]) for one in best])
    score = odds + np.array([one.log_evidence for one in best])
    possible = [one.explanation.allows(one.theta) for one in best]
    chance = np.where(possible, np.exp(score - score[possible].max()), 0.0)
    chance /= chance.sum()
    of_kind: dict[DriftKind, list[tuple[float, Fitted]]] = {}
    for one, p in zip(best, chance, strict=True):
        of_kind.setdefault(one.explanation.kind, []).append((float(p), one))
    causes = []
    for kind, several in of_kind.items():
        top = max((pair for pair in several if pair[1].explanation.sizes), key=lambda pair: pair[0])[1]
        total = math.fsum(p for p, _ in several)
        causes.append(cause_of(kind, top.theta, top.covariance, total, far_mm=far_mm, change_pct_k=change_pct_k))
    causes.sort(key=lambda cause: -cause.probability)
    as_it_was = next(one.log_evidence for one in best if one.explanation.kind == "nothing")
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
        sigma=math.sqrt(max(0.0, 2.0 * (max(one.log_evidence for one in best) - as_it_was))),
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

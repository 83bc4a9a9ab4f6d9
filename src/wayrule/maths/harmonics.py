"""Periodic error of an angle reading, learnt from motion that is smoother than the error.

psi   angle as read [rad], phi = psi - h(psi) the true one      h(psi) = sum over k of A_k cos k psi + B_k sin k psi
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_lsq_spline

from wayrule.maths.counting import LEAST_TURNS, ORDERS, STANDS_OUT
from wayrule.model.arrays import Array

TAU = 2.0 * np.pi
STRETCH_TURNS = 60.0
"""Stretches are cut to this length so that each gets a weight of its own and the cost stays linear."""
MOST_STRETCHES = 24
"""Of more, so many from all over the run are used: that is 1400 turns, and the error repeats with every one."""


@dataclass(frozen=True, slots=True, eq=False)
class Harmonics:
    """Fourier terms of the error of an angle reading.

    cosine, sine   (K,) A_1..A_K, B_1..B_K [rad]; 0 for a pair that could not be told from nothing
    sd_rad         (K,) sd of each pair's coefficients; infinite where there was too little motion to tell
    turns          how many turns they rest on
    residual_rad   rms of what remains of the reading about smooth motion, noise and jerks of the motion included
    """

    cosine: Array
    sine: Array
    sd_rad: Array
    turns: float
    residual_rad: float

    @property
    def amplitude_rad(self) -> Array:
        """(K,) amplitude of each harmonic [rad]."""
        return np.hypot(self.cosine, self.sine)

    @property
    def ripple_sd_rad(self) -> float:
        """Rms over a turn of the error that the sd of the used coefficients leaves behind [rad]."""
        used = self.amplitude_rad > 0
        return float(np.sqrt(np.sum(self.sd_rad[used] ** 2)))

    def corrected(self, psi_rad: Array) -> Array:
        """The angle with its periodic error taken out: psi - h(psi), (n,)."""
        phi = np.array(psi_rad)
        for k, (a, b) in enumerate(zip(self.cosine, self.sine, strict=True), start=1):
            if a or b:
                phi -= a * np.cos(k * psi_rad) + b * np.sin(k * psi_rad)
        return phi


def fit_harmonics(
    t_s: Array, psi_rad: Array, steady: NDArray[np.bool_], *, orders: int = ORDERS, least_turns: float = LEAST_TURNS
) -> Harmonics:
    """Learn the periodic error of an unwrapped angle from its own run.

    Parameters
    ----------
    t_s : (n,) array           time, strictly rising [s]
    psi_rad : (n,) array       unwrapped angle as read [rad]
    steady : (n,) bool array   samples that may be used: turning one way, several readings a turn
    orders : int               K, the highest harmonic
    least_turns : float        with fewer usable turns nothing is claimed

    Returns
    -------
    Harmonics

    Notes
    -----
    In each stretch, psi - h(psi) is a cubic spline of time with one knot a turn. By shift invariance such a spline
    holds no component that repeats every turn at constant speed: it takes away the motion and leaves h. Spline and
    Fourier terms are solved together by plain least squares, the spline eliminated first (Frisch & Waugh 1933);
    stretches are weighted by the smoothness of their speed (1 / their residual variance). A pair is used when it
    exceeds three times its sd. The sd takes two independent readings a turn, since jerks of the motion are not white.

    Whatever repeats once a turn in the *motion* (an out-of-round wheel at steady speed) is taken for reading error
    too; that leaves the angle of the ideal round wheel, which is what the distance wants.

    Examples
    --------
    >>> t = np.linspace(0.0, 20.0, 4000)
    >>> psi = 12.0 * t + 0.05 * np.sin(24.0 * t)
    >>> h = fit_harmonics(t, psi, np.ones(4000, bool))
    >>> bool(abs(h.amplitude_rad[1] - 0.05) < 0.002)
    True
    """
    none = np.zeros(orders)
    found = _solved(t_s, psi_rad, steady, orders, least_turns)
    if isinstance(found, float):
        return Harmonics(none, none, np.full(orders, np.inf), found, float("nan"))
    kept = np.hypot(found.cosine, found.sine) > STANDS_OUT * found.sd_rad
    return replace(found, cosine=np.where(kept, found.cosine, 0.0), sine=np.where(kept, found.sine, 0.0))


def leaked(t_s: Array, phi_rad: Array, steady: NDArray[np.bool_], *, orders: int = ORDERS) -> Harmonics | None:
    """What `fit_harmonics` would take for periodic error of a reading that has none: jerks of the motion.

    Parameters
    ----------
    t_s, phi_rad, steady : as of `fit_harmonics`, the angle true
    Returns every pair it finds, small or not, and the rms of what the motion leaves; None with too few turns.

    Examples
    --------
    >>> t = np.linspace(0.0, 20.0, 4000)
    >>> bool(leaked(t, 12.0 * t, np.ones(4000, bool)).residual_rad < 1e-6)  # an even motion leaks nothing
    True
    """
    found = _solved(t_s, phi_rad, steady, orders, LEAST_TURNS)
    return None if isinstance(found, float) else found


def all_harmonics(
    t_s: Array, psi_rad: Array, steady: NDArray[np.bool_], *, orders: int = ORDERS
) -> tuple[Harmonics, Array, Array] | None:
    """Every pair, small or not, with an sd that supposes nothing of what the motion leaves; None with too few turns.

    Parameters
    ----------
    t_s, psi_rad, steady : as of `fit_harmonics`

    Returns
    -------
    harmonics : Harmonics   its sd from the scatter of the turns
    at_rad : (m,) array     angle as read of the readings that were used [rad]
    left_rad : (m,) array   what is left of them about smooth motion and these harmonics [rad]

    Notes
    -----
    Least squares of correlated readings (Liang & Zeger 1986): with F the terms, r what is left, W the weights, the
    covariance is N^-1 (sum over turns of s s') N^-1 m / (m - 1), s = F' W r summed over a turn, N = F' W F. Turns are
    taken as independent of each other, readings within a turn are not.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> t = np.linspace(0.0, 20.0, 4000)
    >>> noisy = 12.0 * t + rng.normal(0.0, 0.01, 4000)
    >>> found, _, _ = all_harmonics(t, noisy, np.ones(4000, bool))
    >>> bool(0.5 < found.sd_rad[2] / (0.01 * (2 / 4000) ** 0.5) < 1.6)  # white noise: sd sqrt(2 / n) of it
    True
    """
    found = _solution(t_s, psi_rad, steady, orders, LEAST_TURNS)
    if isinstance(found, float):
        return None
    scores, left = [], []
    for weight, piece in zip(found.weights, found.pieces, strict=True):
        rest = piece.rest - piece.terms @ found.coefficients
        left.append(rest)
        each = weight * piece.terms * rest[:, None]
        scores.append(np.add.reduceat(each, np.flatnonzero(np.diff(piece.turn, prepend=-1)), axis=0))
    score = np.concatenate(scores)
    inverse = np.linalg.pinv(found.normal, rcond=1e-10)
    covariance = inverse @ (score.T @ score) @ inverse * (len(score) / (len(score) - 1))
    variance = np.diag(covariance)
    pairs = _pairs(found)
    sd = np.sqrt((variance[:orders] + variance[orders:]) / 2)
    return replace(pairs, sd_rad=sd), np.concatenate([p.psi for p in found.pieces]), np.concatenate(left)


class _Piece(NamedTuple):
    """One stretch, its smooth motion taken out.

    rest    (m,) of the reading, terms (m, 2 K) Fourier terms
    turns   that it holds; turn (m,) number of each reading's, from its start
    psi     (m,) angle as read
    """

    rest: Array
    terms: Array
    turns: float
    turn: NDArray[np.int64]
    psi: Array


class _Solution(NamedTuple):
    """Fourier terms, and what they were solved from.

    coefficients (2 K,), normal (2 K, 2 K), weights and left (mean squares) of each piece
    """

    coefficients: Array
    normal: Array
    pieces: list[_Piece]
    weights: Array
    left: Array
    turns: float


def _solved(
    t_s: Array, psi_rad: Array, steady: NDArray[np.bool_], orders: int, least_turns: float
) -> Harmonics | float:
    """All pairs, however small; the turns alone where they are too few."""
    found = _solution(t_s, psi_rad, steady, orders, least_turns)
    return found if isinstance(found, float) else _pairs(found)


def _solution(
    t_s: Array, psi_rad: Array, steady: NDArray[np.bool_], orders: int, least_turns: float
) -> _Solution | float:
    """Least squares over all stretches; the turns alone where they are too few."""
    stretches = _stretches(psi_rad, steady)
    stretches = stretches[:: -(-len(stretches) // MOST_STRETCHES) or 1]
    pieces = [p for p in (_without_motion(t_s[a:b], psi_rad[a:b], orders) for a, b in stretches) if p is not None]
    turns = float(sum(p.turns for p in pieces))
    if turns < least_turns:
        return turns
    weights = np.ones(len(pieces))
    for _ in range(3):
        normal = np.asarray(sum(w * (p.terms.T @ p.terms) for w, p in zip(weights, pieces, strict=True)))
        right = np.asarray(sum(w * (p.terms.T @ p.rest) for w, p in zip(weights, pieces, strict=True)))
        coefficients = np.linalg.lstsq(normal, right, rcond=1e-10)[0]
        left = np.array([np.mean((p.rest - p.terms @ coefficients) ** 2) for p in pieces])
        used, weights = weights, 1.0 / np.maximum(left, 1e-14)
    return _Solution(coefficients, normal, pieces, used, left, turns)


def _pairs(found: _Solution) -> Harmonics:
    """The pairs with the sd of two independent readings a turn, half of them for A, half for B."""
    orders = len(found.coefficients) // 2
    turns = np.array([p.turns for p in found.pieces])
    information = np.sum(1.0 / np.maximum(found.left, 1e-14) * turns)
    samples = np.array([len(p.rest) for p in found.pieces])
    sd = np.full(orders, np.sqrt(2.0 / (2.0 * information)))
    residual = float(np.sqrt(np.sum(samples * found.left) / samples.sum()))
    return Harmonics(found.coefficients[:orders], found.coefficients[orders:], sd, found.turns, residual)


def _stretches(psi_rad: Array, steady: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """[start, end) of the runs of steady samples, cut into pieces of about `STRETCH_TURNS`, at least 3 turns each."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], steady, [False]]).astype(np.int8)))
    pieces: list[tuple[int, int]] = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        turned = np.abs(psi_rad[a:b] - psi_rad[a]) / TAU
        parts = max(1, int(turned[-1] // STRETCH_TURNS))
        cuts = a + np.searchsorted(np.maximum.accumulate(turned), np.linspace(0.0, turned[-1], parts + 1)[1:-1])
        bounds = [int(a), *(int(c) for c in cuts), int(b)]
        pieces += [(i, j) for i, j in pairwise(bounds) if abs(psi_rad[j - 1] - psi_rad[i]) > 3 * TAU]
    return pieces


def _without_motion(t_s: Array, psi_rad: Array, orders: int) -> _Piece | None:
    """One stretch, its smooth motion taken out of reading and terms; None if it is too thin."""
    turned = np.maximum.accumulate(np.abs(psi_rad - psi_rad[0])) / TAU
    turns = float(turned[-1])
    spacing = max(1, int(np.ceil(4.0 * turns / len(t_s))))  # at least about four readings between knots
    inner = np.interp(np.arange(spacing, turns - 0.5 * spacing, spacing), turned, t_s)
    if len(t_s) < 2 * (len(inner) + 4) + 2 * orders:
        return None
    knots = np.concatenate([np.repeat(t_s[0], 4), inner, np.repeat(t_s[-1], 4)])
    k = np.arange(1, orders + 1)
    phase = np.outer(psi_rad, k)
    columns = np.column_stack([psi_rad, np.cos(phase), np.sin(phase)])
    try:
        smooth = make_lsq_spline(t_s, columns, knots, k=3)(t_s)
    except (ValueError, np.linalg.LinAlgError):  # samples too uneven for the knots (Schoenberg & Whitney)
        return None
    rest = columns - smooth
    return _Piece(rest[:, 0], rest[:, 1:], turns, turned.astype(np.int64), psi_rad)

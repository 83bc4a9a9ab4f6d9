"""Least-squares fit of a blurred outline: zero, flat and ramp pieces, ramps continuous with what they join.

The data are means over blocks, so that fast wiggles cost nothing and increments of an integral serve as well as
samples. A measuring base of some length blurs what it sees: the model is the outline under a moving mean.

Legend: m pieces, m + 1 breaks `at` · left, right value of a piece at its ends (m,) · q outline, Q, P its first and
second integral · b blur · n blocks with n + 1 edges.
"""

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Kind = Literal["zero", "flat", "ramp"]

_MAX_STEPS: Final = 12
_ENOUGH: Final = 1e-2
"""Least gain of chi-square for which a further step is worth taking; a hundredth of what noise itself does to it."""


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Means over blocks: edge (n + 1,) strictly rising, y (n,) means, weight (n,) one over variance, 0 = no value."""

    edge: Floats
    y: Floats
    weight: Floats

    def part(self, start: float, stop: float, margin: float = 0.0) -> "Blocks":
        """The blocks that lie wholly within start .. stop; those nearer than `margin` to either end weigh nothing."""
        inside = np.flatnonzero((self.edge[:-1] >= start - 1e-9) & (self.edge[1:] <= stop + 1e-9))
        if len(inside) == 0:
            return Blocks(self.edge[:1], self.y[:0], self.weight[:0])
        first, last = int(inside[0]), int(inside[-1]) + 1
        edge = self.edge[first : last + 1]
        near = (edge[:-1] < start + margin) | (edge[1:] > stop - margin)
        return Blocks(edge, self.y[first:last], np.where(near, 0.0, self.weight[first:last]))


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What the pieces are and where they break.

    kinds  m of "zero", "flat", "ramp"
    at     (m + 1,) breaks with both ends
    gaps   intervals (start, stop) that are left out of the fit
    tied   the first and the last piece are one and the same flat (a ring cut open in the middle of a piece)
    """

    kinds: tuple[Kind, ...]
    at: Floats
    gaps: tuple[tuple[float, float], ...] = ()
    tied: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted outline: values at the ends of the pieces (m,), chi-square, residuals (n,), and the sd of each
    piece's mean (m,) and of each break (m + 1,; 0 at the ends), for noise as large as the weights say.
    """

    outline: Outline
    left: Floats
    right: Floats
    chi2: float
    residual: Floats
    mean_sd: Floats
    at_sd: Floats


def level_index(kinds: tuple[Kind, ...], tied: bool) -> tuple[NDArray[np.intp], NDArray[np.intp], int]:
    """Which free level stands at the left and right end of each piece (-1: it is zero), and how many there are.

    >>> level_index(("zero", "ramp", "flat", "flat"), False)
    (array([-1, -1,  0,  1]), array([-1,  0,  0,  1]), 2)
    """
    m = len(kinds)
    left, right = np.full(m, -1), np.full(m, -1)
    count = 0
    for i, kind in enumerate(kinds):
        if kind == "flat":
            if tied and i == m - 1 and m > 1 and kinds[0] == "flat":
                left[i] = right[i] = left[0]
            else:
                left[i] = right[i] = count
                count += 1
    for i, kind in enumerate(kinds):
        if kind != "ramp":
            continue
        if i > 0:
            left[i] = right[i - 1]
        else:
            left[i], count = count, count + 1
        if i + 1 < m and kinds[i + 1] != "ramp":
            right[i] = left[i + 1]
        else:
            right[i], count = count, count + 1
    return left, right, count


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """Block means of the blurred building stones of an outline.

    fall  (n, m) 1 at the start of piece i, falling to 0 at its end, 0 elsewhere
    rise  (n, m) 0 at its start, rising to 1 at its end
    spike (n, m - 1) a unit of area at the break after piece i
    """

    fall: Floats
    rise: Floats
    spike: Floats


def basis(at: Floats, edge: Floats, blur: float) -> Basis:
    """Building stones of an outline with breaks `at`, which goes on flat beyond its ends.

    Parameters
    ----------
    at : (m + 1,) breaks, strictly rising
    edge : (n + 1,) block edges
    blur : length b of the moving mean; less than a twentieth of a block counts as that

    Notes
    -----
    With u = (x - p)+ the second integrals of a spike, step and bend at p are u, u^2/2, u^3/6, and the mean over a
    block of a blurred q is the difference of (P(x + b/2) - P(x - b/2)) / b at its edges, over its width.

    Examples
    --------
    A step from 0 to 1 at 10 under a moving mean of 4 is a ramp from 8 to 12.

    >>> stones = basis(np.array([0.0, 10, 20]), np.array([7.0, 8, 9, 10, 11, 12, 13]), 4.0)
    >>> (stones.fall + stones.rise)[:, 1].round(3).tolist()
    [0.0, 0.125, 0.375, 0.625, 0.875, 1.0]
    """
    width = np.diff(edge)[:, None]
    b = max(blur, 0.05 * float(edge[-1] - edge[0]) / len(width))
    late = np.maximum(edge[:, None] - at + b / 2, 0.0)
    early = np.maximum(edge[:, None] - at - b / 2, 0.0)
    late2, early2 = late * late, early * early
    scale = b * width
    spike = _differences(late[:, 1:-1] - early[:, 1:-1]) / scale
    step = _differences(late2 - early2) / (2.0 * scale)
    bend = _differences(late2 * late - early2 * early) / (6.0 * scale)
    slope = (bend[:, :-1] - bend[:, 1:]) / np.diff(at)
    fall, rise = step[:, :-1] - slope, slope - step[:, 1:]
    fall[:, 0] += 1.0 - step[:, 0]
    rise[:, -1] += step[:, -1]
    return Basis(fall, rise, spike)


def _differences(a: Floats) -> Floats:
    return a[1:] - a[:-1]


def in_gaps(edge: Floats, gaps: tuple[tuple[float, float], ...]) -> NDArray[np.bool_]:
    """Which blocks touch an interval that is left out, (n,)."""
    out = np.zeros(len(edge) - 1, dtype=bool)
    for start, stop in gaps:
        out |= (edge[1:] > start + 1e-9) & (edge[:-1] < stop - 1e-9)
    return out


class _State:
    """An outline with its levels solved exactly, and what a next step needs."""

    def __init__(self, blocks: Blocks, outline: Outline, root: Floats, wy: Floats, blur: float) -> None:
        self.outline = outline
        left_at, right_at, k = level_index(outline.kinds, outline.tied)
        m = len(outline.kinds)
        self.pick_left, self.pick_right = np.zeros((m, k + 1)), np.zeros((m, k + 1))
        self.pick_left[range(m), left_at] = 1.0  # index -1 picks the fixed zero, which stands last
        self.pick_right[range(m), right_at] = 1.0
        stones = basis(outline.at, blocks.edge, blur)
        self._stones = stones
        self.columns = (stones.fall @ self.pick_left + stones.rise @ self.pick_right)[:, :k]
        design = self.columns * root[:, None]
        levels = np.zeros(k + 1)
        if k:
            levels[:k] = _solve(design.T @ design, design.T @ wy, 1e-12)
        self.left, self.right = self.pick_left @ levels, self.pick_right @ levels
        self.residual = blocks.y - self.columns @ levels[:k]
        self.weighted = self.residual * root
        self.chi2 = float(self.weighted @ self.weighted)
        self._design = design

    def normal(self, root: Floats, span: float) -> tuple[Floats, Floats]:
        """Normal matrix of levels and inner breaks, and gradient.

        Shifting a break by d carries the value before it over d more: a spike of area (before - after) d; the slope
        of a ramp on either side turns about its far end.
        """
        slope = np.where([k == "ramp" for k in self.outline.kinds], (self.right - self.left), 0.0)
        slope = slope / _differences(self.outline.at)
        stones = self._stones
        places = stones.spike * (self.right[:-1] - self.left[1:])
        places -= stones.rise[:, :-1] * slope[:-1] + stones.fall[:, 1:] * slope[1:]
        jacobian = np.hstack([self._design, places * root[:, None]])
        normal = jacobian.T @ jacobian
        k = self._design.shape[1]
        normal.flat[k * (len(normal) + 1) :: len(normal) + 1] += 1.0 / span**2
        return normal, jacobian.T @ self.weighted


def fit(
    blocks: Blocks,
    outline: Outline,
    blur: float,
    *,
    shortest: float = 0.0,
    steps: int = _MAX_STEPS,
    hopeless: float = np.inf,
    sds: bool = True,
) -> Fit:
    """Levels and inner breaks of an outline by weighted least squares (Levenberg-Marquardt, levels solved exactly).

    Parameters
    ----------
    blocks : the data
    outline : kinds, first guess of the breaks, gaps
    blur : length of the moving mean under which the data saw the outline
    shortest : no piece gets shorter than this
    steps : at most so many steps
    hopeless : give up early while chi-square is above this and a step gains less than half
    sds : whether to work out the sd's; else they are NaN

    Returns
    -------
    Fit   the chi-square never rises above that of the first guess

    Notes
    -----
    A break that nothing holds (a step of no height) stays where it was: its diagonal is kept from zero by a prior of
    the whole span, which is far weaker than any datum.
    """
    weight = np.where(in_gaps(blocks.edge, outline.gaps), 0.0, blocks.weight) if outline.gaps else blocks.weight
    root = np.sqrt(weight)
    wy = blocks.y * root
    span = float(blocks.edge[-1] - blocks.edge[0])
    now = _State(blocks, outline, root, wy, blur)
    damping = 1e-3
    for _ in range(steps if len(outline.kinds) > 1 else 0):
        normal, gradient = now.normal(root, span)
        shift = _solve(normal, gradient, damping)[now.columns.shape[1] :]
        at = _moved(now.outline.at, shift, shortest)
        tried = _State(blocks, replace(now.outline, at=at), root, wy, blur)
        gain = now.chi2 - tried.chi2
        if now.chi2 > hopeless and gain < 0.5 * now.chi2:
            break
        if gain > 0:
            now, damping = tried, damping * 0.2
            if gain < _ENOUGH:
                break
        else:
            damping *= 10.0
            if damping > 1e4 or gain > -_ENOUGH:
                break
    if not sds:
        m = len(now.left)
        return Fit(now.outline, now.left, now.right, now.chi2, now.residual, np.full(m, np.nan), np.full(m + 1, np.nan))
    return _result(now, root, span)


def _result(now: _State, root: Floats, span: float) -> Fit:
    normal, _ = now.normal(root, span)
    k = now.columns.shape[1]
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    cov = np.linalg.pinv(normal / np.outer(scale, scale), rcond=1e-12, hermitian=True) / np.outer(scale, scale)
    pick = 0.5 * (now.pick_left + now.pick_right)[:, :k]
    mean_var = np.einsum("ik,kl,il->i", pick, cov[:k, :k], pick)
    at_sd = np.concatenate([[0.0], np.sqrt(np.maximum(np.diag(cov)[k:], 0.0)), [0.0]])
    mean_sd = np.sqrt(np.maximum(mean_var, 0.0))
    return Fit(now.outline, now.left, now.right, now.chi2, now.residual, mean_sd, at_sd)


def _solve(normal: Floats, gradient: Floats, damping: float) -> Floats:
    """Damped normal equations, scaled to a unit diagonal first; an unknown that no datum touches becomes 0."""
    scale = np.sqrt(normal.diagonal())
    scale = np.where(scale > 0, scale, 1.0)
    scaled = normal / scale / scale[:, None]
    scaled.flat[:: len(scaled) + 1] = 1.0 + damping
    return np.asarray(np.linalg.solve(scaled, gradient / scale) / scale)


def _moved(at: Floats, shift: Floats, shortest: float) -> Floats:
    """Breaks moved by at most half of the shorter neighbour, in order and `shortest` apart where there is room."""
    length = np.diff(at)
    room = 0.5 * np.minimum(length[:-1], length[1:])
    moved = at.copy()
    moved[1:-1] += np.clip(shift, -room, room)
    for i in range(1, len(at) - 1):
        moved[i] = max(moved[i], moved[i - 1] + min(shortest, length[i - 1]))
    for i in range(len(at) - 2, 0, -1):
        moved[i] = min(moved[i], moved[i + 1] - min(shortest, length[i]))
    return moved

"""Least-squares fit of a blurred outline (`piecewise`): its levels, breaks and spikes.

Legend: m pieces, k linear unknowns (levels, then sizes of spikes), places (inner breaks, then spikes).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.piecewise import Blocks, Outline, as_seen, basis, level_index, spike_means

Floats = NDArray[np.float64]

_MAX_STEPS: Final = 12
_ENOUGH: Final = 1e-2
"""Least gain of chi-square for which a further step is worth taking; a hundredth of what noise itself does to it."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted outline.

    left, right    (m,) values at the ends of the pieces
    size           areas of the spikes
    chi2           of the blocks as seen
    residual       (n,) of all blocks, those in gaps too, spikes taken off
    mean_sd, at_sd sd of each piece's mean (m,) and of each break (m + 1,; 0 at the ends), for noise as large as the
                   weights say
    """

    outline: Outline
    left: Floats
    right: Floats
    size: Floats
    chi2: float
    residual: Floats
    mean_sd: Floats
    at_sd: Floats


class _State:
    """An outline with its levels solved exactly, and what a next step needs."""

    def __init__(self, seen: Blocks, outline: Outline, blur: float) -> None:
        self.outline, self._seen = outline, seen
        left_at, right_at, levels = level_index(outline.kinds, outline.tied)
        m = len(outline.kinds)
        self.pick_left, self.pick_right = np.zeros((m, levels + 1)), np.zeros((m, levels + 1))
        self.pick_left[range(m), left_at] = 1.0  # index -1 picks the fixed zero, which stands last
        self.pick_right[range(m), right_at] = 1.0
        self._stones = basis(outline.at, seen.edge, blur)
        self._root = np.sqrt(seen.weight)
        columns = (self._stones.fall @ self.pick_left + self._stones.rise @ self.pick_right)[:, :levels]
        if outline.spikes:
            spikes, self._spike_change = spike_means(np.array([s.at for s in outline.spikes]), seen.edge, blur)
            columns = np.hstack([columns, spikes])
        self.k = columns.shape[1]
        self._design = columns * self._root[:, None]
        y = seen.y * self._root
        linear = _solve(self._design.T @ self._design, self._design.T @ y, 1e-12) if self.k else np.zeros(0)
        level = np.append(linear[:levels], 0.0)
        self.left, self.right = self.pick_left @ level, self.pick_right @ level
        self.size = linear[levels:]
        self._weighted = y - self._design @ linear
        self.chi2 = float(self._weighted @ self._weighted)

    def normal(self) -> tuple[Floats, Floats]:
        """Normal matrix of linear unknowns and places, and gradient.

        Shifting a break by d carries the value before it over d more: a spike of area (before - after) d; the slope
        of a ramp on either side turns about its far end. A place that nothing holds (a step of no height) is kept by
        a prior of the whole span, which is far weaker than any datum.
        """
        slope = np.where([k == "ramp" for k in self.outline.kinds], self.right - self.left, 0.0)
        slope = slope / np.diff(self.outline.at)
        stones = self._stones
        places = stones.spike * (self.right[:-1] - self.left[1:])
        places -= stones.rise[:, :-1] * slope[:-1] + stones.fall[:, 1:] * slope[1:]
        if self.outline.spikes:
            places = np.hstack([places, self._spike_change * self.size])
        jacobian = np.hstack([self._design, places * self._root[:, None]])
        normal = jacobian.T @ jacobian
        span = float(self._seen.edge[-1] - self._seen.edge[0])
        normal.flat[self.k * (len(normal) + 1) :: len(normal) + 1] += 1.0 / span**2
        return normal, jacobian.T @ self._weighted

    def moved(self, shift: Floats, shortest: float, blur: float) -> Outline:
        """The outline with its places shifted: breaks in order, spikes by at most a quarter of the blur."""
        inner = len(self.outline.kinds) - 1
        spikes = tuple(
            replace(s, at=s.at + float(np.clip(d, -0.25 * blur, 0.25 * blur)))
            for s, d in zip(self.outline.spikes, shift[inner:], strict=True)
        )
        return replace(self.outline, at=_moved(self.outline.at, shift[:inner], shortest), spikes=spikes)


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
    outline : kinds, gaps, first guess of breaks and spikes
    blur : length of the moving mean under which the data saw the outline
    shortest : no piece gets shorter than this
    steps : at most so many steps
    hopeless : give up early while chi-square is above this and a step gains less than half
    sds : whether to work out the sd's; else they are NaN

    Returns
    -------
    Fit   the chi-square never rises above that of the first guess
    """
    seen = as_seen(blocks, outline, blur)
    now = _State(seen, outline, blur)
    damping = 1e-3
    places = len(outline.kinds) - 1 + len(outline.spikes)
    for _ in range(steps if places else 0):
        normal, gradient = now.normal()
        shift = _solve(normal, gradient, damping)[now.k :]
        tried = _State(seen, now.moved(shift, shortest, blur), blur)
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
    m = len(now.left)
    mean_sd, at_sd = _sds(now) if sds else (np.full(m, np.nan), np.full(m + 1, np.nan))
    residual = _residual(blocks, now, blur)
    return Fit(now.outline, now.left, now.right, now.size, now.chi2, residual, mean_sd, at_sd)


def _residual(blocks: Blocks, now: _State, blur: float) -> Floats:
    stones = basis(now.outline.at, blocks.edge, blur)
    model = stones.fall @ now.left + stones.rise @ now.right
    if now.outline.spikes:
        model = model + spike_means(np.array([s.at for s in now.outline.spikes]), blocks.edge, blur)[0] @ now.size
    return np.asarray(blocks.y - model)


def _sds(now: _State) -> tuple[Floats, Floats]:
    normal, _ = now.normal()
    m, levels = len(now.left), now.pick_left.shape[1] - 1
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    cov = np.linalg.pinv(normal / np.outer(scale, scale), rcond=1e-12, hermitian=True) / np.outer(scale, scale)
    pick = 0.5 * (now.pick_left + now.pick_right)[:, :levels]
    mean_var = np.einsum("ik,kl,il->i", pick, cov[:levels, :levels], pick)
    places = np.diag(cov)[now.k : now.k + m - 1]
    at_sd = np.concatenate([[0.0], np.sqrt(np.maximum(places, 0.0)), [0.0]])
    return np.sqrt(np.maximum(mean_var, 0.0)), at_sd


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

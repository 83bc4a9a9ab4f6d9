"""Least-squares fit of a blurred outline (`piecewise`): its levels, breaks, spikes and bumps.

Legend: m pieces, k linear unknowns (levels, then sizes of spikes and bumps), places (inner breaks, spikes, bumps, then
the log of the bumps' widths).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.bumps import bump_means
from wayrule.maths.piecewise import Blocks, Outline, as_seen, basis, picks, spike_means

Floats = NDArray[np.float64]

_MAX_STEPS: Final = 12
_ENOUGH: Final = 1e-2
"""Least gain of chi-square for which a further step is worth taking; a hundredth of what noise itself does to it."""

NARROWEST: Final = 0.2
WIDEST: Final = 1.5
"""Sigma of a bump, in shortest pieces: narrower ones are not told from noise, wider ones are pieces themselves."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted outline.

    left, right    (m,) values at the ends of the pieces
    size           areas of the spikes, then heights of the bumps
    chi2           of the blocks as seen
    residual       (n,) of all blocks, those in gaps too, spikes and bumps taken off
    mean_sd, at_sd sd of each piece's mean (m,) and of each break (m + 1,; 0 at the ends), for noise as large as the
                   weights say
    length_sd, area_sd  (m,) sd of each piece's length and of its integral; where the first and the last piece are one
                   (tied), the last entry is of both together
    size_sd, place_sd   of the spikes, then the bumps
    """

    outline: Outline
    left: Floats
    right: Floats
    size: Floats
    chi2: float
    residual: Floats
    mean_sd: Floats
    at_sd: Floats
    length_sd: Floats
    area_sd: Floats
    size_sd: Floats
    place_sd: Floats


class _State:
    """An outline with its levels solved exactly, and what a next step needs."""

    def __init__(self, seen: Blocks, outline: Outline, blur: float) -> None:
        self.outline, self._seen = outline, seen
        self.pick_left, self.pick_right, levels = picks(outline)
        self._stones = basis(outline.at, seen.edge, blur)
        self._root = np.sqrt(seen.weight)
        columns = (self._stones.fall @ self.pick_left + self._stones.rise @ self.pick_right)[:, :levels]
        if outline.spikes or outline.bumps:
            shapes, self._shape_change, self._wider = shape_means(outline, seen.edge, blur)
            columns = np.hstack([columns, shapes])
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
        if self.outline.spikes or self.outline.bumps:
            heights = self.size[len(self.outline.spikes) :]
            places = np.hstack([places, self._shape_change * self.size, self._wider * heights])
        jacobian = np.hstack([self._design, places * self._root[:, None]])
        normal = jacobian.T @ jacobian
        span = float(self._seen.edge[-1] - self._seen.edge[0])
        normal.flat[self.k * (len(normal) + 1) :: len(normal) + 1] += 1.0 / span**2
        widths = len(normal) - len(self.outline.bumps)
        normal.flat[widths * (len(normal) + 1) :: len(normal) + 1] += 1.0  # a width is known to a factor of e
        return normal, jacobian.T @ self._weighted

    def moved(self, shift: Floats, shortest: float, blur: float) -> Outline:
        """The outline with its places shifted: breaks in order, a spike by at most a quarter of the blur and of the
        shortest piece, a bump by half its width.
        """
        o = self.outline
        inner, spikes, bumps = len(o.kinds) - 1, len(o.spikes), len(o.bumps)
        parts = np.split(shift, np.cumsum([inner, spikes, bumps]))
        most = max(0.25 * blur, 0.25 * shortest)
        new_spikes = tuple(
            replace(s, at=s.at + float(np.clip(d, -most, most))) for s, d in zip(o.spikes, parts[1], strict=True)
        )
        new_bumps = []
        for bump, d, wider in zip(o.bumps, parts[2], parts[3], strict=True):
            sigma = bump.sigma * float(np.exp(np.clip(wider, -0.4, 0.4)))
            if shortest > 0:
                sigma = float(np.clip(sigma, NARROWEST * shortest, WIDEST * shortest))
            at = bump.at + float(np.clip(d, -0.5 * bump.sigma, 0.5 * bump.sigma))
            new_bumps.append(replace(bump, at=at, sigma=sigma))
        return replace(o, at=_moved(o.at, parts[0], shortest), spikes=new_spikes, bumps=tuple(new_bumps))


def shape_means(outline: Outline, edge: Floats, blur: float) -> tuple[Floats, Floats, Floats]:
    """Block means of spikes and bumps of size 1, their change with the place (n, shapes), and with the log of the
    width (n, bumps).
    """
    spikes, change = spike_means(np.array([s.at for s in outline.spikes]), edge, blur)
    if not outline.bumps:
        return spikes, change, np.zeros((len(edge) - 1, 0))
    bumps, moves, wider = bump_means(outline.bumps, edge, blur)
    return np.hstack([spikes, bumps]), np.hstack([change, moves]), wider


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
    places = len(outline.kinds) - 1 + len(outline.spikes) + len(outline.bumps)
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
    sigmas = _sds(now) if sds else tuple(np.full(n, np.nan) for n in _sd_lengths(now))
    residual = _residual(blocks, now, blur)
    return Fit(now.outline, now.left, now.right, now.size, now.chi2, residual, *sigmas)


def _residual(blocks: Blocks, now: _State, blur: float) -> Floats:
    stones = basis(now.outline.at, blocks.edge, blur)
    model = stones.fall @ now.left + stones.rise @ now.right
    if len(now.size):
        model = model + shape_means(now.outline, blocks.edge, blur)[0] @ now.size
    return np.asarray(blocks.y - model)


def _sd_lengths(now: _State) -> tuple[int, ...]:
    m, shapes = len(now.left), len(now.size)
    return m, m + 1, m, m, shapes, shapes


def _sds(now: _State) -> tuple[Floats, ...]:
    """Sds of means, breaks, lengths, integrals, sizes and places, from the inverse of the normal matrix."""
    normal, _ = now.normal()
    m, levels, k, shapes = len(now.left), now.pick_left.shape[1] - 1, now.k, len(now.size)
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    cov = np.linalg.pinv(normal / np.outer(scale, scale), rcond=1e-12, hermitian=True) / np.outer(scale, scale)
    mean, length = np.zeros((2, m, len(normal)))
    mean[:, :levels] = 0.5 * (now.pick_left + now.pick_right)[:, :levels]
    inner = np.arange(m - 1)
    length[inner, k + inner] = 1.0
    length[inner + 1, k + inner] = -1.0
    area = mean * np.diff(now.outline.at)[:, None] + length * (0.5 * (now.left + now.right))[:, None]
    if now.outline.tied and m > 1:
        length[-1] += length[0]
        area[-1] += area[0]
    own = np.sqrt(np.maximum(np.diag(cov), 0.0))
    at_sd = np.concatenate([[0.0], own[k : k + m - 1], [0.0]])
    mean_sd, length_sd, area_sd = (
        np.sqrt(np.maximum(np.einsum("ik,kl,il->i", a, cov, a), 0.0)) for a in (mean, length, area)
    )
    return mean_sd, at_sd, length_sd, area_sd, own[levels:k], own[k + m - 1 : k + m - 1 + shapes]


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

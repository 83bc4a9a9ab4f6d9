"""Bias, scale and skew of a three-axis sensor from a vector of known size in several orientations.

p = A u r + b: p reading (3,), u unit vector of any direction, r the known size, A = I + symmetric, b bias.
A rotation of the sensor is not to be seen in this: A is the symmetric one of all that fit.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array

PAIRS = ((0, 1), (0, 2), (1, 2))
ROUNDS = 12
STEP_DONE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Ellipsoid:
    """values (9,): bias over r, diagonal of A less one, off-diagonal xy, xz, yz; covariance (9, 9) of the same.

    leftover   (n,) how far each point lies outside the ellipsoid, over r
    """

    values: Array
    covariance: Array
    leftover: Array


def fit_ellipsoid(points: Array, sd: Array, prior_sd: Array) -> Ellipsoid:
    """The ellipsoid nearest to some points, each over the known size r.

    Parameters
    ----------
    points : (n, 3) array     over r, so that all lie near the unit sphere
    sd : (n,) array           of a point's distance from it
    prior_sd : (9,) array     what is known before of bias, scale and skew, about 0; it makes six points enough for six
                              of the nine unknowns and says what the other three may do to them

    Notes
    -----
    Gauss-Newton on |A^-1 (p - b)| - 1, the distance itself and not its square, with the priors as further rows; the
    first step from the sphere is within a per cent of the answer for a sensor. Where the points scatter about the
    ellipsoid by more than `sd`, the covariance grows by as much.

    Examples
    --------
    >>> faces = np.vstack([np.eye(3), -np.eye(3)]) * [1.01, 1.0, 1.0] + [0.0, 0.02, 0.0]
    >>> fit = fit_ellipsoid(faces, np.full(6, 1e-4), np.repeat([0.1, 0.03, 0.003], 3))
    >>> np.abs(fit.values[:4]).round(4).tolist()
    [0.0, 0.02, 0.0, 0.01]
    """
    x = np.zeros(9)
    for _ in range(ROUNDS):
        residual, rows = _rows(points, x)
        weight = 1.0 / sd
        normal = (rows * weight[:, None] ** 2).T @ rows + np.diag(1.0 / prior_sd**2)
        step = np.linalg.solve(normal, -(rows * weight[:, None] ** 2).T @ residual - x / prior_sd**2)
        x = np.asarray(x + step, dtype=np.float64)
        if np.abs(step).max() < STEP_DONE:
            break
    residual, rows = _rows(points, x)
    normal = (rows / sd[:, None] ** 2).T @ rows + np.diag(1.0 / prior_sd**2)
    covariance = np.linalg.inv(normal)
    spare = len(points) - float(np.trace(covariance @ ((rows / sd[:, None] ** 2).T @ rows)))
    excess = float(np.sum((residual / sd) ** 2)) / spare if spare > 0.5 else 1.0
    return Ellipsoid(x, np.asarray(covariance * max(excess, 1.0), dtype=np.float64), residual)


def _rows(points: Array, x: Array) -> tuple[Array, Array]:
    """(n,) distance outside the ellipsoid, and (n, 9) how it changes with the unknowns."""
    inverse = np.linalg.inv(symmetric(x[3:]))
    level = (points - x[:3]) @ inverse
    size = np.linalg.norm(level, axis=1)
    outward = level / size[:, None]
    across = outward @ inverse  # d|A^-1 (p - b)| / dp
    rows = np.empty((len(points), 9))
    rows[:, :3] = -across
    rows[:, 3:6] = -across * level
    for k, (i, j) in enumerate(PAIRS):
        rows[:, 6 + k] = -(across[:, i] * level[:, j] + across[:, j] * level[:, i])
    return size - 1.0, rows


def symmetric(parts: Array) -> Array:
    """(3, 3) A from its diagonal less one and its off-diagonal xy, xz, yz.

    >>> symmetric(np.array([0.1, 0.0, 0.0, 0.0, 0.2, 0.0])).tolist()
    [[1.1, 0.0, 0.2], [0.0, 1.0, 0.0], [0.2, 0.0, 1.0]]
    """
    out = np.diag(1.0 + parts[:3])
    for value, (i, j) in zip(parts[3:], PAIRS, strict=True):
        out[i, j] = out[j, i] = value
    return out


def best_next(points: Array, sd: Array, prior_sd: Array, candidates: Array, wanted: slice) -> tuple[int, Array]:
    """Which further orientation would tell most, and the sds (9,) as they would be after it.

    Parameters
    ----------
    candidates : (c, 3) array   unit vectors
    wanted : slice              of the nine unknowns: the largest of their sds is to become small

    Examples
    --------
    >>> faces = np.vstack([np.eye(3), -np.eye(3)[1:]])  # x was never down
    >>> best_next(faces, np.full(5, 1e-4), np.repeat([0.1, 0.03, 0.003], 3), np.vstack([np.eye(3), -np.eye(3)]),
    ...           slice(0, 3))[0]
    3
    """
    after = []
    for one in candidates:
        fit = fit_ellipsoid(np.vstack([points, one]), np.append(sd, np.median(sd)), prior_sd)
        _, rows = _rows(np.vstack([points, one]), fit.values)
        normal = (rows / np.append(sd, np.median(sd))[:, None] ** 2).T @ rows + np.diag(1.0 / prior_sd**2)
        after.append(np.sqrt(np.diag(np.linalg.inv(normal))))
    best = int(np.argmin([one[wanted].max() for one in after]))
    return best, after[best]

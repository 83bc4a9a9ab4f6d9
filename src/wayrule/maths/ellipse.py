"""An ellipse through noisy points: direct least squares, in a plane or in space.

x, y   coordinates in the plane          conic   A x^2 + B x y + C y^2 + D x + E y + F = 0, with 4 A C - B^2 = 1
W      (2, 2) map that turns the ellipse, moved to the origin, into the unit circle
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.robust import MAD_TO_SD
from wayrule.model.arrays import Array

TRIALS = 60
"""Eight points miss all wild ones with 0.43 chance when a tenth is wild: sixty trials fail once in 1e14."""


@dataclass(frozen=True, slots=True, eq=False)
class Ellipse:
    """An ellipse in the plane.

    centre     (2,) its centre [unit of the points]
    semi_axes  (2,) larger, smaller [same unit]
    tilt_rad   of the larger axis against x, in (-pi/2, pi/2]
    to_circle  (2, 2) W: |W (p - centre)| = 1 on the ellipse; symmetric, so it turns nothing round
    """

    centre: Array
    semi_axes: Array
    tilt_rad: float
    to_circle: Array

    def on_circle(self, points: Array) -> Array:
        """Points (n, 2) brought to the frame in which the ellipse is the unit circle: (n, 2)."""
        return (points - self.centre) @ self.to_circle.T

    def radius_spread(self, points: Array) -> float:
        """Rms of the radius about 1 of points (n, 2) brought to the unit circle."""
        circle = self.on_circle(points)
        return float(np.sqrt(np.mean((np.hypot(circle[:, 0], circle[:, 1]) - 1.0) ** 2)))

    @property
    def condition(self) -> float:
        """Larger over smaller semi-axis: 1 for a circle, large for a needle whose angle cannot be told."""
        return float(self.semi_axes[0] / self.semi_axes[1])


def fit_ellipse(points: Array) -> Ellipse | None:
    """The ellipse closest to some points in the algebraic sense.

    Parameters
    ----------
    points : (n, 2) array   n >= 5, finite, any unit

    Returns
    -------
    Ellipse, or None where the points determine none (fewer than five, all in one place, on a line)

    Notes
    -----
    Halir & Flusser, "Numerically stable direct least squares fitting of ellipses", WSCG 1998, after Fitzgibbon,
    Pilu & Fisher 1999: minimise the sum of squared conic values under 4 A C - B^2 = 1, which admits ellipses only.
    Points are first moved to their mean and brought to unit spread, or the squares of a large offset would drown
    the shape. A short noisy arc still gives *an* ellipse, too small: the caller looks at the arc that is covered.

    Examples
    --------
    >>> a = np.linspace(0, 6, 20)
    >>> e = fit_ellipse(np.c_[40 + 3 * np.cos(a), -7 + np.sin(a)])
    >>> e.centre.round(6).tolist(), e.semi_axes.round(6).tolist()
    ([40.0, -7.0], [3.0, 1.0])
    """
    if len(points) < 5:
        return None
    middle = points.mean(axis=0)
    spread = float(np.sqrt(((points - middle) ** 2).mean()))
    if spread == 0.0 or not np.isfinite(spread):
        return None
    x, y = ((points - middle) / spread).T
    quadratic = np.column_stack([x * x, x * y, y * y])
    linear = np.column_stack([x, y, np.ones_like(x)])
    s1, s2, s3 = quadratic.T @ quadratic, quadratic.T @ linear, linear.T @ linear
    if np.linalg.cond(s3) > 1e12:  # the points lie on a line
        return None
    t = -np.linalg.solve(s3, s2.T)
    m = s1 + s2 @ t
    reduced = np.array([m[2] / 2.0, -m[1], m[0] / 2.0])
    _, vectors = np.linalg.eig(reduced)
    vectors = np.real(vectors)
    constraint = 4.0 * vectors[0] * vectors[2] - vectors[1] ** 2
    if not np.any(constraint > 1e-12):
        return None
    quad = vectors[:, int(np.argmax(constraint))]
    return _from_conic(np.concatenate([quad, t @ quad]), middle, spread)


def robust_ellipse(points: Array) -> tuple[Ellipse | None, NDArray[np.bool_]]:
    """The ellipse of the bulk of some points, wild ones left out, and which points belong to it.

    Parameters
    ----------
    points : (n, 2) array   finite

    Returns
    -------
    ellipse : Ellipse or None
    near : (n,) bool array   within 0.3 of the radius or four robust sd of it, whichever is more

    Notes
    -----
    The start is the ellipse with the least median distance among the direct fit and `TRIALS` eight-point ones (least
    median of squares, Rousseeuw 1984), the points being drawn by a fixed rule. The distance is in the points' own
    unit: measured in radii, a huge ellipse past all points would win. The fit is repeated on the points near it.

    Examples
    --------
    >>> a = np.linspace(0, 6, 40)
    >>> spoilt = np.vstack([np.c_[3 * np.cos(a), np.sin(a)], [[60.0, -80.0], [50.0, 9.0]]])
    >>> robust_ellipse(spoilt)[0].semi_axes.round(6).tolist()
    [3.0, 1.0]
    """
    none = np.zeros(len(points), dtype=bool)
    ellipse = fit_ellipse(points)
    if ellipse is None:
        return None, none
    ellipse = min([ellipse, *_trials(points)], key=lambda e: _median_distance(e, points))
    near = none
    for _ in range(2):
        circle = ellipse.on_circle(points)
        off = np.abs(np.hypot(circle[:, 0], circle[:, 1]) - 1.0)
        near = off < np.clip(4.0 * MAD_TO_SD * np.median(off), 0.3, 0.6)
        ellipse = fit_ellipse(points[near]) or ellipse
    return ellipse, near


def _trials(points: Array) -> list[Ellipse]:
    """Ellipses through eight points each, drawn by steps of the golden section over the points in turn."""
    golden = 0.5 * (np.sqrt(5.0) - 1.0)
    rows = (((np.arange(8 * TRIALS) * golden) % 1.0) * len(points)).astype(np.int64).reshape(TRIALS, 8)
    return [e for e in (fit_ellipse(points[np.unique(r)]) for r in rows) if e is not None]


def _median_distance(ellipse: Ellipse, points: Array) -> float:
    """Median distance of points from the ellipse, taken along the line to its centre."""
    circle = ellipse.on_circle(points)
    radius = np.maximum(np.hypot(circle[:, 0], circle[:, 1]), 1e-12)
    away = points - ellipse.centre
    return float(np.median(np.hypot(away[:, 0], away[:, 1]) * np.abs(1.0 - 1.0 / radius)))


def _from_conic(conic: Array, middle: Array, spread: float) -> Ellipse | None:
    """Centre, axes and map to the circle of a conic in moved and scaled coordinates; None if it is no real ellipse."""
    a, b, c, d, e, f = conic
    shape = np.array([[a, b / 2.0], [b / 2.0, c]])
    centre = np.linalg.solve(2.0 * shape, -np.array([d, e]))
    level = centre @ shape @ centre - f
    eigenvalues, axes = np.linalg.eigh(shape / level)  # rising: the smaller eigenvalue is the longer axis
    if not np.all(eigenvalues > 0.0):
        return None
    to_circle = axes @ np.diag(np.sqrt(eigenvalues)) @ axes.T
    long_axis = axes[:, 0] if axes[0, 0] > 0 or (axes[0, 0] == 0 and axes[1, 0] > 0) else -axes[:, 0]
    return Ellipse(
        centre=middle + spread * centre,
        semi_axes=spread / np.sqrt(eigenvalues),
        tilt_rad=float(np.arctan2(long_axis[1], long_axis[0])),
        to_circle=to_circle / spread,
    )


def principal_plane(points: Array) -> tuple[Array, Array, Array]:
    """The plane through a cloud of points in space.

    Parameters
    ----------
    points : (n, 3) array   finite

    Returns
    -------
    middle : (3,) array     mean of the points
    basis : (2, 3) array    unit vectors that span the plane, longest spread first
    spreads : (3,) array    rms of the points along both and across the plane [unit of the points]

    Notes
    -----
    The singular vectors of the centred points; the mean is taken off first, so an offset of any size does not tilt it.

    Examples
    --------
    >>> a = np.linspace(0, 2 * np.pi, 50)
    >>> _, basis, _ = principal_plane(np.c_[5 + np.cos(a), np.full(50, 9.0), 2 * np.sin(a)])
    >>> np.abs(np.cross(*basis)).round(9).tolist()
    [0.0, 1.0, 0.0]
    """
    middle = points.mean(axis=0)
    _, singular, rows = np.linalg.svd(points - middle, full_matrices=False)
    return middle, rows[:2], singular / np.sqrt(len(points))


def even_subset(points: Array, *, cells: int = 48, per_cell: int = 24) -> Array:
    """Row numbers of a subset spread evenly over the plane, however long the signal stayed in one place.

    Parameters
    ----------
    points : (n, 2) array   finite
    cells : int             the box of all points is cut into cells x cells
    per_cell : int          at most so many points are taken from each, spread over its points

    Returns
    -------
    (m,) int array   rising row numbers

    Examples
    --------
    >>> len(even_subset(np.zeros((1000, 2))))
    24
    """
    low, high = points.min(axis=0), points.max(axis=0)
    width = np.where(high > low, high - low, 1.0)
    index = np.minimum((cells * (points - low) / width).astype(np.int64), cells - 1)
    key = index[:, 0] * cells + index[:, 1]
    order = np.argsort(key, kind="stable")
    _, start, counts = np.unique(key[order], return_index=True, return_counts=True)
    rank = np.arange(len(points)) - np.repeat(start, counts)
    stride = np.repeat(np.ceil(counts / per_cell).astype(np.int64), counts)
    return np.sort(order[rank % stride == 0])

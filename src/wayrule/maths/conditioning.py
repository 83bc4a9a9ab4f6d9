"""What linear readings say of constants that are a little different each day.

c   (n,) constants, before: mean m, covariance C          b = c + e   what acts today
e   (n,) today's part, mean 0, covariance G               v = H b + noise   (k,) readings, noise's covariance R
"""

import numpy as np

from wayrule.model.arrays import Array


def conditioned(
    mean: Array, own: Array, day: Array, matrix: Array, values: Array, covariance: Array
) -> tuple[Array, Array]:
    """Mean and covariance of the constants after readings of one day.

    Parameters
    ----------
    mean, own : (n,), (n, n)        m and C; each constant in its own unit
    day : (n, n)                    G
    matrix : (k, n)                 H
    values, covariance : (k,), (k, k)   v and R

    Returns
    -------
    mean, own : (n,), (n, n)   of c; own never exceeds what it was, and never falls below what the day's part leaves

    Raises
    ------
    numpy.linalg.LinAlgError   where the readings contradict each other exactly (R singular)

    Notes
    -----
    K = C H' (H (C + G) H' + R)^-1, m' = m + K (v - H m), C' = (1 - K H) C (1 - K H)' + K (H G H' + R) K'. The last form
    (Joseph's) stays positive definite where rounding spoils C - K H C (from memory: Bar-Shalom, Li, Kirubarajan,
    Estimation with Applications, 2001, section 5.2.3). All readings of one day belong in one call: today's part is the
    same in all of them.

    Examples
    --------
    >>> m, c = conditioned(np.zeros(1), np.eye(1), np.zeros((1, 1)), np.eye(1), np.array([3.0]), 2.0 * np.eye(1))
    >>> float(m[0].round(6)), float(c[0, 0].round(6))  # weights 1 and 1/2
    (1.0, 0.666667)
    """
    if not len(values):
        return mean.copy(), own.copy()
    size = np.sqrt(np.diag(own))  # constants in units of their own sd: mm/s2 beside shares of 1e-4
    c, g, h = own / np.outer(size, size), day / np.outer(size, size), matrix * size
    reading = h @ (c + g) @ h.T + covariance
    unit = np.sqrt(np.diag(reading))
    gain = np.linalg.solve(reading / np.outer(unit, unit), (h @ c) / unit[:, None]).T / unit
    rest = np.eye(len(mean)) - gain @ h
    after = rest @ c @ rest.T + gain @ (h @ g @ h.T + covariance) @ gain.T
    after = 0.5 * (after + after.T) * np.outer(size, size)
    return mean + size * (gain @ (values - matrix @ mean)), after

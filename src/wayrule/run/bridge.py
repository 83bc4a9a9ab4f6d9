"""The gyro's bias between two standstills: evenly from the one's to the other's."""

import numpy as np

from wayrule.model.arrays import Array
from wayrule.run.bias import EARTH_LEVEL_RAD_S, mean_sd

FLOOR_PER_DENSITY = 0.25
"""Floor of the Allan deviation [rad/s] over the one-sided noise density [rad/s/sqrt(Hz)]: 3 deg/h beside 0.004
deg/s/sqrt(Hz) and 12 beside 0.012 (ordinary chips; common practice, no source)."""


def less_bias(t_s: Array, rates: Array, before: slice, after: slice) -> tuple[Array, Array]:
    """Rates with their bias taken off, and how well the bias is known on the mean between two standstills.

    Parameters
    ----------
    t_s : (n,) array; rates : (n, 3) array, finite
    before, after : rows of the two standstills

    Returns
    -------
    (n, 3) array   rates less bias
    (3,) array     sd of the mean of the bias between: noise of both ends, wander between them, the Earth's level rate

    Notes
    -----
    Flicker of density h / f has an Allan floor of F^2 = 2 ln 2 h (IEEE Std 952); its means over a short time t and a
    long time T differ by about h (1 + ln(T / t)), to the order of the logarithm.

    Examples
    --------
    >>> t = np.arange(0.0, 30.0, 0.01)
    >>> drifting = np.random.default_rng(1).normal(0.0, 1e-3, (3000, 3)) + (0.01 + 1e-5 * t)[:, None]
    >>> left, sd = less_bias(t, drifting, slice(0, 1000), slice(2000, 3000))
    >>> bool((np.abs(left[1000:2000].mean(axis=0)) < 3 * sd).all()), bool((sd < 6e-5).all())
    (True, True)
    """
    ends = (before, after)
    means = np.array([rates[one].mean(axis=0) for one in ends])
    middles = np.array([t_s[one].mean() for one in ends])
    noise = 0.5 * np.hypot(*[mean_sd(t_s[one], rates[one]) for one in ends])
    period = float(np.median(np.diff(t_s)))
    density = np.min([rates[one].std(axis=0) for one in ends], axis=0) * np.sqrt(2.0 * period)
    between, ends_s = middles[1] - middles[0], sum(float(t_s[one][-1] - t_s[one][0]) for one in ends)
    longer = 1.0 + np.log(max(between / ends_s, 1.0))
    wander = FLOOR_PER_DENSITY * density * np.sqrt(longer / (2.0 * np.log(2.0)))
    share = np.clip((t_s - middles[0]) / (middles[1] - middles[0]), 0.0, 1.0)[:, None]
    sd = np.sqrt(noise**2 + wander**2 + np.array([EARTH_LEVEL_RAD_S, EARTH_LEVEL_RAD_S, 0.0]) ** 2)
    return rates - (means[0] * (1 - share) + means[1] * share), sd

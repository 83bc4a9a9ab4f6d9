"""Speed from distance, over a window that suits the noise."""

import numpy as np

from wayrule.maths.localfit import local_slope
from wayrule.model.arrays import Array

SHORTEST_S = 0.20
"""Full window where the noise allows it: short enough for a start from rest, about a turn of a slow model wheel."""
LONGEST_S = 0.50
"""Full window at most, however noisy the wheel: beyond it, starts and stops are smeared."""
LEAST_SAMPLES = 5
"""At low rates the window is widened to hold so many."""
WANTED_SHARE = 0.003
"""The window grows until the noise of the speed is this share of the usual rolling speed."""


def speed(
    t_s: Array, distance_mm: Array, white_sd_mm: float, speed_noise_mm_s: float = 0.0
) -> tuple[Array, Array, float]:
    """Signed speed at each sample.

    Parameters
    ----------
    t_s : (n,) array           time [s]
    distance_mm : (n,) array   distance rolled [mm]
    white_sd_mm : float        white noise of one distance
    speed_noise_mm_s : float   white noise of one reading where the distance was summed up from a speed

    Returns
    -------
    v_mm_s : (n,) array      speed, signed like the distance [mm/s]
    v_sd_mm_s : (n,) array   its sd from noise and from what the window smears; without the scale [mm/s]
    window_s : float         full window used

    Notes
    -----
    Slope of a local parabola. White noise of a summed-up speed gives sqrt(1.2 / m) of its sd for m samples. Smearing
    is h^2 / 10 of the third derivative of the distance: the second difference of the speed, h apart, over 10.

    Examples
    --------
    >>> t = np.arange(0.0, 2.0, 0.01)
    >>> v, sd, window = speed(t, 150.0 * t, 0.01)
    >>> v.round(6).min(), v.round(6).max()
    (np.float64(150.0), np.float64(150.0))
    """
    step = float(np.median(np.diff(t_s)))
    least = max(SHORTEST_S, (LEAST_SAMPLES - 1) * step)
    coarse = np.abs(np.diff(distance_mm[:: max(1, round(least / step))])) / least
    usual = float(np.median(coarse[coarse > 0.1 * coarse.max()])) if len(coarse) and coarse.max() > 0 else 0.0
    window = least
    while window < LONGEST_S and usual and _noise(window, step, white_sd_mm, speed_noise_mm_s) > WANTED_SHARE * usual:
        window *= 1.25
    half = 0.5 * min(window, max(LONGEST_S, least))
    v, gain, count = local_slope(t_s, distance_mm, half)
    if not np.isfinite(v).all():  # beside gaps: the slope of a line over whatever is near
        plain, plain_gain, _ = local_slope(t_s, distance_mm, max(half, 1.01 * float(np.diff(t_s).max())), degree=1)
        v, gain = np.where(np.isfinite(v), v, plain), np.where(np.isfinite(gain), gain, plain_gain)
    known = np.isfinite(v)
    smear = np.zeros_like(v)
    if known.any():
        later, sooner = (np.interp(t_s + shift, t_s[known], v[known]) for shift in (half, -half))
        smear = np.nan_to_num((later - 2.0 * v + sooner) / 10.0)
    of_speed = speed_noise_mm_s * np.sqrt(1.2 / np.maximum(count, 1.0))
    return v, np.sqrt((gain * white_sd_mm) ** 2 + of_speed**2 + smear**2), 2.0 * half


def _noise(window_s: float, step_s: float, white_sd_mm: float, speed_noise_mm_s: float) -> float:
    """Sd of the slope over a full window of evenly spaced samples: sd sqrt(12 / m) / window, and of a summed speed."""
    m = window_s / step_s + 1.0
    return float(np.hypot(white_sd_mm * np.sqrt(12.0 / m) / window_s, speed_noise_mm_s * np.sqrt(1.2 / m)))


LOOKED_S = 2.0
"""What the newest speed may be off is taken from so long before."""


def newest_sd(t_s: Array, distance_mm: Array, v_mm_s: Array, window_s: float) -> float:
    """Sd of the speed at the last sample, where the window has one side only [mm/s]; without the scale.

    Parameters
    ----------
    t_s, distance_mm, v_mm_s : (n,) arrays   the run's last seconds, and its speed with whole windows
    window_s : float                         the full window that it was taken over

    Notes
    -----
    How far the slope of a parabola at the end of half a window was off the speed that the whole window gave
    afterwards, rms over the last `LOOKED_S`: noise and the unevenness of this very pull are both in it. The weights
    are those of even stamps; jitter is far below a step.

    Examples
    --------
    >>> t = np.arange(0.0, 4.0, 0.005)
    >>> s = 200.0 * t + 0.01 * np.random.default_rng(1).standard_normal(800)
    >>> v, _, window = speed(t, s, 0.01)
    >>> 0.1 < newest_sd(t, s, v, window) < 1.5
    True
    """
    step = float(np.median(np.diff(t_s)))
    half = max(3, round(0.5 * window_s / step))
    look = round(LOOKED_S / step)
    last = len(t_s) - half - 1
    first = max(half, last - look)
    if last - first < half:
        return float("nan")
    u = np.arange(-half, 1) * step
    weights = np.linalg.pinv(np.column_stack([np.ones_like(u), u, u**2]))[1]
    ends = np.convolve(distance_mm[first - half : last], weights[::-1], mode="valid")
    return float(np.sqrt(np.nanmean((ends - v_mm_s[first:last]) ** 2)))

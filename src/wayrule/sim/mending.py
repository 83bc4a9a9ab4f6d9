"""A work sheet carried out on a simulated line, by somebody who is not exact.

Amounts are worked at the sleepers of the sheet. A rail is stiff: it rounds the steps between sleepers off; errors of
the work, drawn anew every four gauges, are joined by a fair curve and die out within a few gauges beyond the worked
stretch, where the track is held (our choice: flexible track held at one point in four gauges bends fairly between).
"""

from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter1d

from wayrule.model import WorkSheet
from wayrule.sim.laying import sealed, tabulated
from wayrule.sim.railway import Railway
from wayrule.sim.register import Laid

Floats = NDArray[np.float64]

ERROR_GAUGES: Final = 4.0
RAIL_GAUGES: Final = 0.5
FADE_GAUGES: Final = 1.5

EXECUTION_SD_MM: Final = 0.1


def carried_out(
    railway: Railway, sheet: WorkSheet, laid: Laid, rng: np.random.Generator, *, sd_mm: float = EXECUTION_SD_MM
) -> Railway:
    """The line after the work: lifted, lowered and slewed; its design is what it was.

    Parameters
    ----------
    railway : as it was
    sheet : in chainage of the survey; boards are set as it says, rails shimmed and slewed
    laid : how the survey's chainage lies on the railway
    rng : for the errors of the work
    sd_mm : of each lift and slew
    """
    n = len(railway.tables.x_mm)
    s = np.linspace(0.0, railway.length_mm, n)
    left, right, slew = (
        _along(railway, s, sheet, laid, worked, board, rng, sd_mm)
        for worked, board in (
            (sheet.left_mm, sheet.board_left_mm),
            (sheet.right_mm, sheet.board_right_mm),
            (sheet.slew_mm, np.zeros(len(sheet.s_mm))),
        )
    )
    if laid.way < 0:
        left, right, slew = right, left, -slew
    lifted = _lifted(railway, 0.5 * (left + right), left - right)
    return _slewed(lifted, slew) if np.any(slew) else lifted


def _along(
    railway: Railway,
    s: Floats,
    sheet: WorkSheet,
    laid: Laid,
    worked: Floats,
    board: Floats,
    rng: np.random.Generator,
    sd_mm: float,
) -> Floats:
    """Amounts on the grid of the railway, boards included."""
    place = laid.railway_mm(sheet.s_mm)
    span = railway.length_mm
    every = ERROR_GAUGES * railway.gauge_mm
    knots = np.linspace(0.0, span, max(3, round(span / every) + 1))
    errors = rng.normal(size=len(knots)) * sd_mm
    if railway.closed:
        place = place % span
        errors[-1] = errors[0]
    order = np.argsort(place)
    at, amount, carried = place[order], worked[order], board[order]
    if railway.closed:
        at = np.concatenate([at[-3:] - span, at, at[:3] + span])
        amount, carried = (np.concatenate([v[-3:], v, v[:3]]) for v in (amount, carried))
    keep = np.concatenate([[True], np.diff(at) > 1e-6])
    at, amount, carried = at[keep], amount[keep], carried[keep]
    shim, on, carried = (np.interp(s, at, v, left=v[0], right=v[-1]) for v in (amount, (amount != 0) * 1.0, carried))
    wrong = CubicSpline(knots, errors, bc_type="periodic" if railway.closed else "natural")(s)
    ring: Literal["wrap", "nearest"] = "wrap" if railway.closed else "nearest"
    stiff = RAIL_GAUGES * railway.gauge_mm / railway.tables.step_mm
    # the last entry of a ring's tables is its first
    inner = slice(None, -1) if railway.closed else slice(None)
    fading = gaussian_filter1d(on[inner], FADE_GAUGES / RAIL_GAUGES * stiff, mode=ring)
    rounded = gaussian_filter1d(shim[inner], stiff, mode=ring) + fading * wrong[inner]
    moved = np.append(rounded, rounded[0]) if railway.closed else rounded
    return np.asarray(moved + carried)


def _lifted(railway: Railway, middle: Floats, cant: Floats) -> Railway:
    """Heights and cants changed."""
    t = railway.tables
    slope = np.asarray(np.gradient(middle, t.step_mm))
    z, gradient = t.z_mm + middle - middle[0], t.gradient + slope
    made = tabulated(railway.design, railway.length_mm, t.heading_rad, t.curvature_1_mm, z, gradient, t.cant_mm + cant)
    return sealed(made, railway.turn_rad) if railway.closed else made


def _slewed(railway: Railway, slew: Floats) -> Railway:
    """Moved sideways along its normal: heading, length and curvature follow from the moved points' own arc length.

    Of a line moved by n along its normal: ds'/ds = hypot(1 - k n, n'), heading' = heading + atan2(n', 1 - k n).
    """
    t = railway.tables
    slope = np.asarray(np.gradient(slew, t.step_mm))
    ahead = 1.0 - t.curvature_1_mm * slew
    rate = np.hypot(ahead, slope)
    own = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * t.step_mm)])
    even = np.linspace(0.0, own[-1], len(own))
    heading = np.interp(even, own, t.heading_rad + np.arctan2(slope, ahead))
    curvature = np.asarray(np.gradient(heading, even[1]))
    z, gradient, cant = (np.interp(even, own, v) for v in (t.z_mm, t.gradient, t.cant_mm))
    made = tabulated(railway.design, float(own[-1]), heading, curvature, z, gradient, cant)
    return sealed(made, railway.turn_rad) if railway.closed else made

"""What no comparison of passes shows and is not estimated either: its part in the error bars.

The lean: flanges rest against the outer rail in curves, so the wagon measures a path that lies outside the centreline
by c kappa, alike on every pass. The lag: where no run reverses, how much later than the wheel the inertial sensor
speaks stays unknown, and every place lies further on by v times its error.
Legend: L wheelbase, kappa curvature over L, ' by sigma; errors of x, y, heading and of means over L.
"""

from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted

LEAN_SHARE_OF_GAUGE = 0.17
"""c over the gauge squared: at a radius of 25 gauges half of the play of 0.013 gauge (NEM 310, middle values) to either
side (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Errors (m,) by one standard deviation of one cause."""

    x: Array
    y: Array
    z: Array
    heading: Array
    curvature: Array
    gradient: Array
    roll: Array


def considered(adjusted: Adjusted, places: Array) -> tuple[Shift, ...]:
    """The lean's and, where it is held, the lag's error at places sigma."""
    u, wheelbase = adjusted.unknowns, adjusted.problem.wagon.wheelbase_mm
    value = u.spline.value_rows(places)
    heading = value @ u.theta + u.winding_rad_mm * places
    cos, sin, zero = np.cos(heading), np.sin(heading), np.zeros_like(places)

    def bend(shift: float) -> Array:
        ends = (u.spline.value_rows(places + (shift + half) * wheelbase) @ u.theta for half in (0.5, -0.5))
        return np.asarray(next(ends) - next(ends)) / wheelbase + u.winding_rad_mm

    def slope(coefficients: Array) -> Array:
        ahead, back = (u.spline.value_rows(places + half * wheelbase) for half in (0.5, -0.5))
        return np.asarray((ahead - back) @ coefficients) / wheelbase

    here, steeper = bend(0.0), (bend(0.5) - bend(-0.5)) / wheelbase
    lean = LEAN_SHARE_OF_GAUGE * adjusted.problem.wagon.gauge_mm**2
    curling = (bend(1.0) - 2 * here + bend(-1.0)) / wheelbase**2
    out = [Shift(lean * here * sin, -lean * here * cos, zero, -lean * steeper, -lean * curling, zero, zero)]
    if not adjusted.problem.reverses:
        speed = np.abs(adjusted.problem.settings[0].bins.v_mm_s)
        late = adjusted.problem.before.lag_sd_s * float(np.sqrt(np.mean(speed[speed > 0] ** 2)))
        gradient = value @ u.gamma
        out.append(
            Shift(
                late * cos, late * sin, late * gradient, late * here,
                late * steeper, late * slope(u.gamma), late * slope(u.phi),
            )
        )  # fmt: skip
    return tuple(out)

"""What no comparison of passes shows and is not estimated either: its part in the error bars.

The lean: flanges rest against the outer rail in curves, so the wagon measures a path that lies outside the centreline
by c kappa, alike on every pass. The lag: where no run reverses, how much later than the wheel the inertial sensor
speaks stays unknown, and every place lies further on by v times its error. The accelerometer's scale: gravity is what
the gyro's roll and pitch are scaled by. The length scale of an open line: what stands at a chainage is what lies
further on by the scale's error.
Legend: L wheelbase, kappa curvature over L, ' by sigma; errors of x, y, heading and of means over L.
"""

from dataclasses import dataclass, replace

import numpy as np

from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.line import trace

LEAN_SHARE_OF_GAUGE = 0.17
"""c over the gauge squared: at a radius of 25 gauges half of the play of 0.013 gauge (NEM 310, middle values) to either
side (common practice, no source)."""


FORCE_SCALE_SD = 0.003
"""How far the accelerometer's scale may be off once its maker has trimmed it (common practice, no source)."""


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

    def moved(by: Array) -> Shift:
        """Every place further along the line than was thought."""
        return Shift(
            by * cos, by * sin, by * (value @ u.gamma), by * here, by * steeper, by * slope(u.gamma), by * slope(u.phi)
        )

    here, steeper = bend(0.0), (bend(0.5) - bend(-0.5)) / wheelbase
    lean = LEAN_SHARE_OF_GAUGE * adjusted.problem.wagon.gauge_mm**2
    curling = (bend(1.0) - 2 * here + bend(-1.0)) / wheelbase**2
    out = [Shift(lean * here * sin, -lean * here * cos, zero, -lean * steeper, -lean * curling, zero, zero)]
    out.append(_of_the_force(adjusted, places))
    if not adjusted.problem.reverses:
        speed = np.abs(adjusted.problem.settings[0].bins.v_mm_s)
        usual = float(np.sqrt(np.mean(speed[speed > 0] ** 2)))
        out.append(moved(np.full_like(places, adjusted.problem.before.lag_sd_s * usual)))
    if adjusted.problem.line.lap_mm is None:
        scale = adjusted.unknowns.names["scale"].start
        sd = float(np.sqrt(max(adjusted.border_covariance[scale, scale], 0.0)))
        drawn_out = moved(sd * (places - places.mean()))
        out.append(replace(drawn_out, x=zero, y=zero, z=zero))  # positions have the scale in their own sigmas
    return tuple(out)


def _of_the_force(adjusted: Adjusted, places: Array) -> Shift:
    """The accelerometer's scale."""
    u = adjusted.unknowns
    line, zero = trace(u, u.spline.h), np.zeros_like(places)
    height = np.interp(places, line.sigma, line.z, period=adjusted.problem.line.lap_mm)
    over = u.spline.mean_rows(places - u.wheelbase_mm / 2, u.wheelbase_mm)
    gradient, across = (FORCE_SCALE_SD * (over @ angle) for angle in (u.gamma, u.phi))
    return Shift(zero, zero, FORCE_SCALE_SD * height, zero, zero, gradient, across)

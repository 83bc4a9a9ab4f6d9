"""Where a run's body is on the present track: its place along the line, and its attitude there.

Legend (body axes x forward, y left, z up; one run of way w = +-1, wheelbase L):
  sigma    place of the body's origin, the rear support, along the wheel's path; the other support is at sigma + w L
  psi      body heading = mean of theta over [sigma, sigma + w L] (chord of a curve: right to (kappa L)^3 / 100)
  alpha    body climb = w x mean of gamma there; rho = body roll = w x mean of phi at the two supports
  eps      psi less the direction of travel at the origin
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy import sparse

from wayrule.model import Mishap
from wayrule.model.arrays import Array
from wayrule.track.adjust.bins import Bins
from wayrule.track.adjust.rows import in_columns
from wayrule.track.adjust.unknowns import Unknowns, hats

AT_ONCE = 8192
"""Edges whose splines are worked out together: what that takes of memory stays small beside the recording."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What is fixed about a run while adjusting: its bins, way, first guess of place, and the sensor's place.

    arm_mm  (3,) inertial sensor from the body origin: forward, left, up
    jumps   mishaps across which the run may have gone elsewhere than its wheel says
    sure_s  when the part of the run begins and ends whose place the wheel alone tells; jumps are counted from it
    """

    bins: Bins
    number: int
    way: int
    start_mm: float
    stretch: float
    wheelbase_mm: float
    arm_mm: tuple[float, float, float]
    jumps: tuple[Mishap, ...] = ()
    sure_s: tuple[float, float] = (-np.inf, np.inf)


@dataclass(frozen=True, slots=True)
class Pose:
    """A run on the present track, at the edges of its bins (b + 1,): see the legend; slopes are by sigma."""

    sigma: Array
    psi: Array
    alpha: Array
    rho: Array
    eps: Array
    psi_slope: Array
    alpha_slope: Array
    rho_slope: Array

    def over(self, edges: slice) -> "Pose":
        """The same at some of the edges."""
        return Pose(*(getattr(self, f.name)[edges] for f in fields(self)))


def chainage(x: Unknowns, run: Setting) -> Array:
    """(b + 1,) sigma at the edges.

    sigma is the wheel's own path: what it loses in curves and the slope's cosine belong to the line, not to the run
    (`line.py`), so that a change of them moves no feature along the splines.
    """
    bins, r = run.bins, run.number
    slide = x.some(f"slide/{r}")
    along = run.way * run.stretch * bins.d_mm * (1 + x.one("stretch") + x.one(f"stretch/{r}"))
    slid = hats(bins.path_mm, bins.path_span, len(slide)) @ slide
    jumped = sum(x.one(name) * gone for name, gone in jump_columns(run, slice(None)).items())
    return np.asarray(run.start_mm + x.one(f"start/{r}") + along + slid + jumped)


def jump_columns(run: Setting, edges: slice) -> dict[str, Array]:
    """How much of each of a run's jumps lies between some of the edges and its sure part, by the border's names: 0 on
    that side, 1 after a jump that follows it, -1 before one that it follows."""
    t_s = run.bins.t_s[edges]
    return {
        f"jump/{run.number}/{i}": np.clip((t_s - one.first_s) / one.duration_s, 0.0, 1.0) - is_before(run, one)
        for i, one in enumerate(run.jumps)
    }


def is_before(run: Setting, one: Mishap) -> bool:
    """Whether a mishap lies before the run's sure part."""
    return one.last_s <= run.sure_s[0]


def chainage_rows(x: Unknowns, run: Setting, edges: slice) -> sparse.csr_array:
    """(m, k) derivatives of `chainage` at some of the edges."""
    return _place_rows(x, run, edges, {})


def heard(x: Unknowns, run: Setting, sigma: Array) -> Array:
    """(b + 1,) where the inertial sensor speaks of, `lag_s` after the wagon was there."""
    return np.asarray(sigma - run.way * run.stretch * run.bins.v_mm_s * x.one("lag_s"))


def heard_rows(x: Unknowns, run: Setting, edges: slice) -> sparse.csr_array:
    """(m, k) derivatives of `heard` at some of the edges."""
    return _place_rows(x, run, edges, {"lag_s": -run.way * run.stretch * run.bins.v_mm_s[edges]})


def _place_rows(x: Unknowns, run: Setting, edges: slice, more: dict[str, Array]) -> sparse.csr_array:
    bins, r = run.bins, run.number
    along = run.way * run.stretch * bins.d_mm[edges]
    columns = {f"start/{r}": np.ones_like(along), "stretch": along, f"stretch/{r}": along} | more
    columns |= jump_columns(run, edges)
    hat = hats(bins.path_mm[edges], bins.path_span, len(x.some(f"slide/{r}")))
    return in_columns(columns, {f"slide/{r}": hat}, x.names, len(x.border))


def mean_rows(x: Unknowns, run: Setting, sigma: Array) -> sparse.csr_array:
    """(m, n) what the body's heading and climb are of theta and (times w) gamma: means over the wheelbase."""
    return x.spline.mean_rows(sigma, run.way * run.wheelbase_mm)


def roll_rows(x: Unknowns, run: Setting, sigma: Array) -> sparse.csr_array:
    """(m, n) what the body's roll is of w phi: the mean of the two supports."""
    near, far = x.spline.value_rows(sigma), x.spline.value_rows(sigma + run.way * run.wheelbase_mm)
    return sparse.csr_array((near + far) * 0.5)


def pose(x: Unknowns, run: Setting, sigma: Array) -> Pose:
    """The body on the present track at the given chainages of its origin."""
    parts = [_pose(x, run, sigma[a : a + AT_ONCE]) for a in range(0, len(sigma), AT_ONCE)]
    return Pose(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Pose)))


def _pose(x: Unknowns, run: Setting, sigma: Array) -> Pose:
    span = run.way * run.wheelbase_mm
    spline, wind = x.spline, x.winding_rad_mm
    mean = mean_rows(x, run, sigma)
    near, far = spline.value_rows(sigma), spline.value_rows(sigma + span)
    theta_near, theta_far = near @ x.theta, far @ x.theta
    psi = mean @ x.theta + wind * (sigma + span / 2)
    roll_slope = spline.slope_rows(sigma) @ x.phi + spline.slope_rows(sigma + span) @ x.phi
    return Pose(
        sigma,
        psi,
        run.way * (mean @ x.gamma),
        run.way * 0.5 * (near @ x.phi + far @ x.phi),
        psi - theta_near - wind * sigma,
        (theta_far - theta_near) / span + wind,
        run.way * (far @ x.gamma - near @ x.gamma) / span,
        run.way * 0.5 * roll_slope,
    )


def middle(values: Array) -> Array:
    """(b,) means of neighbours: bins' values from their edges'."""
    return np.asarray(0.5 * (values[1:] + values[:-1]))

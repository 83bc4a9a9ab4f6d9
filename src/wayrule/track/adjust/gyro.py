"""What the gyro should have read over each bin of a run, and how that changes with the unknowns.

Rates of ZYX attitude (legend in `pose.py`), climb positive nose up:
  omega_x = rho' + psi' sin alpha;  omega_y = -alpha' cos rho + psi' sin rho cos alpha
  omega_z = psi' cos rho cos alpha + alpha' sin rho
Source: P. D. Groves, Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems, 2nd ed., ch. 2
(attitude kinematics).
The Earth's rate (15 deg/h): its vertical part is in the bias; its horizontal part (earth_x, earth_y in the map's axes)
turns with the heading past the roll and pitch axes.
"""

import numpy as np
from scipy import sparse

from wayrule.model.arrays import Array
from wayrule.model.calibration import GYRO_MATRIX
from wayrule.track.adjust.bins import Part
from wayrule.track.adjust.pose import Pose, Setting, heard_rows, mean_rows, middle, roll_rows
from wayrule.track.adjust.rows import Readings, Rows, in_columns, level_names, scaled
from wayrule.track.adjust.unknowns import UNTURNED, Unknowns, hats, sway_spline
from wayrule.units import G_MM_S2

UNHEARD = (("cross_x", 2), ("cross_y", 2))
"""Mounting angles act on the yaw axis too, but are not learnt from it: a body that yaws when it rolls would look like a
tilted sensor over a calmer line. The roll and pitch axes, which see the whole yaw rate, tell them far better."""

SPLINE_OF_AXIS = (2, 1, 0)
"""Which spline each gyro axis reads: x the roll, y the gradient, z the heading."""

AXES = "xyz"


def gyro_matrix(x: Unknowns) -> Array:
    """(3, 3) readings over true body rates, as the border has it."""
    out = np.eye(3)
    for name, row, column, sign in GYRO_MATRIX:
        out[row, column] += sign * x.one(name)
    return out


def turned(at: Pose) -> Array:
    """(3, b) true angles about the body's axes, turned over each bin."""
    turn, rise, lean = np.diff(at.psi), np.diff(at.alpha), np.diff(at.rho)
    alpha, rho = middle(at.alpha), middle(at.rho)
    upright = turn * np.cos(alpha)
    return np.array(
        [
            lean + turn * np.sin(alpha),
            upright * np.sin(rho) - rise * np.cos(rho),
            upright * np.cos(rho) + rise * np.sin(rho),
        ]
    )


def gyro_readings(x: Unknowns, run: Setting, at: Pose) -> list[Readings]:
    """All three axes: x (reads phi), y (gamma), z (theta)."""
    bins, true = run.bins, turned(at)
    seen = gyro_matrix(x) @ true
    part = Part(slice(0, len(bins.dt_s)), slice(0, len(bins.t_s)), slice(0, 0))
    sway_step, drift = _sway_step(x, run, part), _drift(x, run, part)
    out = []
    for axis, spline in enumerate(SPLINE_OF_AXIS):
        earth = sum(rate * x.one(name) for name, rate in _earth(run, at, part, axis).items())
        drifted = drift @ x.some(f"bias_{AXES[axis]}/{run.number}")
        modelled = seen[axis] + earth + drifted + sway_step @ x.sway[spline, x.sway_of[run.number]]
        residual = bins.gyro_rad[:, axis] - modelled
        out.append(Readings(f"gyro_{AXES[axis]}", spline, residual, bins.gyro_ok[:, axis]))
    return out


def gyro_rows(x: Unknowns, run: Setting, whole: Pose, part: Part) -> list[Rows]:
    """Derivatives of the three axes over a part of the run."""
    at = whole.over(part.edges)
    true, by_sigma = turned(at), _by_sigma(at)
    moved = heard_rows(x, run, part.edges)
    sway_step, drift = _sway_step(x, run, part), _drift(x, run, part)
    mean, roll = mean_rows(x, run, at.sigma), roll_rows(x, run, at.sigma)
    own = {0: (run.way, _step(roll)), 1: (-run.way, mean_step := _step(mean)), 2: (1, mean_step)}
    unturned = _unturned(at, run.way * (mean @ x.phi), run.way * (roll @ x.gamma))
    twisted = {
        name: np.array([a * climb + b * lean for climb, lean in zip(*unturned, strict=True)])
        for name, (a, b) in UNTURNED.items()
    }
    out = []
    for axis, spline in enumerate(SPLINE_OF_AXIS):
        columns = {
            name: s * true[column]
            for name, row, column, s in GYRO_MATRIX
            if row == axis != column and (name, axis) not in UNHEARD
        } | _earth(run, at, part, axis)
        if axis == 2:
            columns["gyro_scale_z"] = x.winding_rad_mm * np.diff(at.sigma)
        else:
            columns |= {name: columns.get(name, 0.0) + one[axis] for name, one in twisted.items()}
        if axis != 2 and len(run.bins.force_mm_s2):
            columns |= dict.fromkeys(level_names(AXES[axis], run.number), true[2] / -G_MM_S2)
        by_place = scaled(moved, by_sigma[axis])
        drifting = {f"bias_{AXES[axis]}/{run.number}": drift}
        by_border = in_columns(columns, drifting, x.names, len(x.border)) + (by_place[1:] - by_place[:-1])
        sign, step = own[axis]
        by_spline = sparse.csr_array(step * sign)
        out.append(Rows(f"gyro_{AXES[axis]}", spline, part.bins, by_spline, sway_step, sparse.csr_array(by_border)))
    return out


def _by_sigma(at: Pose) -> Array:
    """(3, edges) how the body's turning so far changes when the run is moved along the line, as far as each axis' own
    spline says. What it sees of the others' through tilt and mounting is left out here, as it is in the derivatives by
    the splines: a run that moves with its line then changes nothing, which else would seem to."""
    return np.array([at.rho_slope, -at.alpha_slope, at.psi_slope])


def _unturned(at: Pose, rolled: Array, climbed: Array) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """What roll and pitch axis would read more over each bin (b,), were the climb more by `rolled`, and were the roll
    more by `climbed` (edges,)."""
    upright = np.diff(at.psi) * np.cos(middle(at.alpha))
    lean = np.cos(middle(at.rho))
    by_climb = upright * middle(rolled), -np.diff(rolled) * lean
    by_roll = np.diff(climbed), upright * middle(climbed) * lean
    return by_climb, by_roll


def _step(rows: sparse.csr_array) -> sparse.csr_array:
    return sparse.csr_array(rows[1:] - rows[:-1])


def _earth(run: Setting, at: Pose, part: Part, axis: int) -> dict[str, Array]:
    """What the Earth's horizontal rate turns over each bin, by the border's names; nothing on the yaw axis."""
    if axis == 2:
        return {}
    psi, dt = middle(at.psi), run.way * run.bins.dt_s[part.bins]
    if axis == 0:
        return {"earth_x": np.cos(psi) * dt, "earth_y": np.sin(psi) * dt}
    return {"earth_x": -np.sin(psi) * dt, "earth_y": np.cos(psi) * dt}


def _drift(x: Unknowns, run: Setting, part: Part) -> sparse.csr_array:
    """(m, knots) what a wandering bias adds over each bin; all axes have their knots at the same times."""
    bins = run.bins
    knots = hats(bins.t_s[part.edges], (bins.t_s[0], bins.t_s[-1]), len(x.some(f"bias_x/{run.number}")))
    return scaled(sparse.csr_array(knots[1:] + knots[:-1]), 0.5 * bins.dt_s[part.bins])


def _sway_step(x: Unknowns, run: Setting, part: Part) -> sparse.csr_array:
    """(m, knots) what the sway adds over each bin."""
    sway = x.sway_of[run.number]
    return _step(sway_spline(run.bins, sway.stop - sway.start).value_rows(run.bins.path_mm[part.edges]))

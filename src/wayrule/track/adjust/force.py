"""What the accelerometer should have felt over each group of bins, and how that changes with the unknowns.

Specific force of the sensor at r (legend in `pose.py`): d/dt of its velocity in body axes + psi' x velocity + gravity's
reaction
  velocity = (v cos eps - psi' r_y - alpha' r_z, -v sin eps + psi' r_x - rho' r_z)
  f_x = d(vel_x)/dt - psi' vel_y + g sin alpha;  f_y = d(vel_y)/dt + psi' vel_x + g sin rho cos alpha
Source: P. D. Groves, Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems, 2nd ed., ch. 2
(rotating-frame accelerations), written out for small climb and roll.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wayrule.model.arrays import Array
from wayrule.track.adjust.bins import Bins, Part
from wayrule.track.adjust.pose import Pose, Setting, heard_rows, mean_rows, middle, roll_rows
from wayrule.track.adjust.rows import Readings, Rows, in_columns, level_names, scaled
from wayrule.track.adjust.unknowns import UNTURNED, Unknowns
from wayrule.units import G_MM_S2


@dataclass(frozen=True, slots=True)
class Felt:
    """Mean specific force in body axes over each group (2, g): forward and left [mm/s2].

    moving  what the wheel and the track explain without gravity
    whole   gravity's reaction on gradient and roll included
    """

    moving: Array
    whole: Array


def felt(x: Unknowns, run: Setting, at: Pose) -> Felt:
    """What a true sensor would feel on the present track."""
    moving = np.array(kinematics(x, run, at))
    leaning = np.array([np.sin(at.alpha), np.sin(at.rho) * np.cos(at.alpha)])
    return Felt(moving, moving + G_MM_S2 * np.array([_group_means(run.bins, one) for one in leaning]))


FORCES = (
    (0, "x", "force_xy", 1.0, 1, "y"),
    (1, "y", "force_yx", -1.0, 2, "x"),
)
"""Axis, its letter, its cross-sensitivity, the sign by which `yaw` enters, its spline, the gyro axis that reads it."""


def force_readings(x: Unknowns, run: Setting, true: Felt) -> list[Readings]:
    """Forward (reads gamma) and left (phi); none without an accelerometer."""
    out = []
    for axis, letter, cross, sign, spline, _ in FORCES if len(run.bins.force_mm_s2) else ():
        levels = sum(x.one(name) for name in level_names(letter, run.number))
        model = true.whole[axis] + (sign * x.one("yaw") + x.one(cross)) * true.whole[1 - axis] + levels
        residual = run.bins.force_mm_s2[:, axis] - model
        out.append(Readings(f"force_{letter}", spline, residual, run.bins.force_ok[:, axis]))
    return out


def force_rows(x: Unknowns, run: Setting, at: Pose, true: Felt, part: Part) -> list[Rows]:
    """Derivatives of both over a part of the run."""
    if not len(run.bins.force_mm_s2):
        return []
    here = part.groups
    average, sigma = _group_average(run.bins, part), at.sigma[part.edges]
    own = {1: mean_rows(x, run, sigma), 2: roll_rows(x, run, sigma)}
    steeper = {1: at.alpha_slope[part.edges], 2: at.rho_slope[part.edges]}
    moved = heard_rows(x, run, part.edges)
    unturned = {s: average @ (own[s] @ angle) * (run.way * G_MM_S2) for s, angle in ((1, x.phi), (2, x.gamma))}
    out = []
    for axis, letter, cross, sign, spline, leaning in FORCES:
        gain, other = x.gain(leaning), true.whole[1 - axis, here]
        columns = dict.fromkeys(level_names(letter, run.number), np.ones_like(other))
        columns |= {name: share[spline - 1] * unturned[spline] for name, share in UNTURNED.items()}
        columns |= {"yaw": sign * other + columns["yaw"], cross: other}
        columns[f"gyro_scale_{leaning}"] = (true.whole[axis, here] - true.moving[axis, here]) * (-1.0 / gain)
        by_spline = sparse.csr_array(average @ own[spline]) * (run.way * G_MM_S2 / gain)
        by_place = average @ scaled(moved, G_MM_S2 * steeper[spline])
        by_border = sparse.csr_array(in_columns(columns, {}, x.names, len(x.border)) + by_place)
        out.append(Rows(f"force_{letter}", spline, here, by_spline, None, by_border))
    return out


def kinematics(x: Unknowns, run: Setting, at: Pose) -> tuple[Array, Array]:
    """(g,) forward and left: mean accelerations that the wheel and the track already explain [mm/s2]."""
    bins = run.bins
    v = bins.v_mm_s * (1 + x.one("scale")) * (1 + x.one("slip_mm") * np.abs(at.psi_slope))
    rate = at.psi_slope * run.way * bins.v_mm_s * run.stretch * (1 + x.one("stretch"))
    dip, lean = np.gradient(at.alpha, bins.t_s), np.gradient(at.rho, bins.t_s)
    rx, ry, rz = run.arm_mm
    along = v * np.cos(at.eps) - rate * ry - dip * rz
    across = -v * np.sin(at.eps) + rate * rx - lean * rz
    turn = np.diff(at.psi)
    g = bins.group
    duration = np.diff(bins.t_s[g])

    def swept(velocity: Array) -> Array:
        return np.asarray(np.add.reduceat(turn * middle(velocity), g[:-1])) / duration

    return np.diff(along[g]) / duration - swept(across), np.diff(across[g]) / duration + swept(along)


def _group_means(bins: Bins, values: Array) -> Array:
    """(g,) time averages over groups of a quantity given at the edges."""
    g = bins.group
    return np.asarray(np.add.reduceat(middle(values) * bins.dt_s, g[:-1])) / np.diff(bins.t_s[g])


def _group_average(bins: Bins, part: Part) -> sparse.csr_array:
    """(groups, edges) of a part: the matrix that takes `_group_means`."""
    first: int = part.edges.start
    g: NDArray[np.int64] = bins.group[part.groups.start : part.groups.stop + 1] - first
    dt = bins.dt_s[part.bins]
    which = np.repeat(np.arange(len(g) - 1), np.diff(g))
    share = 0.5 * dt / np.diff(bins.t_s[g + first])[which]
    edge = np.arange(len(dt))
    row, column = np.concatenate((which, which)), np.concatenate((edge, edge + 1))
    return sparse.csr_array((np.concatenate((share, share)), (row, column)), shape=(len(g) - 1, len(dt) + 1))

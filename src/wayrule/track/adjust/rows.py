"""The measurement model: what each bin of a run should have read, and how that changes with the unknowns.

Legend (body axes x forward, y left, z up; one run of way w = +-1, wheelbase L):
  sigma    place of the body's origin, the rear support, along the wheel's path; the other support is at sigma + w L
  psi      body heading = mean of theta over [sigma, sigma + w L] (chord of a curve: right to (kappa L)^3 / 100)
  alpha    body climb = w x mean of gamma there; rho = body roll = w x mean of phi at the two supports
  eps      psi less the direction of travel at the origin
Rates of ZYX attitude, climb positive nose up:
  omega_x = rho' + psi' sin alpha;  omega_y = -alpha' cos rho + psi' sin rho cos alpha
  omega_z = psi' cos rho cos alpha + alpha' sin rho
Specific force of the sensor at r: d/dt of its velocity in body axes + psi' x velocity + gravity's reaction
  velocity = (v cos eps - psi' r_y - alpha' r_z, -v sin eps + psi' r_x - rho' r_z)
  f_x = d(vel_x)/dt - psi' vel_y + g sin alpha;  f_y = d(vel_y)/dt + psi' vel_x + g sin rho cos alpha
Source: P. D. Groves, Principles of GNSS, Inertial, and Multisensor Integrated Navigation Systems, 2nd ed., ch. 2
(attitude kinematics, rotating-frame accelerations), written out for small climb and roll.
The Earth's rate (15 deg/h): its vertical part is in the bias; its horizontal part (earth_x, earth_y in the map's axes)
turns with the heading past the roll and pitch axes.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from wayrule.model.arrays import Array
from wayrule.track.adjust.bins import Bins
from wayrule.track.adjust.unknowns import Unknowns, hats
from wayrule.units import G_MM_S2


@dataclass(frozen=True, slots=True)
class Setting:
    """What is fixed about a run while adjusting: its bins, way, first guess of place, and the sensor's place.

    arm_mm  (3,) inertial sensor from the body origin: forward, left, up
    """

    bins: Bins
    number: int
    way: int
    start_mm: float
    stretch: float
    wheelbase_mm: float
    arm_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Pose:
    """A run on the present track, at the edges of its bins (b + 1,): see the legend. Matrices are on coefficients."""

    sigma: Array
    psi: Array
    alpha: Array
    rho: Array
    eps: Array
    psi_slope: Array
    alpha_slope: Array
    rho_slope: Array
    mean_rows: sparse.csr_array
    roll_rows: sparse.csr_array


@dataclass(frozen=True, slots=True)
class Rows:
    """Observations of one kind: residual = observed - modelled, its derivatives by a spline and by the border.

    spline   0 theta, 1 gamma, 2 phi
    by_sway  on the run's own sway of that angle; None where it does not enter
    """

    kind: str
    spline: int
    residual: Array
    by_spline: sparse.csr_array
    by_sway: sparse.csr_array | None
    by_border: sparse.csr_array
    ok: np.ndarray[tuple[int], np.dtype[np.bool_]]


def chainage(x: Unknowns, run: Setting) -> tuple[Array, sparse.csr_array]:
    """(b + 1,) sigma at the edges, and its (b + 1, k) derivatives by the border.

    sigma is the wheel's own path: what it loses in curves and the slope's cosine belong to the line, not to the run
    (`line.py`), so that a change of them moves no feature along the splines.
    """
    bins, r = run.bins, run.number
    w, names, k = run.way, x.names, len(x.border)
    along = w * run.stretch * bins.d_mm
    hat = hats(bins.path_mm, names[f"slide/{r}"].stop - names[f"slide/{r}"].start)
    sigma = (
        run.start_mm
        + x.one(f"start/{r}")
        + along * (1 + x.one("stretch") + x.one(f"stretch/{r}"))
        + hat @ x.some(f"slide/{r}")
    )
    columns = {f"start/{r}": np.ones_like(along), "stretch": along, f"stretch/{r}": along}
    return sigma, _place(columns, {f"slide/{r}": hat}, names, k)


def lagging(x: Unknowns, run: Setting, sigma: Array, by_border: sparse.csr_array) -> tuple[Array, sparse.csr_array]:
    """Where the inertial sensor speaks of at the edges, `lag_s` after the wagon was there; shapes as of `chainage`."""
    v = run.way * run.stretch * run.bins.v_mm_s
    by_lag = _place({"lag_s": -v}, {}, x.names, len(x.border))
    return sigma - v * x.one("lag_s"), sparse.csr_array(by_border + by_lag)


def _place(
    columns: dict[str, Array], parts: dict[str, sparse.csr_array], names: dict[str, slice], k: int
) -> sparse.csr_array:
    """Border derivatives put in their columns: (m, k)."""
    blocks, index = [], []
    for name, column in columns.items():
        blocks.append(sparse.csc_array(column[:, None]))
        index.append(np.array([names[name].start]))
    for name, part in parts.items():
        blocks.append(sparse.csc_array(part))
        index.append(np.arange(names[name].start, names[name].stop))
    joined = sparse.hstack(blocks, format="coo")
    column = np.concatenate(index)[joined.col]
    return sparse.csr_array((joined.data, (joined.row, column)), shape=(joined.shape[0], k))


def pose(x: Unknowns, run: Setting, sigma: Array) -> Pose:
    """The body on the present track at the given chainages of its origin."""
    span = run.way * run.wheelbase_mm
    spline, wind = x.spline, x.winding_rad_mm
    mean = spline.mean_rows(sigma, span)
    near, far = spline.value_rows(sigma), spline.value_rows(sigma + span)
    roll = (near + far) * 0.5
    theta_near, theta_far = near @ x.theta, far @ x.theta
    psi = mean @ x.theta + wind * (sigma + span / 2)
    roll_slope = spline.slope_rows(sigma) @ x.phi + spline.slope_rows(sigma + span) @ x.phi
    return Pose(
        sigma,
        psi,
        run.way * (mean @ x.gamma),
        run.way * (roll @ x.phi),
        psi - theta_near - wind * sigma,
        (theta_far - theta_near) / span + wind,
        run.way * (far @ x.gamma - near @ x.gamma) / span,
        run.way * 0.5 * roll_slope,
        mean,
        roll,
    )


GYRO_MATRIX = (
    ("gyro_scale_x", 0, 0, 1.0),
    ("gyro_scale_y", 1, 1, 1.0),
    ("gyro_scale_z", 2, 2, 1.0),
    ("cross_x", 0, 2, 1.0),
    ("cross_x", 2, 0, -1.0),
    ("cross_y", 1, 2, 1.0),
    ("cross_y", 2, 1, -1.0),
    ("yaw", 0, 1, 1.0),
    ("yaw", 1, 0, -1.0),
    ("gyro_xy", 0, 1, 1.0),
    ("gyro_yx", 1, 0, 1.0),
    ("gyro_zx", 2, 0, 1.0),
    ("gyro_zy", 2, 1, 1.0),
)
"""How the border's constants enter the matrix that turns true body rates into readings (beside the unit matrix): the
three mounting angles come in pairs of opposite sign, a rotation; what the axes' own errors add is apart and small."""


UNHEARD = (("cross_x", 2), ("cross_y", 2))
"""Mounting angles act on the yaw axis too, but are not learnt from it: a body that yaws when it rolls would look like a
tilted sensor over a calmer line. The roll and pitch axes, which see the whole yaw rate, tell them far better."""


def gyro_matrix(x: Unknowns) -> Array:
    """(3, 3) readings over true body rates, as the border has it."""
    out = np.eye(3)
    for name, row, column, sign in GYRO_MATRIX:
        out[row, column] += sign * x.one(name)
    return out


def gyro_rows(x: Unknowns, run: Setting, at: Pose, sigma_by_border: sparse.csr_array) -> list[Rows]:
    """Rows of the three gyro axes: x (on phi), y (on gamma), z (on theta)."""
    bins = run.bins
    turn, rise, lean = np.diff(at.psi), np.diff(at.alpha), np.diff(at.rho)
    alpha, rho = _middle(at.alpha), _middle(at.rho)
    true = np.array([lean + turn * alpha, -rise + turn * rho, turn * np.cos(rho) * np.cos(alpha) + rise * rho])
    by_sigma = np.array([at.rho_slope + at.alpha * at.psi_slope, at.rho * at.psi_slope - at.alpha_slope, at.psi_slope])
    faults = gyro_matrix(x) - np.eye(3)
    psi = _middle(at.psi)
    facing = float(run.way)
    earth_axes = {
        "x": (facing * np.cos(psi), -facing * np.sin(psi)),
        "y": (facing * np.sin(psi), facing * np.cos(psi)),
    }
    sway_of = x.sway_of[run.number]
    sway = hats(bins.path_mm, sway_of.stop - sway_of.start)
    sway_step = sparse.csr_array(sway[1:] - sway[:-1])
    mean_step = sparse.csr_array(at.mean_rows[1:] - at.mean_rows[:-1])
    roll_step = sparse.csr_array(at.roll_rows[1:] - at.roll_rows[:-1])
    own = ((2, run.way, roll_step), (1, -run.way, mean_step), (0, 1, mean_step))
    out = []
    for axis, (spline, sign, step) in enumerate(own):
        bias = f"bias_{'xyz'[axis]}/{run.number}"
        knots = hats(bins.t_s, x.names[bias].stop - x.names[bias].start)
        drift = sparse.csr_array((knots[1:] + knots[:-1]).multiply(0.5 * bins.dt_s[:, None]))
        columns = {
            name: s * true[column]
            for name, row, column, s in GYRO_MATRIX
            if row == axis != column and (name, axis) not in UNHEARD
        }
        if axis == 2:
            columns["gyro_scale_z"] = x.winding_rad_mm * np.diff(at.sigma)
        columns |= {f"earth_{name}": earth[axis] * bins.dt_s for name, earth in earth_axes.items() if axis < 2}
        if axis < 2 and len(bins.force_mm_s2):
            columns |= dict.fromkeys(level_names("xy"[axis], run.number), turn / -G_MM_S2)
        by_place = sigma_by_border.multiply((by_sigma[axis] + faults[axis] @ by_sigma)[:, None]).tocsr()
        by_border = _place(columns, {bias: drift}, x.names, len(x.border)) + (by_place[1:] - by_place[:-1])
        earth = sum(columns[f"earth_{name}"] * x.one(f"earth_{name}") for name in earth_axes) if axis < 2 else 0.0
        modelled = true[axis] + earth + faults[axis] @ true + drift @ x.some(bias) + sway_step @ x.sway[spline, sway_of]
        residual = bins.gyro_rad[:, axis] - modelled
        kind = f"gyro_{'xyz'[axis]}"
        out.append(
            Rows(
                kind,
                spline,
                residual,
                sparse.csr_array(step * sign),
                sway_step,
                sparse.csr_array(by_border),
                bins.gyro_ok[:, axis],
            )
        )
    return out


def level_names(letter: str, run: int) -> tuple[str, str]:
    """The border's level offsets of an axis: the wagon's and the run's own.

    A body that leans over by what an offset says yaws less about its upright: the gyro's roll and pitch axes see the
    offset as they see cross_x and cross_y. The angles themselves are other splines, whose derivatives are left out of
    the gyro's rows; but angle times g and offset together are what the accelerometer read, so one stands for the other.
    """
    return f"level_{letter}", f"level_{letter}/{run}"


def force_rows(x: Unknowns, run: Setting, at: Pose) -> list[Rows]:
    """Rows of the forward (on gamma) and left (on phi) specific force, averaged over groups of bins."""
    bins = run.bins
    if not len(bins.force_mm_s2):
        return []
    kin_x, kin_y = _kinematics(x, run, at)
    average = _group_average(bins)
    ahead = kin_x + G_MM_S2 * (average @ np.sin(at.alpha))
    left = kin_y + G_MM_S2 * (average @ (np.sin(at.rho) * np.cos(at.alpha)))
    yaw, k, gravity = x.one("yaw"), len(x.border), run.way * G_MM_S2
    out = []
    for axis, letter, true, other, cross, sign, spline, rows in (
        (0, "x", ahead, left, "force_xy", 1.0, 1, at.mean_rows),
        (1, "y", left, ahead, "force_yx", -1.0, 2, at.roll_rows),
    ):
        leaning, gain = ("y", x.gain("y")) if axis == 0 else ("x", x.gain("x"))
        levels = level_names(letter, run.number)
        columns = dict.fromkeys(levels, np.ones_like(true)) | {"yaw": sign * other, cross: other}
        columns[f"gyro_scale_{leaning}"] = (true - (kin_x if axis == 0 else kin_y)) * (-1.0 / gain)
        model = true + (sign * yaw + x.one(cross)) * other + sum(x.one(name) for name in levels)
        out.append(
            Rows(
                f"force_{letter}",
                spline,
                bins.force_mm_s2[:, axis] - model,
                sparse.csr_array(average @ rows) * (gravity / gain),
                None,
                _place(columns, {}, x.names, k),
                bins.force_ok[:, axis],
            )
        )
    return out


def _kinematics(x: Unknowns, run: Setting, at: Pose) -> tuple[Array, Array]:
    """Mean accelerations that the wheel and the track already explain, per group, forward and left [mm/s2]."""
    bins = run.bins
    true = 1 + x.one("scale")
    v = bins.v_mm_s * true
    rate = at.psi_slope * run.way * bins.v_mm_s * run.stretch * (1 + x.one("stretch"))
    dip, lean = np.gradient(at.alpha, bins.t_s), np.gradient(at.rho, bins.t_s)
    rx, ry, rz = run.arm_mm
    along = v * np.cos(at.eps) - rate * ry - dip * rz
    across = -v * np.sin(at.eps) + rate * rx - lean * rz
    turn = np.diff(at.psi)
    g = bins.group
    duration = np.diff(bins.t_s[g])

    def swept(velocity: Array) -> Array:
        return np.asarray(np.add.reduceat(turn * _middle(velocity), g[:-1])) / duration

    return np.diff(along[g]) / duration - swept(across), np.diff(across[g]) / duration + swept(along)


def _group_average(bins: Bins) -> sparse.csr_array:
    """(g, b + 1) time averages over groups of a quantity given at the edges."""
    g, dt = bins.group, bins.dt_s
    which = np.repeat(np.arange(len(g) - 1), np.diff(g))
    share = 0.5 * dt / np.diff(bins.t_s[g])[which]
    edge = np.arange(len(dt))
    row = np.concatenate((which, which))
    column = np.concatenate((edge, edge + 1))
    return sparse.csr_array((np.concatenate((share, share)), (row, column)), shape=(len(g) - 1, len(dt) + 1))


def _middle(values: Array) -> Array:
    return np.asarray(0.5 * (values[1:] + values[:-1]))

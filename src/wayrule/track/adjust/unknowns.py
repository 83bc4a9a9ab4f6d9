"""The unknowns of an adjustment: three splines along the line, and a border of constants of the wagon and its runs.

Splines over sigma, the path of the wheel along the line in its nominal mm: heading theta [rad], gradient gamma, roll
phi [rad].
Sway: what the body's heading, climb and roll add to the line's, run by run, within the wheels' play; it comes and goes.
Border, for the wagon: see `WAGON`; for each run: start, stretch, level offsets, a gyro bias that wanders in time,
and a slide of the wheel that wanders along the path.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import sparse

from wayrule.maths.splines import UniformSpline
from wayrule.model import Wagon
from wayrule.model.arrays import Array
from wayrule.track.adjust.bins import Bins
from wayrule.track.adjust.density import Density
from wayrule.track.adjust.rows import Rows
from wayrule.units import EARTH_RATE_RAD_S, G_MM_S2

FORCE_BIAS_PER_DENSITY = 120.0
"""Accelerometer offset over its noise density [sqrt(Hz)], where the wagon file does not say: 11 mg at 90 ug/sqrt(Hz); a
noisier sensor is also the one that is less well trimmed (common practice, no source)."""

RUN_LEVEL_SHARE = 0.05
"""How far that offset moves from run to run of one wagon on one day, of itself (common practice, no source)."""

CROSS_SD = 0.0125
"""Misalignment of the inertial sensor in the wagon: 0.7 deg (taped by eye; common practice, no source)."""

AXIS_SD = 0.004
"""Cross-axis sensitivity of the sensor itself, apart from its mounting (common practice, no source)."""

GYRO_SCALE_SD = 0.02
"""Gyro scale before calibration where the wagon file does not say (2 %, common practice, no source)."""

LAG_S, LAG_SD_S, LAG_SHARE_OF_PERIOD = 0.002, 0.0015, 0.2
"""The inertial sensor's low-pass (50 to 150 Hz delay by 1.5 to 4.5 ms) less what the wheel sensor needs, and a share of
the time between rows where the two may have been read apart (common practice, no source)."""

LAG_HELD_S = 1e-7
"""Where no run reverses the lag is held: bends that move with the speed's few per cent tell less of it than noise."""

RUN_STRETCH_SD = 2e-4
"""How far one wheel's rolling circumference differs between runs of one day (common practice, no source)."""

SLIP_MM, SLIP_SD_MM = 0.3, 0.25
"""Distance lost in curves = slip x |turn|; a wheel pressed against the outer rail loses some, it gains none. Its size
is not known better without a taped curve (common practice, no source)."""

SLIDE_SHARE = 5e-4
"""The wheel's random slide over a path p: this share of sqrt(wheelbase x p) (common practice, no source)."""

BIAS_WANDER = 0.06
"""Gyro bias as a random walk, in rad/s per sqrt(s), over the gyro's noise density in rad/s/sqrt(Hz). A floor B of the
Allan deviation is met at tau by a walk of B sqrt(3 / tau) (IEEE Std 952): 3 deg/h at 30 to 100 s, beside a density of
0.004 deg/s/sqrt(Hz), gives 0.04 to 0.07."""

SWAY_KNOTS_A_WHEELBASE = (3.0, 1.5)
"""Sway is free to change over a third of a wheelbase of path; where a line is passed
`MANY_PASSES` times and more over two thirds, since the passes' mean settles what is quicker, and it costs a quarter."""

MANY_PASSES = 4.0

BIAS_KNOT_S = 20.0
SLIDE_KNOT_WHEELBASES = 25.0
MAX_KNOTS = 60


@dataclass(slots=True)
class Border:
    """Named stretches of the border with their prior; grows while it is laid out, then stays."""

    names: dict[str, slice] = field(default_factory=dict)
    value: list[float] = field(default_factory=list)
    sd: list[float] = field(default_factory=list)
    chains: list[tuple[slice, float]] = field(default_factory=list)
    held: list[tuple[Array, float]] = field(default_factory=list)

    def add(self, name: str, count: int, sd: float, *, mean: float = 0.0, step_sd: float | None = None) -> None:
        """`count` unknowns, mean +- sd; with `step_sd`, sd is of the first, and neighbours differ by step_sd."""
        place = slice(len(self.value), len(self.value) + count)
        self.names[name] = place
        self.value += [mean] * count
        self.sd += [sd] + [np.inf if step_sd is not None else sd] * (count - 1)
        if step_sd is not None and count > 1:
            self.chains.append((place, step_sd))

    def hold(self, row: Array, sd: float) -> None:
        """A linear combination of the unknowns so far (size,) is 0 +- sd."""
        self.held.append((row, sd))

    @property
    def size(self) -> int:
        """Number of unknowns so far."""
        return len(self.value)

    def prior_matrix(self) -> Array:
        """(k, k) information of the priors."""
        out = np.diag(1.0 / np.square(self.sd))
        for place, step_sd in self.chains:
            i = np.arange(place.start, place.stop - 1)
            w = 1.0 / step_sd**2
            out[i, i] += w
            out[i + 1, i + 1] += w
            out[i, i + 1] -= w
            out[i + 1, i] -= w
        for row, sd in self.held:
            out[: len(row), : len(row)] += np.outer(row, row) / sd**2
        return out


WAGON = (
    "scale",
    "stretch",
    "slip_mm",
    "gyro_scale_x",
    "gyro_scale_y",
    "gyro_scale_z",
    "cross_x",
    "cross_y",
    "level_x",
    "level_y",
    "yaw",
    "gyro_xy",
    "gyro_yx",
    "gyro_zx",
    "gyro_zy",
    "force_xy",
    "force_yx",
    "earth_x",
    "earth_y",
    "lag_s",
)
"""What each is:

scale                     true mm per nominal mm, less 1
stretch                   path along the line per wheel distance, less 1
slip_mm                   distance lost per radian turned
gyro_scale_x, y, z        gyro scales, less 1
cross_x, cross_y          how much of the yaw rate the roll and pitch axes see: mounting pitch and roll [rad]
level_x, level_y          offset of the forward and left specific force, mounting tilt times g included [mm/s2]
yaw                       the sensor's mounting about the upright, shared by gyro and accelerometer [rad]
gyro_xy ... force_yx      what the axes' own errors add to the mounting (first axis sees so much of the second)
earth_x, earth_y          horizontal part of the Earth's rate, in the map's axes [rad/s]
lag_s                     how much later than the wheel the inertial sensor speaks [s]
"""


UNTURNED = {"yaw": (-1.0, 1.0), "gyro_yx": (1.0, 0.0), "gyro_xy": (0.0, 1.0)}
"""By how much of the roll the true gradient changes, and by how much of the gradient the true roll, for each of these
where the splines, angles as read, are held. A body turned on its seat reads turned rates and nothing else, so the rates
tell nothing of these; were they differentiated with the true angles held, what one axis then sees of the other's
turning in a curve would seem to."""


def force_bias_sd(wagon: Wagon, density: Density) -> float:
    """Sd of the accelerometer's offset [mm/s2]: the wagon file's, or from its noise."""
    if wagon.imu.acc_bias_sd_g is not None:
        return wagon.imu.acc_bias_sd_g * G_MM_S2
    return FORCE_BIAS_PER_DENSITY * float(np.mean(density.force[:2]))


def level_sd(wagon: Wagon, density: Density) -> float:
    """Sd of what a level wagon's specific force reads, mounting tilt included [mm/s2]."""
    return float(np.hypot(force_bias_sd(wagon, density), np.hypot(CROSS_SD, AXIS_SD) * G_MM_S2))


def lag_sd_s(runs: Sequence[Bins]) -> float:
    """How little is known of the lag before the runs tell [s]."""
    return float(np.hypot(LAG_SD_S, LAG_SHARE_OF_PERIOD * max(run.period_s for run in runs)))


def add_wagon(border: Border, wagon: Wagon, force_bias: float, *, closed: bool, lag_sd: float) -> None:
    """The wagon's part of the border, of which nothing is remembered.

    force_bias : sd of the accelerometer's offset [mm/s2]; lag_sd : of the lag [s]
    """
    scale_sd = wagon.imu.gyro_scale_sd or GYRO_SCALE_SD
    level = float(np.hypot(force_bias, np.hypot(CROSS_SD, AXIS_SD) * G_MM_S2))
    sds = {
        "scale": 0.05,
        "stretch": 0.05 if closed else 1e-9,
        "slip_mm": SLIP_SD_MM,
        "gyro_scale_x": scale_sd,
        "gyro_scale_y": scale_sd,
        "gyro_scale_z": scale_sd,
        "cross_x": float(np.hypot(CROSS_SD, AXIS_SD)),
        "cross_y": float(np.hypot(CROSS_SD, AXIS_SD)),
        "level_x": level,
        "level_y": level,
        "yaw": CROSS_SD,
        "earth_x": EARTH_RATE_RAD_S / 2,
        "earth_y": EARTH_RATE_RAD_S / 2,
        "lag_s": lag_sd,
    } | dict.fromkeys(("gyro_xy", "gyro_yx", "gyro_zx", "gyro_zy", "force_xy", "force_yx"), AXIS_SD)
    means = {"slip_mm": SLIP_MM, "lag_s": LAG_S}
    for name in WAGON:
        border.add(name, 1, sds[name], mean=means.get(name, 0.0))


def lay_out(
    wagon: Wagon, runs: Sequence[Bins], densities: Sequence[Density], *, closed: bool, reverses: bool
) -> Border:
    """The border for these runs with their noise densities."""
    border = Border()
    force_bias = max(force_bias_sd(wagon, density) for density in densities)
    add_wagon(border, wagon, force_bias, closed=closed, lag_sd=lag_sd_s(runs) if reverses else LAG_HELD_S)
    for r, (bins, density) in enumerate(zip(runs, densities, strict=True)):
        border.add(f"start/{r}", 1, 200.0)
        border.add(f"stretch/{r}", 1, RUN_STRETCH_SD)
        border.add(f"level_x/{r}", 1, RUN_LEVEL_SHARE * force_bias)
        border.add(f"level_y/{r}", 1, RUN_LEVEL_SHARE * force_bias)
        knots = bias_knots(bins)
        spacing_s = (bins.t_s[-1] - bins.t_s[0]) / (knots - 1)
        for axis in range(3):
            border.add(f"bias_{'xyz'[axis]}/{r}", knots, 0.2, step_sd=BIAS_WANDER * density.gyro[axis] * spacing_s**0.5)
        knots = slide_knots(bins, wagon.wheelbase_mm)
        spacing_mm = bins.path_mm[-1] / (knots - 1)
        border.add(f"slide/{r}", knots, 1e-3, step_sd=SLIDE_SHARE * (wagon.wheelbase_mm * spacing_mm) ** 0.5)
    return border


def bias_knots(bins: Bins) -> int:
    """How many knots a run's gyro bias has in time."""
    return int(np.clip(np.ceil((bins.t_s[-1] - bins.t_s[0]) / BIAS_KNOT_S) + 1, 2, MAX_KNOTS))


def slide_knots(bins: Bins, wheelbase_mm: float) -> int:
    """How many knots a run's slide has along its path."""
    return int(np.clip(np.ceil(bins.path_mm[-1] / (SLIDE_KNOT_WHEELBASES * wheelbase_mm)) + 1, 2, MAX_KNOTS))


def sway_knots(bins: Bins, wheelbase_mm: float, passes: float) -> int:
    """How many knots a run's sway has along its path."""
    return int(np.ceil(bins.path_mm[-1] / wheelbase_mm * SWAY_KNOTS_A_WHEELBASE[int(passes >= MANY_PASSES)])) + 4


def sway_spline(bins: Bins, count: int) -> UniformSpline:
    """The cubic splines in which a run's sway is told, over its path.

    Straight lines between knots would not do: two passes have their knots at other places, and the splines of the line
    would take every bend of the sway that both cannot follow for track, with far too small a sigma.
    """
    first, last = bins.path_span
    return UniformSpline(first, max(last - first, 1e-12) / (count - 3), count, closed=False)


def hats(p: Array, span: tuple[float, float], count: int) -> sparse.csr_array:
    """(m, count) linear interpolation at p between `count` knots spread evenly over `span`."""
    u = np.clip((p - span[0]) / max(span[1] - span[0], 1e-12) * (count - 1), 0, count - 1 - 1e-9)
    low = np.floor(u).astype(np.int64)
    share = u - low
    m = len(p)
    data = np.column_stack((1 - share, share)).ravel()
    index = np.column_stack((low, low + 1)).ravel()
    return sparse.csr_array((data, index, np.arange(0, 2 * m + 1, 2)), shape=(m, count))


@dataclass(frozen=True, slots=True)
class Unknowns:
    """A point in the space of unknowns: coefficients (n,) each, sway (3, w), and border (k,).

    read_theta, read_gamma, read_phi are the line's angles *as the gyro reads them*, its scale still in (a closed line's
    whole turns apart). The scales enter only where angles meet something else: gravity, closure, a tape. Were they
    factors of the splines in the gyro's rows, the smoothness prior would inflate them: a larger scale, a calmer line.
    """

    spline: UniformSpline
    read_theta: Array
    read_gamma: Array
    read_phi: Array
    sway: Array
    sway_of: tuple[slice, ...]
    border: Array
    names: dict[str, slice]
    winding_rad_mm: float
    wheelbase_mm: float

    @property
    def block(self) -> int:
        """Unknowns of one banded block: a spline's coefficients and its sway."""
        return self.spline.n + int(self.sway.shape[1])

    def gain(self, axis: str) -> float:
        """What the gyro axis reads over what it should."""
        return 1.0 + self.one(f"gyro_scale_{axis}")

    @property
    def theta(self) -> Array:
        """(n,) true heading, a closed line's whole turns (`winding_rad_mm`) apart."""
        return self.read_theta / self.gain("z")

    @property
    def gamma(self) -> Array:
        """(n,) true gradient."""
        return self._unturned()[0]

    @property
    def phi(self) -> Array:
        """(n,) true roll."""
        return self._unturned()[1]

    def _unturned(self) -> tuple[Array, Array]:
        """Gradient and roll, each freed of what its gyro axis sees of the other (see `UNTURNED`)."""
        rolled, climbed = self.one("yaw") - self.one("gyro_yx"), self.one("yaw") + self.one("gyro_xy")
        gamma, phi = self.read_gamma / self.gain("y"), self.read_phi / self.gain("x")
        both = 1 + rolled * climbed
        return (gamma - rolled * phi) / both, (phi + climbed * gamma) / both

    @property
    def read(self) -> tuple[Array, Array, Array]:
        """The three splines as they are solved for."""
        return self.read_theta, self.read_gamma, self.read_phi

    def one(self, name: str) -> float:
        """A border unknown that stands alone."""
        return float(self.border[self.names[name]][0])

    def some(self, name: str) -> Array:
        """A stretch of the border."""
        return self.border[self.names[name]]

    def embedded(self, rows: Array) -> sparse.csr_array:
        """(m, n) dense rows on a spline's coefficients as (m, block) rows on the spline and its sway."""
        wide = sparse.csr_array(rows)
        return sparse.csr_array((wide.data, wide.indices, wide.indptr), shape=(len(rows), self.block))

    def on_block(self, run: int, rows: Rows) -> sparse.csr_array:
        """(m, block) a run's rows on its spline's coefficients and on its sway together."""
        shape, spline = (rows.by_spline.shape[0], self.block), rows.by_spline
        if rows.by_sway is None:
            return sparse.csr_array((spline.data, spline.indices, spline.indptr), shape=shape)
        one, two = spline.tocoo(), rows.by_sway.tocoo()
        column = np.concatenate((one.col, two.col + np.int32(self.spline.n + self.sway_of[run].start)))
        place = np.concatenate((one.row, two.row)), column
        return sparse.csr_array((np.concatenate((one.data, two.data)), place), shape=shape)

    def moved(self, dx: Array, dy: Array) -> "Unknowns":
        """The point after a step."""
        n = self.spline.n
        step = dx.reshape(3, self.block)
        theta, gamma, phi = (c + d for c, d in zip(self.read, step[:, :n], strict=True))
        return replace(
            self,
            read_theta=theta,
            read_gamma=gamma,
            read_phi=phi,
            sway=self.sway + step[:, n:],
            border=self.border + dy,
        )

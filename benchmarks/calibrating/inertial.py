"""The figures of calibrating an inertial sensor: level, tilt and offset apart, scales, noise by published values."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Final

import allantools
import numpy as np
import polars as pl
from scipy.linalg import sqrtm

from benchmarks.calibrating.sp1065 import agreeing
from benchmarks.row import Row, at_least, at_most, between, guarded
from benchmarks.surveying.atrest import BIAS_DPS, FOLDER, beyond, starts
from benchmarks.surveying.opendata import DATA
from wayrule.errors import UndeterminedError
from wayrule.maths.allan import DEVIATIONS, phase_of
from wayrule.model import Accelerometer, Calibration, Recording, Shown, Wagon
from wayrule.model.arrays import Array
from wayrule.pipeline import travel
from wayrule.run.apart import mounting
from wayrule.run.clock import clock
from wayrule.run.curves import Curves, curves
from wayrule.run.driving import driven
from wayrule.run.level import Level, level_and_turned
from wayrule.run.noise import noise_at_rest
from wayrule.run.positions import positions, shown_by_positions
from wayrule.run.rests import rest, rests
from wayrule.run.turns import MARK_SD_RAD, table_turns
from wayrule.sim import (
    CHEAP,
    G_WAGON,
    GOOD,
    HO_VAN,
    N_VAN,
    ImuQuality,
    Leg,
    RunPlan,
    Specimen,
    branch_n,
    build,
    draw_specimen,
    garden_g,
    laps,
    oval,
    simulate,
    straight,
)
from wayrule.sim.byhand import CORNERS, FACES, GRAVITY_MM_S2, laid, left_alone, on_table
from wayrule.sim.imu import ImuSpecimen, delay_s
from wayrule.track.calibrated import before_the_day, calibrated
from wayrule.units import DEG, G_MM_S2

QUALITIES: Final = (GOOD, CHEAP)
SEEDS, QUICK_SEEDS = 40, 8
LAP_SEEDS, QUICK_LAP_SEEDS = 24, 6
APART_SEEDS, QUICK_APART_SEEDS = 12, 4
PLACED_MM: Final = 1.0
"""How near a hand puts the wheels back after turning the wagon (sd)."""
RATES_HZ: Final = {1: (1685.0, 1687.0), 2: (1695.0, 1698.0)}
"""By node of the real log, from the README beside the data."""
RATE_WITHIN_HZ: Final = 0.5
LINES: Final = ((HO_VAN, oval), (N_VAN, branch_n), (G_WAGON, garden_g))


def rows(quick: bool) -> Iterator[Row]:
    """Every figure of the part."""
    seeds = QUICK_SEEDS if quick else SEEDS
    for quality in QUALITIES:
        name, believed = f"{quality.name} IMU", Believed(quality, quick=quick)
        yield from guarded(f"level error, {name}", "<= 0.1 deg", partial(level_rows, quality, seeds, believed))
        yield from guarded(f"accelerometer, {name}", "<= 2 mg, 0.2 %", partial(position_rows, quality, seeds, believed))
        count = QUICK_LAP_SEEDS if quick else LAP_SEEDS
        yield from guarded(f"gyro scale, {name}", "<= 0.1 %", partial(lap_rows, quality, count, believed))
        yield from guarded(f"turntable, {name}", "<= 0.1 %", partial(table_rows, quality, seeds, believed))
        count = QUICK_APART_SEEDS if quick else APART_SEEDS
        yield from guarded(
            f"tilt and offset, {name}", "apart when shown", partial(apart_rows, quality, count, believed)
        )
        yield from guarded(f"driving, {name}", "<= 0.3 ms", partial(driving_rows, quality, count, believed))
        yield believed.pooled()
    yield from guarded("Allan statistics", "every printed digit", partial(allan_rows, 1800.0))
    yield from guarded("rail vehicle at rest", "12 of 12", real_rows)


@dataclass(frozen=True, slots=True, eq=False)
class Off:
    """Errors (n, m) of m quantities over n draws, and their claimed sds."""

    errors: Array
    sds: Array

    @property
    def rms(self) -> float:
        """Of all."""
        return float(np.sqrt(np.mean(self.errors**2)))

    @property
    def worst(self) -> float:
        """Largest of all."""
        return float(np.abs(self.errors).max())


class Believed:
    """Errors over their claimed sds, of every step: told one by one where there are enough, and pooled."""

    def __init__(self, quality: ImuQuality, *, quick: bool) -> None:
        self.name, self.quick, self.seen = quality.name, quick, list[Array]()

    def row(self, what: str, *found: Off) -> Iterator[Row]:
        """How many lie inside two sigmas."""
        shares = np.concatenate([np.abs(one.errors / one.sds).ravel() for one in found])
        self.seen.append(shares)
        if not self.quick:
            yield at_least(f"{what}: inside two sigmas", float(100 * np.mean(shares <= 2)), 91.0, "%")

    def pooled(self) -> Row:
        """All of them."""
        shares = np.concatenate(self.seen)
        inside = float(100 * np.mean(shares <= 2))
        return at_least(f"claimed sigmas of {len(shares)} constants, {self.name} IMU: inside two", inside, 91.0, "%")


def off(pairs: Sequence[tuple[Array, Array]]) -> Off:
    """From (error, sd) of each draw."""
    errors, sds = (np.array([pair[k] for pair in pairs]) for k in (0, 1))
    return Off(errors, sds)


def true_level(one: ImuSpecimen) -> Array:
    """(2,) specific force that a level wagon reads forward and left [mm/s2]."""
    return np.asarray(one.acc_matrix[:2, 2] * GRAVITY_MM_S2 + one.acc_bias_mm_s2[:2])


@cache
def paired(wagon: Wagon, quality: ImuQuality, seed: int) -> tuple[Level, Specimen, Array]:
    """A wagon stands somewhere on a line with slopes and cant, and again turned end for end.

    Returns
    -------
    what the pair shows, the wagon, and its level offsets (2,) as they were in the two rests [mm/s2]
    """
    rng = np.random.default_rng(seed)
    line = dict(LINES)[wagon](rng)
    one = draw_specimen(wagon, quality, rng)
    place = float(rng.uniform(0.2, 0.7)) * line.length_mm
    stood, offsets = [], []
    for start, turned in ((place, False), (place + wagon.wheelbase_mm + rng.normal(0.0, PLACED_MM), True)):
        plan = RunPlan(start, (), turned=turned, still_s=(6, 8))
        run, truth = simulate(line, wagon, plan, quality, rng, specimen=one)
        stood.append(rest(run))
        offsets.append(truth.acc_bias_mm_s2[:, :2].mean(axis=0))
    then = one.imu.acc_matrix[:2, 2] * GRAVITY_MM_S2 + np.mean(offsets, axis=0)
    return level_and_turned(stood[0], stood[1], np.eye(3)), one, np.asarray(then)


def level_rows(quality: ImuQuality, seeds: int, believed: Believed) -> Iterator[Row]:
    """One turned pair in three scales, as it was at that hour, and for another day.

    Each switching on moves the accelerometer's offset a little, also between the two rests.
    """
    at_that_hour: list[tuple[Array, Array]] = []
    another_day: list[tuple[Array, Array]] = []
    for seed in range(seeds):
        level, one, then = paired(LINES[seed % 3][0], quality, seed)
        for found, true in ((at_that_hour, then), (another_day, true_level(one.imu))):
            found.append(((level.error_rad - true / G_MM_S2) / DEG, level.error_sd_rad / DEG))
    what = f"level error from one turned pair, {seeds} wagons in HO, N, G, {quality.name} IMU"
    yield at_most(f"{what}: worst", off(at_that_hour).worst, 0.1, "deg")
    yield at_most(f"{what}: rms, for another day", off(another_day).rms, 0.1, "deg")
    yield from believed.row(what, off(another_day))


def position_rows(quality: ImuQuality, seeds: int, believed: Believed) -> Iterator[Row]:
    """Eight positions: all faces and two corners, a hand's 6 deg askew; and eight drawn at random."""
    for how, wanted in (("six faces and two corners", True), ("any orientations, drawn", False)):
        bias, scale, refused = [], [], 0
        for seed in range(seeds):
            rng = np.random.default_rng(1000 + seed)
            one = draw_specimen(HO_VAN, quality, rng).imu
            ups = [*FACES, *CORNERS[:2]] if wanted else [(a, b, c) for a, b, c in rng.standard_normal((8, 3))]
            try:
                found = positions(rests(laid(one, ups, rng)), gravity_mm_s2=GRAVITY_MM_S2)
            except UndeterminedError:
                refused += 1
                continue
            true = np.diag(np.real(sqrtm(one.acc_matrix @ one.acc_matrix.T))) - 1.0
            mg = G_MM_S2 / 1000
            bias.append(((found.bias_mm_s2 - one.acc_bias_mm_s2) / mg, found.bias_sd_mm_s2 / mg))
            scale.append(((found.scale - true) * 100, found.scale_sd * 100))
        what = f"accelerometer from eight positions ({how}), {quality.name} IMU"
        yield at_most(f"{what}: bias, rms", off(bias).rms, 2.0, "mg")
        yield at_most(f"{what}: scale, rms", off(scale).rms, 0.2, "%")
        if wanted:
            yield at_most(f"{what}: bias, worst", off(bias).worst, 2.0, "mg")
            yield at_most(f"{what}: scale, worst", off(scale).worst, 0.2, "%")
        yield from believed.row(what, off(bias), off(scale))
        if refused:
            yield Row(f"{what}: asked for more", f"{refused} of {seeds}", "none, to be stated", ok=True)


@cache
def lapped(quality: ImuQuality, seed: int, count: int = 5) -> tuple[Curves, Specimen]:
    """Laps of an oval, every other with cant and transitions, either way round, every third turned."""
    rng = np.random.default_rng(2000 + seed)
    line, one = oval(rng, transitions=bool(seed % 2)), draw_specimen(HO_VAN, quality, rng)
    start, legs = laps(line.length_mm, count, 220.0, backwards=bool(seed % 4 > 1), miss_mm=float(rng.normal(0.0, 3.0)))
    plan = RunPlan(start, legs, turned=seed % 3 == 0, still_s=(8, 12))
    run, truth = simulate(line, HO_VAN, plan, quality, rng, specimen=one)
    return curves(travel(run, HO_VAN, as_mounted=True), HO_VAN, closed=True), truth.specimen


def lap_rows(quality: ImuQuality, seeds: int, believed: Believed) -> Iterator[Row]:
    """Gyro scale from five closed laps."""
    found = []
    for seed in range(seeds):
        seen, one = lapped(quality, seed)
        true = float(one.imu.gyro_matrix[2, 2]) - 1.0
        found.append((np.array([seen.scale - true]) * 100, np.array([seen.scale_sd]) * 100))
    what = f"gyro scale from five closed laps, {seeds} ovals, {quality.name} IMU"
    yield at_most(f"{what}: rms", off(found).rms, 0.1, "%")
    yield at_most(f"{what}: 9 of 10 within", float(np.quantile(np.abs(off(found).errors), 0.9)), 0.1, "%")
    yield from believed.row(what, off(found))


def table_rows(quality: ImuQuality, seeds: int, believed: Believed) -> Iterator[Row]:
    """Five turns of a table that leans, the wagon on it leaning too, brought back to its mark within a hand's reach."""
    scale, rest_of = [], []
    for seed in range(seeds):
        rng = np.random.default_rng(3000 + seed)
        one = draw_specimen(HO_VAN, quality, rng).imu
        turns = (1 if seed % 2 else -1) * 5 + float(rng.normal(0.0, MARK_SD_RAD)) / (2 * np.pi)
        lean = tuple(float(a) for a in rng.normal(0.0, 0.01, 2))
        stands = tuple(float(a) for a in rng.normal(0.0, 0.003, 2))
        run = on_table(one, turns, rng, table_rad=(lean[0], lean[1]), stance_rad=(stands[0], stands[1]))
        seen = table_turns(run, np.eye(3), turns=5)
        true = np.concatenate([[one.gyro_matrix[2, 2] - 1.0], one.gyro_matrix[:2, 2], true_level(one)])
        error, sd = seen.shown.values - true, np.sqrt(np.diag(seen.shown.covariance))
        scale.append((error[:1] * 100, sd[:1] * 100))
        rest_of.append((error[1:] / sd[1:], np.ones(4)))
    what = f"turntable, five turns, {quality.name} IMU"
    yield at_most(f"{what}: gyro scale, rms", off(scale).rms, 0.1, "%")
    yield from believed.row(f"{what}, scale", off(scale))
    yield from believed.row(f"{what}, cross-axis and level", off(rest_of))


def after(wagon: Wagon, *shown: Shown) -> Calibration:
    """Constants of an unseen wagon after these steps."""
    before = before_the_day(wagon, None, wheel_scale_sd=0.004)
    return calibrated(before, shown, wagon, None, runs=(), rotation=np.eye(3), biases_rad_s=[])


def apart_rows(quality: ImuQuality, seeds: int, believed: Believed) -> Iterator[Row]:
    """Tilt of the mounting and offset of the accelerometer: as one after a pair, apart after positions or laps."""
    apart = {"a turned pair alone": 0, "a pair and six positions": 0, "a pair and five laps": 0}
    tilt: dict[str, list[tuple[Array, Array]]] = {name: [] for name in apart}
    for seed in range(seeds):
        level, one, _ = paired(HO_VAN, quality, 3 * seed)
        lain = six_of(one.imu, seed)
        turned = curves_of(quality, seed, one)
        ways: tuple[tuple[tuple[Shown, ...], Accelerometer | None], ...] = (
            ((level.shown,), None),
            ((level.shown, shown_by_positions(lain, np.eye(3))), lain),
            ((level.shown, turned.shown), None),
        )
        for name, (steps, accelerometer) in zip(apart, ways, strict=True):
            found = mounting(after(HO_VAN, *steps), accelerometer)
            apart[name] += found.apart
            true = one.imu.acc_bias_mm_s2[:2]
            tilt[name].append((found.offset_mm_s2 - true, found.offset_sd_mm_s2))
    for name, count in apart.items():
        wanted = 0 if name == "a turned pair alone" else seeds
        what = f"tilt and offset told apart after {name}, {quality.name} IMU"
        yield Row(what, f"{count} of {seeds}", f"{wanted} of {seeds}", count == wanted)
        if wanted:
            yield from believed.row(f"{what}, offset", off(tilt[name]))


def six_of(one: ImuSpecimen, seed: int) -> Accelerometer:
    """Six faces of a wagon."""
    return positions(rests(laid(one, FACES, np.random.default_rng(4000 + seed))))


def curves_of(quality: ImuQuality, seed: int, one: Specimen) -> Curves:
    """Five laps of the same wagon."""
    rng = np.random.default_rng(5000 + seed)
    line = oval(rng)
    plan = RunPlan(*laps(line.length_mm, 5, 220.0), still_s=(8, 12))
    run, _ = simulate(line, HO_VAN, plan, quality, rng, specimen=one)
    return curves(travel(run, HO_VAN, as_mounted=True), HO_VAN, closed=True)


def driving_rows(quality: ImuQuality, seeds: int, believed: Believed) -> Iterator[Row]:
    """Pushed to and fro by hand on a straight, 100 mm each way, twelve times."""
    lag, yaw = [], []
    for seed in range(seeds):
        rng = np.random.default_rng(6000 + seed)
        line = build("Headshunt", [straight(1500.0)])
        legs = tuple(Leg(way, 400.0) for _ in range(12) for way in (100.0, -100.0))
        plan = RunPlan(500.0, legs, ramp_mm_s2=2000.0, still_s=(2, 3))
        run, truth = simulate(line, HO_VAN, plan, quality, rng)
        found = driven(travel(run, HO_VAN, as_mounted=True), HO_VAN)
        late = delay_s(quality.filter_hz) - truth.specimen.wheel.delay_s
        lag.append((np.array([found.lag_s - late]) * 1e3, np.array([found.lag_sd_s]) * 1e3))
        turned = -float(truth.specimen.imu.acc_matrix[1, 0])
        yaw.append((np.array([found.yaw_rad - turned]) / DEG, np.array([found.yaw_sd_rad]) / DEG))
    what = f"pushed to and fro, {quality.name} IMU"
    yield at_most(f"{what}: delay between field sensor and IMU, rms", off(lag).rms, 0.3, "ms")
    yield at_most(f"{what}: yaw of the accelerometer, rms", off(yaw).rms, 0.2, "deg")
    yield from believed.row(what, off(lag), off(yaw))


def allan_rows(seconds: float) -> Iterator[Row]:
    """Published sets, a reference library, and the noise that a sensor was drawn with."""
    same = [agrees for _, agrees in agreeing()]
    what = "Allan statistics of both NIST SP 1065 sets, every printed digit that sources agree on"
    yield Row(what, f"{sum(same)} of {len(same)}", f"{len(same)} of {len(same)}", all(same))
    rng = np.random.default_rng(7)
    log = left_alone(draw_specimen(HO_VAN, CHEAP, rng).imu, seconds, rng)
    assert log.gyro_rad_s is not None
    rate, worst = log.gyro_rad_s[:, 2], 0.0
    factors = [2**k for k in range(0, 15, 2)]
    for kind, ours in DEVIATIONS.items():
        theirs = getattr(allantools, kind)(rate, rate=200.0, data_type="freq", taus=np.array(factors) / 200.0)[1]
        own = [ours(phase_of(rate, 200.0), m, 1 / 200.0) for m in factors[: len(theirs)]]
        worst = max(worst, float(np.max(np.abs(np.array(own) / theirs - 1.0))))
    yield at_most(f"Allan statistics of {seconds:.0f} s at rest against allantools: all but", worst, 1e-9, "")
    gyro, force = noise_at_rest(log)
    assert gyro is not None
    assert force is not None
    for noise, unit, true in ((gyro, DEG, CHEAP.gyro_noise_dps_rthz), (force, G_MM_S2, CHEAP.acc_noise_g_rthz)):
        ratio = noise.density / unit / true
        yield between(f"noise density of the {noise.kind} over that drawn, mean", float(ratio.mean()), 0.98, 1.02, "")
    lowest = float(np.mean(gyro.deviation.min(axis=0))) / DEG * 3600
    yield between("floor of the gyro's Allan deviation, drawn as 12", lowest, 8.0, 16.0, "deg/h")


def real_rows() -> Iterator[Row]:
    """Twelve starts of a real log: the bias that its rests show, and its clock's rate."""
    within, count, clocks = 0, 0, 0
    for node, run in starts():
        still = rest(run).rate_rad_s / DEG
        within += max(beyond(float(b), *r) for b, r in zip(still, BIAS_DPS[node], strict=True)) <= 0.02
        count += 1
    rows_read = pl.read_csv(io.BytesIO((DATA / FOLDER / "imu_decoded.csv").read_bytes()))
    for (_, node), one in rows_read.group_by("run", "node", maintain_order=True):
        t = one["t_s"].to_numpy()
        run = Recording("start", t[np.append(True, np.diff(np.maximum.accumulate(t)) > 0)])
        clocks += beyond(clock(run.t_s).rate_hz, *RATES_HZ[int(str(node))]) <= RATE_WITHIN_HZ
    yield Row("rail vehicle at rest: starts whose gyro bias lies in its stated range", f"{within}", "12", within == 12)
    yield Row("rail vehicle at rest: starts whose clock rate lies in its stated range", f"{clocks}", "12", clocks == 12)
    yield Row("rail vehicle at rest: starts read", f"{count}", "12", count == 12)

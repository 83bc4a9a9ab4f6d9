"""Surveys made by hand for the report's tests: an oval of arcs, clothoids and straights, and its odd relatives.

The line is integrated from its own closed-form curvature, 20 sub-steps a station; sigmas are plausible, not measured.
"""

from dataclasses import replace

import numpy as np

from tests.calibrations import calibration
from wayrule.model import (
    Between,
    BodyImu,
    Closure,
    Element,
    Estimate,
    Fault,
    Mark,
    Misclosure,
    Problem,
    Repeat,
    Stations,
    Survey,
    Travel,
)

RADIUS_MM = 358.0
EASE_MM = 180.0
STRAIGHT_MM = 2900.0
ARC_MM = RADIUS_MM * np.pi - EASE_MM
LENGTH_MM = 2 * (STRAIGHT_MM + 2 * EASE_MM + ARC_MM)


def plan_elements() -> tuple[Element, ...]:
    k = 1 / RADIUS_MM
    sd = {"s0_sd_mm": 2.3, "s1_sd_mm": 2.6, "length_sd_mm": 3.5, "turned_sd_rad": 0.003}
    pieces, s = [], 0.0
    for _ in range(2):
        for kind, length, k0, k1 in (
            ("straight", STRAIGHT_MM, 0.0, 0.0),
            ("transition", EASE_MM, 0.0, k),
            ("arc", ARC_MM, k, k),
            ("transition", EASE_MM, k, 0.0),
        ):
            pieces.append(
                Element(
                    "plan", kind, s, s + length, k0, k1, curvature_sd_1_mm=1.2e-5, turned_rad=0.5 * (k0 + k1) * length,
                    misfit=3.1e-5, **sd,
                )
            )  # fmt: skip
            s += length
    return tuple(pieces)


def profile_elements() -> tuple[Element, ...]:
    g = 0.0263
    q = LENGTH_MM / 4
    nan = float("nan")
    return tuple(
        Element(
            "profile",
            kind,
            s0,
            s1,
            nan,
            nan,
            g0,
            g1,
            gradient_sd=0.00042,
            s0_sd_mm=9.0,
            s1_sd_mm=8.0,
            misfit=0.0007,
            length_sd_mm=12.0,
            rise_sd_mm=0.8,
        )
        for kind, s0, s1, g0, g1 in (
            ("grade", 0.0, 1.6 * q, g, g),
            ("vertical_curve", 1.6 * q, 2 * q, g, -g),
            ("grade", 2 * q, 3.6 * q, -g, -g),
            ("vertical_curve", 3.6 * q, 4 * q, -g, g),
        )
    )


def line(step_mm: float = 5.0, seed: int = 7, *, size: float = 1.0) -> Stations:
    rng = np.random.default_rng(seed)
    n = int(LENGTH_MM / step_mm)
    s = np.linspace(0, LENGTH_MM, n, endpoint=False)
    fine = np.linspace(0, LENGTH_MM, 20 * n, endpoint=False)
    knots = np.array([v for e in plan_elements() for v in (e.s0_mm, e.s1_mm)])
    ends = np.array([v for e in plan_elements() for v in (e.curvature0_1_mm, e.curvature1_1_mm)])
    knots = knots + np.arange(len(knots)) * 1e-9
    k_fine = np.interp(fine, knots, ends)
    h = LENGTH_MM / len(fine)
    heading = np.concatenate([[0.0], np.cumsum(k_fine[:-1]) * h])
    x = np.concatenate([[0.0], np.cumsum(np.cos(heading + k_fine * h / 2))[:-1] * h])
    y = np.concatenate([[0.0], np.cumsum(np.sin(heading + k_fine * h / 2))[:-1] * h])
    phase = 2 * np.pi * s / LENGTH_MM
    gradient = 0.0263 * np.sin(phase)
    z = 0.0263 * LENGTH_MM / (2 * np.pi) * (1 - np.cos(phase))
    k = k_fine[::20] + rng.normal(0, 2e-5, n)
    cant = -0.8 * np.interp(s, knots, ends) * RADIUS_MM + 0.05 * np.sin(9 * phase)
    bow = 1 + np.sin(phase) ** 2
    full = np.full
    return Stations(
        s * size, x[::20] * size, y[::20] * size, z * size, heading[::20], k / size,
        gradient + rng.normal(0, 0.0003, n), cant, 0.7 * bow * size, 0.9 * bow * size, 0.5 * bow * size, full(n, 0.002),
        full(n, 4e-5) / size, full(n, 0.0006), full(n, 0.06), full(n, 4), True, LENGTH_MM * size, 16.5, 65.0,
    )  # fmt: skip


def travel(name: str = "morning pull.csv", laps: float = 2.0, seed: int = 3, *, size: float = 1.0) -> Travel:
    rng = np.random.default_rng(seed)
    t = np.arange(0, 80.0, 0.02)
    speed = 240.0 * np.clip((t - 4) / 2, 0, 1) * np.clip((77 - t) / 1.5, 0, 1)
    speed = speed * np.clip(abs(t - 40) - 3, 0, 1)
    distance = np.cumsum(speed) * 0.02
    factor = laps * LENGTH_MM / distance[-1]
    speed, distance = speed * factor * size, distance * factor * size
    moving = speed > 1.0
    state = np.where(moving, 0, 1)
    state[(t > 20) & (t < 20.6)] = 2
    return Travel(
        name, t, distance, 0.0011 * distance + 0.05, speed + np.where(moving, rng.normal(0, 1.5 * size, len(t)), 0.0),
        np.where(moving, 2.0 * size, 0.2), state, distance % (LENGTH_MM * size), 0.0011, "caliper: 10.50 ± 0.04 mm",
        imu=BodyImu(np.zeros((len(t), 3)), np.zeros((len(t), 3)), np.eye(3), np.zeros(3), np.full(3, 1e-4)),
        marks=(Mark(12.0, "Heather Vale Junction"), Mark(30.0, "Moss Siding")),
        notes=("The wheel's field was sampled 9 times a turn at top speed.",),
    )  # fmt: skip


FAULTS = (
    Fault("kink", 2950.0, 1.24, "deg", 0.21),
    Fault("dip", 5210.0, 0.82, "mm", 0.11),
    Fault("one_rail_dip", 7400.0, 0.31, "mm", 0.09, rail="left"),
)


def survey() -> Survey:
    return Survey(
        stations=line(),
        elements=plan_elements() + profile_elements(),
        faults=FAULTS,
        travels=(travel(), travel("afternoon pull.csv", 3.0, 5)),
        closure=Closure(
            2.0, 1, Misclosure(4.13, 0.82, 0.0121, 0.0457, 0.93, 1.21), Misclosure(0.02, 0.01, 1e-5, 0.0002, 0.01, 0.02)
        ),
        estimates=(
            Estimate("wheel circumference", 32.991, 0.036, "mm", "caliper"),
            Estimate("gyro bias, up axis", -0.1234, 0.0021, "deg/s", "standstill of 4.0 s"),
            Estimate("mounting, nose up", 0.8, float("nan"), "deg", "taken from the wagon file"),
        ),
        decisions=(("laps", "2 laps of one closed line", "the end fits the start within 4 mm", "--closed-laps N"),),
        assumptions=("Length scale rests on the caliper: ±0.11 %; roll a taped distance to do better.",),
        problems=(
            Problem(
                "gap", 14, "at 12.4 s", "marked missing", "morning pull.csv: 14 samples missing at 12.4 s, left out."
            ),
        ),
        marks=((1450.0, Mark(12.0, "Heather Vale Junction")), (6100.0, Mark(30.0, "Moss Siding"))),
        calibration=calibration(),
        inputs=(("run", "morning pull.csv", "ab" * 32), ("wagon", "van.wagon.toml", "cd" * 32)),
        wagon_name="Clerestory van 7",
        scale="HO",
        ratio=87.0,
        version="0.1.0",
        repeats=(Repeat("gradient", "D1", 34.5, 287.4, 5, 8958.0, 2.1e-5, 4.2e-5, 6e-5, 4e-5),),
        pairs=(
            Between(
                "Moss Siding", "2500", 6100.0, 2500.0, 889.42, 0.31, 6100.0, 1.55, -4.21, 0.12, 3.14, 0.0021,
                61.02, 0.08, 2488.0,
            ),
        ),
    )  # fmt: skip


def only_plan() -> Survey:
    """A log without accelerometer: no height, gradient or cant; no closure, no pieces."""
    whole = survey()
    nan = np.full(len(whole.stations.s_mm), np.nan)
    flat = dict.fromkeys(("z_mm", "gradient", "cant_mm", "z_sd_mm", "gradient_sd", "cant_sd_mm"), nan)
    return replace(
        whole, stations=replace(whole.stations, **flat), elements=(), faults=(), closure=None, marks=(), problems=(),
        travels=(),
    )  # fmt: skip


def one_station() -> Survey:
    whole = survey()
    st = whole.stations
    columns = {f: getattr(st, f)[:1] for f in Stations.__dataclass_fields__ if isinstance(getattr(st, f), np.ndarray)}
    return replace(
        whole,
        stations=replace(st, **columns, closed=False, length_mm=0.0),
        elements=(),
        faults=(),
        closure=None,
        travels=(),
        marks=(),
    )


def no_station() -> Survey:
    whole = survey()
    st = whole.stations
    columns = {f: getattr(st, f)[:0] for f in Stations.__dataclass_fields__ if isinstance(getattr(st, f), np.ndarray)}
    return replace(
        whole, stations=replace(st, **columns, closed=False, length_mm=0.0), elements=(), faults=(), closure=None,
        travels=(), marks=(), inputs=(), estimates=(), decisions=(), assumptions=(), problems=(),
    )  # fmt: skip


def car() -> Survey:
    """A kilometre of road at full size."""
    whole = survey()
    size = 120.0
    nan = float("nan")
    pieces = (
        Element(
            "plan", "arc", 348_000.0, 460_000.0, 1 / 42_960.0, 1 / 42_960.0, nan, nan, 2e-7, nan, 500.0, 500.0, 2.6
        ),
    )
    return replace(
        whole, stations=line(20.0, size=size), elements=pieces, faults=(), travels=(travel(laps=1.0, size=size),),
        closure=None, marks=((500_000.0, Mark(1.0, "bridge")),), ratio=1.0, scale="1:1",
    )  # fmt: skip


def straight() -> Survey:
    """An open straight line: no curve, level, everything within its error bars, no sigma of place."""
    whole = survey()
    n = 200
    rng = np.random.default_rng(1)
    s = np.arange(n) * 5.0
    zero, nan = np.zeros(n), np.full(n, np.nan)
    st = Stations(
        s, s, zero, zero, zero, rng.normal(0, 1e-6, n), rng.normal(0, 1e-5, n), zero, nan, nan, nan, nan,
        np.full(n, 1e-5), np.full(n, 1e-4), nan, np.ones(n), False, 995.0, 9.0, 40.0,
    )  # fmt: skip
    return replace(whole, stations=st, elements=(), faults=(), closure=None, marks=(), travels=())


def only_lengths() -> Survey:
    """A log without gyro: stations with a chainage and nothing else."""
    whole = survey()
    st = whole.stations
    nan = np.full(len(st.s_mm), np.nan)
    keep = {"s_mm"}
    columns = {f: nan for f in Stations.__dataclass_fields__ if f not in keep and getattr(st, f) is not None}
    for f in ("passes", "closed", "length_mm", "gauge_mm", "wheelbase_mm"):
        columns.pop(f)
    return replace(
        whole,
        stations=replace(st, **columns),
        elements=(),
        faults=(),
        closure=None,
        travels=(replace(travel(), imu=None),),
    )


ODD = {
    "plan only": (
        only_plan,
        ("Heights and gradients are not known from these runs.", "height needs a gyro and an accelerometer"),
    ),
    "one station": (one_station, ("Too short to be a line: fewer than two stations.", "No map can be drawn")),
    "no station": (no_station, ("Too short to be a line", "No run is part of this survey.")),
    "car": (car, ("Radius, m", "Radius, ft", "full size", "Top, km/h", "R 43.0 ± 0.4 m")),
    "straight": (
        straight,
        ("No curve stands out", "No gradient stands out", "Places carry no error bar.", "1.00 m of open line"),
    ),
    "only lengths": (only_lengths, ("Curves are not known", "No map can be drawn", "No gyro in this log")),
}
"""name -> (how to make it, what its page must say)"""

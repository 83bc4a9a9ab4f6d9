"""Of the sensors themselves: readings at the end of their range, and their noise beside what the wagon file states."""

import math

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.robust import robust_sd
from wayrule.model import HealthItem, State
from wayrule.model.arrays import Array
from wayrule.run.health.limits import LIMITS
from wayrule.run.health.seen import Seen, digits, unknown
from wayrule.units import DEG, G_MM_S2

AT_RANGE = 0.999
"""A reading from this share of the stated range on is at its end, as when a log is read."""

LEAST_AT_REST = 100
"""With fewer samples at rest their scatter is known no better than to 7 %: 1 / sqrt(2 n)."""

EDGE_S = 0.4
"""Cut off both ends of a standstill: the body rocks on."""

WORDS = {"field": "field sensor", "rate": "gyro", "force": "accelerometer"}


def saturation(seen: Seen) -> HealthItem:
    """Readings at the end of a sensor's range, whether or not whoever read the log has marked them missing."""
    groups = _groups(seen)
    if not groups:
        return unknown("saturation", "Neither field nor inertial sensor was recorded.")
    ranges = _ranges(seen)
    ended = {kind: _at_end(values, ranges[kind]) for kind, values in groups.items()}
    shares = {kind: 100.0 * float(bad.mean()) for kind, bad in ended.items() if len(bad)}
    worst = max(shares, key=lambda kind: shares[kind], default="")
    value = shares.get(worst, 0.0)
    limit = LIMITS["saturation"]
    if value == 0.0:
        full = ", ".join(f"{WORDS[kind]} {_filled(groups[kind], ranges[kind])}" for kind in groups)
        return HealthItem("saturation", "green", f"No reading at the end of a range ({full}).", "", (), 0.0, limit)
    told = "; ".join(
        f"{WORDS[kind]} {int(ended[kind].sum())} of {len(bad)}" for kind, bad in ended.items() if bad.any()
    )
    return HealthItem(
        "saturation",
        limit.light(value),
        f"Samples at the end of a range: {told}.",
        "Choose a wider range of that sensor; for the field, the sensor further off or smaller magnets.",
        seen.spots_where(ended[worst]),
        value,
        limit,
    )


def noise(seen: Seen) -> HealthItem:
    """Scatter from sample to sample at rest beside the noise that the wagon file states."""
    stated = _stated_noise(seen)
    if not stated:
        return unknown(
            "noise",
            "The wagon file states no noise to compare with.",
            "Add noise_mt under [sensor], gyro_noise_dps_rthz and acc_noise_g_rthz under [imu].",
        )
    rest = _well_inside(seen)
    groups = _groups(seen)
    found = {kind: _scatter(groups[kind], rest) for kind in stated if kind in groups and rest.sum() >= LEAST_AT_REST}
    found = {kind: sd for kind, sd in found.items() if math.isfinite(sd)}
    if not found:
        return unknown(
            "noise", "No standstill long enough to tell the sensors' noise.", "Let the wagon stand for five seconds."
        )
    ratio = {kind: found[kind] / stated[kind] for kind in found}
    worst = max(ratio, key=lambda kind: ratio[kind])
    limit = LIMITS["noise"]
    light = limit.light(ratio[worst])
    told = ", ".join(f"{WORDS[kind]} {_shown(kind, found[kind])} ({ratio[kind]:.1f} times)" for kind in found)
    return HealthItem(
        "noise",
        light,
        f"Noise of a sample at rest beside the wagon file's: {told}.",
        ""
        if light == "green"
        else "Look for a loose board, a weak supply or mains near by; or correct the wagon file.",
        () if light == "green" else seen.spots_where(rest)[:1],
        ratio[worst],
        limit,
    )


def _groups(seen: Seen) -> dict[str, Array]:
    """The three-axis sensors that hold anything."""
    r = seen.recording
    groups = {"field": r.field_mt, "rate": r.gyro_rad_s, "force": r.acc_mm_s2}
    return {kind: values for kind, values in groups.items() if values is not None and np.isfinite(values).any()}


def _ranges(seen: Seen) -> dict[str, float]:
    """Kind -> stated range in the inside unit; NaN where none is stated."""
    sensor, imu = seen.wagon.sensor, seen.wagon.imu
    return {
        "field": sensor.range_mt or math.nan,
        "rate": (imu.gyro_range_dps or math.nan) * DEG,
        "force": (imu.acc_range_g or math.nan) * G_MM_S2,
    }


def _at_end(values: Array, limit: float) -> NDArray[np.bool_]:
    """(n,) samples with an axis at its end: beyond the range, or missing while another axis was read."""
    used = values[:, np.isfinite(values).any(axis=0)]
    missing = np.isnan(used)
    with np.errstate(invalid="ignore"):
        beyond = (np.abs(used) >= AT_RANGE * limit).any(axis=1) if math.isfinite(limit) else np.zeros(len(used), bool)
    return np.asarray(beyond | (missing.any(axis=1) & ~missing.all(axis=1)))


def _filled(values: Array, limit: float) -> str:
    """How much of the range is used."""
    return (
        f"uses {100 * float(np.nanmax(np.abs(values))) / limit:.0f} %" if math.isfinite(limit) else "range not stated"
    )


def _stated_noise(seen: Seen) -> dict[str, float]:
    """Kind -> sd of one sample by the wagon file, steps of the field sensor included."""
    sensor, imu = seen.wagon.sensor, seen.wagon.imu
    white = math.sqrt(seen.recording.rate_hz / 2.0) if seen.recording.n > 1 else math.nan
    step = 2.0 * sensor.range_mt / 2.0**sensor.bits if sensor.range_mt and sensor.bits else 0.0
    stated = {
        "field": math.hypot(sensor.noise_mt, step / math.sqrt(12.0)) if sensor.noise_mt else None,
        "rate": imu.gyro_noise_dps_rthz * white * DEG if imu.gyro_noise_dps_rthz else None,
        "force": imu.acc_noise_g_rthz * white * G_MM_S2 if imu.acc_noise_g_rthz else None,
    }
    return {kind: sd for kind, sd in stated.items() if sd is not None}


def _well_inside(seen: Seen) -> NDArray[np.bool_]:
    """(n,) samples of standstills, their ends cut off."""
    still = seen.in_state(State.STANDING)
    t = seen.recording.t_s
    edge = np.flatnonzero(np.diff(np.concatenate(([False], still, [False])).astype(np.int8)))
    inside = np.zeros_like(still)
    for a, b in zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True):
        first = 0 if a == 0 else int(np.searchsorted(t, t[a] + EDGE_S))
        last = b if b == len(t) else int(np.searchsorted(t, t[b - 1] - EDGE_S))
        inside[first:last] = True
    return inside


def _scatter(values: Array, rest: NDArray[np.bool_]) -> float:
    """Largest sd over the axes of what differs from sample to sample at rest.

    Second differences (variance 6 sd^2 for white noise, no trace of level or slope), clipped at four of their robust
    sds so that a touch does not count, but not taken from their median alone: steps of a converter would show.
    """
    both = rest[2:] & rest[1:-1] & rest[:-2]
    out = []
    for column in values.T:
        bent = np.diff(column, n=2)[both]
        bent = bent[np.isfinite(bent)]
        if len(bent) < LEAST_AT_REST:
            continue
        usual = max(robust_sd(bent), float(np.mean(np.abs(bent))))
        out.append(math.sqrt(float(np.mean(np.minimum(bent**2, (4.0 * usual) ** 2))) / 6.0))
    return max(out, default=math.nan)


def _shown(kind: str, sd: float) -> str:
    if kind == "field":
        return f"{digits(sd)} mT"
    return f"{digits(sd / DEG)} deg/s" if kind == "rate" else f"{digits(1e3 * sd / G_MM_S2)} mg"

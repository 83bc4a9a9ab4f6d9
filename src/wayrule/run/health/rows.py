"""Of the rows and their clock: samples lost, rate against the stated rate, jitter, jumps."""

import math
import re

import numpy as np
from numpy.typing import NDArray

from wayrule.maths.robust import robust_sd
from wayrule.model import HealthItem, Limit
from wayrule.run.health.limits import LIMITS
from wayrule.run.health.seen import MOST_SPOTS, Seen, digits, many, unknown

LEAST_ROWS = 10
"""With fewer rows there is no period to judge by."""

GAP_STEPS = 1.5
"""A step this many periods long has lost a row, as when a log is read."""

JUMPS = ("out of order", "stray stamp", "clock ran over", "equal stamps", "bursts", "coarse clock", "no time")
"""Kinds of problems of a log that are its clock's."""

STAMP = re.compile(r"at (-?\d+(?:\.\d+)?) s")


def lost_samples(seen: Seen) -> HealthItem:
    """Rows that are not there, and rows in which a sensor said nothing."""
    recording = seen.recording
    if recording.n < LEAST_ROWS:
        return unknown("lost samples", f"Only {recording.n} rows.")
    step = np.diff(recording.t_s)
    period = float(np.median(step))
    limit_s = max(GAP_STEPS * period, period + 8.0 * robust_sd(step))
    long = np.flatnonzero(step > limit_s)
    absent = int(np.sum(np.maximum(np.round(step[long] / period) - 1.0, 1.0)))
    dead = _dead(seen)
    value = 100.0 * (absent + int(dead.sum())) / (recording.n + absent)
    limit = LIMITS["lost samples"]
    light = limit.light(value)
    longest = float(step[long].max()) if len(long) else 0.0
    told = (
        f"{many(absent, 'row')} lost in {many(len(long), 'gap')}, the longest {digits(longest)} s"
        if absent
        else "No row is lost"
    )
    if dead.any():
        told += f"; {many(int(dead.sum()), 'row')} in which a sensor said nothing"
    gaps = [seen.spot(float(recording.t_s[i]), float(recording.t_s[i + 1])) for i in long[np.argsort(-step[long])]]
    return HealthItem(
        "lost samples",
        light,
        f"{told} ({digits(value)} % of {recording.n + absent}).",
        "" if light == "green" else "Look at the link, the card that is written to, and the recorder's load.",
        () if light == "green" else (*gaps, *seen.spots_where(dead))[:MOST_SPOTS],
        value,
        limit,
    )


def _dead(seen: Seen) -> NDArray[np.bool_]:
    """(n,) rows in which a sensor that was recorded gave no axis at all."""
    r = seen.recording
    out = np.zeros(r.n, dtype=bool)
    for values in (r.field_mt, r.gyro_rad_s, r.acc_mm_s2):
        if values is not None and np.isfinite(values).any():
            out |= np.isnan(values).all(axis=1)
    for single in (r.ticks_count, r.wheel_mm_s, r.wheel_mm):
        if single is not None:
            out |= np.isnan(single)
    return out


def clock(seen: Seen) -> HealthItem:
    """Rate against the stated rate, jitter, and what the clock did besides running."""
    recording = seen.recording
    if recording.n < LEAST_ROWS:
        return unknown("clock", f"Only {recording.n} rows.")
    step = np.diff(recording.t_s)
    period = float(np.median(step))
    usual = step[step < GAP_STEPS * period]
    rate = 1.0 / float(usual.mean())
    jitter = 100.0 * float(usual.std()) / period
    jumps = [problem for problem in recording.problems if problem.kind in JUMPS]
    stated = seen.wagon.columns.rate_hz or seen.wagon.sensor.rate_hz
    off = 100.0 * abs(rate / stated - 1.0) if stated else math.nan
    parts: dict[str, tuple[float, str]] = {
        "jitter": (jitter, f"stamps jitter by {digits(jitter)} % of a period"),
        "clock jumps": (float(len(jumps)), ", ".join(f"{p.kind} ({p.count})" for p in jumps) or "no jump"),
    }
    if stated:
        parts["rate"] = (off, f"{rate:.1f} rows a second where the wagon file states {stated:g}")
    return _worst(seen, parts, rate, bool(stated))


def _worst(seen: Seen, parts: dict[str, tuple[float, str]], rate_hz: float, stated: bool) -> HealthItem:
    """The clock's item: its worst part decides, all are told."""
    worst = max(parts, key=lambda part: _badness(LIMITS[part], parts[part][0]))
    limit, (value, _) = LIMITS[worst], parts[worst]
    light = limit.light(value)
    todo = {
        "jitter": "Stamp the rows where the sensor is read, not where they arrive.",
        "clock jumps": "Look at what stamps the rows; let one clock do it, and start no clock anew on the way.",
        "rate": "Look whether rows are left out on purpose, or correct rate_hz in the wagon file.",
    }[worst]
    told = "; ".join(words for _, words in parts.values())
    if not stated:
        told = f"{rate_hz:.1f} rows a second, no rate is stated to compare with; {told}"
    stamps = [float(found) for problem in seen.recording.problems if problem.kind in JUMPS
              for found in STAMP.findall(problem.where)]  # fmt: skip
    return HealthItem(
        "clock",
        light,
        f"{told[0].upper()}{told[1:]}.",
        "" if light == "green" else todo,
        tuple(seen.spot(t, t) for t in stamps[:MOST_SPOTS]) if worst == "clock jumps" and light != "green" else (),
        value,
        limit,
    )


def _badness(limit: Limit, value: float) -> tuple[int, float]:
    """Red before amber before green; within them by the share of amber."""
    light = limit.light(value)
    return ("unknown", "green", "amber", "red").index(light), value / limit.amber

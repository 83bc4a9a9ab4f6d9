"""Of what changes slowly over a run: temperature and the cell's voltage."""

import numpy as np

from wayrule.model import HealthItem
from wayrule.model.arrays import Array
from wayrule.run.health.limits import LIMITS
from wayrule.run.health.seen import Seen, digits, unknown

SMOOTHED_S = 5.0
"""Medians over so long: a radio's pulse of current or one wild reading is no trend."""


def temperature(seen: Seen) -> HealthItem:
    """How far the sensor's temperature moved over the run: its gyro's bias moves with it."""
    values = seen.recording.temp_c
    if values is None or not np.isfinite(values).any():
        return unknown("temperature", "No temperature was recorded.", "Record temp_C if the sensor gives it.")
    _, smooth = _medians(seen.recording.t_s, values)
    moved = float(np.ptp(smooth))
    limit = LIMITS["temperature"]
    light = limit.light(moved)
    minutes = float(np.ptp(seen.recording.t_s)) / 60.0
    return HealthItem(
        "temperature",
        light,
        f"{smooth[0]:.1f} to {smooth[-1]:.1f} degC, by {digits(moved)} K in {digits(minutes)} min.",
        "" if light == "green" else "Switch the wagon on ten minutes before, out of sun and draught; stand often.",
        (),
        moved,
        limit,
    )


def battery(seen: Seen) -> HealthItem:
    """How far the cell's voltage fell over the run, and when it was lowest."""
    values = seen.recording.battery_v
    if values is None or not np.isfinite(values).any():
        return unknown("battery", "No cell voltage was recorded.", "Record battery_V if the board measures it.")
    t, smooth = _medians(seen.recording.t_s, values)
    lowest = int(np.argmin(smooth))
    fell = 100.0 * max(float(smooth[0] - smooth[lowest]), 0.0) / max(float(smooth[0]), 1e-9)
    limit = LIMITS["battery"]
    light = limit.light(fell)
    return HealthItem(
        "battery",
        light,
        f"{smooth[0]:.2f} V at the start, {smooth[lowest]:.2f} V at the lowest: {digits(fell)} % less.",
        "" if light == "green" else "Charge or change the cell before the next run; a weak cell makes a sensor noisy.",
        () if light == "green" else (seen.spot(float(t[lowest]), float(t[lowest])),),
        fell,
        limit,
    )


def _medians(t_s: Array, values: Array) -> tuple[Array, Array]:
    """Middle times and medians over stretches of `SMOOTHED_S`, one at least; stretches without a reading left out."""
    good = np.isfinite(values)
    t, x = t_s[good], values[good]
    cut = np.searchsorted(t, np.arange(t[0] + SMOOTHED_S, t[-1], SMOOTHED_S))
    pieces = [(a, b) for a, b in zip(np.split(t, cut), np.split(x, cut), strict=True) if len(a)]
    return np.array([a.mean() for a, _ in pieces]), np.array([float(np.median(b)) for _, b in pieces])

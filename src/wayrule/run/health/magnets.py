"""Of the magnets: strength and middle of the turning field beside what a calibration remembers of it."""

import math
from typing import Final

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import AxleDrift, DriftKind, HealthItem, Light
from wayrule.run.axledrift import axle_drift
from wayrule.run.health.limits import LIMITS
from wayrule.run.health.seen import Seen, unknown

NAME: Final = "field"

LIGHTS: Final[dict[DriftKind, Light]] = {"nothing": "green", "temperature": "green", "magnet off": "red"}
"""What a change means: warmer magnets are weaker and tell the angle as well, a lost one does not; else: look."""

CHANGE_PCT_K: Final = -0.12
"""Neodymium's change of remanence [%/K] where the wagon file says none."""


def field(seen: Seen) -> HealthItem:
    """The field beside its calibration; "not calibrated" where there is none."""
    recording, magnets = seen.recording, seen.wagon.magnets
    if recording.field_mt is None:
        return unknown(NAME, "The wheel's sensor is no turning field.")
    if seen.axle is None:
        return unknown(
            NAME,
            "Not calibrated: strength and middle of the field have nothing to be compared with.",
            "Turn the axle twenty times, run `wayrule calibrate`, and give its file with --calibration.",
        )
    temperature = recording.temp_c
    known = temperature is not None and bool(np.isfinite(temperature).any())
    try:
        drift = axle_drift(
            seen.axle,
            recording.t_s,
            recording.field_mt,
            place_mm=seen.wagon.sensor.place_mm,
            temperature_c=float(np.nanmean(temperature)) if known and temperature is not None else math.nan,
            change_pct_k=(magnets.remanence_change_pct_k if magnets else None) or CHANGE_PCT_K,
            pair=magnets is None or magnets.kind == "disc_pair",
            run=recording.name,
        )
    except UndeterminedError as error:
        return unknown(NAME, f"Not to be compared with the calibration: {error}")
    cause = drift.likeliest
    return HealthItem(
        NAME,
        LIGHTS.get(cause.kind, "amber"),
        f"{cause.text.rstrip('.')}{_figures(drift)}.",
        cause.advice or ("" if cause.kind in ("nothing", "temperature") else "Look at magnets, plate and sensor."),
        (),
        drift.sigma,
        LIMITS["field changed"],
    )


def _figures(drift: AxleDrift) -> str:
    """Strength and middle in figures, where the axle turned."""
    if not drift.turned:
        return ""
    moved = float(np.sqrt(np.nansum(drift.moved_mt**2)))
    return (
        f"; strength {100 * drift.strength:.1f} +- {100 * drift.strength_sd:.1f} % of the calibration's, middle moved "
        f"by {moved:.2f} mT"
    )

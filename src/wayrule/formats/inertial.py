"""The inertial sensor in a calibration file: what rests, positions and logs have told of it; read back strictly."""

import math
from collections.abc import Callable
from typing import Any, TypeVar

import numpy as np

from wayrule.formats.entries import CalibrationError, Entry
from wayrule.model.inertial import NOISE_TERMS, Accelerometer, Clock, GyroBias, Inertial, Noise

Kind = TypeVar("Kind")

ACCELEROMETER = ("bias_mm_s2", "bias_sd_mm_s2", "scale", "scale_sd", "skew", "skew_sd")
GYRO_BIAS = ("bias_rad_s", "bias_sd_rad_s", "per_k_rad_s", "per_k_sd_rad_s")
CURVE = ("deviation", "low", "high")
TERMS = ("terms", "terms_sd", "terms_below")
CLOCK = ("rate_hz", "rate_sd_hz", "jitter_s", "longest_gap_s", "drift_ppm")
MOST_TAUS = 64
"""Octaves of averaging time: more would be a log of 10^11 years."""


def inertial_content(inertial: Inertial) -> dict[str, Any]:
    """What a calibration file says under `inertial`: only what was shown."""
    out: dict[str, Any] = {}
    if (acc := inertial.accelerometer) is not None:
        out["accelerometer"] = {
            **{name: getattr(acc, name) for name in ACCELEROMETER},
            "gravity_mm_s2": acc.gravity_mm_s2,
            "positions": acc.positions,
            "misfit_mm_s2": acc.misfit_mm_s2,
            "runs": [{"name": name, "sha256": digest} for name, digest in acc.runs],
        }
    if (bias := inertial.gyro_bias) is not None:
        out["gyro_bias"] = {
            **{name: _gaps(getattr(bias, name)) for name in GYRO_BIAS},
            "temp_c": _gap(bias.temp_c),
            "rests": bias.rests,
        }
    for name in ("gyro_noise", "force_noise"):
        if (noise := getattr(inertial, name)) is not None:
            out[name] = _noise_content(noise)
    if (clock := inertial.clock) is not None:
        out["clock"] = {
            **{name: getattr(clock, name) for name in CLOCK},
            "lost": clock.lost,
            "nominal_hz": _gap(clock.nominal_hz),
        }
    return out


def _noise_content(noise: Noise) -> dict[str, Any]:
    return {
        "kind": noise.kind,
        "tau_s": noise.tau_s,
        **{name: getattr(noise, name) for name in CURVE},
        "terms": [
            {"term": term, **{name: _gaps(getattr(noise, name)[k]) for name in TERMS}}
            for k, term in enumerate(NOISE_TERMS)
        ],
        "step": noise.step,
        "seconds": noise.seconds,
    }


def _gap(value: float) -> float | None:
    return None if math.isnan(value) else value


def _gaps(values: Any) -> list[float | None]:
    return [_gap(float(value)) for value in values]


def read_inertial(entry: Entry) -> Inertial:
    """The inertial sensor of a calibration file.

    Parameters
    ----------
    entry : Entry   the table that stands under `inertial`

    Raises
    ------
    CalibrationError   naming the entry, what was expected and what came
    """

    def part(name: str, read: Callable[[Entry], Kind]) -> Kind | None:
        return read(entry.table(name)) if name in entry.content else None

    return Inertial(
        accelerometer=part("accelerometer", _accelerometer),
        gyro_bias=part("gyro_bias", _gyro_bias),
        gyro_noise=part("gyro_noise", _noise),
        force_noise=part("force_noise", _noise),
        clock=part("clock", _clock),
    )


def _accelerometer(entry: Entry) -> Accelerometer:
    runs = [entry.item("runs", i, r) for i, r in enumerate(entry.several("runs"))]
    found: dict[str, Any] = {
        **{name: entry.vector(name, 3) for name in ACCELEROMETER},
        **{name: entry.number(name) for name in ("gravity_mm_s2", "misfit_mm_s2")},
        "positions": entry.count("positions"),
        "runs": tuple((run.text("name"), run.text("sha256")) for run in runs),
    }
    return _made(entry, lambda: Accelerometer(**found))


def _gyro_bias(entry: Entry) -> GyroBias:
    vectors = {name: entry.vector(name, 3, gaps=True) for name in GYRO_BIAS}
    return _made(entry, lambda: GyroBias(**vectors, temp_c=entry.perhaps("temp_c"), rests=entry.count("rests")))


def _noise(entry: Entry) -> Noise:
    count = len(entry.several("tau_s"))
    if not 1 <= count <= MOST_TAUS:
        raise entry.wrong("tau_s", f"1 to {MOST_TAUS} averaging times", count)
    terms = [entry.item("terms", i, t) for i, t in enumerate(entry.several("terms"))]
    if tuple(term.text("term") for term in terms) != NOISE_TERMS:
        raise entry.wrong("terms", ", ".join(NOISE_TERMS), [term.get("term") for term in terms])
    found: dict[str, Any] = {
        "kind": entry.text("kind"),
        "tau_s": entry.vector("tau_s", count),
        **{name: entry.matrix(name, count, 3) for name in CURVE},
        **{name: np.array([term.vector(name, 3, gaps=True) for term in terms]) for name in TERMS},
        "step": entry.vector("step", 3),
        "seconds": entry.number("seconds"),
    }
    return _made(entry, lambda: Noise(**found))


def _clock(entry: Entry) -> Clock:
    numbers = {name: entry.number(name) for name in CLOCK}
    return Clock(**numbers, lost=entry.count("lost", least=0), nominal_hz=entry.perhaps("nominal_hz"))


def _made(entry: Entry, make: Callable[[], Kind]) -> Kind:
    try:
        return make()
    except ValueError as error:
        raise CalibrationError(
            expected="an inertial sensor as it was calibrated",
            came=str(error),
            where=entry.where,
            next_step="give the file as it was written",
        ) from None

"""The axle in a calibration file: its turning field as it was learnt, readable for people; read back strictly."""

from typing import Any

import numpy as np

from wayrule.formats.entries import CalibrationError, Entry
from wayrule.model.axlereference import ORDERS, AxleReference


def axle_content(reference: AxleReference) -> dict[str, Any]:
    """What a calibration file says under `axle`."""
    harmonics = zip(reference.angle_rad.T, reference.angle_sd_rad, strict=True)
    return {
        "basis": reference.basis,
        "centre_mt": reference.centre_mt,
        "semi_axes_mt": reference.semi_axes_mt,
        "tilt_rad": reference.tilt_rad,
        "forward": reference.forward,
        "forward_source": reference.forward_source,
        "harmonics": [
            {"order": k, "cosine_rad": float(pair[0]), "sine_rad": float(pair[1]), "sd_rad": float(sd)}
            for k, (pair, sd) in enumerate(harmonics, start=1)
        ],
        "curve_mt": reference.curve_mt,
        "curve_sd_mt": reference.curve_sd_mt,
        "noise_mt": reference.noise_mt,
        "residual_mt": reference.residual_mt,
        "temperature_c": reference.temperature_c,
        "turns": reference.turns,
        "runs": [{"name": name, "sha256": digest} for name, digest in reference.runs],
    }


def read_axle(entry: Entry) -> AxleReference:
    """The axle of a calibration file.

    Parameters
    ----------
    entry : Entry   the table that stands under `axle`

    Raises
    ------
    CalibrationError   naming the entry, what was expected and what came
    """
    pairs = [entry.item("harmonics", i, h) for i, h in enumerate(entry.several("harmonics"))]
    if [h.number("order") for h in pairs] != list(range(1, ORDERS + 1)):
        raise entry.wrong("harmonics", f"orders 1 to {ORDERS}", [h.get("order") for h in pairs])
    found: dict[str, Any] = {
        "basis": entry.matrix("basis", 2, 3),
        "centre_mt": entry.vector("centre_mt", 3, gaps=True),
        "semi_axes_mt": entry.vector("semi_axes_mt", 2),
        "tilt_rad": entry.number("tilt_rad"),
        "forward": entry.get("forward"),
        "forward_source": entry.text("forward_source"),
        "angle_rad": np.array([[h.number("cosine_rad") for h in pairs], [h.number("sine_rad") for h in pairs]]),
        "angle_sd_rad": np.array([h.number("sd_rad") for h in pairs]),
        "curve_mt": entry.matrix("curve_mt", 2 * ORDERS + 1, 3, gaps=True),
        "curve_sd_mt": entry.vector("curve_sd_mt", ORDERS + 1),
        **{name: entry.number(name) for name in ("noise_mt", "residual_mt", "turns")},
        "temperature_c": entry.perhaps("temperature_c"),
        "runs": tuple(
            (run.text("name"), run.text("sha256"))
            for run in (entry.item("runs", i, r) for i, r in enumerate(entry.several("runs")))
        ),
    }
    try:
        return AxleReference(**found)
    except ValueError as error:
        raise CalibrationError(
            expected="an axle as it was learnt",
            came=str(error),
            where=entry.where,
            next_step="give the file as it was written",
        ) from None

"""`calibration.json`: what is remembered of a wagon, as a person can read it; read back strictly."""

import hashlib
import math
from typing import Any, Final

import numpy as np

from wayrule.errors import WayruleError
from wayrule.formats.axlereference import axle_content, read_axle
from wayrule.formats.entries import CalibrationError as CalibrationError
from wayrule.formats.entries import Entry
from wayrule.formats.inertial import inertial_content, read_inertial
from wayrule.formats.jsonfile import read_json
from wayrule.formats.rollingsteps import read_step, step_content
from wayrule.model import Calibration
from wayrule.model.calibration import ANGLES, CONSTANTS

KIND: Final = "wayrule calibration 1"
"""What kind of file it is, and of which form."""

SAME_SD: Final = 1e-6
"""An sd and the root of its variance agree to this share, or a hand has changed one of them."""


def calibration_content(calibration: Calibration) -> dict[str, Any]:
    """What `calibration.json` says."""
    constants = []
    for name in calibration.names:
        value, sd = calibration.one(name)
        unit, meaning = CONSTANTS[name]
        constants.append({"name": name, "value": value, "sd": sd, "unit": unit, "meaning": meaning})
    sway = zip(ANGLES, calibration.sway_rad, calibration.sway_length_mm, strict=True)
    return {
        "kind": KIND,
        "version": calibration.version,
        "wagon": {
            "name": calibration.wagon_name,
            "sha256": calibration.wagon_sha256,
            "diameter_mm": calibration.diameter_mm,
        },
        "constants": constants,
        "covariance": calibration.covariance,
        "rotation": calibration.rotation,
        "sway": {
            "passes": calibration.sway_passes,
            "angles": [{"angle": a, "sd_rad": sd, "length_mm": mm} for a, sd, mm in sway if math.isfinite(sd)],
        },
        "gyro_bias": {"rms_rad_s": calibration.bias_rad_s, "runs": calibration.bias_runs},
        "runs": [{"name": name, "sha256": digest} for name, digest in calibration.runs],
        **_optional(calibration),
    }


def _optional(calibration: Calibration) -> dict[str, Any]:
    """Entries that stand only where there is something to say; a file of before they came has none."""
    entries: dict[str, Any] = {}
    if calibration.made:
        entries["made"] = calibration.made
    if calibration.axle is not None:
        entries["axle"] = axle_content(calibration.axle)
    if calibration.inertial is not None:
        entries["inertial"] = inertial_content(calibration.inertial)
    if calibration.steps:
        entries["steps"] = [step_content(step) for step in calibration.steps]
    return entries


def read_calibration(data: bytes, name: str) -> Calibration:
    """A calibration, with the digest of its file.

    Parameters
    ----------
    data : bytes   a calibration.json as a survey wrote it
    name : str     for error lines

    Raises
    ------
    CalibrationError   naming the entry, what was expected and what came
    WayruleError       for a file that is no JSON object
    """
    try:
        content = read_json(data, name)
    except WayruleError as error:
        raise CalibrationError(
            expected=error.expected, came=error.came, where=name, next_step="give the calibration.json of a survey"
        ) from None
    top = Entry(content, name)
    if content.get("kind") != KIND:
        raise top.wrong("kind", f'"{KIND}"', content.get("kind"))
    wagon, sway, bias = top.table("wagon"), top.table("sway"), top.table("gyro_bias")
    constants = [top.item("constants", i, c) for i, c in enumerate(top.several("constants"))]
    names = tuple(c.text("name") for c in constants)
    size, length = _sway(sway)
    found: dict[str, Any] = {
        "wagon_name": wagon.text("name"),
        "wagon_sha256": wagon.text("sha256"),
        "diameter_mm": None if wagon.get("diameter_mm") is None else wagon.number("diameter_mm"),
        "names": names,
        "values": np.array([c.number("value") for c in constants]),
        "covariance": top.matrix("covariance", len(names)),
        "rotation": None if top.get("rotation") is None else top.matrix("rotation", 3),
        "sway_rad": size,
        "sway_length_mm": length,
        "sway_passes": sway.number("passes"),
        "bias_rad_s": bias.number("rms_rad_s"),
        "bias_runs": bias.count("runs", least=0),
        "runs": tuple(
            (run.text("name"), run.text("sha256"))
            for run in (top.item("runs", i, r) for i, r in enumerate(top.several("runs")))
        ),
        "version": top.text("version"),
        **_read_optional(top),
    }
    try:
        calibration = Calibration(**found, sha256=hashlib.sha256(data).hexdigest())
    except ValueError as error:
        raise CalibrationError(
            expected="what a survey wrote", came=str(error), where=name, next_step="give the file as it was written"
        ) from None
    for constant in constants:
        _check_same(calibration, constant)
    return calibration


def _read_optional(top: Entry) -> dict[str, Any]:
    """Those of the optional entries that are there."""
    found: dict[str, Any] = {}
    if "made" in top.content:
        found["made"] = top.text("made")
    if "axle" in top.content:
        found["axle"] = read_axle(top.table("axle"))
    if "inertial" in top.content:
        found["inertial"] = read_inertial(top.table("inertial"))
    if "steps" in top.content:
        found["steps"] = tuple(read_step(top.item("steps", i, s)) for i, s in enumerate(top.several("steps")))
    return found


def _sway(sway: Entry) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Sizes and lengths, NaN where no sway is known."""
    angles = [sway.item("angles", i, a) for i, a in enumerate(sway.several("angles"))]
    if not angles:
        return np.full(3, np.nan), np.full(3, np.nan)
    if tuple(a.text("angle") for a in angles) != ANGLES:
        raise sway.wrong("angles", f"none, or {', '.join(ANGLES)}", [a.get("angle") for a in angles])
    return np.array([a.number("sd_rad") for a in angles]), np.array([a.number("length_mm") for a in angles])


def _check_same(calibration: Calibration, constant: Entry) -> None:
    """What stands beside a constant for people says the same as the rest of the file."""
    name, sd = constant.text("name"), constant.number("sd")
    if not math.isclose(sd, calibration.one(name)[1], rel_tol=SAME_SD):
        raise constant.wrong("sd", f"the root of its variance, {calibration.one(name)[1]:.6g}", sd)
    if constant.text("unit") != CONSTANTS[name][0]:
        raise constant.wrong("unit", f'"{CONSTANTS[name][0]}" for {name}', constant.get("unit"))

"""A `Wagon` as commented TOML that a person can edit; reading it back gives the same wagon."""

import dataclasses
import json
from typing import Any

from wayrule.model import ColumnMap, Wagon

COMMENTS = {
    "scale": "or ratio = 87 alone",
    "gauge_mm": "between the inner faces of the rails",
    "wheelbase_mm": "between the axles, or each bogie's own under [bogie]",
    "pivots_mm": "between the bogie pivots",
    "wheel.diameter_mm": "rolling diameter of the axle with the sensor",
    "diameter_sd_mm": "how well the caliper knows it",
    "scale_sd": "relative, of a speed or distance input: 0.01 is 1 %",
    "axle": '"rear", "front", or 1, 2 ... counted from the front',
    "flat_radius_mm": "axle centre to the flat the magnet sits on",
    "remanence_mt": "lowest and highest of the grade",
    "height_mm": "of its underside above the axle centre",
    "sensor.place_mm": "from the axle centre: forward, left, up",
    "imu.place_mm": "from rail top under the rear axle: forward, left, up",
    "gyro_noise_dps_rthz": "one-sided density n: a sample's sd is n*sqrt(rate/2)",
    "gyro_scale_sd": "how far its scale may be off before calibration",
    "acc_bias_sd_g": "how far a level accelerometer may be off",
    "magnetisation": "at axle angle 0: forward, left (along the axle), up",
    "remanence_change_pct_k": "% per K",
    "temperature_c": "lowest and highest that the wagon runs at",
    "floor.centre_mm": "of the plate from the axle centre: forward, left",
    "axle.diameter_mm": "where the flats are filed",
    "axle.length_mm": "over its points or journals",
    "overhang_mm": "middle of the tread to the bearing beside it",
    "play_mm": "to either side: forward, left, up",
    "body.height_mm": "top above rail top",
    "over_buffers_mm": "over buffers or couplers",
    "rear_overhang_mm": "rear axle (pivot) to the rear end",
    "inside_mm": "clear length, width, height",
    "body.mass_g": "complete, as it came",
    "ballast_mass_g": "taken out",
    "load_mass_g": "put in besides board and cell",
    "spring_mm": "how far the body sinks on its springs",
    "board.place_mm": "middle of the underside from rail top under the rear axle: forward, left, up",
    "cell.place_mm": "as of the board",
    "part.place_mm": "as of the board",
    "disturber.place_mm": "from the axle centre: forward, left, up",
    "sensor_height_mm": "of the field sensor above the board's underside",
    "usable": "share of the capacity to count on",
    "converter_efficiency": "left out: a linear regulator",
    "over_rail_mm": "least distance of the magnets",
    "between_rails_mm": "highest thing between the rails above rail top",
    "sleeper_mm": "tops above rail top, so below 0",
    "brake_gear_mm": "axle centre to the nearest brake block or rod",
    "low_mm": "where the sensor may sit, from the axle centre: forward, left, up",
    "moment_ma_m2": "1 mm3 of remanence 1 T has 0.796",
}
"""key, or table.key where a key occurs in several tables -> what stands behind it."""


def write_wagon(wagon: Wagon) -> bytes:
    """The wagon file of a wagon, UTF-8, one key a line.

    >>> from wayrule.model import Wheel
    >>> print(write_wagon(Wagon("Van 7", "HO", 87.0, 16.5, 65.0, Wheel(10.5))).decode())
    name = "Van 7"
    scale = "HO"                          # or ratio = 87 alone
    ratio = 87.0
    gauge_mm = 16.5                       # between the inner faces of the rails
    wheelbase_mm = 65.0                   # between the axles, or each bogie's own under [bogie]
    <BLANKLINE>
    [wheel]
    diameter_mm = 10.5                    # rolling diameter of the axle with the sensor
    axle = "rear"                         # "rear", "front", or 1, 2 ... counted from the front
    <BLANKLINE>
    """
    top = {key: getattr(wagon, key) for key in ("name", "scale", "ratio", "gauge_mm")}
    if wagon.bogie is None:
        top["wheelbase_mm"] = wagon.wheelbase_mm
    blocks = [
        _lines("", top),
        _table("wheel", wagon.wheel),
        _table("bogie", wagon.bogie),
        _table("magnets", wagon.magnets),
    ]
    blocks += [["[[floor]]", *_lines("floor", _given(layer))] for layer in wagon.floor]
    blocks += [_table("sensor", wagon.sensor), _table("imu", wagon.imu), _columns(wagon.columns)]
    blocks += [_table(name, getattr(wagon, name)) for name in ("axle", "body", "board", "cell", "clearance", "space")]
    blocks += [["[[part]]", *_lines("part", _given(part))] for part in wagon.parts]
    blocks += [["[[disturber]]", *_lines("disturber", _given(part))] for part in wagon.disturbers]
    return "\n\n".join("\n".join(lines) for lines in blocks if lines).encode() + b"\n"


def _given(part: Any) -> dict[str, Any]:
    """Its fields that are stated."""
    return {f.name: v for f in dataclasses.fields(part) if (v := getattr(part, f.name)) is not None}


def _table(name: str, part: Any) -> list[str]:
    given = _given(part) if part is not None else {}
    return [f"[{name}]", *_lines(name, given)] if given else []


def _columns(columns: ColumnMap) -> list[str]:
    given: dict[str, Any] = dict(columns.names)
    if columns.decimal_comma is not None:
        given["decimal"] = "," if columns.decimal_comma else "."
    given |= {key: v for key in ("separator", "comment", "rate_hz") if (v := getattr(columns, key)) is not None}
    return ["[columns]", *_lines("columns", given)] if given else []


def _lines(table: str, given: dict[str, Any]) -> list[str]:
    lines = []
    for key, value in given.items():
        comment = COMMENTS.get(f"{table}.{key}", COMMENTS.get(key, "")) if table != "columns" else ""
        line = f"{_key(key)} = {_value(value)}"
        lines.append(f"{line:<37} # {comment}" if comment else line)
    return lines


def _key(key: str) -> str:
    plain = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if plain else _value(key)


def _value(value: Any) -> str:
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, str):
        # a TOML basic string has JSON's escapes; JSON leaves DEL bare and pairs surrogates, TOML allows neither
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    return repr(value)

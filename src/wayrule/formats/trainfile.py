"""Trains: a TOML file with vehicles, or short words such as `coach:300x4`."""

import math
import re
import tomllib
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from wayrule.errors import UsageError, WayruleError
from wayrule.model import Train, Vehicle

PIVOTS: Final = 0.71
"""Pivot spacing over body length: NEM 103:2016 p1, 14 / 20, 17.2 / 24.2 and 19.5 / 27.2 m."""

WIDTH: Final = 2.9
"""Body width over the gauge's 1.435 m, full size [m]; from memory."""

BOGIE: Final[dict[str, tuple[float, int]]] = {"coach": (2.5, 4), "engine4": (2.6, 4), "engine6": (3.7, 6)}
"""Kind -> wheelbase of a bogie, full size [m], and axles; from memory."""

KINDS: Final = {
    "coach": "a bogie coach",
    "wagon": "a two-axle wagon",
    "engine4": "a four-axle engine",
    "engine6": "a six-axle engine",
    "tank": "a rigid engine",
}
"""Words for stock: kind -> meaning."""

RIGID: Final[dict[str, float]] = {"wagon": 0.55, "tank": 0.45}
"""Wheelbase of a rigid vehicle over its length; from memory."""

MASS_G_MM: Final[dict[float, float]] = {220: 0.12, 160: 0.17, 120: 0.25, 87: 0.4, 64: 0.6, 45: 1.0, 32: 2.0, 22.5: 4.0}
"""NEM 302:2015 s2: ratio -> least mass of a car over its length [g/mm]."""

ENGINE_HEAVIER: Final = 5.0
"""An engine's mass over a car's of the same length; from memory."""

STOCK: Final = re.compile(r"(?P<kind>[a-z]+\d?):(?P<length>\d+(?:\.\d+)?)(?:x(?P<count>\d+))?")


class _VehicleKeys(BaseModel):
    """One [[vehicle]] of a train file."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    name: str
    kind: str
    length_mm: float
    pivots_mm: float
    width_mm: float
    mass_g: float = Field(default=math.nan, gt=0)
    bogie_mm: float = 0.0
    axles: int = 4
    coupler: str = "body"
    coupling_mm: float = Field(default=math.nan, gt=0)
    adhesive_g: float = Field(default=math.nan, gt=0)
    pull_n: float = Field(default=math.nan, gt=0)
    rolling: float = Field(default=math.nan, gt=0)
    offset_mm: float = Field(default=math.nan, gt=0)
    count: int = Field(default=1, ge=1, le=500)


class _TrainKeys(BaseModel):
    """A train file."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: str = "train"
    vehicle: list[_VehicleKeys]


def read_train(data: bytes, name: str = "train file") -> Train:
    """A train from its TOML file.

    Raises
    ------
    WayruleError   in one line: the key, its value, what is wrong

    Examples
    --------
    >>> train = read_train(b'''name = "Valley local"
    ... [[vehicle]]
    ... name = "coach"
    ... kind = "car"
    ... length_mm = 303
    ... pivots_mm = 218
    ... width_mm = 33
    ... bogie_mm = 29
    ... count = 3
    ... ''')
    >>> train.name, len(train.vehicles), train.longest.overhang_mm
    ('Valley local', 3, 42.5)
    """
    try:
        keys = _TrainKeys.model_validate(_as_floats(tomllib.loads(data.decode())))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _refused(str(error), name) from None
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part + 1) if isinstance(part, int) else part for part in first["loc"])
        raise _refused(f"{place}: {first['msg'].lower()}", name) from None
    try:
        vehicles = tuple(Vehicle(**one.model_dump(exclude={"count"})) for one in keys.vehicle for _ in range(one.count))
        return Train(keys.name, vehicles)
    except ValueError as error:
        raise _refused(str(error), name) from None


def _refused(came: str, name: str) -> WayruleError:
    return WayruleError(
        expected="a train: name and [[vehicle]] tables with name, kind, length_mm, pivots_mm, width_mm",
        came=came,
        where=name,
        next_step="correct it, or name stock in words: --stock coach:300x3",
    )


def _as_floats(content: dict[str, Any]) -> dict[str, Any]:
    """Whole numbers of mm, g and N are numbers too."""
    for one in content.get("vehicle", ()) if isinstance(content.get("vehicle"), list) else ():
        if isinstance(one, dict):
            for key, value in one.items():
                if isinstance(value, int) and not isinstance(value, bool) and key not in ("axles", "count"):
                    one[key] = float(value)
    return content


def stock_from_words(words: list[str], ratio: float) -> Train:
    """A train from words KIND:LENGTH or KIND:LENGTHxCOUNT, length over the body in mm; usual proportions.

    Raises
    ------
    UsageError   for a word that is none

    Examples
    --------
    >>> train = stock_from_words(["engine6:220", "coach:300x3"], 87.0)
    >>> len(train.vehicles), round(train.longest.pivots_mm), round(train.longest.bogie_mm)
    (4, 213, 29)
    """
    vehicles: list[Vehicle] = []
    for word in words:
        match = STOCK.fullmatch(word.strip().lower())
        if match is None or match["kind"] not in KINDS or not float(match["length"]) > 0 or match["count"] == "0":
            raise UsageError(
                expected=f"KIND:LENGTH or KIND:LENGTHxCOUNT, KIND one of {', '.join(KINDS)}, LENGTH in mm",
                came=repr(word),
                where="--stock",
                next_step="write coach:300x4, or describe the train in a file: --train FILE",
            )
        vehicles += [_of_kind(match["kind"], float(match["length"]), ratio)] * int(match["count"] or 1)
    return Train(", ".join(words), tuple(vehicles))


def _of_kind(kind: str, length_mm: float, ratio: float) -> Vehicle:
    scaled = 1000.0 / ratio
    near = min(MASS_G_MM, key=lambda one: abs(math.log(one / ratio)))
    engine = kind.startswith("engine") or kind == "tank"
    pivots = length_mm * RIGID.get(kind, PIVOTS if kind == "coach" else 0.6)
    bogie, axles = BOGIE.get(kind, (0.0, 3 if kind == "tank" else 2))
    return Vehicle(
        f"{kind} {length_mm:g} mm", "engine" if engine else "car", length_mm, pivots, WIDTH * scaled,
        bogie_mm=min(bogie * scaled, 0.5 * length_mm), axles=axles,
        mass_g=length_mm * MASS_G_MM[near] * (ENGINE_HEAVIER if engine else 1.0),
    )  # fmt: skip


def usual_train(ratio: float) -> Train:
    """What is judged for where nobody says: a six-axle engine of 18 m, coaches of 24.2 m (NEM 103 group B), scaled."""
    train = stock_from_words([f"engine6:{18000 / ratio:.0f}", f"coach:{24200 / ratio:.0f}x3"], ratio)
    return Train("six-axle engine, 24.2 m coaches", train.vehicles)

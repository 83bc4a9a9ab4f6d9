"""The wagon file: TOML bytes to a checked `Wagon`, and a `Wagon` to commented TOML that a person can edit."""

import hashlib
import tomllib
from typing import Any

from pydantic import BaseModel, ValidationError

from wayrule.errors import WagonFileError
from wayrule.formats.columnmap import column_map
from wayrule.formats.scales import find_scale, known_ratios, name_of_ratio
from wayrule.formats.wagonchecks import clashes
from wayrule.formats.wagonerrors import one_line
from wayrule.formats.wagonkeys import WagonKeys
from wayrule.model import (
    Axle,
    Board,
    Body,
    Bogie,
    Cell,
    Clearance,
    Disturber,
    FieldSensor,
    FloorLayer,
    FreeSpace,
    Imu,
    Magnets,
    Part,
    Wagon,
    Wheel,
)


def read_wagon(data: bytes, name: str = "wagon file") -> Wagon:
    """Check a wagon file and make the `Wagon` of it.

    Parameters
    ----------
    data : bytes   the file, TOML in UTF-8
    name : str     for error lines

    Raises
    ------
    WagonFileError   in one line: each wrong key, its value, what is allowed, and the nearest known key

    Examples
    --------
    >>> van = read_wagon(b'''name = "Clerestory van 7"
    ... scale = "H0"
    ... gauge_mm = 16.5
    ... wheelbase_mm = 65.0
    ... [wheel]
    ... diameter_mm = 10.5
    ... ''')
    >>> van.scale, van.ratio, van.wheel.axle
    ('HO', 87.0, 'rear')
    """
    raw = _toml(data, name)
    try:
        keys = WagonKeys.model_validate(raw)
    except ValidationError as error:
        raise one_line(error, name) from None
    scale, ratio = _scale(keys, name)
    if keys.bogie is None and keys.wheelbase_mm is None:
        raise WagonFileError(
            expected="wheelbase_mm, or [bogie] with pivots_mm and wheelbase_mm",
            came="neither",
            where=name,
            next_step="measure the distance between the axles (or the bogie pivots) in mm",
        )
    given = keys.wheelbase_mm
    pivots = keys.bogie.pivots_mm if keys.bogie else given
    if keys.bogie and given is not None and given != keys.bogie.pivots_mm:
        raise WagonFileError(
            expected="one distance between the pivots",
            came=f"wheelbase_mm = {given:g} and [bogie] pivots_mm = {keys.bogie.pivots_mm:g}",
            where=name,
            next_step="leave wheelbase_mm above the tables off; a bogie's own wheelbase stands under [bogie]",
        )
    wagon = Wagon(
        name=keys.name,
        scale=scale,
        ratio=ratio,
        gauge_mm=keys.gauge_mm,
        wheelbase_mm=pivots or 0.0,
        wheel=Wheel(**keys.wheel.model_dump()),
        bogie=Bogie(**keys.bogie.model_dump()) if keys.bogie else None,
        magnets=Magnets(**_tuples(keys.magnets)) if keys.magnets else None,
        floor=tuple(FloorLayer(**_tuples(layer)) for layer in keys.floor),
        sensor=FieldSensor(**_tuples(keys.sensor)),
        imu=Imu(**_tuples(keys.imu)),
        columns=column_map(keys.columns, name),
        sha256=hashlib.sha256(data).hexdigest(),
        axle=Axle(**_tuples(keys.axle)),
        body=Body(**_tuples(keys.body)),
        board=Board(**_tuples(keys.board)),
        cell=Cell(**_tuples(keys.cell)),
        clearance=Clearance(**_tuples(keys.clearance)),
        space=FreeSpace(**_tuples(keys.space)) if keys.space else None,
        parts=tuple(Part(**_tuples(part)) for part in keys.part),
        disturbers=tuple(Disturber(**_tuples(part)) for part in keys.disturber),
    )
    wrong = clashes(wagon)
    if wrong:
        raise WagonFileError(
            expected="values that fit together",
            came="; ".join(wrong),
            where=name,
            next_step="measure again, or correct the wrong one",
        )
    return wagon


def _toml(data: bytes, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise WagonFileError(
            expected="text in UTF-8",
            came=f"byte 0x{data[error.start]:02x} at place {error.start}",
            where=name,
            next_step="save the file as UTF-8 text",
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise WagonFileError(
            expected='TOML lines such as gauge_mm = 16.5 or name = "Van 7"',
            came=str(error),
            where=name,
            next_step="texts stand in quotes, numbers have a decimal point",
        ) from None
    except RecursionError:
        raise WagonFileError(
            expected="a few tables", came="brackets nested without end", where=name, next_step="rewrite the file"
        ) from None


def _scale(keys: WagonKeys, name: str) -> tuple[str, float]:
    if keys.scale is None and keys.ratio is None:
        raise WagonFileError(
            expected='scale = "HO" or ratio = 87', came="neither", where=name, next_step="add one of them at the top"
        )
    if keys.scale is None:
        ratio = keys.ratio or 0.0
        return name_of_ratio(ratio, keys.gauge_mm), ratio
    try:
        scale, ratio = find_scale(keys.scale)
    except WagonFileError as error:
        if keys.ratio is not None:  # a house name for the scale is fine once its ratio is stated
            return keys.scale.strip(), keys.ratio
        raise WagonFileError(
            expected=error.expected, came=error.came, where=f"{name}: scale", next_step=error.next_step
        ) from None
    usual = known_ratios(scale) or (ratio,)
    if keys.ratio is not None and min(abs(keys.ratio / r - 1) for r in usual) > 0.15:
        raise WagonFileError(
            expected=f"a ratio near 1:{ratio:g} for scale {scale}",
            came=f"ratio = {keys.ratio:g}",
            where=f"{name}: ratio",
            next_step="leave one of the two off",
        )
    return scale, keys.ratio or ratio


def _tuples(model: BaseModel) -> dict[str, Any]:
    return {key: tuple(v) if isinstance(v, list) else v for key, v in model.model_dump().items()}

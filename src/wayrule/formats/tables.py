"""The tables of a survey folder as CSV: stations, travel, elements, faults; and stations read back."""

from typing import Any, Final

import numpy as np
import polars as pl

from wayrule.errors import WayruleError
from wayrule.formats.digits import printed, significant
from wayrule.model import Element, Fault, Stations, Travel
from wayrule.model.arrays import Array
from wayrule.model.track import STATION_COLUMNS
from wayrule.model.travel import State
from wayrule.units import scale_km_h, scale_mph

MM_DECIMALS: Final = 4
"""0.1 um: a thousandth of the best sigma that a survey reaches."""

ANGLE_DECIMALS: Final = 8
"""rad: 1e-8 over 10 m is 0.1 um."""

CURVATURE_DIGITS: Final = 9
"""Significant digits of curvature and gradient, whose size spans decades."""

SD_DIGITS: Final = 5
"""Significant digits of a sigma of curvature or gradient."""

ELEMENT_COLUMNS: Final = (
    "plane", "kind", "s0_mm", "s1_mm", "curvature0_1_mm", "curvature1_1_mm", "gradient0", "gradient1",
    "curvature_sd_1_mm", "gradient_sd", "s0_sd_mm", "s1_sd_mm", "length_mm", "radius_mm", "turned_rad", "misfit",
    "length_sd_mm", "radius_sd_mm", "turned_sd_rad", "rise_mm", "rise_sd_mm",
)  # fmt: skip

FAULT_COLUMNS: Final = ("kind", "s_mm", "size", "unit", "sd", "rail")


def write_stations(stations: Stations) -> bytes:
    """`stations.csv`, the contract's columns in its order; an empty cell where a quantity is not known."""
    columns: dict[str, Any] = {name: _column(name, getattr(stations, name)) for name in STATION_COLUMNS}
    return pl.DataFrame({**columns, "passes": stations.passes}).write_csv().encode()


def read_stations(
    data: bytes, name: str, *, closed: bool, length_mm: float, gauge_mm: float, wheelbase_mm: float
) -> Stations:
    """Read `stations.csv` back; what the table does not hold is said beside it (`survey.json`).

    Raises
    ------
    WayruleError   for a missing column or a cell that is no number
    """
    wanted = [*STATION_COLUMNS, "passes"]
    try:
        frame = pl.read_csv(data, infer_schema=False)
        missing = [column for column in wanted if column not in frame.columns]
        if missing:
            raise WayruleError(
                expected=f"the columns {', '.join(wanted)}",
                came=f"no {', '.join(missing)}",
                where=name,
                next_step="survey the line again",
            )
        numbers = {c: frame.get_column(c).cast(pl.Float64).to_numpy() for c in STATION_COLUMNS}
        passes = frame.get_column("passes").cast(pl.Int64).to_numpy()
        return Stations(
            **numbers,
            passes=passes,
            closed=closed,
            length_mm=length_mm,
            gauge_mm=gauge_mm,
            wheelbase_mm=wheelbase_mm,
        )
    except (pl.exceptions.PolarsError, ValueError, TypeError) as error:
        raise WayruleError(
            expected="a table of stations as `wayrule survey` writes it",
            came=str(error).splitlines()[0],
            where=name,
            next_step="survey the line again",
        ) from None


def write_travel(travel: Travel, ratio: float) -> bytes:
    """`travel/RUN.csv`; scale speeds have the sign of the speed."""
    words = np.array([state.name.lower() for state in sorted(State)])
    columns: dict[str, Any] = {
        "t_s": _cells(printed(travel.t_s, 6)),
        "chainage_mm": _column("_mm", travel.chainage_mm),
        "distance_mm": _column("_mm", travel.distance_mm),
        "distance_sd_mm": _column("_mm", travel.distance_sd_mm),
        "speed_mm_s": _column("_mm", travel.speed_mm_s),
        "speed_sd_mm_s": _column("_mm", travel.speed_sd_mm_s),
        "scale_km_h": _cells(printed(np.asarray(scale_km_h(travel.speed_mm_s, ratio)), 3)),  # type: ignore[arg-type]
        "scale_mph": _cells(printed(np.asarray(scale_mph(travel.speed_mm_s, ratio)), 3)),  # type: ignore[arg-type]
        "state": pl.Series(words).gather(travel.state.astype(np.int64)),
    }
    return pl.DataFrame(columns).write_csv().encode()


def write_elements(elements: tuple[Element, ...]) -> bytes:
    """`elements.csv`: pieces of the plan, then of the profile, by chainage; a radius for arcs only."""
    rows = sorted(elements, key=lambda e: (e.plane, e.s0_mm))
    columns: dict[str, Any] = {}
    for name in ELEMENT_COLUMNS:
        values = [_of(e, name) for e in rows]
        columns[name] = (
            pl.Series(values, dtype=pl.String) if name in ("plane", "kind") else _column(name, _array(values))
        )
    return pl.DataFrame(columns).write_csv().encode()


def write_faults(faults: tuple[Fault, ...]) -> bytes:
    """`faults.csv`, by chainage."""
    rows = sorted(faults, key=lambda f: f.s_mm)
    columns: dict[str, Any] = {}
    for name in FAULT_COLUMNS:
        values = [getattr(f, name) for f in rows]
        text = name in ("kind", "unit", "rail")
        columns[name] = pl.Series(values, dtype=pl.String) if text else _column("_mm", _array(values))
    return pl.DataFrame(columns).write_csv(quote_style="necessary").encode().replace(b'""', b"")


def _of(element: Element, name: str) -> float | str:
    """A cell: radii are those of arcs, the rise that of the profile."""
    if name.startswith("radius") and element.kind != "arc":
        return float("nan")
    value: float | str = getattr(element, name)
    return value


def _array(values: list[Any]) -> Array:
    return np.array(values, dtype=np.float64)


def _column(name: str, values: Array) -> pl.Series:
    """Rounded to what is worth keeping, by the kind of quantity that the name says."""
    if name.startswith(("curvature", "gradient", "misfit")):
        return _cells(significant(values, SD_DIGITS if "_sd" in name or name == "misfit" else CURVATURE_DIGITS))
    return _cells(printed(values, ANGLE_DECIMALS if name.endswith("_rad") else MM_DECIMALS))


def _cells(values: Array) -> pl.Series:
    finite = np.isfinite(values)
    if finite.all():
        return pl.Series(values)
    return pl.Series(np.where(finite, values, np.nan), nan_to_null=True)

"""A survey folder read back: `stations.csv`, `elements.csv`, `faults.csv` and `survey.json` to one `Surveyed`."""

from collections.abc import Mapping
from typing import Any, Final, get_args, get_type_hints

import polars as pl

from wayrule.errors import WayruleError
from wayrule.formats.jsonfile import read_json
from wayrule.formats.tables import ELEMENT_COLUMNS, FAULT_COLUMNS, read_stations
from wayrule.model import Element, Estimate, Fault, Mark, Surveyed

FILES: Final = ("survey.json", "stations.csv", "elements.csv", "faults.csv")
"""What is read of a survey folder; the rest is for people and for calibrating."""

_NAN: Final = float("nan")
_DERIVED: Final = frozenset({"length_mm", "radius_mm", "radius_sd_mm", "rise_mm"})
"""Columns of `elements.csv` that follow from the others."""


def read_survey_folder(files: Mapping[str, bytes], name: str, label: str = "") -> Surveyed:
    """A survey from the bytes of its files.

    Parameters
    ----------
    files : name -> bytes   those of `FILES`
    name : the folder, as errors call it
    label : the survey's name for people; "" = `name`

    Raises
    ------
    WayruleError   for a file that is missing, or not as `wayrule survey` writes it, with file and line or key
    """
    for file in FILES:
        if file not in files:
            raise _refused(file, "no such file in it", name)
    content = read_json(files["survey.json"], f"{name}/survey.json")
    wagon, line = (_part(content, key, name) for key in ("wagon", "line"))
    stations = read_stations(
        files["stations.csv"],
        f"{name}/stations.csv",
        closed=bool(line.get("closed")),
        length_mm=_number(line, "length_mm", name),
        gauge_mm=_number(wagon, "gauge_mm", name),
        wheelbase_mm=_number(wagon, "wheelbase_mm", name),
    )
    return Surveyed(
        name=label or name,
        stations=stations,
        elements=tuple(_element(*row) for row in _rows(files, "elements.csv", ELEMENT_COLUMNS, name)),
        faults=tuple(_fault(*row) for row in _rows(files, "faults.csv", FAULT_COLUMNS, name)),
        **_lists(content, f"{name}/survey.json"),
        wagon_name=str(wagon.get("name", "")),
        scale=str(wagon.get("scale", "")),
        ratio=_number(wagon, "ratio", name),
        version=str(content.get("version", "")),
    )


def _lists(content: dict[str, Any], where: str) -> dict[str, Any]:
    """Marks, estimates, assumptions and inputs of `survey.json`."""
    try:
        return {
            "marks": tuple((_nan(m["s_mm"]), Mark(_nan(m["t_s"]), str(m["name"]))) for m in content.get("marks", ())),
            "estimates": tuple(_estimate(e) for e in content.get("estimates", ())),
            "assumptions": tuple(map(str, content.get("assumptions", ()))),
            "inputs": tuple((str(i["role"]), str(i["file"]), str(i["sha256"])) for i in content.get("inputs", ())),
        }
    except (KeyError, TypeError, ValueError) as error:
        came = f"no {error}" if isinstance(error, KeyError) else str(error)
        raise _refused("survey.json", came, where) from None


def _refused(what: str, came: str, where: str) -> WayruleError:
    return WayruleError(
        expected=f"{what} as `wayrule survey` writes it", came=came, where=where, next_step="survey the line again"
    )


def _part(content: dict[str, Any], key: str, name: str) -> dict[str, Any]:
    part = content.get(key)
    if not isinstance(part, dict):
        raise _refused(f"an entry {key!r}", "none" if part is None else repr(part), f"{name}/survey.json")
    return part


def _number(part: dict[str, Any], key: str, name: str) -> float:
    value = part.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _refused(f"a number {key!r}", repr(value), f"{name}/survey.json")
    return float(value)


def _nan(value: Any) -> float:
    """A number of JSON; null is not known."""
    return _NAN if value is None else float(value)


def _estimate(entry: dict[str, Any]) -> Estimate:
    return Estimate(
        str(entry["name"]), _nan(entry["value"]), _nan(entry["sd"]), str(entry["unit"]), str(entry.get("source", ""))
    )


def _rows(
    files: Mapping[str, bytes], file: str, columns: tuple[str, ...], name: str
) -> list[tuple[dict[str, str], str]]:
    """(cells by column, where it stands), a pair for each line; an empty cell is ""."""
    try:
        frame = pl.read_csv(files[file], infer_schema=False).fill_null("")
    except pl.exceptions.PolarsError as error:
        raise _refused(file, str(error).splitlines()[0], f"{name}/{file}") from None
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        raise _refused(f"the columns {', '.join(columns)}", f"no {', '.join(missing)}", f"{name}/{file}")
    return [(row, f"{name}/{file} line {n}") for n, row in enumerate(frame.iter_rows(named=True), 2)]


def _cell(row: dict[str, str], column: str, where: str) -> float:
    try:
        return float(row[column]) if row[column] else _NAN
    except ValueError:
        raise _refused(f"a number or nothing in {column}", repr(row[column]), where) from None


def _word(kind: type, row: dict[str, str], column: str, where: str) -> Any:
    """A cell that holds one of a few words."""
    allowed = get_args(get_type_hints(kind)[column])
    if row[column] not in allowed:
        raise _refused(f"{column} one of {', '.join(w or 'nothing' for w in allowed)}", repr(row[column]), where)
    return row[column]


def _element(row: dict[str, str], where: str) -> Element:
    numbers = {c: _cell(row, c, where) for c in ELEMENT_COLUMNS if c not in ("plane", "kind") and c not in _DERIVED}
    return Element(_word(Element, row, "plane", where), _word(Element, row, "kind", where), **numbers)


def _fault(row: dict[str, str], where: str) -> Fault:
    s_mm, size, sd = (_cell(row, c, where) for c in ("s_mm", "size", "sd"))
    kind, unit, rail = (_word(Fault, row, c, where) for c in ("kind", "unit", "rail"))
    return Fault(kind, s_mm, size, unit, sd, rail)

"""A plan as a table of elements: one row a piece, in order; as `elements.csv` has them, or as a person writes them."""

from typing import Final

import polars as pl

from wayrule.errors import WayruleError
from wayrule.model import Element

NEXT: Final = "write length_mm and radius_mm (left > 0, empty = straight), or the columns of elements.csv"


def read_plan_table(data: bytes, name: str) -> tuple[Element, ...]:
    """Pieces of the plan, and of the profile where the table has them, each from where the last one ended.

    Columns: `length_mm`; `radius_mm` (left > 0, empty = straight) or `curvature0_1_mm` and `curvature1_1_mm`; and, if
    heights are planned, `gradient0` and `gradient1` in the same rows, or rows of plane `profile` as in `elements.csv`.

    Raises
    ------
    WayruleError   with the line, for what cannot be read
    """
    try:
        frame = pl.read_csv(data, infer_schema=False).fill_null("")
    except pl.exceptions.PolarsError as error:
        raise _refused("a table with a header", str(error).splitlines()[0], name) from None
    if "length_mm" not in frame.columns or not {"radius_mm", "curvature0_1_mm"} & set(frame.columns):
        raise _refused("columns length_mm and radius_mm", ", ".join(frame.columns), name)
    out: list[Element] = []
    ends = {"plan": 0.0, "profile": 0.0}
    for number, row in enumerate(frame.iter_rows(named=True), 2):
        where = f"{name} line {number}"
        plane = row.get("plane") or "plan"
        length = _cell(row, "length_mm", where)
        if plane not in ends or not length > 0:
            raise _refused("plan or profile, and a length above 0", f"{plane}, {row['length_mm']!r}", where)
        if plane == "plan":
            k0, k1 = _curvatures(row, where)
            kind = "transition" if k0 != k1 else "arc" if k0 else "straight"
            at = ends["plan"]
            out.append(Element("plan", kind, at, at + length, k0, k1))  # type: ignore[arg-type]
            ends["plan"] += length
        if plane == "profile" or (row.get("gradient0", "") and not row.get("plane")):
            g0 = _cell(row, "gradient0", where)
            g1 = _cell(row, "gradient1", where) if row.get("gradient1") else g0
            at = ends["profile"]
            kind = "grade" if g0 == g1 else "vertical_curve"
            out.append(Element("profile", kind, at, at + length, gradient0=g0, gradient1=g1))  # type: ignore[arg-type]
            ends["profile"] += length
    if not any(e.plane == "plan" for e in out):
        raise _refused("at least one piece of plan", "none", name)
    return tuple(out)


def _curvatures(row: dict[str, str], where: str) -> tuple[float, float]:
    if row.get("curvature0_1_mm"):
        return _cell(row, "curvature0_1_mm", where), _cell(row, "curvature1_1_mm", where)
    if not row.get("radius_mm"):
        return 0.0, 0.0
    radius = _cell(row, "radius_mm", where)
    if radius == 0:
        raise _refused("a radius other than 0; empty is straight", "0", where)
    return 1.0 / radius, 1.0 / radius


def _cell(row: dict[str, str], column: str, where: str) -> float:
    try:
        value = float(row.get(column) or "")
    except ValueError:
        raise _refused(f"a number in {column}", repr(row.get(column, "")), where) from None
    if value != value or value in (float("inf"), float("-inf")):
        raise _refused(f"a finite number in {column}", repr(row[column]), where)
    return value


def _refused(expected: str, came: str, where: str) -> WayruleError:
    return WayruleError(expected=expected, came=came, where=where, next_step=NEXT)

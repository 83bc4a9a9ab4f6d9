"""Tables of a survey as Parquet: names with units as everywhere, numbers as they are, nothing rounded."""

import io
from collections.abc import Sequence
from typing import Any

import polars as pl

from wayrule.formats.tables import ELEMENT_COLUMNS, FAULT_COLUMNS
from wayrule.model import Element, Fault, Stations
from wayrule.model.track import STATION_COLUMNS


def stations_parquet(stations: Stations) -> bytes:
    """`stations.parquet`: the columns of `stations.csv`; null where a quantity is not known."""
    columns: dict[str, Any] = {name: getattr(stations, name) for name in STATION_COLUMNS}
    return _bytes(pl.DataFrame({**columns, "passes": stations.passes}))


def elements_parquet(elements: Sequence[Element]) -> bytes:
    """`elements.parquet`, the columns of `elements.csv`."""
    words = ("plane", "kind")
    return _table(elements, ELEMENT_COLUMNS, words)


def faults_parquet(faults: Sequence[Fault]) -> bytes:
    """`faults.parquet`, the columns of `faults.csv`."""
    return _table(faults, FAULT_COLUMNS, ("kind", "unit", "rail"))


def _table(rows: Sequence[Any], columns: Sequence[str], words: Sequence[str]) -> bytes:
    schema = {name: pl.String if name in words else pl.Float64 for name in columns}
    return _bytes(pl.DataFrame({name: [getattr(row, name) for row in rows] for name in columns}, schema=schema))


def _bytes(frame: pl.DataFrame) -> bytes:
    stream = io.BytesIO()
    frame.with_columns(pl.col(pl.Float64).fill_nan(None)).write_parquet(stream)
    return stream.getvalue()

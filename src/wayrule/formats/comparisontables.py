"""A comparison as tables and JSON: `changes.csv`, `faults_before_after.csv`, `differences.csv`, `series.csv`."""

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl

from wayrule.model import Comparison, FaultFate, FindingFate, Series

COLUMNS = ("quantity", "s_mm", "change", "sd", "significant")


def comparison_content(found: Comparison, series: Series | None = None) -> dict[str, Any]:
    """What `comparison.json` says."""
    content: dict[str, Any] = {
        "before": found.before_name,
        "after": found.after_name,
        "registered": dataclasses.asdict(found.registered),
        "changes": [dataclasses.asdict(change) for change in found.changes],
        "faults": [_fate(fate) for fate in found.fates],
        "notes": list(found.notes),
    }
    if found.findings is not None:
        content["findings"] = [_finding(fate) for fate in found.findings]
    if series is not None:
        content["series"] = dataclasses.asdict(series)
    return content


def _fate(fate: FaultFate) -> dict[str, Any]:
    one = fate.fault
    return {
        "kind": one.kind,
        "s_mm": one.s_mm,
        "rail": one.rail,
        "unit": one.unit,
        "before": None if fate.before is None else fate.before.size,
        "before_sd": None if fate.before is None else fate.before.sd,
        "after": None if fate.after is None else fate.after.size,
        "after_sd": None if fate.after is None else fate.after.sd,
        "change": fate.change,
        "sd": fate.sd,
        "fate": fate.fate,
    }


def comparison_files(found: Comparison, series: Series | None = None) -> dict[str, bytes]:
    """The tables by name."""
    files = {
        "changes.csv": _csv([dataclasses.asdict(change) for change in found.changes], _fields()),
        "faults_before_after.csv": _csv([_fate(fate) for fate in found.fates], FATE_COLUMNS),
        "differences.csv": _differences(found),
    }
    if found.findings is not None:
        files["findings_before_after.csv"] = _csv([_finding(fate) for fate in found.findings], FINDING_COLUMNS)
    return files | ({"series.csv": _series(series)} if series is not None else {})


def _finding(fate: FindingFate) -> dict[str, Any]:
    one, before, after = fate.finding, fate.before, fate.after
    return {
        "rule": one.rule,
        "kind": one.kind,
        "s_mm": fate.s_mm,
        "unit": one.unit,
        "verdict_before": before.verdict if before else "",
        "before": before.size if before else None,
        "verdict_after": after.verdict if after else "",
        "after": after.size if after else None,
        "change": fate.change if fate.change == fate.change else None,
        "sd": fate.sd if fate.sd == fate.sd else None,
        "fate": fate.fate,
    }


FINDING_COLUMNS = (
    "rule", "kind", "s_mm", "unit", "verdict_before", "before", "verdict_after", "after", "change", "sd", "fate",
)  # fmt: skip
FATE_COLUMNS = ("kind", "s_mm", "rail", "unit", "before", "before_sd", "after", "after_sd", "change", "sd", "fate")


def _fields() -> tuple[str, ...]:
    return ("quantity", "s0_mm", "s1_mm", "s_mm", "size", "unit", "sd", "sigma")


def _csv(rows: Sequence[dict[str, Any]], columns: Sequence[str]) -> bytes:
    frame = pl.DataFrame({name: [row[name] for row in rows] for name in columns}, strict=False)
    return frame.write_csv(float_precision=6).encode()


def _differences(found: Comparison) -> bytes:
    """Every difference at every station, in the units of `stations.csv`."""
    frames = []
    for one in found.differences:
        sd = one.sd * one.scatter
        with np.errstate(invalid="ignore"):
            significant = np.abs(one.change) > one.limit * sd
        quantity = [one.quantity] * len(one.s_mm)
        columns = dict(zip(COLUMNS, (quantity, one.s_mm, one.change, sd, significant), strict=True))
        frames.append(pl.DataFrame(columns).with_columns(pl.col("change", "sd").fill_nan(None)))
    return pl.concat(frames).write_csv().encode() if frames else (",".join(COLUMNS) + "\n").encode()


def _series(series: Series) -> bytes:
    """One row for each survey and place."""
    m, n = series.plan_mm.shape
    frame = pl.DataFrame(
        {
            "survey": np.repeat(np.array(series.names), n),
            "s_mm": np.tile(series.places_mm, m),
            "plan_mm": series.plan_mm.ravel(),
            "plan_sd_mm": series.plan_sd_mm.ravel(),
            "height_mm": series.height_mm.ravel(),
            "height_sd_mm": series.height_sd_mm.ravel(),
        }
    )
    return frame.with_columns(pl.col(pl.Float64).fill_nan(None)).write_csv(float_precision=4).encode()

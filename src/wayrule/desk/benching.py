"""`bench`: will this wagon measure, and how well, before metal is cut?"""

import json
from dataclasses import asdict, dataclass, replace
from html import escape
from os import fspath
from pathlib import Path
from typing import Any, Final

from wayrule import store
from wayrule.desk.opening import PathName, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.desk.towork import ToWorkFrom, stem_of, to_work_from
from wayrule.errors import UsageError
from wayrule.model import Bench, Wagon
from wayrule.model.worksheet import DEFER, STEPS
from wayrule.report.bench import budget_table, field_png, field_svg
from wayrule.report.paper import paper_named
from wayrule.report.tables import Table
from wayrule.wagon.budget import Conditions
from wayrule.wagon.flats import PAPER_MM
from wayrule.wagon.jig import Fit, sane
from wayrule.wagon.verdict import bench as bench_of
from wayrule.wagon.whole import Whole, whole

LIMITS: Final = {"way": (10.0, 1e6), "speed": (1.0, 20_000.0), "radius": (20.0, 1e6)}
"""What a way [mm], a speed [mm/s] and a radius [mm] of a model railway can be; a wide guess, against slips of unit."""

PAPERS_MM: Final = (0.02, 1.0)
"""Thickness of paper and card [mm], tissue to board; a wide guess, against slips of unit."""


@dataclass(frozen=True, slots=True)
class BenchResult:
    """The answer, and what can be made of it; a notebook shows the figure and the verdict.

    bench     will it measure, and how well
    whole     mass, room, running time, strength of the axle
    written   the files that were written
    without   what there is to print was not made, and why, one line each
    """

    bench: Bench
    whole: Whole
    written: tuple[Path, ...] = ()
    without: tuple[str, ...] = ()

    @property
    def works(self) -> bool:
        """Whether it works, or at least reads."""
        return self.bench.word != "fails"

    def budget_table(self) -> Table:
        """The error budget as a table."""
        return budget_table(self.bench)

    def field_svg(self) -> str:
        """The field over a turn, as SVG."""
        return field_svg(self.bench)

    def facts(self) -> dict[str, Any]:
        """Everything as plain words and numbers, for a machine; unknown numbers are NaN."""
        found = self.bench
        budget = found.budget
        more = ("before_rad", "after_rad", "repeats_mm", "adds_mm", "distance_sd_mm", "saturates", "signal_to_noise")
        return {
            "wagon": found.wagon.name,
            "word": found.word,
            "verdict": list(found.verdict),
            "options": [asdict(option) for option in found.options],
            "budget": asdict(budget)
            | {name: getattr(budget, name) for name in more}
            | {"dominant": budget.dominant.cause},
            "turning": list(found.turning),
            "remarks": list(found.remarks),
            "missing": list(found.missing),
            "whole": asdict(self.whole) | {"lines": list(self.whole.lines)},
            "cautions": [asdict(caution) for caution in found.cautions],
            "phi_rad": found.phi_rad.tolist(),
            "field_mt": found.field_mt.tolist(),
        }

    def caution_lines(self) -> tuple[str, ...]:
        """The cautions of each step, one line each, and who goes before them."""
        lines = [f"{STEPS[c.step]}: {c.title}. {c.text}" for c in self.bench.cautions]
        return (*lines, DEFER) if lines else ()

    def to_work_from(self, paper: str = "A4", fit: Fit | None = None, paper_mm: float = PAPER_MM) -> ToWorkFrom:
        """The sheet, the filing jig and the sensor spacer as files by name: see `wayrule.desk.towork`."""
        return to_work_from(self.bench.wagon, paper, fit, paper_mm)

    def save(self, folder: PathName, prints: ToWorkFrom | None = None) -> list[Path]:
        """Write the field's figure (SVG, PNG), all numbers (JSON) and what there is to print into `folder`.

        Parameters
        ----------
        prints : made by `to_work_from`; on A4 with the usual clearances where left out

        Returns
        -------
        list of Path   what was written
        """
        made = prints or self.to_work_from()
        stem = stem_of(self.bench.wagon)
        told = json.dumps(_known(self.facts()), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        files = {
            f"{stem}-field.svg": field_svg(self.bench).encode(),
            f"{stem}-field.png": field_png(self.bench),
            f"{stem}-bench.json": told.encode(),
        }
        return [store.write_bytes(Path(folder) / name, data) for name, data in (files | made.files).items()]

    def _repr_html_(self) -> str:
        verdict = "".join(f"<p>{escape(sentence)}</p>" for sentence in (*self.bench.verdict, *self.whole.lines))
        return f"{verdict}{field_svg(self.bench)}"


def bench(
    wagon: PathName | Wagon,
    *,
    way_mm: float | None = None,
    speed_mm_s: float | None = None,
    radius_mm: float | None = None,
    out: PathName | None = None,
    paper: str = "A4",
    paper_mm: float = PAPER_MM,
    fit: Fit | None = None,
    step: Step = silent,
) -> BenchResult:
    """Will this wagon measure, and how well?

    Parameters
    ----------
    wagon : its file, or the wagon
    way_mm : between two places of a run; a metre where left out
    speed_mm_s : of the wagon; 250 where left out
    radius_mm : of the sharpest curve; 20 gauges where left out
    out : folder to write figure, numbers, and sheet, jig and spacer to work from into
    paper : "A4" or "Letter", and paper_mm its thickness
    fit : clearances of the printer, and tools
    step : shows what is being done

    Raises
    ------
    WagonFileError, UsageError, UndeterminedError   each in one line
    """
    run = conditions_of(way_mm, speed_mm_s, radius_mm)
    sheet, tools = paper_named(paper).name, sane(fit or Fit())
    _between("paper's thickness", paper_mm, *PAPERS_MM, "mm")
    with step("reading the wagon file"):
        known = read_wagon(wagon)
    with step("field, budget, changes"):
        result = BenchResult(bench_of(known, run), whole(known))
    if out is None:
        return result
    with step("sheet, jig and spacer to work from"):
        prints = result.to_work_from(sheet, tools, paper_mm)
    with step(f"writing {fspath(out)}"):
        written = result.save(out, prints)
    return replace(result, written=tuple(written), without=prints.without)


def conditions_of(way_mm: float | None, speed_mm_s: float | None, radius_mm: float | None) -> Conditions:
    """How the wagon is run, as far as it is stated.

    Raises
    ------
    UsageError   a value that no model has
    """
    given = {"way": way_mm, "speed": speed_mm_s, "radius": radius_mm}
    for name, value in given.items():
        if value is not None:
            _between(name, value, *LIMITS[name], "mm/s" if name == "speed" else "mm")
    usual = Conditions()
    return replace(usual, way_mm=way_mm or usual.way_mm, speed_mm_s=speed_mm_s or usual.speed_mm_s, radius_mm=radius_mm)


def _between(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise UsageError(
            expected=f"a {name} from {low:g} to {high:g} {unit}",
            came=f"{value:g}",
            where="bench",
            next_step="it is in mm, of the paper" if name.startswith("paper") else "it is in mm, of the model",
        )


def _known(thing: Any) -> Any:
    """The same with null for what is not known."""
    if isinstance(thing, dict):
        return {key: _known(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple):
        return [_known(value) for value in thing]
    return None if isinstance(thing, float) and not abs(thing) < float("inf") else thing

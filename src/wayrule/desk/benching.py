"""`bench`: will this wagon measure, and how well, before metal is cut?"""

import json
import re
from dataclasses import asdict, dataclass, replace
from html import escape
from os import fspath
from pathlib import Path
from typing import Any, Final

from wayrule import store
from wayrule.desk.opening import PathName, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError
from wayrule.model import Bench, Wagon
from wayrule.model.worksheet import DEFER, STEPS
from wayrule.report.bench import budget_table, field_png, field_svg
from wayrule.report.tables import Table
from wayrule.wagon.budget import Conditions
from wayrule.wagon.verdict import bench as bench_of

LIMITS: Final = {"way": (10.0, 1e6), "speed": (1.0, 20_000.0), "radius": (20.0, 1e6)}
"""What a way [mm], a speed [mm/s] and a radius [mm] of a model railway can be; a wide guess, against slips of unit."""


@dataclass(frozen=True, slots=True)
class BenchResult:
    """The answer, and what can be made of it; a notebook shows the figure and the verdict."""

    bench: Bench

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
            "cautions": [asdict(caution) for caution in found.cautions],
            "phi_rad": found.phi_rad.tolist(),
            "field_mt": found.field_mt.tolist(),
        }

    def caution_lines(self) -> tuple[str, ...]:
        """The cautions of each step, one line each, and who goes before them."""
        lines = [f"{STEPS[c.step]}: {c.title}. {c.text}" for c in self.bench.cautions]
        return (*lines, DEFER) if lines else ()

    def save(self, folder: PathName) -> list[Path]:
        """Write `NAME-field.svg`, `NAME-field.png` and `NAME-bench.json` into `folder`; returns what was written."""
        place = Path(folder)
        stem = re.sub(r"[^a-z0-9]+", "-", self.bench.wagon.name.lower()).strip("-") or "wagon"
        told = json.dumps(_known(self.facts()), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        return [
            store.write_text(place / f"{stem}-field.svg", field_svg(self.bench)),
            store.write_bytes(place / f"{stem}-field.png", field_png(self.bench)),
            store.write_text(place / f"{stem}-bench.json", told),
        ]

    def _repr_html_(self) -> str:
        verdict = "".join(f"<p>{escape(sentence)}</p>" for sentence in self.bench.verdict)
        return f"{verdict}{field_svg(self.bench)}"


def bench(
    wagon: PathName | Wagon,
    *,
    way_mm: float | None = None,
    speed_mm_s: float | None = None,
    radius_mm: float | None = None,
    out: PathName | None = None,
    step: Step = silent,
) -> BenchResult:
    """Will this wagon measure, and how well?

    Parameters
    ----------
    wagon : its file, or the wagon
    way_mm : between two places of a run; a metre where left out
    speed_mm_s : of the wagon; 250 where left out
    radius_mm : of the sharpest curve; 20 gauges where left out
    out : folder to write figure and numbers into
    step : shows what is being done

    Raises
    ------
    WagonFileError, UsageError, UndeterminedError   each in one line
    """
    run = conditions_of(way_mm, speed_mm_s, radius_mm)
    with step("reading the wagon file"):
        known = read_wagon(wagon)
    with step("field, budget, changes"):
        result = BenchResult(bench_of(known, run))
    if out is not None:
        with step(f"writing {fspath(out)}"):
            result.save(out)
    return result


def conditions_of(way_mm: float | None, speed_mm_s: float | None, radius_mm: float | None) -> Conditions:
    """How the wagon is run, as far as it is stated.

    Raises
    ------
    UsageError   a value that no model has
    """
    given = {"way": way_mm, "speed": speed_mm_s, "radius": radius_mm}
    for name, value in given.items():
        low, high = LIMITS[name]
        if value is not None and not low <= value <= high:
            raise UsageError(
                expected=f"a {name} from {low:g} to {high:g} {'mm/s' if name == 'speed' else 'mm'}",
                came=f"{value:g}",
                where="bench",
                next_step="it is in mm, of the model",
            )
    usual = Conditions()
    return replace(usual, way_mm=way_mm or usual.way_mm, speed_mm_s=speed_mm_s or usual.speed_mm_s, radius_mm=radius_mm)


def _known(thing: Any) -> Any:
    """The same with null for what is not known."""
    if isinstance(thing, dict):
        return {key: _known(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple):
        return [_known(value) for value in thing]
    return None if isinstance(thing, float) and not abs(thing) < float("inf") else thing

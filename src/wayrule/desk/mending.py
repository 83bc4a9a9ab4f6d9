"""`mend`: what to do to a surveyed line, as sheet, tables and strips."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from os import fspath
from pathlib import Path
from typing import Any

from wayrule import store
from wayrule.desk.opening import PathName
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError, WayruleError
from wayrule.formats.jsonfile import write_json
from wayrule.formats.mendtables import mend_tables
from wayrule.formats.tables import write_elements, write_faults
from wayrule.model import Baseboard, MendLimits, MendPlan, Surveyed
from wayrule.report.mendsheet import mend_pdf
from wayrule.report.paper import paper_named
from wayrule.track.mend.cautions import cautions
from wayrule.track.mend.plan import mend_plan, usual_limits
from wayrule.version import VERSION


@dataclass(frozen=True, slots=True, eq=False)
class MendResult:
    """A plan of work and the survey that it is for.

    cautions   what stands above the work
    limits     what it was made within
    """

    surveyed: Surveyed
    plan: MendPlan
    limits: MendLimits
    cautions: tuple[str, ...]
    paper: str = "A4"

    def files(self) -> dict[str, bytes]:
        """Name -> bytes: sheet and strips as PDF, tables, the target line, and all in one for a machine."""
        return {
            f"worksheet-{self.paper.lower()}.pdf": mend_pdf(self.plan, self.surveyed, self.cautions, self.paper),
            **mend_tables(self.plan),
            "target.csv": write_elements(self.plan.target),
            "predicted.csv": write_faults(self.plan.predicted),
            "mend.json": write_json(self.content()),
        }

    def content(self) -> dict[str, Any]:
        """What `--json` prints and `mend.json` holds."""
        plan = self.plan
        return {
            "version": VERSION,
            "survey": self.surveyed.name,
            "limits": _plain(self.limits),
            "cautions": list(self.cautions),
            "boards": [_plain(m) | {"board": _plain(m.board)} for m in plan.boards],
            "mends": [_plain(m) | {"fault": _plain(m.fault)} for m in plan.singles],
            "total_mm": plan.sheet.total_mm,
            "predicted": [_plain(f) for f in plan.predicted],
            "new": [_plain(f) for f in plan.new],
            "beyond": [{"s_mm": s, "missing_mm": m, "what": w} for s, m, w in plan.beyond],
            "chord_mm": plan.chord_mm,
            "notes": list(plan.notes),
        }

    def save(self, folder: PathName) -> list[Path]:
        """Write all files into a folder; each is written whole or not at all."""
        place = Path(folder)
        if place.exists() and not place.is_dir():
            raise UsageError(
                expected="a folder", came="a file", where=fspath(folder), next_step="name another folder for --out"
            )
        return [store.write_bytes(place / name, data) for name, data in self.files().items()]


def mend(
    survey: PathName | Surveyed,
    *,
    out: PathName | None = None,
    lift_mm: float | None = None,
    lower_mm: float | None = None,
    slew_mm: float | None = None,
    leave_mm: float | None = None,
    shim_mm: float | None = None,
    fixed: Iterable[str] = (),
    boards: Iterable[str] = (),
    sleeper_mm: float | None = None,
    at_marks: bool = False,
    chord_mm: float | None = None,
    paper: str = "A4",
    step: Step = silent,
) -> MendResult:
    """What to do to a line that was surveyed, boards first, then rails.

    Parameters
    ----------
    survey : folder that `survey` wrote, or one that was read
    out : folder to write into as well
    lift_mm, lower_mm, slew_mm : at most so much; by the gauge if not given
    leave_mm : what is out by less is left alone
    shim_mm : thickness of the thinnest shim; lifts are multiples of it
    fixed : "FROM:TO" in mm of chainage, or a mark's name: stays as it is
    boards : "NAME=FROM:TO" in mm of chainage
    sleeper_mm, at_marks : where to work
    chord_mm : of the string for versines
    paper : "A4" or "Letter"

    Raises
    ------
    WayruleError, UsageError, UndeterminedError   each in one line
    """
    size = paper_named(paper)
    with step("reading the survey"):
        surveyed = survey if isinstance(survey, Surveyed) else store.read_survey(Path(survey))
    usual = usual_limits(surveyed.stations.gauge_mm)
    given = {
        "lift_mm": lift_mm, "lower_mm": lower_mm, "slew_mm": slew_mm, "leave_mm": leave_mm, "shim_mm": shim_mm,
    }  # fmt: skip
    limits = replace(
        usual,
        fixed=tuple(_fixed(word, surveyed) for word in fixed),
        **{name: value for name, value in given.items() if value is not None},
    )
    with step("target line and work sheet"):
        plan = mend_plan(
            surveyed,
            limits,
            boards=[_board(word) for word in boards],
            sleeper_mm=sleeper_mm,
            marks_only=at_marks,
            chord_mm=chord_mm,
        )
    result = MendResult(surveyed, plan, limits, cautions(plan), size.name)
    if out is not None:
        with step(f"writing {fspath(out)}"):
            result.save(out)
    return result


def _fixed(word: str, surveyed: Surveyed) -> tuple[float, float]:
    """A stretch, or the place of a mark with a wheelbase on either side."""
    places = [s for s, mark in surveyed.marks if mark.name == word]
    if places:
        base = surveyed.stations.wheelbase_mm
        return min(places) - base, max(places) + base
    known = ", ".join(sorted({mark.name for _, mark in surveyed.marks})) or "the survey has none"
    return _stretch(word, word, "--fixed", f"FROM:TO in mm of chainage, or a mark ({known})")


def _board(word: str) -> Baseboard:
    name, found, span = word.partition("=")
    if not (found and name.strip()):
        raise WayruleError(
            expected="NAME=FROM:TO in mm of chainage", came=repr(word), where="--board", next_step="B2=1200:2400, say"
        )
    return Baseboard(name.strip(), *_stretch(span, word, "--board", "NAME=FROM:TO in mm of chainage"))


def _stretch(span: str, word: str, where: str, expected: str) -> tuple[float, float]:
    start, found, stop = span.partition(":")
    try:
        if found and float(start) <= float(stop):
            return float(start), float(stop)
    except ValueError:
        pass
    raise UsageError(
        expected=expected, came=repr(word), where=where, next_step="write it as 1200:2400, the smaller first"
    )


def _plain(thing: Any) -> dict[str, Any]:
    """Fields of a record."""
    return {name: getattr(thing, name) for name in thing.__slots__}

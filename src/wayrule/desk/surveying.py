"""`survey`: all runs of one line, to its map with error bars."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from os import PathLike, fspath
from pathlib import Path

from wayrule import model, pipeline, store
from wayrule.desk.calibrating import moment, remembered
from wayrule.desk.frame import framed
from wayrule.desk.opening import PathName, open_runs, read_wagon
from wayrule.desk.steps import Step, silent, stages
from wayrule.formats.control import read_control
from wayrule.formats.relations import read_relations
from wayrule.formats.spelling import facts_from_words, parse_pair
from wayrule.model import Calibration, Stations, Wagon
from wayrule.report.page import survey_page
from wayrule.report.tables import Table


@dataclass(frozen=True, slots=True, eq=False)
class SurveyResult(model.Survey):
    """A survey that can be saved, and that a notebook shows as its report.

    title   of the report
    extra   tables that the report shows besides
    truth   the line as it is known to be, for the report, in the survey's frame and chainage
    """

    title: str = ""
    extra: tuple[Table, ...] = ()
    truth: Stations | None = None

    def page(self) -> str:
        """The report, a whole HTML page."""
        return survey_page(self, title=self.title, extra=self.extra, truth=self.truth)

    def save(self, folder: PathName) -> list[Path]:
        """Write the survey folder (stations, travel, elements, faults, survey.json, calibration.json, report.html)."""
        return store.write_survey(Path(folder), self, self.page())

    def _repr_html_(self) -> str:
        return framed(self.page(), 1200)


def survey(
    runs: PathName | Sequence[PathName],
    wagon: PathName | Wagon,
    *,
    closed_laps: int | None = None,
    turned: Iterable[PathName] = (),
    tapes: Iterable[str] = (),
    control: PathName | None = None,
    relation: PathName | None = None,
    calibration: PathName | Calibration | None = None,
    level: Iterable[str] = (),
    straight: Iterable[str] = (),
    open_line: bool = False,
    not_turned: Iterable[PathName] = (),
    as_mounted: Iterable[PathName] = (),
    start_level: float | None = None,
    between: Iterable[str] = (),
    step_mm: float | None = None,
    out: PathName | None = None,
    title: str = "",
    step: Step = silent,
) -> SurveyResult:
    """Survey one line of track from all its runs; the words are those of the command line.

    Parameters
    ----------
    runs : RUN or RUN@laps=4, one or several
    wagon : its file, or the wagon
    closed_laps : whole laps of a single run, short for @laps
    turned : those runs whose marked front points against growing chainage
    tapes : WHAT:MM:SD, WHAT being lap, stops or MARK..MARK
    control : CSV of control points
    relation : CSV of what lies between two places of the line: a crossing, a bridge over the line itself
    calibration : of this wagon: a file that `calibrate` or an earlier survey wrote, a folder of such files (the newest
        by date), or one in hand
    level, straight : stretches FROM:TO [mm of chainage] known to be so
    open_line : the line is open, however much its bends repeat
    not_turned : those runs whose marked front points along growing chainage, however they fit
    as_mounted : those runs whose wheel and sensor sit as they say, whatever the accelerometer feels
    start_level : how near to level the start is believed to be, one sigma [per mille]; None = 20
    between : pairs of places A:B, by chainage or mark, to say at once what lies between them; `result.between(a, b)`
        answers the same later
    step_mm : between stations; None = 5 mm in HO, in proportion in other scales
    out : folder to write into as well
    step : shows what is being done

    Raises
    ------
    RecordingError, WagonFileError, CalibrationError, UsageError, UndeterminedError   each in one line
    """
    words = [fspath(run) for run in ([runs] if isinstance(runs, str | PathLike) else runs)]
    with step("reading the wagon file"):
        known = read_wagon(wagon)
        controls = read_control(store.read_bytes(Path(control)), fspath(control)) if control is not None else ()
        relations = read_relations(store.read_bytes(Path(relation)), fspath(relation)) if relation is not None else ()
    before, chosen = remembered(calibration, known)
    paths, facts = facts_from_words(
        words,
        closed_laps=closed_laps,
        turned=[fspath(run) for run in turned],
        tapes=tapes,
        controls=controls,
        relations=relations,
        level=level,
        straight=straight,
        open_line=open_line,
        not_turned=[fspath(run) for run in not_turned],
        as_mounted=[fspath(run) for run in as_mounted],
        start_level=start_level,
    )
    pairs = [parse_pair(text) for text in between]
    recordings = tuple(open_runs(paths, known, step))
    with stages(step) as tell:
        found = pipeline.survey(recordings, known, facts, calibration=before, between=pairs, step_mm=step_mm, tell=tell)
    found = replace(found, calibration=replace(found.calibration, made=moment()))
    if chosen:
        why = ("calibration", chosen.removeprefix("From ").rstrip("."), "the newest by date", "--calibration FILE")
        found = replace(found, decisions=(why, *found.decisions))
    same = {f.name: getattr(found, f.name) for f in fields(found)}
    result = SurveyResult(**same, title=title or f"Survey with {known.name}")
    if out is not None:
        with step(f"drawing the report, writing {fspath(out)}"):
            result.save(out)
    return result

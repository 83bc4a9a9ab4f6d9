"""`compare`: surveys of one line held against each other."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import fspath
from pathlib import Path

from wayrule import store
from wayrule.desk.frame import framed
from wayrule.desk.opening import PathName, open_survey
from wayrule.desk.steps import Step, silent
from wayrule.formats.comparisontables import comparison_content, comparison_files
from wayrule.formats.dxfreader import read_dxf
from wayrule.formats.findingtable import read_findings
from wayrule.formats.jsonfile import write_json
from wayrule.formats.landxmlreader import read_landxml
from wayrule.formats.plantable import read_plan_table
from wayrule.model import Alignment, Comparison, Finding, Series, Survey, Surveyed
from wayrule.report.comparison import comparison_page
from wayrule.track.compare.asplanned import TOLERANCE_MM, against_plan, drawn_from, reduced
from wayrule.track.compare.series import series as series_of
from wayrule.track.compare.verdicts import finding_fates
from wayrule.version import VERSION

FINDINGS = "findings.csv"

AnySurvey = PathName | Survey | Surveyed


@dataclass(frozen=True, slots=True, eq=False)
class CompareResult:
    """What changed.

    comparison   the last survey against the first
    against_first   every later survey against the first
    series       movement at places along the line, where there were more than two surveys
    first        the survey whose chainage all speak
    written      files, if a folder was named
    planned      the first is a plan, and the changes are where the built track leaves it
    """

    comparison: Comparison
    against_first: tuple[Comparison, ...]
    series: Series | None
    first: Surveyed
    written: tuple[Path, ...] = ()
    planned: bool = False

    def page(self) -> str:
        """The report, a whole HTML page."""
        one = self.first
        return comparison_page(
            self.against_first, series=self.series, marks=one.marks, wagon=one.wagon_name, scale=one.scale,
            ratio=one.ratio, version=VERSION, planned=self.planned,
        )  # fmt: skip

    def facts(self) -> dict[str, object]:
        """What `comparison.json` says."""
        return comparison_content(self.comparison, self.series)

    def save(self, folder: PathName) -> list[Path]:
        """Write report, tables and `comparison.json` into a folder; of other files there none is touched."""
        files = comparison_files(self.comparison, self.series)
        files |= {"comparison.json": write_json(self.facts()), "comparison.html": self.page().encode()}
        return [store.write_bytes(Path(folder) / name, data) for name, data in files.items()]

    def _repr_html_(self) -> str:
        return framed(self.page(), 1000)


def compare(
    before: AnySurvey,
    *after: AnySurvey,
    same_start: bool = False,
    out: PathName | None = None,
    step: Step = silent,
) -> CompareResult:
    """What has changed between surveys of one line, significant changes only.

    Parameters
    ----------
    before, after : survey folders, or surveys in hand, in the order of time; with more than two, a series
    same_start : all start at one place and run one way; for lines without bends
    out : folder to write report and tables into

    Raises
    ------
    WayruleError, UndeterminedError, UsageError   each in one line
    """
    with step("reading the surveys"):
        surveys = _named([open_survey(one, f"survey {k}") for k, one in enumerate((before, *after), 1)])
    with step("laying them on each other, comparing"):
        movement, found = series_of(surveys, same_start=same_start)
    judged = _judged(before), *(_judged(one) for one in after)
    found = tuple(
        one
        if judged[0] is None or two is None
        else replace(one, findings=finding_fates(judged[0], two, surveys[0].stations, survey.stations, one.registered))
        for one, two, survey in zip(found, judged[1:], surveys[1:], strict=True)
    )
    result = CompareResult(found[-1], found, movement if len(surveys) > 2 else None, surveys[0])
    if out is None:
        return result
    with step(f"writing {fspath(out)}"):
        written = result.save(out)
    return replace(result, written=tuple(written))


def compare_with_plan(
    survey: AnySurvey,
    plan: PathName,
    *,
    layers: Sequence[str] = (),
    alignment: str = "",
    plan_ratio: float = 1.0,
    tolerance_mm: float = TOLERANCE_MM,
    same_start: bool = False,
    out: PathName | None = None,
    step: Step = silent,
) -> CompareResult:
    """Where the built track leaves its plan.

    Parameters
    ----------
    plan : a DXF or LandXML file, or a table of elements (CSV)
    layers : of a DXF, that hold the track
    alignment : of a LandXML file with several
    plan_ratio : 87 for a plan drawn at full size of a line in 1:87
    tolerance_mm : what still counts as on the plan
    same_start, out, step : as of `compare`

    Raises
    ------
    WayruleError, UndeterminedError, UsageError   each in one line
    """
    with step("reading survey and plan"):
        built = open_survey(survey)
        drawn = reduced(read_plan(plan, layers=layers, alignment=alignment), plan_ratio)
        named = replace(drawn, name=drawn.name or Path(plan).name)
    with step("laying the track on its plan"):
        found = against_plan(named, built, tolerance_mm=tolerance_mm, same_start=same_start)
    result = CompareResult(found, (found,), None, replace(built, marks=()), planned=True)
    if out is None:
        return result
    with step(f"writing {fspath(out)}"):
        return replace(result, written=tuple(result.save(out)))


def read_plan(plan: PathName, *, layers: Sequence[str] = (), alignment: str = "") -> Alignment:
    """A plan by its file: .dxf, .xml, or a table.

    Raises
    ------
    WayruleError   in one line, for what cannot be read
    """
    path = Path(plan)
    data = store.read_bytes(path)
    kind = path.suffix.lower()
    if kind == ".dxf":
        return read_dxf(data, path.name, layers)
    if kind in (".xml", ".landxml"):
        return read_landxml(data, path.name, alignment)
    return drawn_from(read_plan_table(data, path.name), path.name)


def _judged(survey: AnySurvey) -> tuple[Finding, ...] | None:
    """The findings in a survey's folder, if it was judged."""
    if isinstance(survey, Survey | Surveyed):
        return None
    path = Path(survey) / FINDINGS
    return read_findings(store.read_bytes(path), str(path)) if path.is_file() else None


def _named(surveys: Sequence[Surveyed]) -> list[Surveyed]:
    """Names that tell the surveys apart: folders of one name get numbers."""
    names = [one.name for one in surveys]
    return [
        replace(one, name=f"{one.name} ({k})") if names.count(one.name) > 1 else one for k, one in enumerate(surveys, 1)
    ]

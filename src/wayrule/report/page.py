"""One self-contained page: a survey, or one or more runs alone, as HTML with its drawings, tables and words inside."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined

from wayrule.model import Problem, Stations, Survey, Travel, Wagon, mishap_problems
from wayrule.report.healthcard import Card, cards
from wayrule.report.healthwords import health_sentence
from wayrule.report.lengths import Lengths, lengths_for, metres
from wayrule.report.numbers import duration
from wayrule.report.pairs import pair_table
from wayrule.report.pictures import (
    Picture,
    gradient_plan_picture,
    line_pictures,
    plan_picture,
    travel_pictures,
)
from wayrule.report.readings import result_sentences
from wayrule.report.repeats import repeat_sentence, repeat_table
from wayrule.report.tables import (
    Table,
    closure_table,
    decision_table,
    estimate_table,
    fault_table,
    input_table,
    mark_table,
    plan_table,
    problem_table,
    profile_table,
    run_table,
)
from wayrule.report.travelfacts import travel_facts
from wayrule.report.travelreadings import cannot_give, travel_sentences

CONTROLS: Final = dict.fromkeys((*range(9), 11, 12, *range(14, 32), *range(127, 160)), "�")

FOOT: Final = (
    "Every number stands with its standard deviation (one sigma), or says that it has none. "
    "Chainage is measured in plan, along the centre line."
)


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the page: a heading, then sentences, drawings, a list and tables, whichever there are."""

    ident: str
    title: str
    sentences: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
    points: tuple[str, ...] = ()
    points_title: str = "Notes"
    cards: tuple[Card, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole page: what comes first (title, wagon, result, plan, title block), then its sections."""

    kind: str
    title: str
    wagon: str
    result: tuple[str, ...]
    plan: Picture | None
    block: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    version: str
    foot: str = FOOT


def survey_page(
    survey: Survey,
    *,
    title: str,
    facts: Sequence[tuple[str, str]] = (),
    extra: Sequence[Table] = (),
    truth: Stations | None = None,
) -> str:
    """The report of a survey.

    Parameters
    ----------
    title : str    what line it is
    facts : (label, text) pairs for the title block besides what the survey itself knows (place, owner, date)
    extra : tables shown right after the plan (a comparison with the truth of a simulated line, verdicts)
    truth : the line as it is known to be, in the survey's own frame and chainage; drawn dashed along the line

    Returns
    -------
    str   a whole HTML document that refers to nothing outside itself; the same for the same input
    """
    lengths = lengths_for(survey.stations.length_mm, survey.ratio)
    stations = survey.stations
    pieces = (plan_table(survey.elements, lengths), profile_table(survey.elements, lengths))
    sections = [
        *([Section("compared", "Compared", tables=tuple(extra))] if extra else []),
        *_pairs(survey, lengths),
        Section("along", "Along the line", pictures=tuple(line_pictures(survey, lengths, truth))),
        Section("pieces", "What it is made of", pictures=gradient_plan_picture(survey, lengths), tables=pieces),
        Section("found", "Faults and marks", tables=(fault_table(survey.faults), mark_table(survey.marks))),
        *_health(survey.travels),
        Section("travel", "The runs", tables=(run_table(survey.travels, survey.ratio),)),
    ]
    said = (repeat_sentence(survey.repeats),) if survey.repeats else ()
    against = repeat_table(survey.repeats, lengths)
    sections.append(Section("repeats", "Run against run", said, tables=(against,)))
    for i, t in enumerate(survey.travels, 1):
        drawn = travel_pictures(t, i, survey.ratio, length_mm=stations.length_mm, closed=stations.closed)
        sections.append(
            Section(f"run{i}", f"Run: {t.run}", tuple(cannot_give(t)), tuple(drawn), points=_points(t.notes))
        )
    sections.append(_trust(survey))
    sheet = Sheet(
        kind="track survey",
        title=title,
        wagon=f"{survey.wagon_name}, {scale_words(survey.scale, survey.ratio)}",
        result=(*result_sentences(survey, lengths), *_said(survey.travels)),
        plan=plan_picture(survey, lengths),
        block=(*_block(survey), *facts),
        sections=tuple(sections),
        version=survey.version,
    )
    return render(sheet)


def travel_page(
    travels: Sequence[Travel],
    wagon: Wagon,
    *,
    title: str = "Travel",
    facts: Sequence[tuple[str, str]] = (),
    version: str = "",
) -> str:
    """The report of runs alone, before any survey: distance, speed, stops, and what the log cannot give."""
    alone = len(travels) == 1
    sections = [*_health(travels), Section("travel", "The runs", tables=(run_table(travels, wagon.ratio),))]
    for i, t in enumerate(travels, 1):
        told = [] if alone else travel_sentences(t, wagon.ratio)
        drawn = tuple(travel_pictures(t, i, wagon.ratio, distance=True))
        found = problem_table((*t.problems, *mishap_problems(t)), f"problems{i}")
        sections.append(
            Section(f"run{i}", f"Run: {t.run}", (*told, *cannot_give(t)), drawn, (found,), _points(t.notes))
        )
    sheet = Sheet(
        kind="travel",
        title=title,
        wagon=f"{wagon.name}, {scale_words(wagon.scale, wagon.ratio)}",
        result=(*(travel_sentences(travels[0], wagon.ratio) if alone else _many(travels)), *_said(travels)),
        plan=None,
        block=(
            ("Wagon", wagon.name),
            ("Scale", scale_words(wagon.scale, wagon.ratio)),
            ("Gauge", _gauge(wagon.gauge_mm)),
            *facts,
        ),
        sections=tuple(sections),
        version=version,
    )
    return render(sheet)


def _pairs(survey: Survey, lengths: Lengths) -> list[Section]:
    """What lies between the places that were asked for, if any were."""
    table = pair_table(survey.pairs, lengths)
    return [Section("between", "Between places", tables=(table,))] if survey.pairs else []


def _said(travels: Sequence[Travel]) -> tuple[str, ...]:
    """The health of the runs in a sentence, if anybody looked."""
    said = health_sentence(travels)
    return (said,) if said else ()


def _health(travels: Sequence[Travel]) -> list[Section]:
    """The cards of the runs, if anybody looked."""
    found = cards(travels)
    return [Section("health", "Health of the instrument", cards=found)] if found else []


def _trust(survey: Survey) -> Section:
    """Why and how far to believe it: closure, estimates, decisions, assumptions, problems, inputs."""
    closure = (closure_table(survey.closure),) if survey.closure else ()
    problems: list[Problem] = [*survey.problems, *(p for t in survey.travels for p in t.problems)]
    tables = (
        *closure,
        estimate_table(survey.estimates),
        decision_table(survey.decisions),
        problem_table(problems),
        input_table(survey.inputs),
    )
    sentences = (
        () if survey.closure else ("The line was not closed on itself, so there is no misclosure to judge it by.",)
    )
    return Section(
        "trust",
        "How far to trust it",
        sentences,
        tables=tables,
        points=_points(survey.assumptions),
        points_title="What was assumed",
    )


def _block(survey: Survey) -> list[tuple[str, str]]:
    stations = survey.stations
    kind = "closed" if stations.closed else "open"
    return [
        ("Wagon", survey.wagon_name),
        ("Scale", scale_words(survey.scale, survey.ratio)),
        ("Gauge", _gauge(stations.gauge_mm)),
        ("Wheelbase", f"{stations.wheelbase_mm:g} mm"),
        ("Length", f"{metres(stations.length_mm)}, {kind}"),
        ("Stations", str(len(stations.s_mm))),
        ("Runs", str(len(survey.travels))),
    ]


def _points(notes: Sequence[str]) -> tuple[str, ...]:
    return tuple(note.replace("+-", "±") for note in notes)


def scale_words(scale: str, ratio: float) -> str:
    """A scale as a page names it: its name and ratio, or full size."""
    return f"{scale}, 1:{ratio:g}" if ratio >= 2 else "full size"


def _gauge(gauge_mm: float) -> str:
    return f"{gauge_mm:g} mm"


def _many(travels: Sequence[Travel]) -> list[str]:
    if not travels:
        return ["No run was given."]
    facts = [travel_facts(t) for t in travels]
    path, time = sum(f.path_mm for f in facts), sum(f.duration_s for f in facts)
    return [f"{len(travels)} runs, {metres(path)} and {duration(time)} in all."]


def render(sheet: Sheet) -> str:
    """The page as a whole HTML document."""
    return house_templates("wayrule.report").get_template("sheet.html.j2").render(sheet=sheet)


def _visible(value: object) -> object:
    """Text from files without the control characters that no HTML or XML may hold."""
    return value.translate(CONTROLS) if type(value) is str else value


@cache
def house_templates(package: str) -> Environment:
    """The templates of a package, with the rules of the house: everything escaped, nothing left undefined."""
    return Environment(
        loader=PackageLoader(package, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_visible,
        trim_blocks=True,
        lstrip_blocks=True,
    )

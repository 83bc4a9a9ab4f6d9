"""`wayrule survey`."""

from pathlib import Path

import click

from wayrule.cli.options import json_option, no_open_option, wagon_option


@click.command("survey", short_help="All runs of one line, to its map with error bars.")
@click.argument("runs", metavar="RUN...", nargs=-1, required=True)
@wagon_option()
@click.option("--out", metavar="DIR", required=True, help="Survey folder to write.")
@click.option("--closed-laps", metavar="N", type=int, help="Whole laps of a single run; short for RUN@laps=N.")
@click.option("--turned", metavar="RUN", multiple=True, help="A run with the marked front against growing chainage.")
@click.option("--tape", metavar="WHAT:MM:SD", multiple=True, help="Taped length: lap, stops or MARK..MARK.")
@click.option("--control", metavar="FILE", help="CSV of control points.")
@click.option("--relation", metavar="FILE", help="CSV of what lies between two places of the line.")
@click.option("--calibration", metavar="FILE_OR_FOLDER", help="This wagon's calibration, or the newest in a folder.")
@click.option("--level", metavar="FROM:TO", multiple=True, help="Stretch known to be level, mm of chainage.")
@click.option("--straight", metavar="FROM:TO", multiple=True, help="Stretch known to be straight, mm of chainage.")
@click.option("--open", "open_line", is_flag=True, help="The line is open, however much its bends repeat.")
@click.option("--not-turned", metavar="RUN", multiple=True, help="A run that is not turned, however it fits.")
@click.option("--as-mounted", metavar="RUN", multiple=True, help="Forward is as mounted, whatever is felt.")
@click.option("--start-level", metavar="PER_MILLE", type=float, help="How near to level the start is; 20 if not given.")
@click.option("--between", metavar="A:B", multiple=True, help="Distance, rise, turn and gap from place A to place B.")
@click.option("--step", "step_mm", metavar="MM", type=click.FloatRange(min=0, min_open=True), help="Between stations.")
@click.option("--title", metavar="TEXT", default="", help="Title of the report.")
@no_open_option()
@json_option()
def survey(
    runs: tuple[str, ...],
    wagon_file: str,
    out: str,
    closed_laps: int | None,
    turned: tuple[str, ...],
    tape: tuple[str, ...],
    control: str | None,
    relation: str | None,
    calibration: str | None,
    level: tuple[str, ...],
    straight: tuple[str, ...],
    open_line: bool,
    not_turned: tuple[str, ...],
    as_mounted: tuple[str, ...],
    start_level: float | None,
    between: tuple[str, ...],
    step_mm: float | None,
    title: str,
    no_open: bool,
    as_json: bool,
) -> None:
    """Survey one line of track from all its runs, and write the survey folder.

    RUN is a recording, or RUN@laps=N for one that ends where it began after N whole laps. Runs need not start at one
    place, go one way or cover the whole line. What is not stated, the data decide, and the report says what and why.

    \b
    wayrule survey monday.csv@laps=4 --wagon van.wagon.toml --tape lap:9012:5 --out survey
    wayrule survey monday.csv@laps=4 tuesday.csv@laps=2 --turned tuesday.csv --wagon van.wagon.toml --out survey
    wayrule survey spur.csv --wagon van.wagon.toml --calibration survey/calibration.json --out spur
    """
    from wayrule.cli.browser import open_page
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say_survey
    from wayrule.desk.surveying import survey as survey_line
    from wayrule.formats.surveyjson import survey_content

    result = survey_line(
        runs,
        wagon_file,
        closed_laps=closed_laps,
        turned=turned,
        tapes=tape,
        control=control,
        relation=relation,
        calibration=calibration,
        level=level,
        straight=straight,
        open_line=open_line,
        not_turned=not_turned,
        as_mounted=as_mounted,
        start_level=start_level,
        between=between,
        step_mm=step_mm,
        out=out,
        title=title,
        step=Steps(),
    )
    report = Path(out) / "report.html"
    if as_json:
        emit(survey_content(result) | {"out": out, "report": report})
        return
    say_survey(result, report)
    if not no_open:
        open_page(report)

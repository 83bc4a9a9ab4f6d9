"""`wayrule mend`."""

from pathlib import Path

import click

from wayrule.cli.options import json_option


@click.command("mend", short_help="What to do to a surveyed line: boards first, then each rail at each sleeper.")
@click.argument("survey", metavar="SURVEY")
@click.option("--out", metavar="DIR", required=True, help="Folder for the sheet, its tables and the 1:1 strips.")
@click.option("--lift", "lift_mm", metavar="MM", type=float, help="Lift by at most so much.")
@click.option("--lower", "lower_mm", metavar="MM", type=float, help="Lower by at most so much; 0: never.")
@click.option("--slew", "slew_mm", metavar="MM", type=float, help="Slew by at most so much.")
@click.option("--leave", "leave_mm", metavar="MM", type=float, help="Leave alone what is out by less.")
@click.option("--shim", "shim_mm", metavar="MM", type=float, help="Lifts are multiples of this; 0.1 if not given.")
@click.option("--fixed", metavar="FROM:TO", multiple=True, help="Stays as it is: a stretch in mm, or a mark.")
@click.option("--board", "boards", metavar="NAME=FROM:TO", multiple=True, help="A board that can be set as a whole.")
@click.option("--sleeper", "sleeper_mm", metavar="MM", type=float, help="From one place of the sheet to the next.")
@click.option("--at-marks", is_flag=True, help="A place at each mark instead of each sleeper.")
@click.option("--chord", "chord_mm", metavar="MM", type=float, help="Chord for string-lining; six gauges if not given.")
@click.option("--paper", metavar="NAME", default="A4", help="A4 or Letter.")
@json_option()
def mend(
    survey: str,
    out: str,
    lift_mm: float | None,
    lower_mm: float | None,
    slew_mm: float | None,
    leave_mm: float | None,
    shim_mm: float | None,
    fixed: tuple[str, ...],
    boards: tuple[str, ...],
    sleeper_mm: float | None,
    at_marks: bool,
    chord_mm: float | None,
    paper: str,
    as_json: bool,
) -> None:
    """A smooth target line, and the work that leads to it: which board to set, which rail to raise, where to slew.

    SURVEY is a folder that `wayrule survey` wrote. Power off and plug out before tools touch the rails.

    \b
    wayrule mend survey --out mend
    wayrule mend survey --out mend --lower 0 --fixed bridge --board B2=1200:2400 --paper Letter
    """
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say
    from wayrule.desk.mending import mend as mend_line
    from wayrule.report.mendsheet import faults_after

    result = mend_line(
        survey,
        out=out,
        lift_mm=lift_mm,
        lower_mm=lower_mm,
        slew_mm=slew_mm,
        leave_mm=leave_mm,
        shim_mm=shim_mm,
        fixed=fixed,
        boards=boards,
        sleeper_mm=sleeper_mm,
        at_marks=at_marks,
        chord_mm=chord_mm,
        paper=paper,
        step=Steps(),
    )
    if as_json:
        emit(result.content() | {"out": out})
        return
    plan = result.plan
    say(*(f"! {caution}" for caution in result.cautions))
    say(*(f"First: {move.words}" for move in plan.boards))
    for single in plan.singles:
        say(f"- {single.words} Now {single.before}, predicted {single.after}.")
    if not plan.singles:
        say("The survey shows no fault that is mended by hand.")
    say(faults_after(plan), *plan.notes)
    say(f"Written: {out} (sheet and strips: {Path(out) / f'worksheet-{result.paper.lower()}.pdf'}).")

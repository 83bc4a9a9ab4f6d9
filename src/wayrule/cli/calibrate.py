"""`wayrule calibrate`."""

import click

from wayrule.cli.options import json_option, no_open_option, wagon_option


@click.command("calibrate", short_help="What a wagon's recordings teach of it, and what to do next.")
@click.argument("runs", metavar="RUN[@WHAT]...", nargs=-1, required=True)
@wagon_option()
@click.option("--calibration", metavar="FILE_OR_FOLDER", help="Go on from this one, or from the newest in a folder.")
@click.option("--out", metavar="DIR", help="Write the calibration, never over another, and its report here.")
@no_open_option()
@json_option()
def calibrate(
    runs: tuple[str, ...], wagon_file: str, calibration: str | None, out: str | None, no_open: bool, as_json: bool
) -> None:
    """Calibrate a wagon from whatever recordings there are, and say what to do next.

    WHAT says what a recording was made for: dry (a few turns by hand before any
    glue), spin (the axle turned by hand, or a roll), taped=MM:SD (a straight between
    two stops), rod=MM:SD (a gauge rod), laps=N (with @lap=MM:SD where a lap is taped), table=TURNS (whole turns on a
    turntable), level and turned (the wagon at rest, and turned end for end), position (at rest on any side), rest.
    Left off, the data decide. What is not known yet says so, with what to do.

    \b
    wayrule calibrate floor.csv@taped=3000:0.7 --wagon van.wagon.toml --out calibrations
    wayrule calibrate oval.csv@laps=5 here.csv@level there.csv@turned --wagon van.wagon.toml \\
        --calibration calibrations --out calibrations
    """
    from wayrule.cli.browser import open_page
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, say_problems
    from wayrule.desk.calibrating import calibrate as calibrate_wagon

    result = calibrate_wagon(runs, wagon_file, calibration=calibration, out=out, step=Steps())
    if as_json:
        emit(result.facts())
        return
    say(*result.lines())
    say_problems(result.problems)
    if not result.written:
        say("Nothing was written; --out DIR keeps the calibration.")
        return
    *files, page = result.written
    kept = "Give it, or its folder, to `wayrule survey --calibration`." if files else "No calibration came of it yet."
    say(f"Written: {', '.join(map(str, files)) or page} (report: {page}). {kept}")
    if not no_open:
        open_page(page)

"""`wayrule travel`."""

import click

from wayrule.cli.options import json_option, wagon_option


@click.command("travel", short_help="Distance, speed, scale speed and stops of each run.")
@click.argument("runs", metavar="RUN...", nargs=-1, required=True)
@wagon_option()
@click.option("--calibration", metavar="FILE", help="Calibration file or folder: the field is compared with it.")
@click.option("--out", metavar="DIR", help="Write travel/RUN.csv for each run and report.html into this folder.")
@json_option()
def travel(runs: tuple[str, ...], wagon_file: str, calibration: str | None, out: str | None, as_json: bool) -> None:
    """How far, how fast, how fast at scale, and when the wagon stood; each run on its own.

    The first thing to look at. A log without gyro or accelerometer will do; the summary says what it cannot give.

    \b
    wayrule travel monday.csv --wagon van.wagon.toml
    wayrule travel monday.csv tuesday.csv --wagon van.wagon.toml --out first-look
    """
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, say_problems, show
    from wayrule.desk.travelling import travel as travel_runs
    from wayrule.formats.healthjson import health_content
    from wayrule.model import mishap_problems
    from wayrule.report.healthwords import health_lines
    from wayrule.report.tables import run_table
    from wayrule.report.travelfacts import travel_facts
    from wayrule.report.travelreadings import cannot_give, travel_sentences

    result = travel_runs(runs, wagon_file, calibration=calibration, out=out, step=Steps())
    if as_json:
        emit(
            {
                "wagon": result.wagon.name,
                "out": out,
                "runs": [
                    {"run": t.run, "facts": travel_facts(t), "scale_sd": t.scale_sd, "scale_source": t.scale_source}
                    | {"health": health_content(t.health)}
                    | {"notes": [*t.notes, *cannot_give(t)], "problems": (*t.problems, *mishap_problems(t))}
                    for t in result.travels
                ],
            }
        )
        return
    for t in result.travels:
        say(f"{t.run}: " + " ".join(travel_sentences(t, result.wagon.ratio)), *cannot_give(t), *t.notes)
        say_problems((*t.problems, *mishap_problems(t)))
        say(*health_lines(t.health))
    if len(result.travels) > 1:
        show([run_table(result.travels, result.wagon.ratio)])
    if out is not None:
        say(f"Written: {out} (travel/RUN.csv, report.html).")

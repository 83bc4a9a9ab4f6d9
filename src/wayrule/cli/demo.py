"""`wayrule demo`."""

import click

from wayrule.cli.options import json_option, no_open_option


@click.command("demo", short_help="A made-up railway, measured and compared with its truth.")
@click.option("--out", metavar="DIR", default="heather-vale", show_default=True, help="Folder to write into.")
@click.option("--seed", metavar="N", type=click.IntRange(min=0), default=7, show_default=True, help="Another railway.")
@no_open_option()
@json_option()
def demo(out: str, seed: int, no_open: bool, as_json: bool) -> None:
    """Build a made-up railway, pull a wagon round it, survey its recordings, and compare with the truth.

    Recordings and wagon file are written as a user would have them, so that every other verb can be tried on them.

    \b
    wayrule demo
    wayrule demo --seed 3 --out another-line --no-open
    """
    from wayrule.cli.browser import open_page
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, say_survey, show
    from wayrule.desk.demonstration import demo as demonstrate
    from wayrule.desk.demonstration import truth_table

    result = demonstrate(out, seed=seed, step=Steps())
    if as_json:
        emit({"out": out, "report": result.report, "seed": seed, "compared": result.compared})
        return
    say_survey(result.survey, result.report)
    show([truth_table(result.compared)])
    if not no_open and not open_page(result.report):
        say(f"Open {result.report} in a browser to see the map.")

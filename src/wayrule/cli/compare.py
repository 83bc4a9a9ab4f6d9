"""`wayrule compare`."""

from pathlib import Path

import click

from wayrule.cli.options import json_option, no_open_option


@click.command("compare", short_help="What has changed between surveys of one line.")
@click.argument("surveys", metavar="BEFORE AFTER...", nargs=-1, required=True)
@click.option("--same-start", is_flag=True, help="All start at one place and run one way; for lines without bends.")
@click.option("--out", metavar="DIR", help="Write the report and tables into this folder.")
@no_open_option()
@json_option()
def compare(surveys: tuple[str, ...], same_start: bool, out: str | None, no_open: bool, as_json: bool) -> None:
    """Lay surveys of one line upon each other, and tell what has changed significantly.

    BEFORE and AFTER are survey folders, in the order of time. They need not start at one place, run one way or cover
    the same track. With more than two, every one is compared with the first, and the movement over time told.

    \b
    wayrule compare monday tuesday
    wayrule compare spring summer autumn --out season
    """
    from wayrule.cli.browser import open_page
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.comparing import compare as compare_surveys
    from wayrule.report.comparison import change_table, comparison_sentences, fate_table, movement_table

    result = compare_surveys(*surveys, same_start=same_start, out=out, step=Steps())
    if as_json:
        emit(result.facts() | {"out": out, "written": [path.name for path in result.written]})
        return
    say(*comparison_sentences(result.comparison), "")
    show([change_table(result.comparison.changes, result.first.marks), fate_table(result.comparison.fates)])
    if result.series is not None:
        show([movement_table(result.series)])
    if out is not None:
        say(f"Written into {out}: {', '.join(path.name for path in result.written)}.")
        if not no_open:
            open_page(Path(out) / "comparison.html")

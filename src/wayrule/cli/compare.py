"""`wayrule compare`."""

from pathlib import Path

import click

from wayrule.cli.options import json_option, no_open_option


@click.command("compare", short_help="What has changed between surveys of one line.")
@click.argument("surveys", metavar="SURVEY...", nargs=-1, required=True)
@click.option("--plan", metavar="FILE", help="Compare one survey with this plan: DXF, LandXML, or a table of elements.")
@click.option("--layer", metavar="NAME", multiple=True, help="Layer of a DXF that holds the track; may be repeated.")
@click.option("--alignment", metavar="NAME", default="", help="Alignment of a LandXML file with several.")
@click.option("--plan-ratio", metavar="N", type=float, default=1.0, help="87 for a full-size plan of a line in 1:87.")
@click.option("--tolerance", metavar="MM", type=float, default=1.0, help="What still counts as on the plan; 1 mm.")
@click.option("--same-start", is_flag=True, help="All start at one place and run one way; for lines without bends.")
@click.option("--out", metavar="DIR", help="Write the report and tables into this folder.")
@no_open_option()
@json_option()
def compare(
    surveys: tuple[str, ...],
    plan: str | None,
    layer: tuple[str, ...],
    alignment: str,
    plan_ratio: float,
    tolerance: float,
    same_start: bool,
    out: str | None,
    no_open: bool,
    as_json: bool,
) -> None:
    """Lay surveys of one line upon each other, and tell what has changed significantly.

    SURVEY is a survey folder; give them in the order of time. They need not start at one place, run one way or cover
    the same track. With more than two, every one is compared with the first, and the movement over time told. With
    --plan, one survey is held against the drawn line: where does the built track leave it?

    \b
    wayrule compare monday tuesday
    wayrule compare spring summer autumn --out season
    wayrule compare autumn --plan loop.dxf --layer TRACK --tolerance 2
    """
    from wayrule.cli.browser import open_page
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.comparing import compare as compare_surveys
    from wayrule.desk.comparing import compare_with_plan
    from wayrule.errors import UsageError
    from wayrule.report.comparison import change_table, comparison_sentences, fate_table, finding_table, movement_table

    if plan is None:
        result = compare_surveys(*surveys, same_start=same_start, out=out, step=Steps())
    elif len(surveys) != 1:
        raise UsageError(
            expected="one survey with --plan",
            came=str(len(surveys)),
            where="compare",
            next_step="compare each survey with the plan by itself",
        )
    else:
        result = compare_with_plan(
            surveys[0],
            plan,
            layers=layer,
            alignment=alignment,
            plan_ratio=plan_ratio,
            tolerance_mm=tolerance,
            same_start=same_start,
            out=out,
            step=Steps(),
        )
    if as_json:
        emit(result.facts() | {"out": out, "written": [path.name for path in result.written]})
        return
    say(*comparison_sentences(result.comparison, planned=result.planned), "")
    show([change_table(result.comparison.changes, result.first.marks)])
    if not result.planned:
        show([fate_table(result.comparison.fates)])
    if result.comparison.findings is not None:
        show([finding_table(result.comparison.findings)])
    if result.series is not None:
        show([movement_table(result.series)])
    if out is not None:
        say(f"Written into {out}: {', '.join(path.name for path in result.written)}.")
        if not no_open:
            open_page(Path(out) / "comparison.html")

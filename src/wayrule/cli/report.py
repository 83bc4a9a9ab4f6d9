"""`wayrule report`."""

import click

from wayrule.cli.options import json_option


@click.command("report", short_help="A survey on paper, and in files for other programs.")
@click.argument("survey", metavar="SURVEY")
@click.option("--out", metavar="DIR", required=True, help="Folder to write into; other files there stay.")
@click.option("--paper", metavar="NAME", default="A4", help="A4 or Letter; A4 if not given.")
@click.option("--strip-scale", metavar="N", type=int, help="Strip chart at 1:N; at most 8 pages if not given.")
@click.option("--map-scale", metavar="N", type=int, help="Map at 1:N; 1:1 up to 60 sheets if not given.")
@json_option()
def report(survey: str, out: str, paper: str, strip_scale: int | None, map_scale: int | None, as_json: bool) -> None:
    """Strip chart and map as PDF, and DXF, LandXML, SVG, CSV and Parquet for other programs.

    SURVEY is a survey folder. The strip chart comes on pages and endless; the map in sheets to be joined, with an
    overview, overlap marks and check bars: print it at 100 %.

    \b
    wayrule report survey --out hand-over
    wayrule report survey --out hand-over --paper letter --map-scale 10
    """
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say
    from wayrule.desk.handover import hand_over

    made = hand_over(survey, out=out, paper=paper, strip_scale=strip_scale, map_scale=map_scale, step=Steps())
    written = [path.name for path in made.written]
    if as_json:
        rms, largest = made.off_mm
        emit(
            {"out": out, "written": written, "without": made.without, "map_scale": made.map_scale}
            | {"pieces_off_rms_mm": rms, "pieces_off_largest_mm": largest}
        )
        return
    say(f"Written into {out}:", *(f"- {name}" for name in written))
    if made.map_scale:
        say(f"The map is 1:{made.map_scale}. Print it at 100 %, never fitted to the page, and lay a rule on its bars.")
    if "line.dxf" in written:
        say("The pieces in DXF and LandXML lie {:.2f} mm rms off the stations, {:.2f} mm at most.".format(*made.off_mm))
    say(*(f"Not made: {line}" for line in made.without))

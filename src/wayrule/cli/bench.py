"""`wayrule bench`."""

from typing import Any

import click

from wayrule.cli.benchoptions import answered, choose_options, tolerance_options
from wayrule.cli.options import json_option


@click.command("bench", short_help="Will this wagon measure, and how well? Before metal is cut.")
@click.argument("wagon_file", metavar="WAGON")
@click.option("--way", type=float, metavar="MM", help="Between two places of a run; 1000 if not given.")
@click.option("--speed", type=float, metavar="MM_S", help="Of the wagon; 250 mm/s if not given.")
@click.option("--radius", type=float, metavar="MM", help="Of the sharpest curve; 20 gauges if not given.")
@click.option(
    "--out", metavar="DIR", help="Write the field's figure (SVG, PNG) and all numbers (JSON) into this folder."
)
@choose_options()
@tolerance_options()
@json_option()
def bench(
    wagon_file: str,
    way: float | None,
    speed: float | None,
    radius: float | None,
    out: str | None,
    as_json: bool,
    **asked: Any,
) -> None:
    """The verdict, what to change (each change tried), the error budget, whether the wheel turns, and cautions.

    From the wagon file alone: magnets, sensor, wheel; floor, axle, body and disturbers where they are stated.

    \b
    wayrule bench van.wagon.toml
    wayrule bench van.wagon.toml --radius 360 --out bench
    wayrule bench van.wagon.toml --choose --space -4,-3,10:4,3,20
    wayrule bench van.wagon.toml --tolerances
    """
    run = {"way": way, "speed": speed, "radius": radius, "out": out, "as_json": as_json}
    if answered(wagon_file, run, asked):
        return
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.benching import bench as bench_wagon

    result = bench_wagon(wagon_file, way_mm=way, speed_mm_s=speed, radius_mm=radius, out=out, step=Steps())
    if as_json:
        emit(result.facts() | {"out": out})
        return
    found = result.bench
    say(f"{found.wagon.name}:", *found.verdict, "")
    say("What to change (each one tried):" if found.options else "No change that was tried makes it better by 5 %.")
    say(*(f"- {option.text[:1].upper()}{option.text[1:]}" for option in found.options), "")
    show([result.budget_table()])
    say("", "Will the wheel turn?", *(f"- {sentence}" for sentence in found.turning))
    if found.remarks:
        say("", "Floor and clearances:", *(f"- {sentence}" for sentence in found.remarks))
    if found.missing:
        say("", "Not stated in the wagon file:", *(f"- {sentence}" for sentence in found.missing))
    say("", "Cautions, at the step where they matter:", *(f"- {line}" for line in result.caution_lines()))
    if out is not None:
        say("", f"Written: {out} (figure of the field as SVG and PNG, all numbers as JSON).")

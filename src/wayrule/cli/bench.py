"""`wayrule bench`."""

from typing import TYPE_CHECKING, Any

import click

from wayrule.cli.benchoptions import answered, choose_options, tolerance_options
from wayrule.cli.options import json_option
from wayrule.cli.printoptions import print_options, prints_of, taken

if TYPE_CHECKING:
    from wayrule.desk.benching import BenchResult


@click.command("bench", short_help="Will this wagon measure, and how well? Before metal is cut.")
@click.argument("wagon_file", metavar="WAGON")
@click.option("--way", type=float, metavar="MM", help="Between two places of a run; 1000 if not given.")
@click.option("--speed", type=float, metavar="MM_S", help="Of the wagon; 250 mm/s if not given.")
@click.option("--radius", type=float, metavar="MM", help="Of the sharpest curve; 20 gauges if not given.")
@click.option(
    "--out",
    metavar="DIR",
    help="Write into this folder: 1:1 sheet to work from, filing jig, sensor spacer, the field's figure, all numbers.",
)
@print_options()
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

    From the wagon file alone: magnets, sensor, wheel; floor, axle, body and disturbers where they are stated. With
    --out also what to work from: a 1:1 sheet (PDF, SVG), a filing jig and a sensor spacer to print (STL, 3MF).

    \b
    wayrule bench van.wagon.toml
    wayrule bench van.wagon.toml --radius 360 --out bench --paper letter --clearance 0.2
    wayrule bench van.wagon.toml --choose --space -4,-3,10:4,3,20
    wayrule bench van.wagon.toml --tolerances
    """
    prints = prints_of(taken(asked), out)
    run = {"way": way, "speed": speed, "radius": radius, "out": out, "as_json": as_json}
    if answered(wagon_file, run, asked):
        return
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.desk.benching import bench as bench_wagon

    result = bench_wagon(wagon_file, way_mm=way, speed_mm_s=speed, radius_mm=radius, out=out, step=Steps(), **prints)
    if as_json:
        written = [path.name for path in result.written]
        emit(result.facts() | {"out": out, "written": written, "without": result.without})
        return
    _answer(result)
    if out is not None:
        _written(out, result)


def _answer(result: "BenchResult") -> None:
    """Verdict, changes, budget, wheel, the wagon as a whole, cautions."""
    from wayrule.cli.show import say, show

    found, whole = result.bench, result.whole
    say(f"{found.wagon.name}:", *found.verdict, "")
    say("What to change (each one tried):" if found.options else "No change that was tried makes it better by 5 %.")
    say(*(f"- {option.text[:1].upper()}{option.text[1:]}" for option in found.options), "")
    show([result.budget_table()], aside=True)
    say("", "Will the wheel turn?", *(f"- {sentence}" for sentence in found.turning))
    if found.remarks:
        say("", "Floor and clearances:", *(f"- {sentence}" for sentence in found.remarks))
    if whole.lines:
        say("", "The wagon as a whole:", *(f"- {sentence}" for sentence in whole.lines))
    if found.missing or whole.missing:
        say("", "Not stated in the wagon file:", *(f"- {sentence}" for sentence in found.missing))
        say(*(f"- {sentence}: not reckoned" for sentence in whole.missing))
    say("", "Cautions, at the step where they matter:", *(f"- {line}" for line in result.caution_lines()))


def _written(out: str, result: "BenchResult") -> None:
    """What lies in the folder now, what for, and what could not be made."""
    from wayrule.cli.show import say

    say("", f"Written into {out}:", *(f"- {path.name}" for path in result.written))
    if any(path.suffix == ".pdf" for path in result.written):
        say("Print the sheet at 100 %, never fitted to the page, and lay a rule on its bars before you cut anything.")
    if result.without:
        say("", "Not made:", *(f"- {line}" for line in result.without))

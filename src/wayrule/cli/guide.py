"""`wayrule guide`."""

import time
from typing import TYPE_CHECKING, Any

import click

from wayrule.cli.options import json_option, wagon_option

if TYPE_CHECKING:
    from collections.abc import Callable

    from wayrule.desk.guidewords import Guidance

TOLD_S = 1.0
"""How often a line is printed where there is no terminal, and nothing new has happened."""


@click.command("guide", short_help="Lead a wagon to a finding of a survey, or say where it is.")
@click.argument("survey", metavar="SURVEY")
@click.argument("source", metavar="LINK_OR_FILE")
@wagon_option()
@click.option("--to", metavar="FINDING", help="Number of a fault, name of a mark, or a chainage such as 2310mm.")
@click.option("--calibration", metavar="FILE_OR_FOLDER", help="Of this wagon, if another one made the survey.")
@click.option("--for", "seconds", metavar="SECONDS", type=click.FloatRange(min=0), help="Stop after so long.")
@click.option("--out", metavar="FILE", help="Keep what comes over the link in this log.")
@json_option()
def guide(
    survey: str,
    source: str,
    wagon_file: str,
    to: str | None,
    calibration: str | None,
    seconds: float | None,
    out: str | None,
    as_json: bool,
) -> None:
    """Push the wagon along the surveyed line and be led to a finding: so far ahead, here; or be told where it is.

    Its place is found by what it feels on the way: bends, slopes and lean against those of the survey, with no other
    position. Where the line looks alike in several places, all of them are named. With a recording instead of a link:
    where it ended.

    \b
    wayrule guide survey udp: --wagon van.wagon.toml --to 3
    wayrule guide survey serial: --wagon van.wagon.toml --to "signal box"
    wayrule guide survey push.csv --wagon van.wagon.toml
    """
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say
    from wayrule.desk.guiding import guide as lead

    tell, ended = _teller(as_json)
    try:
        found = lead(
            survey,
            source,
            wagon_file,
            to=to,
            calibration=calibration,
            seconds=seconds,
            out=out,
            tell=tell,
            step=Steps(),
        )
    finally:
        ended()
    if as_json:
        emit(_content(found))
        return
    say(found.guidance.sentence)
    if found.certain_mm == found.certain_mm:
        say(f"Its place was certain after {found.certain_mm / 1e3:.2f} m of way.")
    say(found.point)


def _teller(quiet: bool) -> "tuple[Callable[[Guidance], None], Callable[[], None]]":
    """What shows each sentence as it comes, and what ends the showing."""
    from rich.live import Live
    from rich.text import Text

    from wayrule.cli.progress import console
    from wayrule.cli.show import HARD_SPACES

    out = console(stderr=True)
    if quiet:
        return (lambda _: None), (lambda: None)
    if out.is_terminal:
        live = Live(console=out, auto_refresh=False, transient=True)
        live.start()
        return (lambda said: live.update(Text(said.sentence.translate(HARD_SPACES)), refresh=True)), live.stop
    last: list[Any] = ["", 0.0]

    def show(said: "Guidance") -> None:
        now = time.monotonic()
        if said.step != last[0] or now - last[1] > TOLD_S:
            last[:] = said.step, now
            out.print(said.sentence.translate(HARD_SPACES), soft_wrap=True)

    return show, lambda: None


def _content(found: Any) -> dict[str, Any]:
    """For a machine."""
    import dataclasses

    from wayrule.desk.nowwords import now_content

    return {
        **dataclasses.asdict(found.guidance),
        "target": found.target and dataclasses.asdict(found.target),
        "located": found.located and dataclasses.asdict(found.located),
        "certain_mm": found.certain_mm,
        "point": found.point,
        "now": found.now and now_content(found.now),
    }

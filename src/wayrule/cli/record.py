"""`wayrule record`."""

from typing import TYPE_CHECKING

import click

from wayrule.cli.options import json_option
from wayrule.errors import UsageError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from wayrule.live.recorder import Recorder
    from wayrule.live.status import RecorderStatus

KEYS = {"s": "signal", "t": "turnout toe", "m": "tunnel mouth", "b": "bridge", "p": "platform", " ": "mark"}
"""Key -> the mark that it drops; q ends the recording."""

SHOWN_S, TOLD_S = 0.5, 10.0
"""How often the terminal is drawn anew; how often a line is printed where there is none."""


@click.command("record", short_help="Keep what wagons send, safe on disk while it comes.")
@click.argument("links", metavar="LINK...", nargs=-1)
@click.option("--out", metavar="FILE", help="The log to make; named after the time if not given.")
@click.option(
    "--wagon", "wagon_files", metavar="FILE", multiple=True, help="Wagon file, for what is shown of it; repeatable."
)
@click.option("--calibration", metavar="FILE_OR_FOLDER", help="Of the wagon: its first turn is right at once.")
@click.option("--survey", metavar="DIR", help="A survey: where on its line the wagon is, and the next fault.")
@click.option("--for", "seconds", metavar="SECONDS", type=click.FloatRange(min=0), help="Stop after so long.")
@click.option(
    "--keep-free", metavar="MB", type=click.FloatRange(min=0), default=200.0, help="Room to leave on the disk."
)
@click.option(
    "--key", "named", metavar="K=NAME", multiple=True, help="A key that drops a mark of this name; repeatable."
)
@click.option("--list", "listing", is_flag=True, help="Show cables and wagons that are there, and record nothing.")
@json_option()
def record(
    links: tuple[str, ...],
    out: str | None,
    wagon_files: tuple[str, ...],
    calibration: str | None,
    survey: str | None,
    seconds: float | None,
    keep_free: float,
    named: tuple[str, ...],
    listing: bool,
    as_json: bool,
) -> None:
    """Record from one or several links at once: serial: udp: tcp:HOST ws:HOST file:LOG sim:

    Without a link, all wagons that make themselves known on the network. Every byte goes to the log as it came, on
    the disk within 0.2 s; travel, survey and import read the log as they read any recording. Keys drop marks:
    s signal, t turnout toe, m tunnel mouth, b bridge, p platform, the space bar a plain mark; 0 begins a new trip;
    q or Ctrl-C ends.

    \b
    wayrule record sim: --out first-try
    wayrule record serial: --out monday --wagon van.wagon.toml
    wayrule record udp: tcp:van8.local --out tuesday --key c=crossing
    """
    from wayrule.cli.machine import emit
    from wayrule.cli.show import say, show
    from wayrule.desk.recording import RecordResult, begin_recording
    from wayrule.desk.recordwords import said_table, status_content, status_sentences, wagon_table

    if listing:
        _list(as_json)
        return
    marks = KEYS | dict(_key(word) for word in named)
    path, recorder = begin_recording(
        links, out, wagons=wagon_files, calibration=calibration, survey=survey, keep_free_mb=keep_free
    )
    result = RecordResult(path, _run(recorder, marks, seconds))
    if as_json:
        emit(status_content(result.status))
        return
    show([wagon_table(result.status), *([said_table(result.status)] if result.status.said else [])])
    say(*status_sentences(result.status))
    lost = result.status.writer.waiting + result.status.writer.dropped
    say(f"Written: {path}." if not lost else f"Written: {path}, not all of it.")


def _key(word: str) -> tuple[str, str]:
    key, equals, name = word.partition("=")
    if len(key) != 1 or not equals or not name.strip() or key in ("q", "0"):
        raise UsageError(
            expected="K=NAME, K being one character other than q and 0",
            came=repr(word),
            where="--key",
            next_step="write for example --key c=crossing",
        )
    return key, name.strip()


def _run(recorder: "Recorder", marks: dict[str, str], seconds: float | None) -> "RecorderStatus":
    """Until the time is up, the links have ended, q, Ctrl-C or a polite kill; then the log is ended."""
    import signal
    import time

    from rich.live import Live

    from wayrule.cli.keys import keys
    from wayrule.cli.progress import console
    from wayrule.desk.recordwords import status_sentences

    out = console(stderr=True)
    begin, told = time.monotonic(), 0.0
    why = "stopped"
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with keys() as board, Live(console=out, auto_refresh=False, transient=True) as live:
            while not recorder.ended and (seconds is None or time.monotonic() - begin < seconds):
                key = board.pressed(min(SHOWN_S, 0.1 if seconds is not None else SHOWN_S))
                if key in marks:
                    recorder.mark(marks[key])
                elif key == "0":
                    recorder.reset_trips()
                elif key == "q":
                    break
                now = time.monotonic()
                if out.is_terminal and (key or now - told > SHOWN_S):
                    told = now
                    live.update(_picture(recorder), refresh=True)
                elif not out.is_terminal and now - max(told, begin) > TOLD_S:
                    told = now
                    out.print(status_sentences(recorder.status())[0], soft_wrap=True)
            why = "every link has ended" if recorder.ended else "the time was up"
    except KeyboardInterrupt:
        why = "stopped"
    finally:
        signal.signal(signal.SIGTERM, before)
    return recorder.close(why)


def _picture(recorder: "Recorder") -> "RenderableType":
    """What stands on the terminal while it goes on."""
    from rich.console import Group
    from rich.text import Text

    from wayrule.cli.show import HARD_SPACES, grid
    from wayrule.desk.recordwords import said_table, status_sentences, wagon_table

    status = recorder.status()
    table = wagon_table(status)
    lines = [Text(line.translate(HARD_SPACES)) for line in status_sentences(status)]
    keys = Text(
        "s signal · t turnout toe · m tunnel mouth · b bridge · p platform · space mark · 0 trip · q end", style="dim"
    )
    said = [grid(said_table(status))] if status.said else []
    return Group(*([grid(table)] if table.rows else []), *said, *lines, keys)


def _list(as_json: bool) -> None:
    """Cables and wagons on the network."""
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say
    from wayrule.desk.recording import what_is_there

    found = what_is_there(Steps())
    if as_json:
        emit({"cables": found.cables, "wagons": found.wagons})
        return
    cables = [f"{link}  ({words})" for link, words in found.cables]
    wagons = [f"{wagon.link}  ({wagon.name}, {wagon.address})" for wagon in found.wagons]
    say(*(cables or ["No USB serial port is there."]), *(wagons or ["No wagon made itself known."]))

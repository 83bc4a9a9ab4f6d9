"""What `wayrule bench --out` takes for the sheet and the printed parts."""

from collections.abc import Callable
from typing import Any

import click

from wayrule.errors import UsageError

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

WORDS = {
    "--paper": "paper",
    "--paper-thickness": "paper_mm",
    "--clearance": "clearance",
    "--trim": "trim",
    "--file-width": "file_width",
    "--guide": "guide",
    "--wheels-off": "wheels_off",
}
"""Word -> its name among the arguments."""


def print_options() -> Decorator:
    """`--paper --paper-thickness --clearance --trim --file-width --guide --wheels-off`."""

    def mm(word: str, text: str) -> Decorator:
        return click.option(word, WORDS[word], type=float, metavar="MM", help=f"With --out: {text}")

    options = (
        click.option("--paper", metavar="NAME", help="With --out: a4 or letter; a4 if not given."),
        mm("--paper-thickness", "of the paper that the strips are printed on; 0.1 if not given."),
        mm("--clearance", "of the 3D printer, between parts that slide; 0.15 if not given."),
        mm("--trim", "added to the depth of both flats, after a first try; 0 if not given."),
        mm("--file-width", "of the file that cuts the flats; 6 if not given."),
        mm("--guide", "thickness of steel strips glued into the jig as guides; none if not given."),
        click.option("--wheels-off", is_flag=True, help="With --out: the jig for an axle without its wheels."),
    )

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def taken(asked: dict[str, Any]) -> dict[str, Any]:
    """The print options, taken out of all others."""
    return {name: asked.pop(name) for name in WORDS.values()}


def prints_of(given: dict[str, Any], out: str | None) -> dict[str, Any]:
    """What the bench is to be told of paper, printer and tools.

    Raises
    ------
    UsageError   a word of what is printed where nothing is
    """
    from wayrule.wagon.jig import Fit

    heard = [word for word, name in WORDS.items() if given[name] not in (None, False)]
    if heard and out is None:
        raise UsageError(
            expected="words that go together",
            came=f"{heard[0]} without --out",
            where="bench",
            next_step="add --out DIR",
        )
    sizes = {"clearance_mm": "clearance", "trim_mm": "trim", "file_mm": "file_width", "guide_mm": "guide"}
    stated = {key: given[name] for key, name in sizes.items() if given[name] is not None}
    found: dict[str, Any] = {"fit": Fit(**stated, wheels_on=not given["wheels_off"])}
    return found | {name: given[name] for name in ("paper", "paper_mm") if given[name] is not None}

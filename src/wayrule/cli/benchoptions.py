"""What `wayrule bench --choose` and `--tolerances` take and show."""

import math
from collections.abc import Callable, Sequence
from typing import Any

import click

from wayrule.errors import UsageError

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def choose_options() -> Decorator:
    """`--choose --space --disc --places --list`."""
    options = (
        click.option("--choose", "want_choice", is_flag=True, help="List the best discs, flats and sensor places."),
        click.option(
            "--space",
            metavar="LOW:HIGH",
            help="Box for the sensor, two corners from the axle's centre: -4,-3,8:4,3,20 (forward, left, up in mm).",
        ),
        click.option("--disc", "discs", metavar="DxT", multiple=True, help="Try only this disc, 3x1 (mm); repeatable."),
        click.option("--places", metavar="FxLxU", help="Places tried in the box; 5x5x6 if not given."),
        click.option("--list", "keep", type=int, default=10, show_default=True, help="How many to list."),
    )
    return _all(options)


def tolerance_options() -> Decorator:
    """`--tolerances [N] --tolerance NAME:SD --seed N`."""
    options = (
        click.option(
            "--tolerances",
            "wagons",
            metavar="[N]",
            type=int,
            is_flag=False,
            flag_value=10_000,
            default=None,
            help="Study N wagons with build errors; 10000 if no number is given.",
        ),
        click.option(
            "--tolerance",
            "stated",
            metavar="NAME:SD",
            multiple=True,
            help="Size of one build error, such as depth:0.05; repeatable.",
        ),
        click.option("--seed", type=int, default=1, show_default=True, help="Another number, other wagons."),
    )
    return _all(options)


def show_choice(
    wagon_file: str,
    *,
    space: str | None,
    discs: Sequence[str],
    places: str | None,
    keep: int,
    curve_mm: float | None = None,
    as_json: bool,
) -> None:
    """Choose, and print the answer."""
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.choosing import choose_for
    from wayrule.wagon.discs import COMMON_DISCS, STEPS

    result = choose_for(
        wagon_file,
        space=None if space is None else space_of(space),
        places=STEPS if places is None else places_of(places),
        discs=[disc_of(one) for one in discs] or COMMON_DISCS,
        keep=keep,
        curve_mm=curve_mm,
        step=Steps(),
    )
    if as_json:
        emit({"wagon": result.wagon.name, "choice": result.choice})
        return
    say(*result.sentences)
    show(result.tables)


def show_tolerances(wagon_file: str, *, wagons: int, stated: Sequence[str], seed: int, as_json: bool) -> None:
    """Study build errors, and print the answer."""
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.tolerances import tolerances_for

    if seed < 0:
        raise UsageError(expected="a seed of 0 or more", came=str(seed), where="--seed", next_step="any number will do")
    result = tolerances_for(wagon_file, wagons=wagons, stated=dict(map(stated_of, stated)), seed=seed, step=Steps())
    if as_json:
        emit({"wagon": result.wagon.name, "noise_mm": result.noise_mm, "study": result.study})
        return
    say(*result.sentences)
    show(result.tables)


def space_of(text: str) -> Any:
    """A box from two corners.

    >>> space_of("-4,-3,8:4,3,20").high_mm
    (4.0, 3.0, 20.0)
    """
    from wayrule.model import FreeSpace

    corners = [_numbers(corner, ",") for corner in text.split(":")]
    if len(corners) != 2 or any(len(corner) != 3 for corner in corners):
        raise _unread("two corners of three numbers, LOW:HIGH", text, "--space", "-4,-3,8:4,3,20")
    low, high = ((a, b, c) for a, b, c in corners)
    return FreeSpace(low, high)


def disc_of(text: str) -> tuple[float, float]:
    """Diameter and thickness.

    >>> disc_of("3x1.5")
    (3.0, 1.5)
    """
    sizes = _numbers(text.lower().replace("×", "x"), "x")
    if len(sizes) != 2:
        raise _unread("a disc as diameter x thickness in mm", text, "--disc", "3x1")
    return sizes[0], sizes[1]


def places_of(text: str) -> tuple[int, int, int]:
    """Numbers of places along each axis.

    >>> places_of("3x1x9")
    (3, 1, 9)
    """
    counts = _numbers(text.lower(), "x")
    if len(counts) != 3 or any(count != int(count) for count in counts):
        raise _unread("three whole numbers of places", text, "--places", "5x5x6")
    return int(counts[0]), int(counts[1]), int(counts[2])


def stated_of(text: str) -> tuple[str, float]:
    """Name and sd of a tolerance.

    >>> stated_of("depth:0.05")
    ('depth', 0.05)
    """
    name, _, number = text.partition(":")
    size = _numbers(number, ":")
    if len(size) != 1:
        raise _unread("a tolerance as NAME:SD", text, "--tolerance", "depth:0.05")
    return name.strip().lower(), size[0]


def _numbers(text: str, separator: str) -> list[float]:
    """The numbers of a list; empty where one is none."""
    try:
        found = [float(part) for part in text.split(separator)]
    except ValueError:
        return []
    return found if all(map(math.isfinite, found)) else []


def _unread(expected: str, came: str, where: str, example: str) -> UsageError:
    return UsageError(expected=expected, came=repr(came), where=where, next_step=f"write it like {example}")


def _all(options: Sequence[Decorator]) -> Decorator:
    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate

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
        click.option("--list", "keep", type=int, metavar="N", help="How many to list; 10 if not given."),
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
        click.option("--seed", type=int, metavar="N", help="Another number, other wagons; 1 if not given."),
    )
    return _all(options)


def answered(wagon_file: str, run: dict[str, Any], asked: dict[str, Any]) -> bool:
    """Print what `--choose` or `--tolerances` ask for; False where neither is given.

    Parameters
    ----------
    run : bench's own words: way, speed, radius, out, as_json
    asked : those of `choose_options` and `tolerance_options`

    Raises
    ------
    UsageError   words that do not go together, or cannot be read
    """
    choosing, studying = asked["want_choice"], asked["wagons"] is not None
    _together(run, asked, choosing, studying)
    if choosing:
        _show_choice(wagon_file, run, asked)
    if studying:
        _show_tolerances(wagon_file, run, asked)
    return bool(choosing or studying)


def _together(run: dict[str, Any], asked: dict[str, Any], choosing: bool, studying: bool) -> None:
    """Refuse words that would be left unheard."""
    if choosing and studying:
        raise _alone("--choose and --tolerances", "ask one after the other")
    if run["out"] is not None and (choosing or studying):
        raise _alone("--out and --choose or --tolerances", "--out goes with the verdict; --json holds the rest")
    for word, name, heard, verb in (
        ("--space", "space", choosing, "--choose"),
        ("--disc", "discs", choosing, "--choose"),
        ("--places", "places", choosing, "--choose"),
        ("--list", "keep", choosing, "--choose"),
        ("--tolerance", "stated", studying, "--tolerances"),
        ("--seed", "seed", studying, "--tolerances"),
    ):
        if asked[name] not in (None, ()) and not heard:
            raise _alone(f"{word} without {verb}", f"add {verb}")
    for word in ("way", "speed", "radius"):
        if run[word] is not None and studying:
            raise _alone(f"--{word} and --tolerances", "build errors do not depend on how the wagon is run")


def _alone(came: str, next_step: str) -> UsageError:
    return UsageError(expected="words that go together", came=came, where="bench", next_step=next_step)


def _show_choice(wagon_file: str, run: dict[str, Any], asked: dict[str, Any]) -> None:
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.choosing import choose_for
    from wayrule.wagon.choose import KEEP
    from wayrule.wagon.discs import COMMON_DISCS, STEPS

    result = choose_for(
        wagon_file,
        space=None if asked["space"] is None else space_of(asked["space"]),
        places=STEPS if asked["places"] is None else places_of(asked["places"]),
        discs=[disc_of(one) for one in asked["discs"]] or COMMON_DISCS,
        keep=KEEP if asked["keep"] is None else asked["keep"],
        curve_mm=run["radius"],
        way_mm=run["way"],
        speed_mm_s=run["speed"],
        step=Steps(),
    )
    if run["as_json"]:
        emit({"wagon": result.wagon.name, "choice": result.choice})
        return
    say(*result.sentences)
    show(result.tables)


def _show_tolerances(wagon_file: str, run: dict[str, Any], asked: dict[str, Any]) -> None:
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.tolerances import tolerances_for

    seed = 1 if asked["seed"] is None else asked["seed"]
    if seed < 0:
        raise UsageError(expected="a seed of 0 or more", came=str(seed), where="--seed", next_step="any number will do")
    stated = dict(map(stated_of, asked["stated"]))
    result = tolerances_for(wagon_file, wagons=asked["wagons"], stated=stated, seed=seed, step=Steps())
    if run["as_json"]:
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

"""`bench --choose`: the best arrangements of a wagon, as tables and sentences in mm and inch."""

from collections.abc import Sequence
from dataclasses import dataclass

from wayrule.desk.benching import conditions_of
from wayrule.desk.opening import PathName, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.model import FreeSpace, Wagon
from wayrule.report.numbers import significant
from wayrule.report.tables import Table
from wayrule.units import INCH_MM
from wayrule.wagon.choose import KEEP, Arrangement, Choice, choose
from wayrule.wagon.discs import COMMON_DISCS, STEPS

HEADS = (
    "No.",
    "Discs, mm",
    "Discs, in",
    "Filed, mm",
    "Filed, in",
    "Sensor, mm",
    "Sensor, in",
    "Signal, mT",
    "Error, mm",
    "Error, in",
)
NUMERIC = (True, *[False] * 6, True, True, True)


@dataclass(frozen=True, slots=True)
class ChoiceResult:
    """What was found for a wagon, ready for a face."""

    wagon: Wagon
    choice: Choice

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer in words: how many fit, the best, the file's own against it, what was assumed."""
        found, best = self.choice, self.choice.best[0]
        parts = (
            (best.noise_mm, "the sensor's noise and steps"),
            (best.shape_mm, "the field's shape"),
            (best.earth_mm, "Earth's field"),
            (best.motion_mm, "play and curves"),
            (best.foreign_mm, "what is magnetic near the sensor"),
        )
        most = max(parts)
        told = [
            f"{self.wagon.name}: {found.fit} of {found.tried} arrangements can be built and read.",
            f"The best: two discs {_discs(best, 1.0)} mm ({_discs(best, INCH_MM)} in), {filing(best)}, the sensor at "
            f"{_place(best, 1.0)} mm ({_place(best, INCH_MM)} in) forward, left and up of the axle's centre.",
            f"It errs by {_length(best.error_mm)} between two places of a run; most of it, {_length(most[0])}, is "
            f"{most[1]}.",
        ]
        if found.now is None:
            told.append(f"The file's own arrangement is not compared: {found.now_out}.")
        else:
            ratio = found.now.error_mm / best.error_mm
            told.append(
                f"The file's own arrangement errs by {_length(found.now.error_mm)}, {significant(ratio, 2)} times that."
            )
        return (*told, *found.assumptions)

    @property
    def tables(self) -> tuple[Table, ...]:
        """The best arrangements; those that need the least filing; why the others fell out."""
        found = self.choice
        best = "Error: sd of the distance between two places of one run, without the wheel's size."
        return (
            _table("choice", "The best place for each pair of discs and flat.", found.best, best),
            _table("filing", "The least filing: deeper flats only where they gain 2 % or more.", found.front, ""),
            Table(
                "fell-out",
                "Why arrangements fell out.",
                ("Reason", "Arrangements"),
                (False, True),
                tuple((reason, str(count)) for reason, count in found.fell_out),
                empty="Every arrangement can be built and read.",
            ),
        )


def choose_for(
    wagon: PathName | Wagon,
    *,
    space: FreeSpace | None = None,
    places: tuple[int, int, int] = STEPS,
    discs: Sequence[tuple[float, float]] = COMMON_DISCS,
    keep: int = KEEP,
    curve_mm: float | None = None,
    way_mm: float | None = None,
    speed_mm_s: float | None = None,
    step: Step = silent,
) -> ChoiceResult:
    """The best arrangements for a wagon file.

    Parameters
    ----------
    space, places, discs, keep, curve_mm : see `wayrule.wagon.choose.choose`
    way_mm, speed_mm_s : between two places of a run, and how fast; the usual ones where left out
    step : shows what is being done

    Raises
    ------
    WagonFileError, UsageError, UndeterminedError   each in one line
    """
    run = conditions_of(way_mm, speed_mm_s, curve_mm)
    with step("reading the wagon file"):
        known = read_wagon(wagon)
    with step("trying arrangements"):
        found = choose(known, space=space, steps=places, discs=discs, keep=keep, pull=run.pull, curve_mm=curve_mm)
    return ChoiceResult(known, found)


def _table(ident: str, caption: str, rows: Sequence[Arrangement], note: str) -> Table:
    return Table(
        ident,
        caption,
        HEADS,
        NUMERIC,
        tuple(
            (
                str(number),
                _discs(one, 1.0),
                _discs(one, INCH_MM),
                *(_sized(one.mounted.depth_mm, unit) for unit in (1.0, INCH_MM)),
                *(_place(one, unit) for unit in (1.0, INCH_MM)),
                significant(one.signal_mt, 3),
                significant(one.error_mm, 2),
                significant(one.error_mm / INCH_MM, 2),
            )
            for number, one in enumerate(rows, 1)
        ),
        note=note,
        empty="The axle's diameter is not stated, so the filing is not known.",
    )


def _discs(one: Arrangement, unit_mm: float) -> str:
    return f"{_sized(one.mounted.diameter_mm, unit_mm)} × {_sized(one.mounted.thickness_mm, unit_mm)}"


def _place(one: Arrangement, unit_mm: float) -> str:
    return " · ".join(_sized(x, unit_mm) for x in one.place_mm)


def _sized(value_mm: float, unit_mm: float) -> str:
    """To a hundredth of a mm or a thousandth of an inch, without zeros at the end."""
    if value_mm != value_mm:
        return "not known"
    return f"{round(value_mm / unit_mm, 2 if unit_mm == 1.0 else 3) + 0.0:g}".replace("-", "−")


def filing(one: Arrangement) -> str:
    """What is to be filed, in words."""
    depth = one.mounted.depth_mm
    if depth != depth:
        return f"flats {_sized(one.mounted.flat_radius_mm, 1.0)} mm from the axle's centre"
    if depth == 0:
        return "glued on the round axle"
    return f"flats filed {_sized(depth, 1.0)} mm ({_sized(depth, INCH_MM)} in) deep"


def _length(value_mm: float) -> str:
    return f"{significant(value_mm, 2)} mm ({significant(value_mm / INCH_MM, 2)} in)"

"""`bench --tolerances`: what build errors do to a wagon, as tables and sentences in mm and inch."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from wayrule.desk.opening import PathName, read_wagon
from wayrule.desk.steps import Step, silent
from wayrule.model import Wagon
from wayrule.report.numbers import significant
from wayrule.report.tables import Table
from wayrule.units import INCH_MM
from wayrule.wagon.expected import read_turn, reading_sd_mt
from wayrule.wagon.needed import needed
from wayrule.wagon.tolerance import USUAL_WAGONS, ToleranceStudy, tolerance_study
from wayrule.wagon.tolerances import Tolerance
from wayrule.wagon.turns import fields_over_turn

SHORT: Final = {"drawn": "the drawing", "ellipse": "centre, ellipse", "harmonics": "harmonics too"}

LEAST_MM: Final = 1e-3
"""Below a micrometre a hobbyist's distance is exact."""


@dataclass(frozen=True, slots=True)
class ToleranceResult:
    """The study of one wagon, ready for a face; noise_mm is that of one reading as drawn, for comparison."""

    wagon: Wagon
    study: ToleranceStudy
    noise_mm: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """The answer in words."""
        found = self.study
        drawn, ellipse, after = found.stages
        told = [
            f"{self.wagon.name}: {found.wagons} wagons with build errors. Nine in ten err by at most "
            f"{_length(drawn.rms_mm[1].value)} rms over a turn before calibration, "
            f"{_length(ellipse.rms_mm[1].value)} once their own centre and ellipse are known, "
            f"{_length(after.rms_mm[1].value)} once harmonics are taken out as well. It does not add up over turns.",
            f"One reading's noise is {_length(self.noise_mm)}; harmonics that do not stand out of it stay.",
        ]
        for stage in (drawn, ellipse):
            name, share = max(stage.shares.alone.items(), key=lambda item: item[1])
            words = next(one.words for one in found.tolerances if one.name == name)
            if share > stage.shares.always:
                told.append(f"What matters most {stage.words}: {words} ({_percent(share)} of the mean square).")
            else:
                told.append(
                    f"Most of the error {stage.words} is the field's own shape ({_percent(stage.shares.always)} of the "
                    f"mean square), not the build; of the build, {words} matters most ({_percent(share)})."
                )
        return tuple(told)

    @property
    def tables(self) -> tuple[Table, ...]:
        """Percentiles of the error before and after calibration; shares of each tolerance."""
        return (_percentile_table(self.study), _share_table(self.study))


def tolerances_for(
    wagon: PathName | Wagon,
    *,
    wagons: int = USUAL_WAGONS,
    stated: Mapping[str, float] | None = None,
    seed: int = 1,
    step: Step = silent,
) -> ToleranceResult:
    """The tolerance study of a wagon file.

    Parameters
    ----------
    stated : tolerance's name -> sd: see `wayrule.wagon.tolerances.USUAL`
    seed : the same number, the same wagons

    Raises
    ------
    WagonFileError, UsageError, UndeterminedError   each in one line
    """
    with step("reading the wagon file"):
        known = read_wagon(wagon)
    with step("building wagons"):
        study = tolerance_study(known, np.random.default_rng(seed), wagons=wagons, stated=dict(stated or {}))
    have = needed(known)
    turn = read_turn(fields_over_turn(have.sources, have.place_mm, floor=have.floor))
    noise = math.hypot(*reading_sd_mt(known.sensor)) * math.sqrt(float(turn.flat_1_mt2[0]))
    return ToleranceResult(known, study, have.radius_mm * noise)


def _percentile_table(study: ToleranceStudy) -> Table:
    heads = [f"{words} at most, {unit}" for words in ("half of them", "9 in 10", "99 in 100") for unit in ("mm", "in")]
    rows = [
        (SHORT[stage.name], what, *(_short(one.value, unit) for one in group for unit in (1.0, INCH_MM)))
        for stage in study.stages
        for what, group in (("rms", stage.rms_mm), ("worst", stage.worst_mm))
    ]
    surest = max(one.sd / one.value for stage in study.stages[:2] for one in stage.rms_mm if one.value)
    return Table(
        "tolerance-errors",
        f"Error of the distance over a turn, {study.wagons} wagons.",
        ("Calibrated by", "Over a turn", *heads),
        (False, False, *[True] * len(heads)),
        tuple(rows),
        note=f"The number of wagons leaves these figures open by {significant(100 * surest, 2)} % at most (sd).",
    )


def _share_table(study: ToleranceStudy) -> Table:
    rows = [
        (one.name, one.words, _size(one), *(_percent(stage.shares.alone[one.name]) for stage in study.stages))
        for one in study.tolerances
    ]
    for words, part in (("the field's own shape, as drawn", "always"), ("several together", "together")):
        rows.append(("–", words, "–", *(_percent(getattr(stage.shares, part)) for stage in study.stages)))
    rows.append(("–", "not told apart", "–", *(_percent(stage.shares.unexplained) for stage in study.stages)))
    sources = dict.fromkeys(one.source for one in study.tolerances)
    told = (f"{source} ({', '.join(t.name for t in study.tolerances if t.source == source)})" for source in sources)
    return Table(
        "tolerance-shares",
        "What causes it: shares of the mean square of the error over all wagons and angles.",
        ("Tolerance", "What", "Sd", *(SHORT[stage.name] for stage in study.stages)),
        (False, False, True, *[True] * len(study.stages)),
        tuple(rows),
        note=f"Sizes: {'; '.join(told)}.",
    )


def _size(one: Tolerance) -> str:
    inch = f" ({significant(one.sd / INCH_MM, 2)} in)" if one.unit == "mm" else ""
    return f"{significant(one.sd, 2)} {one.unit}{inch}"


def _percent(share: float) -> str:
    return f"{100 * max(share, 0.0):.0f} %"


def _short(value_mm: float, unit_mm: float) -> str:
    """Three digits, down to what is worth a number."""
    return f"< {significant(LEAST_MM / unit_mm, 1)}" if value_mm < LEAST_MM else significant(value_mm / unit_mm, 3)


def _length(value_mm: float) -> str:
    if value_mm < LEAST_MM:
        return f"less than {significant(LEAST_MM, 1)} mm ({significant(LEAST_MM / INCH_MM, 1)} in)"
    return f"{significant(value_mm, 2)} mm ({significant(value_mm / INCH_MM, 2)} in)"

"""Whether the claimed sigmas can be believed: pooled over lines drawn at random, and on one line by itself."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
from scipy.stats import chi2

from benchmarks.adjusting.judged import Outcome
from benchmarks.adjusting.lines import Case
from benchmarks.row import Row, at_least, between
from benchmarks.surveying.drawn import Judged
from benchmarks.surveying.promised import stated
from wayrule.sim import Coverage, ImuQuality, SurveyErrors, coverage
from wayrule.sim.matching import normalised

ONE_SIGMA_PERCENT: Final = (60.0, 76.0)
TWO_SIGMA_PERCENT: Final = (92.0, 98.0)
ALONE_PERCENT: Final = 85.0
"""Inside two sigmas on one line by itself, whose errors go together."""

BAND: Final = 0.99
"""A mean squared normalised error must lie in a band that holds so much of what honest sigmas would give."""


def of_quantities(errors: Sequence[SurveyErrors]) -> dict[str, Coverage]:
    """Shares by quantity; x and y together are the plan."""
    shares = dict(coverage(errors))
    x, y = shares.pop("x"), shares.pop("y")
    plan = Coverage(0.5 * (x.inside_one + y.inside_one), 0.5 * (x.inside_two + y.inside_two), x.n + y.n)
    return {"plan": plan, "height": shares.pop("z"), **shares}


def drawn_rows(judged: Sequence[Judged], quality: ImuQuality) -> Iterator[Row]:
    """Pooled shares over lines drawn at random, and what the lines' errors were."""
    surveyed = [j.errors for j in judged if j.errors is not None]
    missing = "; ".join(f"{j.title}: {j.why}" for j in judged if j.errors is None)
    name = f"{len(judged)} randomly drawn lines, {quality.name} IMU"
    yield Row(f"{name}: surveyed", f"{len(surveyed)} of {len(judged)}", "all", not missing, missing)
    for quantity, share in of_quantities(surveyed).items():
        what = f"{name}: true errors of {quantity} inside"
        yield between(f"{what} one claimed sigma", 100.0 * share.inside_one, *ONE_SIGMA_PERCENT, "%")
        yield between(f"{what} two claimed sigmas", 100.0 * share.inside_two, *TWO_SIGMA_PERCENT, "%")
    yield from element_sigma_rows(surveyed, name)
    shape = [e.plan_scaled_rms_mm for e in surveyed]
    height = [e.height_rms_mm for e in surveyed]
    figures = {
        f"{what}, {which}": (float(of(values)), "mm")
        for what, values in (("plan rms, one scale removed", shape), ("height rms", height))
        for which, of in (("median", np.median), ("worst", np.max))
    }
    yield stated(f"{name}, settings as everywhere", figures)


def element_sigma_rows(surveyed: Sequence[SurveyErrors], name: str) -> Iterator[Row]:
    """Shares of elements whose true length, curvature, turn and rise lie inside their claimed sigmas, pooled."""
    for plane in ("plan", "profile"):
        pairs = [pair for e in surveyed for pair in getattr(e, f"{plane}_elements").pairs]
        for quantity, values in normalised(pairs).items():
            if not values:
                continue
            off = np.abs(values)
            what = f"{name}: true {quantity} of {len(off)} elements of the {plane} inside two claimed sigmas"
            row = at_least(what, 100.0 * float(np.mean(off <= 2.0)), TWO_SIGMA_PERCENT[0], "%")
            one = f"{row.measured}; inside one {100.0 * float(np.mean(off <= 1.0)):.3g} %"
            yield Row(row.what, one, row.limit, row.ok)


def alone_rows(case: Case, quality: ImuQuality, outcomes: Sequence[Outcome]) -> Iterator[Row]:
    """One line by itself over its seeds: the quantity that is covered least."""
    shares = of_quantities([o.as_claimed for o in outcomes])
    least = min(shares, key=lambda name: shares[name].inside_two)
    each = ", ".join(f"{name} {100.0 * share.inside_two:.0f}" for name, share in shares.items())
    row = at_least(
        f"{case.name}, {quality.name} IMU: true errors inside two claimed sigmas, least of the quantities",
        100.0 * shares[least].inside_two, ALONE_PERCENT, "%",
    )  # fmt: skip
    yield Row(row.what, f"{row.measured} ({each})", row.limit, row.ok)


def mean_squares(errors: SurveyErrors) -> dict[str, float]:
    """Mean squared normalised error of each quantity, x and y together."""
    squares = {name: values[np.isfinite(values)] ** 2 for name, values in errors.normalised.items()}
    squares["plan"] = np.concatenate([squares.pop("x"), squares.pop("y")])
    squares["height"] = squares.pop("z")
    return {name: float(np.mean(values)) if len(values) else math.nan for name, values in squares.items()}


def band(independent: Sequence[float], count: int) -> tuple[float, float]:
    """Where the mean of `count` mean squared normalised errors lies with honest sigmas, with probability `BAND`.

    A mean of many squares that go together behaves as chi-squared over its degrees of freedom: n = 2 mean^2 / variance,
    found from independent seeds; `count` seeds have `count` n.

    >>> low, high = band([0.5, 1.5, 1.0, 1.0], 1)
    >>> bool(low < 1.0 < high)
    True
    """
    freedom = count * 2.0 * np.mean(independent) ** 2 / np.var(independent, ddof=1)
    low, high = (float(chi2.ppf(share, freedom) / freedom) for share in ((1.0 - BAND) / 2.0, (1.0 + BAND) / 2.0))
    return low, high


def band_rows(name: str, outcomes: Sequence[SurveyErrors], independent: Sequence[SurveyErrors]) -> Iterator[Row]:
    """Mean squared normalised errors of the judged seeds in their band, which the other seeds give."""
    judged, others = [mean_squares(e) for e in outcomes], [mean_squares(e) for e in independent]
    for quantity in judged[0]:
        mean = float(np.mean([one[quantity] for one in judged]))
        low, high = band([one[quantity] for one in others], len(judged))
        what = (
            f"{name}: mean squared normalised error of {quantity} in its {100 * BAND:.0f} % band "
            f"from {len(others)} independent seeds"
        )
        yield Row(what, f"{mean:.2f}", f"{low:.2f} to {high:.2f}", bool(low <= mean <= high))


def covered_row(name: str, errors: Mapping[int, SurveyErrors]) -> Row:
    """Whether the claimed sigma of the plan covers it over many seeds, with nothing but shift and turn removed."""
    share = of_quantities(list(errors.values()))["plan"]
    row = at_least(
        f"{name}: plan, nothing fitted, inside two claimed sigmas over {len(errors)} seeds",
        100.0 * share.inside_two, TWO_SIGMA_PERCENT[0], "%",
    )  # fmt: skip
    rms = math.sqrt(float(np.mean([e.plan_rms_mm**2 for e in errors.values()])))
    return Row(
        row.what, f"{row.measured} ({100 * share.inside_one:.0f} % inside one; {rms:.1f} mm rms)", row.limit, row.ok
    )

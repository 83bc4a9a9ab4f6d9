"""The readings of a log: dead or all-zero sensors, saturation, and units that gravity says are wrong."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import RecordingError
from wayrule.formats.problems import many, place, problem
from wayrule.model import Problem
from wayrule.model.arrays import Array
from wayrule.units import DEG, G_MM_S2, TO_INSIDE

Lines = NDArray[np.int64]

AXES: Final = "xyz"

AT_RANGE: Final = 0.999
"""A reading from this share of the stated range on is at its end (the last counts of a 12-bit sensor)."""

BEYOND_RANGE: Final = 1.02
"""A reading beyond this share of the stated range shows that the range is stated wrongly."""

CLIP_RUN, CLIP_RUNS, CLIP_LEVELS = 3, 3, 100
"""Without a stated range: the extreme value held for 3 samples or more, 3 times or more, by a sensor with at least 100
different readings (a coarse sensor at rest repeats itself without being at its end)."""

CLIP_ZONE: Final = 0.02
"""... and held more often than all readings in the last 2 % below it: a wave crest is not that flat."""

REST_G: Final = (0.7, 1.4)
"""Median length of the specific force [g]; a wagon that rolls and stands feels gravity and little else."""

MAX_RATE_RAD_S: Final = 2000 * DEG
MAX_FIELD_MT: Final = 3000.0
MAX_SPEED_MM_S: Final = 1e5
"""Medians beyond these are no wagon's: 2000 deg/s, 3 T (magnets end at 1.6 T), 100 m/s."""

SAMPLES_FOR_MEDIAN: Final = 20_000
"""Readings looked at to tell an absurd unit."""

COUNTS_PER_G: Final = (16384.0, 8192.0, 4096.0, 2048.0, 1024.0, 256.0)
"""16-bit sensors of 2 to 16 g, and coarser ones, give these counts at 1 g."""


def without_dead_rows(groups: dict[str, Array], t_s: Array, lines: Lines) -> tuple[dict[str, Array], list[Problem]]:
    """Samples in which a sensor gave exactly zero on all axes become NaN; a sensor that only gave zeros is left out.

    A gyro at rest may honestly read zero, so its zeros count only where another sensor of the same row is zero too.

    Parameters
    ----------
    groups : "field", "rate", "acceleration" -> (n, 3) readings; changed in place
    """
    problems: list[Problem] = []
    zero = {}
    for kind in list(groups):
        axes = [axis for axis in range(3) if not np.isnan(groups[kind][:, axis]).all()]
        if not axes:
            continue
        zero[kind] = groups[kind][:, axes[0]] == 0.0
        for axis in axes[1:] if zero[kind].any() else ():
            zero[kind] &= groups[kind][:, axis] == 0.0
        if zero[kind].all():
            what = f"the {_word(kind)} sensor gave nothing but zeros"
            problems.append(problem("dead sensor", what, place(lines), "left out", count=len(lines)))
            del groups[kind]
    others = [zero[kind] for kind in ("field", "acceleration") if kind in groups]
    if "rate" in groups:
        zero["rate"] = zero["rate"] & (np.any(others, axis=0) if others else False)
    for kind, values in groups.items():
        bad = zero.get(kind, np.zeros(len(lines), dtype=bool))
        if bad.any():
            count = int(bad.sum())
            values[bad] = np.nan
            what = f"{many(count, 'row')} in which all axes of the {_word(kind)} sensor are zero"
            problems.append(problem("all zero", what, place(lines[bad], t_s[bad]), "marked missing", count=count))
    return groups, problems


def without_saturation(kind: str, values: Array, limit: float | None, t_s: Array, lines: Lines) -> list[Problem]:
    """Readings at the end of a sensor's range become NaN, in place.

    Parameters
    ----------
    values : (n, 3) readings in the inside unit; limit : the stated range in that unit, None = told from the readings
    """
    problems = []
    for axis in range(3):
        column = values[:, axis]
        if np.isnan(column).all():
            continue
        largest = max(np.nanmax(column), -np.nanmin(column))
        if limit is not None and largest < AT_RANGE * limit:
            continue
        if limit is not None and largest > BEYOND_RANGE * limit:
            count = int(np.sum(np.abs(column) > BEYOND_RANGE * limit))
            what = (
                f"{many(count, 'reading')} of the {_word(kind)} sensor's {AXES[axis]} axis beyond its stated range "
                f"of {_faced(kind, limit)}: the range is stated wrongly"
            )
            where = place(lines[np.abs(column) > BEYOND_RANGE * limit])
            problems.append(problem("beyond range", what, where, "kept", count=count))
            continue
        bad = np.abs(column) >= AT_RANGE * limit if limit is not None else _clipped(column)
        if bad.any():
            count = int(bad.sum())
            level = _faced(kind, limit if limit is not None else float(np.abs(column[bad]).max()))
            what = f"{many(count, 'reading')} of the {_word(kind)} sensor's {AXES[axis]} axis at its end ({level})"
            where = place(lines[bad], t_s[bad])
            column[bad] = np.nan
            problems.append(problem("saturated", what, where, "marked missing", count=count))
    return problems


def _clipped(column: Array) -> NDArray[np.bool_]:
    """Samples at an extreme that is held again and again."""
    bad = np.zeros(len(column), dtype=bool)
    low, high = float(np.nanmin(column)), float(np.nanmax(column))
    zone = CLIP_ZONE * (high - low)
    for end, sign in ((low, 1.0), (high, -1.0)):
        at = column == end
        held = int(at.sum())
        if held < CLIP_RUN * CLIP_RUNS or held <= int(np.sum((sign * (column - end) < zone) & ~at)):
            continue
        edges = np.flatnonzero(np.diff(np.concatenate(([False], at, [False])).astype(np.int8)))
        if (
            np.sum(edges[1::2] - edges[::2] >= CLIP_RUN) >= CLIP_RUNS
            and len(np.unique(column[np.isfinite(column)])) >= CLIP_LEVELS
        ):
            bad |= at
    return bad


def refuse_absurd(kind: str, values: Array, unit: str, name: str) -> None:
    """Refuse readings that no wagon can have, with the unit that would make sense of them.

    Parameters
    ----------
    values : (n, 3) or (n,) readings in the inside unit; unit : suffix of their column

    Raises
    ------
    RecordingError
    """
    if kind == "acceleration":
        _refuse_gravity(values, unit, name)
        return
    limit, shown = {
        "rate": (MAX_RATE_RAD_S, "2000 deg/s"),
        "field": (MAX_FIELD_MT, "3000 mT"),
        "speed": (MAX_SPEED_MM_S, "100 m/s"),
    }.get(kind, (np.inf, ""))
    some = _some(values)
    size = np.abs(some) if some.ndim == 1 else np.sqrt(np.nansum(some**2, axis=1))
    typical = float(np.nanmedian(size)) if np.isfinite(size).any() else 0.0
    if typical <= limit:
        return
    raw = typical / TO_INSIDE[kind][unit]
    likely = [u for u, f in TO_INSIDE[kind].items() if raw * f <= 0.1 * limit]
    raise RecordingError(
        expected=f"readings below {shown}",
        came=f"typically {raw:.4g} {unit}, that is {_faced(kind, typical)}",
        where=f"{name}, the {_word(kind)} columns",
        next_step=f"is this {' or '.join(likely[:3])}? Correct the unit in the column name, or map it in [columns]",
    )


def _refuse_gravity(values: Array, unit: str, name: str) -> None:
    size = np.sqrt(np.sum(_some(values) ** 2, axis=1))  # NaN without all three axes: then gravity has no known length
    typical = float(np.nanmedian(size)) / G_MM_S2 if np.isfinite(size).any() else 1.0
    if REST_G[0] <= typical <= REST_G[1]:
        return
    raw = typical * G_MM_S2 / TO_INSIDE["acceleration"][unit]
    words = {"g": "g", "mg": "mg", "m_s2": "m/s2", "mm_s2": "mm/s2", "cm_s2": "m/s2 x 100"}
    fits = [words[u] for u, f in TO_INSIDE["acceleration"].items() if 0.85 <= raw * f / G_MM_S2 <= 1.15]
    fits += [f"counts of {c:g} to the g" for c in COUNTS_PER_G if 0.98 <= raw / c <= 1.02]
    if fits:
        step = f"is this {' or '.join(fits)}? Correct the unit in the column name, or map it in [columns]"
    elif typical < REST_G[0]:
        step = "has gravity been taken out? Record the accelerometer as it is, or leave its columns out"
    else:
        step = "look at the unit, the range and the scale of the accelerometer"
    raise RecordingError(
        expected="about 1 g from an accelerometer, for gravity",
        came=f"{typical:.4g} g ({raw:.4g} {words[unit]} in the file)",
        where=f"{name}, the accelerometer columns",
        next_step=step,
    )


def _some(values: Array) -> Array:
    """Evenly picked samples, enough for a median."""
    return values[:: max(1, len(values) // SAMPLES_FOR_MEDIAN)]


def _word(kind: str) -> str:
    return {"field": "field", "rate": "gyro", "acceleration": "acceleration", "speed": "wheel speed"}[kind]


def _faced(kind: str, value: float) -> str:
    if kind == "rate":
        return f"{value / DEG:.4g} deg/s"
    if kind == "acceleration":
        return f"{value / G_MM_S2:.4g} g"
    return f"{value:.4g} mT" if kind == "field" else f"{value / 1e3:.4g} m/s"

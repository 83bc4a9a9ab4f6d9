"""Fault by fault: the least work that takes each away, in one sentence, and what would be left."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Fault, SingleMend, Stations, WorkSheet
from wayrule.track.faults import LEAST_KINK_DEG, LEAST_LEVEL_GAUGES, LEAST_TWIST_GAUGES
from wayrule.track.mend.predicted import same
from wayrule.units import DEG

WORK_SD_MM: Final = 0.1
"""How well a lift or slew is carried out; the thinnest shim, our choice."""

REACH_WHEELBASES: Final = 3.0
NAMES: Final = {"one_rail_dip": "dip of one rail", "lateral": "bend sideways"}


def single_mends(
    stations: Stations, sheet: WorkSheet, faults: Sequence[Fault], left_over: Sequence[Fault]
) -> tuple[SingleMend, ...]:
    """One for each fault, by chainage.

    Parameters
    ----------
    left_over : faults that would be found after the work
    """
    return tuple(_single(stations, sheet, f, left_over) for f in sorted(faults, key=lambda f: f.s_mm))


def _single(stations: Stations, sheet: WorkSheet, fault: Fault, left_over: Sequence[Fault]) -> SingleMend:
    on = _stretch(stations, sheet, fault)
    amounts = {
        name: _greatest(getattr(sheet, f"{name}_mm"), on if name in _kinds(fault) else np.zeros_like(on))
        for name in ("left", "right", "slew")
    }
    used = on & np.any([getattr(sheet, f"{n}_mm") != 0 for n in _kinds(fault)], axis=0)
    at = sheet.s_mm[used]
    if stations.closed and len(at) and at[-1] - at[0] > 0.5 * stations.length_mm:
        at = np.sort(np.where(at > 0.5 * stations.length_mm, at - stations.length_mm, at))
    from_mm, to_mm = (float(at[0]), float(at[-1])) if len(at) else (fault.s_mm, fault.s_mm)
    still = next((f for f in left_over if same(f, fault, stations)), None)
    sd = math.hypot(fault.sd, _work_sd(fault, stations))
    least = least_size(fault, stations.gauge_mm)
    sure = abs(fault.size) - 2 * fault.sd >= least
    return SingleMend(
        fault, from_mm, to_mm, amounts["left"], amounts["right"], amounts["slew"],
        mend_words(fault, amounts, from_mm, to_mm),
        before="fail" if sure else "near",
        after="pass" if still is None and 2 * sd < least else "near" if still is None else "fail",
        after_size=0.0 if still is None else abs(still.size),
        after_sd=sd,
    )  # fmt: skip


def least_size(fault: Fault, gauge_mm: float) -> float:
    """Size below which a survey calls nothing of its kind a fault, in the fault's unit."""
    if fault.kind == "kink":
        return LEAST_KINK_DEG
    return (LEAST_TWIST_GAUGES if fault.kind in ("twist", "one_rail_dip") else LEAST_LEVEL_GAUGES) * gauge_mm


def mend_words(fault: Fault, amounts: dict[str, float], from_mm: float, to_mm: float) -> str:
    """What to do, in one sentence.

    >>> dip = Fault("one_rail_dip", 3550.0, 0.6, "mm", 0.05, "left")
    >>> mend_words(dip, {"left": 0.6, "right": 0.0, "slew": 0.0}, 3505.0, 3595.0)
    'One-rail dip of 0.6 mm (left): raise the left rail by up to 0.6 mm over 90 mm at 3.55 m (3.505 to 3.595 m).'
    """
    parts = []
    left, right, slew = (amounts[n] for n in ("left", "right", "slew"))
    if left and right and abs(left - right) < 0.15 * max(abs(left), abs(right)) + 0.05:
        more = max(left, right, key=abs)
        parts.append(f"{_way(more)} both rails by up to {abs(more):.1f} mm")
    else:
        parts += [
            f"{_way(v)} the {n} rail by up to {abs(v):.1f} mm" for n, v in (("left", left), ("right", right)) if v
        ]
    if slew:
        eased = ", so that its turn is spread," if fault.kind == "kink" else ""
        parts.append(f"slew to the {'left' if slew > 0 else 'right'} by up to {abs(slew):.1f} mm{eased}")
    name = {"one_rail_dip": "one-rail dip", "lateral": "bend sideways"}.get(fault.kind, fault.kind)
    head = f"{name.capitalize()} of {abs(fault.size):.1f} {fault.unit}" + (f" ({fault.rail})" if fault.rail else "")
    if not parts:
        return f"{head} at {fault.s_mm / 1000:.2f} m: nothing is worth doing there, or nothing may be done."
    span = f"over {to_mm - from_mm:.0f} mm at {fault.s_mm / 1000:.2f} m"
    return f"{head}: {', '.join(parts)} {span} ({from_mm / 1000:.3f} to {to_mm / 1000:.3f} m)."


def _way(amount: float) -> str:
    return "raise" if amount > 0 else "lower"


def _kinds(fault: Fault) -> tuple[str, ...]:
    """What a fault is mended by."""
    return ("slew",) if fault.kind in ("kink", "lateral") else ("left", "right")


def _stretch(stations: Stations, sheet: WorkSheet, fault: Fault) -> NDArray[np.bool_]:
    """Sleepers within reach of a fault."""
    away = np.abs(sheet.s_mm - fault.s_mm)
    if stations.closed:
        away = np.minimum(away, stations.length_mm - away)
    return np.asarray(away <= REACH_WHEELBASES * stations.wheelbase_mm)


def _greatest(values: NDArray[np.float64], on: NDArray[np.bool_]) -> float:
    """The amount of largest size among some."""
    chosen = values[on]
    return float(chosen[int(np.argmax(np.abs(chosen)))]) if len(chosen) else 0.0


def _work_sd(fault: Fault, stations: Stations) -> float:
    """What careless work leaves, in the fault's unit: of a kink, the angle of two errors two wheelbases apart."""
    if fault.kind == "kink":
        return math.sqrt(2.0) * WORK_SD_MM / (2.0 * stations.wheelbase_mm) / DEG
    return WORK_SD_MM * (math.sqrt(2.0) if fault.kind == "twist" else 1.0)

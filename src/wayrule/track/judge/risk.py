"""Derailment sense: places ranked by risk, with the reasons open to see. This is judgement, not a standard.

Every part is a size over what the trade puts up with (1 = just so much), squared so that a bad place outweighs many
fair ones; what acts together at one place (a twist in a curve, an edge of the gradient in a curve) counts as a product
more.
"""

from typing import Final, Literal

import numpy as np
from scipy.ndimage import maximum_filter1d

from wayrule.model import Risk
from wayrule.model.arrays import Array
from wayrule.track.judge.cross import twist_mm
from wayrule.track.judge.profile import edge_gap_mm
from wayrule.track.judge.subject import Subject
from wayrule.track.rules.sets import KINK_DEG, OWN_SHARES

JUDGEMENT: Final = "This ranking is judgement, not a standard: it says where to look first."

LEAST: Final = 0.5
"""Places below this are not listed: nothing there is near what the trade puts up with."""

MOST: Final = 12

SHARP_GAUGES: Final = 26.0
"""A curve of so many gauges is as sharp as the trade puts up with (430 mm in HO); our choice."""

DIP_SPEED_MM_S: Final = 300.0
"""A dip counts in full at this speed (about scale 100 km/h in HO); its jolt grows with the square of the speed."""


def risks(subject: Subject, *, speed_mm_s: float = DIP_SPEED_MM_S) -> tuple[Risk, ...]:
    """Places where a derailment is likelier than elsewhere, the worst first."""
    st = subject.line.stations
    if not len(st.s_mm):
        return ()
    parts = _parts(subject, speed_mm_s)
    score = np.sum(list(parts.values()), axis=0)
    apart = max(subject.longest_mm, 4.0 * subject.gauge_mm)
    out: list[Risk] = []
    for i in np.argsort(-score):
        if score[i] < LEAST or len(out) == MOST:
            break
        s = float(st.s_mm[i])
        if any(_between(st.length_mm if st.closed else None, s, one.s_mm) < apart for one in out):
            continue
        shares = sorted(
            ((name, float(p[i] / score[i])) for name, p in parts.items() if p[i] > 0), key=lambda one: -one[1]
        )
        reasons = tuple((name, share) for name, share in shares if share >= 0.05)
        told = ", ".join(f"{name} ({100 * share:.0f} %)" for name, share in reasons)
        out.append(
            Risk(s, float(st.x_mm[i]), float(st.y_mm[i]), float(score[i]), reasons, f"At {s / 1000:.2f} m: {told}.")
        )
    return tuple(out)


def _between(period: float | None, a: float, b: float) -> float:
    apart = abs(a - b)
    return apart if period is None else min(apart, period - apart)


def _parts(subject: Subject, speed_mm_s: float) -> dict[str, Array]:
    """What makes the score at every station, part by part."""
    st, gauge = subject.line.stations, subject.gauge_mm
    step = float(np.median(np.diff(st.s_mm))) if len(st.s_mm) > 1 else 1.0
    reach = max(3, int(st.wheelbase_mm / step) | 1)
    mode: Literal["wrap", "nearest"] = "wrap" if st.closed else "nearest"

    def spread(values: Array) -> Array:
        return np.asarray(maximum_filter1d(np.nan_to_num(values), reach, mode=mode))

    base = max(subject.train.longest_rigid_mm, st.wheelbase_mm)
    twist = spread(twist_mm(subject, base)[0]) / (OWN_SHARES["twist"] * gauge)
    curve = np.abs(np.nan_to_num(st.curvature_1_mm)) * SHARP_GAUGES * gauge
    edge = spread(edge_gap_mm(subject, max(subject.longest_mm, st.wheelbase_mm))[0]) / (0.1 * gauge)
    turn = spread(_reverse(subject))
    faults = {kind: spread(_faults(subject, kind)) for kind in ("kink", "dip", "hump", "one_rail_dip", "lateral")}
    jolt = (speed_mm_s / DIP_SPEED_MM_S) ** 2
    steps = np.maximum(faults["dip"], faults["hump"])
    return {
        "twist over the wheelbase": twist**2,
        "twist in a curve": twist * curve,
        "kink": faults["kink"] ** 2,
        "kink in a curve": faults["kink"] * curve,
        "one rail low": faults["one_rail_dip"] ** 2,
        "dip or hump at speed": jolt * steps**2,
        "bend out of line": 0.5 * faults["lateral"] ** 2,
        "short reverse": turn**2,
        "change of gradient in a curve": edge * curve,
        "sharp curve": np.where(curve > 1.0, curve**2, 0.0),
    }


def _reverse(subject: Subject) -> Array:
    """Twice the gentler of two curvatures of opposite hand, a longest vehicle apart, over a sharp one's."""
    st = subject.line.stations
    s, half = st.s_mm, 0.5 * subject.longest_mm
    if st.closed:
        at, k = np.concatenate([s - st.length_mm, s, s + st.length_mm]), np.tile(st.curvature_1_mm, 3)
    else:
        at, k = s, st.curvature_1_mm
    before, after = np.interp(s - half, at, k), np.interp(s + half, at, k)
    gentler = np.minimum(np.abs(before), np.abs(after)) * SHARP_GAUGES * subject.gauge_mm
    return np.where(before * after < 0, 2.0 * gentler, 0.0)


def _faults(subject: Subject, kind: str) -> Array:
    """Faults of a kind over what the trade puts up with, at the stations next to them."""
    st = subject.line.stations
    out = np.zeros(len(st.s_mm))
    limit = KINK_DEG if kind == "kink" else OWN_SHARES[kind] * subject.gauge_mm
    for fault in subject.line.faults:
        if fault.kind == kind:
            i = int(np.argmin(np.abs(st.s_mm - fault.s_mm)))
            out[i] = max(out[i], abs(fault.size) / limit)
    return out

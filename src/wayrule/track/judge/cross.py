"""Judging across the rails: cant, cant the wrong way, cant ramps, twist over the wheelbase; and the local faults."""

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from wayrule.model import Finding
from wayrule.model.arrays import Array
from wayrule.track.judge.plan import arcs
from wayrule.track.judge.subject import Subject

GAUSS: Final = 1.4826
"""Sd of a normal distribution over the median of its sizes."""

FAULT_WORDS: Final = {
    "kink": "kink",
    "dip": "dip",
    "hump": "hump",
    "one_rail_dip": "dip of one rail",
    "twist": "twist",
    "lateral": "bend out of line",
}


def cross_findings(subject: Subject) -> Iterator[Finding]:
    """Findings of cant and twist, then of the faults of the survey."""
    st = subject.line.stations
    for rule in subject.rules.of("cant"):
        yield from subject.scanned(rule, np.abs(st.cant_mm), st.cant_sd_mm, window_mm=st.wheelbase_mm)
    yield from _against(subject)
    yield from _ramps(subject)
    faults = list(fault_findings(subject))
    yield from faults
    near = [f.s_mm for f in faults if f.kind in ("twist", "one_rail_dip")]
    for rule in subject.rules.of("twist"):
        base = max(subject.train.longest_rigid_mm, st.wheelbase_mm)
        what = f"change of cant over {base:.0f} mm"
        for found in subject.scanned(rule, *twist_mm(subject, base), window_mm=base, what=what):
            # the survey has a name for what is local: told once
            if found.verdict == "pass" or not any(found.s0_mm - base <= s <= found.s1_mm + base for s in near):
                yield found


def twist_mm(subject: Subject, base_mm: float) -> tuple[Array, Array]:
    """Change of cant over a base centred at each station, without sign, and its sigma [mm]; NaN near open ends.

    The cant's unknown constant cancels in a difference. What is left of its sigma is not known apart from it, so the
    scatter of the line's own cant about straight ramps stands for it (robust, and more than the noise where the track
    itself is uneven), and never more than the root of two times the cant's sigma.
    """
    st = subject.line.stations
    s = st.s_mm
    half = 0.5 * base_mm
    if st.closed:
        at = np.concatenate([s - st.length_mm, s, s + st.length_mm])
        cant = np.tile(st.cant_mm, 3)
    else:
        at, cant = s, st.cant_mm
    before, after = np.interp(s - half, at, cant), np.interp(s + half, at, cant)
    twist = np.abs(after - before)
    if not st.closed:
        twist = np.where((s - half < s[0]) | (s + half > s[-1]), np.nan, twist)
    bend = np.abs(before - 2.0 * st.cant_mm + after)
    scatter = GAUSS * float(np.nanmedian(bend)) / math.sqrt(3.0) if np.isfinite(bend).any() else math.nan
    least = float(np.nanmin(st.cant_sd_mm)) if np.isfinite(st.cant_sd_mm).any() else math.nan
    own = np.sqrt(np.maximum(st.cant_sd_mm**2 - least**2, 0.0))
    return twist, np.minimum(math.sqrt(2.0) * st.cant_sd_mm, np.maximum(math.sqrt(2.0) * own, scatter))


def _against(subject: Subject) -> Iterator[Finding]:
    """Mean cant of an arc with its inner rail high."""
    st = subject.line.stations
    for rule in subject.rules.of("cant_against"):
        for arc in arcs(subject):
            on_it = (st.s_mm >= arc.s0_mm) & (st.s_mm <= arc.s1_mm)
            if not on_it.any():
                continue
            # outer rail high: cant has the sign of minus the curvature
            mean = float(np.mean(st.cant_mm[on_it])) * math.copysign(1.0, arc.radius_mm)
            sd = float(np.mean(st.cant_sd_mm[on_it]))
            middle = 0.5 * (arc.s0_mm + arc.s1_mm)
            what = "cant, the inner rail high" if mean > 0 else "cant with the curve, told as below 0"
            yield subject.finding(rule, mean, sd, middle, ends=(arc.s0_mm, arc.s1_mm), what=what)


def _ramps(subject: Subject) -> Iterator[Finding]:
    """Cant over the length of each transition."""
    st = subject.line.stations
    for rule in subject.rules.of("cant_ramp"):
        for piece in subject.pieces("plan"):
            if piece.kind != "transition" or piece.s1_mm > st.s_mm[-1]:
                continue
            a, b = (float(np.interp(s, st.s_mm, st.cant_mm)) for s in (piece.s0_mm, piece.s1_mm))
            sd = math.sqrt(2.0) * float(np.interp(0.5 * (piece.s0_mm + piece.s1_mm), st.s_mm, st.cant_sd_mm))
            middle = 0.5 * (piece.s0_mm + piece.s1_mm)
            yield subject.finding(
                rule, abs(b - a) / piece.length_mm, sd / piece.length_mm, middle, ends=(piece.s0_mm, piece.s1_mm)
            )


def fault_findings(subject: Subject) -> Iterator[Finding]:
    """The survey's own faults against the limits for their kind; that they are there, the survey has made sure of."""
    for fault in subject.line.faults:
        for rule in subject.rules.of(fault.kind):
            what = f"{fault.rail} rail low" if fault.rail else FAULT_WORDS[fault.kind]
            if fault.kind in ("kink", "lateral"):
                what += ", to the left" if fault.size > 0 else ", to the right"
            yield subject.finding(rule, abs(fault.size), fault.sd, fault.s_mm, what=what, rail=fault.rail)

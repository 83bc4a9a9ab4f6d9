"""Judging the profile: gradient, gradient with the curve on it, vertical curves, gap under a straight-edge."""

import math
from collections.abc import Iterator

import numpy as np

from wayrule.model import Element, Finding
from wayrule.model.arrays import Array
from wayrule.track.judge.plan import arcs
from wayrule.track.judge.subject import Subject


def profile_findings(subject: Subject) -> Iterator[Finding]:
    """Findings of the profile, rule by rule."""
    for piece in subject.pieces("profile"):
        if piece.kind == "grade":
            yield from _grade(subject, piece)
        else:
            yield from _vertical_curve(subject, piece)
    yield from _straight_edge(subject)


def _grade(subject: Subject, piece: Element) -> Iterator[Finding]:
    """The gradient alone, and together with the sharpest curve on it."""
    middle, ends = 0.5 * (piece.s0_mm + piece.s1_mm), (piece.s0_mm, piece.s1_mm)
    mean = 0.5 * (piece.gradient0 + piece.gradient1)
    size, sd = 100.0 * abs(mean), 100.0 * piece.gradient_sd
    for rule in subject.rules.of("gradient"):
        yield subject.finding(rule, size, sd, middle, ends=ends, what=_way(mean, piece.gradient_sd))
    for rule in subject.rules.of("compensated"):
        on_it = [
            (arc, max(arc.s0_mm, piece.s0_mm), min(arc.s1_mm, piece.s1_mm))
            for arc in arcs(subject)
            if min(arc.s1_mm, piece.s1_mm) - max(arc.s0_mm, piece.s0_mm) > subject.line.stations.wheelbase_mm
        ]
        if not on_it:
            continue
        arc, a, b = min(on_it, key=lambda one: abs(one[0].radius_mm))
        extra = rule.coefficient_mm / abs(arc.radius_mm)
        both_sd = math.hypot(sd, extra * arc.radius_sd_mm / abs(arc.radius_mm))
        yield subject.finding(rule, size + extra, both_sd, 0.5 * (a + b), ends=(a, b))


def _way(gradient: float, sd: float) -> str:
    """Up, down, or level within its sigma."""
    return "gradient" if abs(gradient) <= 2.0 * sd else "gradient, up" if gradient > 0 else "gradient, down"


def _vertical_curve(subject: Subject, piece: Element) -> Iterator[Finding]:
    """Radius of a vertical curve: its length over the change of gradient."""
    change = abs(piece.gradient1 - piece.gradient0)
    if not change > 0:
        return
    radius = piece.length_mm / change
    relative = math.hypot(piece.length_sd_mm / piece.length_mm, math.sqrt(2.0) * piece.gradient_sd / change)
    middle, ends = 0.5 * (piece.s0_mm + piece.s1_mm), (piece.s0_mm, piece.s1_mm)
    for rule in subject.rules.of("vertical_radius"):
        kind = "hump" if piece.gradient1 < piece.gradient0 else "hollow"
        yield subject.finding(rule, radius, radius * relative, middle, ends=ends, what=f"vertical radius of a {kind}")


def edge_gap_mm(subject: Subject, edge_mm: float) -> tuple[Array, Array]:
    """Gap in the middle of a straight-edge centred at each station, and its sigma [mm]; NaN near open ends.

    The gap is a quarter of the edge times the difference of the mean gradients under its halves; what both halves share
    cancels, so the root of two times the gradient's own sigma is an upper bound.
    """
    st = subject.line.stations
    s, z = st.s_mm, st.z_mm
    half = 0.5 * edge_mm
    period = st.length_mm if st.closed else None
    if period is not None:
        climb = 0.0  # a closed line comes back to its height
        ext_s = np.concatenate([s - period, s, s + period])
        ext_z = np.concatenate([z - climb, z, z + climb])
    else:
        ext_s, ext_z = s, z
    ends = 0.5 * (np.interp(s - half, ext_s, ext_z) + np.interp(s + half, ext_s, ext_z))
    gap = np.abs(z - ends)
    sd = 0.25 * edge_mm * math.sqrt(2.0) * st.gradient_sd
    if period is None:
        off = (s - half < s[0]) | (s + half > s[-1])
        gap = np.where(off, np.nan, gap)
    return gap, sd


def _straight_edge(subject: Subject) -> Iterator[Finding]:
    for rule in subject.rules.of("straight_edge"):
        gap, sd = edge_gap_mm(subject, rule.base_mm)
        if len(gap):
            yield from subject.scanned(rule, gap, sd, window_mm=rule.base_mm)

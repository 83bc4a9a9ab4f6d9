"""Judging the plan: radius, blunt wheels, transitions, reverse curves."""

import math
from collections.abc import Iterator

from wayrule.model import Element, Finding
from wayrule.track.judge.geometry import attack_deg
from wayrule.track.judge.subject import Subject


def plan_findings(subject: Subject) -> Iterator[Finding]:
    """Findings of the plan, rule by rule."""
    yield from radii(subject)
    yield from transitions(subject)
    yield from reverses(subject)


def arcs(subject: Subject) -> list[Element]:
    """The arcs, by chainage."""
    return [piece for piece in subject.pieces("plan") if piece.kind == "arc"]


def radii(subject: Subject) -> Iterator[Finding]:
    """Every arc against the least radius, and the angle of the longest rigid frame on it."""
    for piece in arcs(subject):
        middle, ends = 0.5 * (piece.s0_mm + piece.s1_mm), (piece.s0_mm, piece.s1_mm)
        radius, sd = abs(piece.radius_mm), piece.radius_sd_mm
        for rule in filter(subject.applies, subject.rules.of("radius")):
            yield subject.finding(rule, radius, sd, middle, ends=ends)
        for rule in subject.rules.of("attack"):
            angle = float(attack_deg(subject.train.longest_rigid_mm, radius))
            yield subject.finding(rule, angle, angle * sd / radius, middle, ends=ends)


def transitions(subject: Subject) -> Iterator[Finding]:
    """Both ends of every arc that needs a transition: is there one, and is it long enough?

    Between arcs of one hand none is asked for (a compound curve), nor beyond the end of an open line.
    """
    wheelbase = subject.line.stations.wheelbase_mm
    for before, piece, after in subject.neighbours("plan"):
        if piece.kind != "arc":
            continue
        for beside, s_mm, own_sd in ((before, piece.s0_mm, piece.s0_sd_mm), (after, piece.s1_mm, piece.s1_sd_mm)):
            if beside is None or (beside.kind == "arc" and beside.radius_mm * piece.radius_mm > 0):
                continue
            bare = beside.kind != "transition"
            # what is shorter than the body that felt it looks like none
            size, sd = (0.0, math.hypot(own_sd, 0.5 * wheelbase)) if bare else (beside.length_mm, beside.length_sd_mm)
            ends = None if bare else (min(beside.s0_mm, s_mm), max(beside.s1_mm, s_mm))
            yield from _transition(subject, piece, size, sd, s_mm, ends)


def _transition(
    subject: Subject, arc: Element, size: float, sd: float, s_mm: float, ends: tuple[float, float] | None
) -> Iterator[Finding]:
    radius = abs(arc.radius_mm)
    for rule in subject.rules.of("transition"):
        if radius <= rule.above_gauges * subject.gauge_mm:
            yield subject.finding(rule, size, sd, s_mm, ends=ends)
    for rule in subject.rules.of("transition_shift"):
        if radius <= rule.above_gauges * subject.gauge_mm:
            shift, shift_sd = size**2 / (24.0 * radius), 2.0 * max(size, sd) * sd / (24.0 * radius)
            yield subject.finding(rule, shift, shift_sd, s_mm, ends=ends)


def reverses(subject: Subject) -> Iterator[Finding]:
    """Two arcs of opposite hand: the straight between them. With a transition on each, none is needed (NEM 113 s2)."""
    rules = subject.rules.of("between_reverse")
    pieces = subject.pieces("plan")
    if not rules or len(pieces) < 2:
        return
    n, closed = len(pieces), subject.line.stations.closed
    for i, first in enumerate(pieces):
        if first.kind != "arc":
            continue
        between: list[Element] = []
        for k in range(i + 1, i + n if closed else n):
            piece = pieces[k % n]
            if piece.kind == "arc":
                break
            between.append(piece)
        else:
            continue
        if piece.radius_mm * first.radius_mm > 0 or sum(p.kind == "transition" for p in between) >= 2:
            continue
        straights = [p for p in between if p.kind == "straight"]
        size = sum(p.length_mm for p in straights)
        sd = (
            math.hypot(*(p.length_sd_mm for p in straights))
            if straights
            else math.hypot(first.s1_sd_mm, piece.s0_sd_mm)
        )
        s_mm = first.s1_mm + 0.5 * sum(p.length_mm for p in between)
        ends = (first.s1_mm, first.s1_mm + sum(p.length_mm for p in between))
        for rule in rules:
            yield subject.finding(rule, size, sd, s_mm, ends=ends)

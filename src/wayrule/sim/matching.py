"""Which elements and faults of the truth a survey has found, and which it made up.

All chainages here are the railway's; a survey that ran the other way is turned round first (see `metrics`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wayrule.model import Element, Fault


@dataclass(frozen=True, slots=True)
class Matching:
    """What was found of what is there.

    wanted, claimed, found   how many are there, were claimed, are both
    place_mm                 surveyed minus true place of each one found (middle of an element)
    size                     the same for its size (mm or deg; mean curvature in 1/mm or gradient for elements)
    pairs                    (true, surveyed) element of each one found
    """

    wanted: int
    claimed: int
    found: int
    place_mm: tuple[float, ...]
    size: tuple[float, ...]
    pairs: tuple[tuple[Element, Element], ...] = ()

    @property
    def recall(self) -> float:
        """Share of what is there that was found; NaN where nothing is there."""
        return self.found / self.wanted if self.wanted else float("nan")

    @property
    def precision(self) -> float:
        """Share of what was claimed that is there; NaN where nothing was claimed."""
        return self.found / self.claimed if self.claimed else float("nan")


def _away(a: float, b: float, period_mm: float | None) -> float:
    """a - b, the short way round on a closed line."""
    away = a - b
    return away if period_mm is None else (away + period_mm / 2) % period_mm - period_mm / 2


def match_faults(
    truth: Sequence[Fault], claimed: Sequence[Fault], *, within_mm: float, period_mm: float | None = None
) -> Matching:
    """Pair faults of one kind (one sign, one rail) whose places differ by at most `within_mm`, nearest first.

    >>> there = [Fault("dip", 500.0, 0.6, "mm", 0.0)]
    >>> match_faults(there, [Fault("dip", 510.0, 0.5, "mm", 0.1)], within_mm=65.0).place_mm
    (10.0,)
    """
    pairs = sorted(
        (abs(_away(c.s_mm, t.s_mm, period_mm)), i, j)
        for i, t in enumerate(truth)
        for j, c in enumerate(claimed)
        if (t.kind, t.rail, t.size > 0) == (c.kind, c.rail, c.size > 0)
    )
    used: list[tuple[int, int]] = []
    for distance, i, j in pairs:
        if distance <= within_mm and all(i != a and j != b for a, b in used):
            used.append((i, j))
    return Matching(
        len(truth),
        len(claimed),
        len(used),
        tuple(_away(claimed[j].s_mm, truth[i].s_mm, period_mm) for i, j in used),
        tuple(claimed[j].size - truth[i].size for i, j in used),
    )


def _ends(e: Element) -> tuple[float, float]:
    return (e.curvature0_1_mm, e.curvature1_1_mm) if e.plane == "plan" else (e.gradient0, e.gradient1)


def joined(elements: Sequence[Element], period_mm: float | None) -> list[Element]:
    """Elements with neighbours that go on alike made one, across the seam of a closed line as well."""
    out: list[Element] = []
    for e in elements:
        if out and _goes_on(out[-1], e):
            out[-1] = _join(out[-1], e)
        else:
            out.append(e)
    if period_mm is not None and len(out) > 1 and _goes_on(out[-1], out[0]):
        first = out.pop(0)
        out[-1] = _join(out[-1], replace(first, s0_mm=first.s0_mm + period_mm, s1_mm=first.s1_mm + period_mm))
    return out


def _goes_on(a: Element, b: Element) -> bool:
    (a0, a1), (b0, b1) = _ends(a), _ends(b)
    small = 1e-9 + 1e-6 * max(abs(a1), abs(b0))
    return a.kind == b.kind and abs(a1 - b0) < small and abs((a1 - a0) * b.length_mm - (b1 - b0) * a.length_mm) < 1e-6


def _join(a: Element, b: Element) -> Element:
    return replace(
        a,
        s1_mm=b.s1_mm,
        curvature1_1_mm=b.curvature1_1_mm,
        gradient1=b.gradient1,
        turned_rad=a.turned_rad + b.turned_rad,
        length_sd_mm=float("nan"),  # ends of several pieces: not known from theirs
        turned_sd_rad=float("nan"),
        rise_sd_mm=float("nan"),
    )


def _overlap(a: Element, b: Element, period_mm: float | None) -> float:
    """Common length over the longer of both; 1 for the same stretch."""
    shift = 0.0
    if period_mm is not None:
        middle = (a.s0_mm + a.s1_mm - b.s0_mm - b.s1_mm) / 2
        shift = period_mm * round(middle / period_mm)
    common = min(a.s1_mm, b.s1_mm + shift) - max(a.s0_mm, b.s0_mm + shift)
    return common / max(a.length_mm, b.length_mm)


def match_elements(
    truth: Sequence[Element], claimed: Sequence[Element], *, shortest_mm: float, period_mm: float | None = None
) -> Matching:
    """Pair elements of one plane: the same kind, sharing more than half of the longer one, best overlap first.

    Elements shorter than `shortest_mm` are neither asked for nor held against the survey. Arcs must bend the same way.
    """
    there = [e for e in joined(truth, period_mm) if e.length_mm >= shortest_mm]
    said = [e for e in joined(claimed, period_mm) if e.length_mm >= shortest_mm]
    pairs = sorted(
        (-_overlap(t, c, period_mm), i, j)
        for i, t in enumerate(there)
        for j, c in enumerate(said)
        if t.kind == c.kind and (t.kind != "arc" or sum(_ends(t)) * sum(_ends(c)) > 0)
    )
    used: list[tuple[int, int]] = []
    for overlap, i, j in pairs:
        if overlap < -0.5 and all(i != a and j != b for a, b in used):
            used.append((i, j))
    middle = [((said[j].s0_mm + said[j].s1_mm) / 2, (there[i].s0_mm + there[i].s1_mm) / 2) for i, j in used]
    return Matching(
        len(there),
        len(said),
        len(used),
        tuple(_away(a, b, period_mm) for a, b in middle),
        tuple(float(np.mean(_ends(said[j])) - np.mean(_ends(there[i]))) for i, j in used),
        tuple((there[i], said[j]) for i, j in used),
    )


def normalised(pairs: Sequence[tuple[Element, Element]]) -> dict[str, tuple[float, ...]]:
    """Errors over claimed sigmas of surveyed elements: their length, curvature of arcs, turn of arcs and transitions,
    rise; those without a sigma left out. Lengths and rises on the railway's scale, curvature as surveyed.
    """
    out: dict[str, list[float]] = {"length": [], "curvature": [], "turn": [], "rise": []}
    for true, said in pairs:
        out["length"].append((said.length_mm - true.length_mm) / said.length_sd_mm)
        if true.plane == "profile":
            out["rise"].append((said.rise_mm - true.rise_mm) / said.rise_sd_mm)
        elif true.kind != "straight":
            out["turn"].append((said.turned_rad - true.turned_rad) / said.turned_sd_rad)
        if true.kind == "arc":
            out["curvature"].append((said.curvature0_1_mm - true.curvature0_1_mm) / said.curvature_sd_1_mm)
    return {name: tuple(z for z in values if np.isfinite(z)) for name, values in out.items()}

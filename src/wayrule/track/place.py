"""Where each run lies on the line, and which way round its wagon stood, before anything is adjusted."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Travel
from wayrule.model.arrays import Array
from wayrule.model.facts import START_LEVEL_SD, Facts
from wayrule.track.laps import Laps, find_laps, stated_laps
from wayrule.track.plain import first_way
from wayrule.track.signature import Signature, lowest, misfit_by_shift, signature
from wayrule.track.unbroken import unbroken

CLEARLY_BETTER = 0.75
"""A wagon counts as turned without being told only when that fits this many times better."""

_TURNED = {1: "not turned", -1: "turned"}

Decision = tuple[str, str, str, str]
"""What, the answer, why, how to overrule it."""

UNRELATED = 0.75
"""A run whose best misfit is above this does not show the same track."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A run on the line: chainage = start_mm + way * stretch * wheel distance (first guess).

    way      +1 the wagon's front points to growing chainage, -1 it was turned end for end
    stretch  line chainage per wheel distance of this run, relative to the line's
    misfit   of its signature against the line's; NaN for the first run
    """

    travel: Travel
    start_mm: float
    way: int
    stretch: float
    misfit: float


@dataclass(frozen=True, slots=True)
class Line:
    """All runs placed on one line. `lap_mm` is None on an open line; `turns` counts whole turns in one lap."""

    runs: tuple[Placed, ...]
    lap_mm: float | None
    turns: int
    laps: tuple[Laps | None, ...]
    decisions: tuple[Decision, ...]


def place(travels: Sequence[Travel], facts: Facts, wheelbase_mm: float, cell_mm: float) -> Line:
    """Find laps, ways and starts; what the person stated is held, and everything else is decided and told."""
    whole = [unbroken(t, wheelbase_mm) for t in travels]
    laps = _agreed([_laps(t, part, facts, cell_mm) for t, part in zip(travels, whole, strict=True)], travels, whole)
    decisions = [_lap_decision(t, f, facts) for t, f in zip(travels, laps, strict=True)]
    first = travels[0]
    way, why = _first_way(first, facts)
    decisions.append(why)
    known = [f for f in laps if f is not None]
    lap = (laps[0] or known[0]).lap_mm if known else None
    turns = (laps[0] or known[0]).turns * way if known else 0
    reference = _oriented(signature(whole[0], cell_mm), way)
    placed = [Placed(first, 0.0, way, 1.0, float("nan"))]
    for travel, part, own in zip(travels[1:], whole[1:], laps[1:], strict=True):
        raw = signature(part, cell_mm)
        one, why = _place_one(travel, raw, own, reference, lap, facts, way * wheelbase_mm / 2)
        placed.append(one)
        decisions.append(why)
        if lap is None:
            reference = _joined(reference, _oriented(raw, one.way), one)
    return Line(tuple(placed), lap, turns, laps, tuple(decisions))


def _first_way(first: Travel, facts: Facts) -> tuple[int, Decision]:
    """Which way the first run's wagon points: chainage grows the way it first travels, unless a person says."""
    what, change = f"way of {first.run}", "--turned RUN or --not-turned RUN"
    rolls = first_way(first) or 1
    if first.run not in facts.turned | facts.not_turned:
        seen = f"it first rolls {'towards its front' if rolls > 0 else 'backwards'}, and chainage grows that way"
        return rolls, (what, _TURNED[rolls], seen, change)
    way = -1 if first.run in facts.turned else 1
    against = "" if way == rolls else "; so chainage grows against its first movement"
    return way, (what, _TURNED[way], f"stated{against}", change)


def start_decision(facts: Facts) -> Decision:
    """How level the start is taken to be, which an unturned open line rests its heights on."""
    stated = facts.start_level_sd != START_LEVEL_SD
    why = "stated" if stated else "model lines start nearly level; turned runs, laps and known heights outweigh it"
    return "level of the start", f"level to ±{1000 * facts.start_level_sd:g} per mille", why, "--start-level PER_MILLE"


def _laps(travel: Travel, part: Travel, facts: Facts, cell_mm: float) -> Laps | None:
    """Laps as stated, or as found in the unbroken part; the length of a lap is never taken across a break if the part
    shows it."""
    if facts.open:
        return None
    stated = facts.laps.get(travel.run)
    if stated is None:
        return find_laps(part, cell_mm)
    laps = stated_laps(travel, stated, cell_mm)
    found = find_laps(part, cell_mm) if part is not travel else None
    return replace(laps, lap_mm=found.lap_mm) if found is not None else laps


def _agreed(laps: Sequence[Laps | None], travels: Sequence[Travel], parts: Sequence[Travel]) -> tuple[Laps | None, ...]:
    """A broken run whose own part shows no lap takes the lap's length from a run that is whole."""
    sure = [f for f, t, part in zip(laps, travels, parts, strict=True) if f is not None and part is t]
    return tuple(
        replace(f, lap_mm=sure[0].lap_mm) if f is not None and f.stated and part is not t and sure else f
        for f, t, part in zip(laps, travels, parts, strict=True)
    )


def _lap_decision(travel: Travel, found: Laps | None, facts: Facts) -> Decision:
    what, change = f"laps of {travel.run}", "RUN@laps=N or --open"
    if found is None:
        why = "stated" if facts.open else "no stretch of it is travelled again one lap later"
        return what, "none: an open line", why, change
    answer = f"{found.laps:.4g} of {found.lap_mm:.0f} mm by the wheel, {found.turns:+d} whole turns each"
    if found.stated:
        return what, answer, "stated", change
    why = f"the same bends come again a lap later (misfit {found.misfit:.2f}) and the plain reading closes there"
    return what, answer, why, change


def _oriented(sig: Signature, way: int) -> Signature:
    return sig if way > 0 else sig.mirrored()


def _place_one(
    travel: Travel,
    raw: Signature,
    own: Laps | None,
    reference: Signature,
    lap: float | None,
    facts: Facts,
    middle_mm: float,
) -> tuple[Placed, Decision]:
    stretch = lap / own.lap_mm if lap is not None and own is not None else 1.0
    fits = {way: _fit(_oriented(raw, way), reference, lap, raw.cell_mm) for way in (1, -1)}
    way, why = _way_of(travel.run, facts, {way: fit[1] for way, fit in fits.items()})
    start, misfit = fits[way]
    if misfit > UNRELATED:
        raise UndeterminedError(
            expected="every run to show the same line of track",
            came=f"a run that fits nowhere (misfit {misfit:.2f}; 0 is equal, 1 unrelated)",
            where=travel.run,
            next_step="survey it by itself, or check --turned and that the wheel sensor ran",
        )
    # Signatures belong to the middle of the body; the origin is under its rear support, which a turned wagon has ahead.
    start += middle_mm - way * abs(middle_mm)
    how = f"{why}; starts at {start:.0f} mm of the line, misfit {misfit:.2f}"
    return Placed(travel, start, way, stretch, misfit), (
        f"way of {travel.run}", _TURNED[way], how, "--turned RUN or --not-turned RUN",
    )  # fmt: skip


def _way_of(run: str, facts: Facts, misfit: dict[int, float]) -> tuple[int, str]:
    """Turned or not, and why: as stated, else as it fits if that is clear, else not turned."""
    better = {way: misfit[way] < CLEARLY_BETTER * misfit[-way] for way in (1, -1)}
    if run in facts.turned | facts.not_turned:
        way = -1 if run in facts.turned else 1
        doubt = f", though it fits better {_TURNED[-way]} (misfit {misfit[-way]:.2f})" if better[-way] else ""
        return way, f"stated{doubt}"
    if better[-1]:
        return -1, f"fits far better turned (misfit {misfit[-1]:.2f} against {misfit[1]:.2f})"
    return 1, "not said to be turned"


def _fit(sig: Signature, reference: Signature, lap: float | None, cell_mm: float) -> tuple[float, float]:
    """Chainage of the run's distance zero, and the misfit there."""
    if lap is None:
        least = max(10, int(0.4 * min(len(sig.turn), len(reference.turn))))
        shift, misfit = misfit_by_shift(reference, sig, period=None, least=least)
    else:
        period = max(round(lap / cell_mm), 8)
        shift, misfit = misfit_by_shift(_once_round(reference, period), sig, period=period, least=period // 5)
    at, depth = lowest(shift, misfit)
    return reference.start_mm + at * cell_mm - sig.start_mm, depth


def _once_round(sig: Signature, period: int) -> Signature:
    """The reference's first lap; cells it never reached stay missing."""
    turn, rise = (np.full(period, np.nan) for _ in range(2))
    n = min(period, len(sig.turn))
    turn[:n], rise[:n] = sig.turn[:n], sig.rise[:n]
    return Signature(sig.start_mm, sig.cell_mm, turn, rise)


def _joined(reference: Signature, sig: Signature, placed: Placed) -> Signature:
    """The reference carried on over ground that only the new run covers."""
    cell = reference.cell_mm
    offset = round((sig.start_mm + placed.start_mm - reference.start_mm) / cell)
    low = min(0, offset)
    high = max(len(reference.turn), offset + len(sig.turn))

    def join(old: Array, new: Array) -> Array:
        out = np.full(high - low, np.nan)
        out[offset - low : offset - low + len(new)] = new
        kept = np.isfinite(old)
        out[-low : -low + len(old)][kept] = old[kept]
        return out

    return Signature(
        reference.start_mm + low * cell, cell, join(reference.turn, sig.turn), join(reference.rise, sig.rise)
    )

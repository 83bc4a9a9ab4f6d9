"""The axle's turning field from a spin, a roll or any run, and what has changed since it was last learnt."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

from wayrule.errors import UndeterminedError, WayruleError
from wayrule.model import AxleDrift, AxleLearned, Calibration, CalibrationPart, DryTest, Wagon
from wayrule.model.calibrationday import Standing
from wayrule.pipeline.attempts import Attempts
from wayrule.pipeline.looks import Look
from wayrule.run.axle import learn_axle
from wayrule.run.axledrift import axle_drift
from wayrule.run.axledry import dry_test
from wayrule.units import DEG

NAME: Final = "axle angle"

LOOSE: Final = (
    "Loose magnets must not be swallowed, and are kept away from heart implants: count them, and keep them from "
    "children and animals; with epoxy, gloves and fresh air. `wayrule bench` has the cautions of every step; local "
    "rules come first."
)

UNSENSED: Final = frozenset({"position", "dry"})
"""Kinds whose field is none of the finished wagon on its wheels."""

DO_SPIN: Final = (
    "Turn the axle by hand, or roll the wagon, one way for twenty turns and more in one recording, forward first: "
    "RUN@spin=forward."
)
DO_FIELD: Final = "There is no turning field to learn: these recordings have another wheel sensor, or none."


@dataclass(frozen=True, slots=True, eq=False)
class FoundAxle:
    """What the field of the axle has told; `learned` is None where nothing was fit to learn from."""

    part: CalibrationPart
    learned: AxleLearned | None
    drifts: tuple[tuple[str, AxleDrift], ...]
    dry: DryTest | None


def find_axle(looks: Sequence[Look], wagon: Wagon, calibration: Calibration | None) -> FoundAxle:
    """The reference that later runs are read by, and how today's field compares with the one that was known."""
    out = Attempts()
    dry = _dry(looks, wagon, out)
    sensed = [
        one for one in looks if one.recording.field_mt is not None and one.purpose.kind not in ("position", "dry")
    ]
    drifts = tuple(_drifts(sensed, wagon, calibration))
    out.told += [_drift_words(name, found) for name, found in drifts]
    learned = _learnt(sensed, wagon, out)
    if learned is not None:
        out.told[:0] = _learned_words(learned, wagon)
    known = learned is not None or (calibration is not None and calibration.axle is not None)
    changed = any(found.likeliest.kind != "nothing" for _, found in drifts) and learned is None
    todo = "" if known and not changed else DO_SPIN
    if dry is not None and learned is None:
        todo = _after_dry(dry)
    standing: Standing = "partly known" if changed else "known" if known else "not yet known"
    if not known and not sensed and dry is None:
        other = any(one.travel is not None for one in looks)
        todo = f"{DO_FIELD} With a field sensor: {DO_SPIN}" if other else DO_SPIN
    return FoundAxle(CalibrationPart(NAME, standing, tuple(out.told), tuple(out.refused), todo), learned, drifts, dry)


def _dry(looks: Sequence[Look], wagon: Wagon, out: Attempts) -> DryTest | None:
    """Whether the magnets can be fixed as they sit, by the last dry test of the day."""
    found = None
    for one in looks:
        if one.purpose.kind == "dry":
            found = out.run(partial(_dry_test, one, wagon)) or found
    if found is not None:
        out.told += [f"Dry test: {found.text}", *found.steps, LOOSE]
    return found


def _dry_test(one: Look, wagon: Wagon) -> DryTest:
    if wagon.sensor.place_mm is None:
        raise UndeterminedError(
            expected="the field sensor's place_mm under [sensor] of the wagon file, for a dry test",
            came="none",
            where=one.name,
            next_step="add it: forward, left, up from the axle's centre, mm",
        )
    return dry_test(one.recording, wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt)


def _after_dry(found: DryTest) -> str:
    """What a dry test asks for next."""
    if found.word == "fix":
        return f"Fix the magnets. Then: {DO_SPIN}"
    if found.word == "shift":
        return "Shift the magnets as the dry test says, and test again before any glue: RUN@dry."
    return "Turn the axle on by hand and test again before any glue: RUN@dry."


def _learnt(sensed: Sequence[Look], wagon: Wagon, out: Attempts) -> AxleLearned | None:
    """From the spin that teaches most, else from any run; only a spin's refusal is worth a word."""
    best = None
    for one in sensed:
        if one.purpose.kind == "spin":
            found = out.run(partial(_learn, one, wagon))
            if found is not None and (best is None or found.ripple_sd_rad < best.ripple_sd_rad):
                best = found
    if best is not None:
        return best
    for one in sorted(sensed, key=lambda look: -look.recording.n):
        if one.purpose.kind != "spin" and one.travel is not None:
            try:
                return _learn(one, wagon)
            except WayruleError:
                continue
    return None


def _learn(one: Look, wagon: Wagon) -> AxleLearned:
    return learn_axle(
        one.recording,
        place_mm=wagon.sensor.place_mm,
        noise_mt=wagon.sensor.noise_mt,
        diameter_mm=wagon.wheel.diameter_mm,
        pushed_forward_first=one.purpose.forward_first,
    )


def _drifts(sensed: Sequence[Look], wagon: Wagon, calibration: Calibration | None) -> Iterator[tuple[str, AxleDrift]]:
    """Each of today's recordings against the field that was known."""
    if calibration is None or calibration.axle is None:
        return
    magnets = wagon.magnets
    usual = magnets.remanence_change_pct_k if magnets is not None else None
    for one in sensed:
        field = one.recording.field_mt
        assert field is not None
        warm = one.recording.temp_c
        try:
            yield one.name, axle_drift(
                calibration.axle, one.recording.t_s, field,
                place_mm=wagon.sensor.place_mm,
                temperature_c=math.nan if warm is None else _mean(warm.tolist()),
                change_pct_k=-0.12 if usual is None else usual,
                pair=magnets is None or magnets.kind == "disc_pair",
                run=one.name,
            )  # fmt: skip
        except WayruleError:
            continue  # a recording without readings in those axes says nothing of a change


def _mean(values: Sequence[float]) -> float:
    known = [value for value in values if math.isfinite(value)]
    return sum(known) / len(known) if known else math.nan


def _drift_words(name: str, found: AxleDrift) -> str:
    """One sentence on what has changed since the axle was learnt."""
    cause = found.likeliest
    if cause.kind == "nothing":
        return f"{name}: the field is as it was learnt."
    advice = f" {cause.advice}" if cause.advice else ""
    return f"{name}, against the field that was learnt: {cause.text} ({100 * cause.probability:.0f} % sure).{advice}"


def _learned_words(found: AxleLearned, wagon: Wagon) -> list[str]:
    """How wrong a plain reading is, what is taken out, and what remains."""
    reference = found.reference
    long, short = reference.semi_axes_mt
    name = reference.runs[0][0] if reference.runs else "the recording"
    um = f" = {found.travel_um(wagon.wheel.diameter_mm):.0f} um of travel" if wagon.wheel.diameter_mm else ""
    each = ", ".join(f"{one.order}: {one.ring_rad / DEG:.2f}" for one in found.orders)
    plain = (
        "a plain arctangent loses turns with it"
        if found.loses_turns
        else "a plain arctangent errs by "
        + ", ".join(f"{one.raw_rad / DEG:.2f}" for one in found.orders[:3])
        + " deg once, twice and three times a turn (offset, gain and phase, shape)"
    )
    sense = reference.forward_source or "not known, a guess: push it forward first (@spin=forward)"
    return [
        f"Learnt from {name}, {reference.turns:.0f} turns: a ring of {long:.2f} x {short:.2f} mT "
        f"(condition {reference.condition:.2f}); {plain}.",
        f"On the ring it errs by {each} deg at 1 to 6 times a turn, which is taken out; what remains of one reading is "
        f"{found.sd_rad / DEG:.2f} deg{um}.",
        f"Forward: {sense}. No turn is lost up to {found.limit_turns_s:.1f} turns a second at {found.rate_hz:.0f} Hz; "
        f"gaps up to {1000 * found.limit_gap_s:.0f} ms are bridged for sure, and beyond either the run says so.",
        *found.notes,
    ]

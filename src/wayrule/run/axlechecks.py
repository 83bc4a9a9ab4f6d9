"""What makes a recording unfit to learn an axle from: each refusal says what to do."""

import numpy as np

from wayrule.errors import UndeterminedError
from wayrule.model import Recording
from wayrule.run.decode import Decoded
from wayrule.run.unwrap import TAU

LEAST_TURNS_LEARNT = 20.0
"""With fewer turns the harmonics are not worth keeping for later runs."""
LEAST_ROUND = 0.97
"""Share of the turn, in 36 sectors, that must hold readings: all of them but for one."""
MOST_MISSING = 0.5
"""Share of a sector's readings that may be missing where the others' are there."""
SECTORS = 36
MOST_RIPPLE = 1.0
"""What the harmonics leave may be as large as the noise of one reading, rms over a turn: more is the motion's, not the
axle's."""
LEAST_RIPPLE_RAD = np.radians(0.25)
"""... or this much, whatever the noise: 0.25 deg are 0.02 mm of a 10.5 mm wheel."""
MOST_WOBBLE = 3.0
"""Residual of the field over its white noise: slower changes than that are not the magnets'."""


def check_learnable(found: Decoded, recording: Recording, turns: float) -> None:
    """Refuse a sensor at its end, too few turns, and arcs.

    Raises
    ------
    UndeterminedError   with what to do
    """
    _check_saturated(found, recording)
    if turns < LEAST_TURNS_LEARNT:
        raise UndeterminedError(
            expected=f"{LEAST_TURNS_LEARNT:.0f} turns of the axle and more",
            came=f"{turns:.1f}",
            where=recording.name,
            next_step="turn it on, or roll the wagon further, in one recording",
        )
    if found.covered < LEAST_ROUND:
        raise UndeterminedError(
            expected="turns all the way round",
            came=f"{turns:.0f} turns in all, but to and fro over {found.covered:.0%} of one",
            where=recording.name,
            next_step="turn the axle on one way, three turns and more at a time",
        )


def check_steady(ripple_rad: float, reading_rad: float, wobble: float, run: str) -> None:
    """Refuse a motion that hides the harmonics, and a field that wobbles by itself.

    Raises
    ------
    UndeterminedError   with what to do
    """
    if wobble > MOST_WOBBLE:
        raise UndeterminedError(
            expected="a field that repeats with every turn",
            came=f"one that wobbles by {wobble:.1f} times its noise",
            where=run,
            next_step="hold the wagon still while you turn the axle, keep tools and magnets away, see that the axle "
            "does not rattle in its bearings",
        )
    if ripple_rad > max(MOST_RIPPLE * reading_rad, LEAST_RIPPLE_RAD):
        raise UndeterminedError(
            expected="turning smooth enough to tell the reading's periodic error from the hand's",
            came=f"harmonics that are known to {np.degrees(ripple_rad):.2f} deg only",
            where=run,
            next_step="flick the axle and let it run free, or roll the wagon down a slope; more turns help as well",
        )


def refused_still(run: str) -> UndeterminedError:
    """The axle did not turn."""
    return UndeterminedError(
        expected="an axle that turns",
        came="a field that stays within its noise",
        where=run,
        next_step="turn the axle twenty times and more; if it did turn, see that sensor and magnets face each other",
    )


def refused_unsteady(run: str) -> UndeterminedError:
    """The axle turned by fits and starts."""
    return UndeterminedError(
        expected="turning that goes on, three turns and more at a time",
        came="fits and starts, as of fingers that twist the axle on",
        where=run,
        next_step="flick the axle and let it run free, or roll the wagon",
    )


def _check_saturated(found: Decoded, recording: Recording) -> None:
    """Refuse where the sensor was at its end, or gave nothing, at one angle again and again."""
    at = np.floor(found.counted.psi_rad % TAU / TAU * SECTORS * (1.0 - 1e-12)).astype(np.int64)
    turning = np.abs(np.gradient(found.counted.psi_rad)) > 1e-3
    all_of = np.bincount(at[turning], minlength=SECTORS)
    missing = np.bincount(at[turning & ~found.read], minlength=SECTORS)
    ended = sum(p.count for p in recording.problems if p.kind == "saturated" and "field" in p.text)
    share = missing / np.maximum(all_of, 1)
    worst, where = float(share.max()), 360.0 * (int(np.argmax(share)) + 0.5) / SECTORS
    if ended and (worst > MOST_MISSING or ended > 0.01 * recording.n):
        raise UndeterminedError(
            expected="a field within the sensor's range all round",
            came=f"{ended} readings at its end",
            where=recording.name,
            next_step="set the sensor's range wider, or move it away from the magnets, and record again",
        )
    if worst > MOST_MISSING and np.median(share) < MOST_MISSING / 5:
        raise UndeterminedError(
            expected="readings all round",
            came=f"{worst:.0%} of them missing near {where:.0f} deg",
            where=recording.name,
            next_step="see that the sensor's range is wide enough and its cable firm, and record again",
        )

"""Noise at rest against the wagon file, and the recorder's clock."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.model import CalibrationPart, Clock, Noise, Recording, Rest, Wagon
from wayrule.model.calibrationday import Standing
from wayrule.pipeline.attempts import Attempts
from wayrule.pipeline.looks import Look
from wayrule.run.clock import clock, clock_text
from wayrule.run.noise import compare, noise_at_rest, step_texts

NAME: Final = "noise and clock"

ENOUGH_S: Final = 600.0
"""A log at rest of ten minutes shows the terms that a run of some minutes meets."""

DO_REST: Final = "Let the wagon stand untouched for a quarter of an hour as it records: RUN@rest."


@dataclass(frozen=True, slots=True, eq=False)
class FoundNoise:
    """Noise of gyro and accelerometer from the longest rest, and the clock of the longest recording."""

    part: CalibrationPart
    gyro: Noise | None
    force: Noise | None
    clock: Clock | None


def find_noise(looks: Sequence[Look], wagon: Wagon) -> FoundNoise:
    """All that today's recordings tell of noise and clock."""
    out = Attempts()
    gyro = force = None
    longest = _longest_rest(looks)
    if longest is not None:
        found = out.run(lambda: noise_at_rest(_cut(*longest)))
        if found is not None:
            gyro, force = found
            out.told += [claim.text for claim in compare(found, wagon.imu)]
            out.told += [text for one in found if one is not None for text in step_texts(one)]
    beat = _clock(looks, wagon, out)
    seconds = max((one.seconds for one in (gyro, force) if one is not None), default=0.0)
    standing: Standing = "known" if seconds >= ENOUGH_S else "partly known" if seconds else "not yet known"
    part = CalibrationPart(NAME, standing, tuple(out.told), tuple(out.refused), "" if standing == "known" else DO_REST)
    return FoundNoise(part, gyro, force, beat)


def _longest_rest(looks: Sequence[Look]) -> tuple[Recording, Rest] | None:
    """The longest rest of a recording that was left alone."""
    rests = [(one.recording, lain) for one in looks if one.purpose.kind in ("rest", "level") for lain in one.rests]
    return max(rests, key=lambda one: one[1].seconds, default=None)


def _cut(recording: Recording, lain: Rest) -> Recording:
    """The rows of a rest alone."""
    t = recording.t_s
    rows = (t >= lain.start_s) & (t <= lain.start_s + lain.seconds)
    named = ("field_mt", "ticks_count", "wheel_mm_s", "wheel_mm", "gyro_rad_s", "acc_mm_s2", "temp_c", "battery_v")
    kept = {name: getattr(recording, name)[rows] for name in named if getattr(recording, name) is not None}
    return replace(recording, t_s=np.asarray(t[rows]), marks=(), **kept)


def _clock(looks: Sequence[Look], wagon: Wagon, out: Attempts) -> Clock | None:
    """Rate and jitter of the longest recording."""
    longest = max(looks, key=lambda one: one.recording.n).recording
    found = out.run(lambda: clock(longest.t_s, nominal_hz=wagon.sensor.rate_hz, where=longest.name))
    if found is not None:
        out.told.append(f"Clock of {longest.name}: {clock_text(found)}")
    return found

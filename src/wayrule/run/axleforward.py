"""Which way the axle turns when the wagon rolls forward: as a person states, as the accelerometer feels, as it sits."""

from dataclasses import dataclass

import numpy as np

from wayrule.model import Recording
from wayrule.model.arrays import Array
from wayrule.run.decode import Decoded
from wayrule.run.forward import Evidence, forward_evidence
from wayrule.run.unwrap import TAU

FIRST_TURN = 0.5
"""The first movement is told once the axle has turned so far, in turns."""


@dataclass(frozen=True, slots=True)
class Forward:
    """Which way is forward.

    reversed   the ring's own guess is to be turned round
    source     how it is known, "" where it is a guess; notes: what was found, and what spoke against it
    """

    reversed: bool
    source: str
    notes: tuple[str, ...]


def forward_sense(
    recording: Recording, found: Decoded, *, diameter_mm: float | None, pushed_forward_first: bool
) -> Forward:
    """Whether the angle grows when the wagon rolls forward, from the best cue that there is; none needs a gyro.

    In this order: a person's word that the wagon was pushed forward first; the accelerometer, where the wagon was
    rolled; place and axes of the sensor.
    """
    felt = _felt(recording, found.phi_rad, diameter_mm)
    against = None if felt is None else bool(np.cos(felt.angle_rad) < 0.0)
    notes = [] if felt is None else [f"The accelerometer puts forward at {felt.words}."]
    placed = found.ring.direction_known
    if pushed_forward_first:
        backwards = _first_way(found.phi_rad) < 0
        if against is not None and against != backwards:
            notes.append("The accelerometer says otherwise than that the wagon was pushed forward first.")
        if against is None and placed and backwards:
            notes.append("Place and axes of the sensor say otherwise than that it was pushed forward first.")
        return Forward(backwards, "pushed forward first, as stated", tuple(notes))
    if against is not None:
        return Forward(against, "accelerometer", tuple(notes))
    if placed:
        return Forward(False, "place and axes of the sensor", tuple(notes))
    notes.append("Which way is forward is a guess: push the wagon forward first, and say so, or let it roll.")
    return Forward(False, "", tuple(notes))


def _felt(recording: Recording, phi_rad: Array, diameter_mm: float | None) -> Evidence | None:
    """What the accelerometer says, where it says it clearly: along the wagon, within an eighth of a turn."""
    if recording.acc_mm_s2 is None or diameter_mm is None:
        return None
    rolled = 0.5 * diameter_mm * phi_rad
    speed = np.gradient(rolled, recording.t_s)
    felt = forward_evidence(recording.t_s, speed, recording.gyro_rad_s, recording.acc_mm_s2)
    along = felt is not None and abs(np.cos(felt.angle_rad)) > np.cos(TAU / 8)
    return felt if felt is not None and felt.strong and along else None


def _first_way(phi_rad: Array) -> int:
    """+1 or -1: which way the axle first turns by `FIRST_TURN`."""
    away = np.abs(phi_rad - phi_rad[0]) > FIRST_TURN * TAU
    first = int(np.argmax(away)) if away.any() else len(phi_rad) - 1
    return 1 if phi_rad[first] >= phi_rad[0] else -1

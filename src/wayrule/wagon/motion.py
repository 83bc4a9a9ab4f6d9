"""How the magnets move against the sensor while the wagon runs, and what that does to the axle angle.

Frame: the wagon's, from the axle's place at rest: forward, left, up. A moved axle is the same as a sensor moved the
other way, and a plane floor between them does not mind where it lies.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.maths.continuation import Continuation
from wayrule.wagon.reading import reader_of
from wayrule.wagon.sources import Source, as_drawn
from wayrule.wagon.turns import fields_over_turn

ANGLES: Final = 72


@dataclass(frozen=True, slots=True)
class Motion:
    """One way in which the axle moves.

    name        in words
    shift_mm    of the axle's centre against the sensor: forward, left, up
    yaw_rad     of the axle about the upright, front to the left > 0
    roll_rad    of the axle about the wagon's forward axis, left side up > 0
    """

    name: str
    shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    yaw_rad: float = 0.0
    roll_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class MotionError:
    """What a motion does to the angle that is read, calibrated at rest.

    steady_rad      mean over a turn: shifts the reading while the motion lasts
    ripple_rad      rms over a turn about that mean
    worst_rad       greatest error at any angle
    signal          field's first harmonic (smaller half axis) over that at rest
    """

    motion: Motion
    steady_rad: float
    ripple_rad: float
    worst_rad: float
    signal: float


def bogie_swing(
    *, radius_mm: float, pivots_mm: float, bogie_wheelbase_mm: float, leading_axle: bool, left: bool = True
) -> Motion:
    """How an axle of a bogie stands against the body in a curve.

    Parameters
    ----------
    radius_mm : of the track's centreline
    pivots_mm : between the bogies' pivots
    leading_axle : whether the axle is in front of its pivot (seen towards the body's front)
    left : whether the curve goes to the left
    The bogie is the front one; the rear one turns by the same angle the other way.

    Raises
    ------
    ValueError   a curve in which the wagon cannot stand

    Notes
    -----
    Both axles of a bogie lie on the arc, so its pivot is at sqrt(R2 - w2/4) from the curve's middle, and sin a =
    (p/2) / sqrt(R2 - w2/4) for the angle between body and bogie: plane geometry, exact. The axle moves by
    (w/2)(cos a - 1) forward and (w/2) sin a to the side.

    Examples
    --------
    >>> swing = bogie_swing(radius_mm=360, pivots_mm=118, bogie_wheelbase_mm=29, leading_axle=True)
    >>> [round(shift, 2) for shift in swing.shift_mm], round(math.degrees(swing.yaw_rad), 2)
    ([-0.2, 2.38, 0.0], 9.44)
    """
    half = bogie_wheelbase_mm / 2
    inner = math.sqrt(radius_mm**2 - half**2) if radius_mm > half else 0.0
    if inner <= pivots_mm / 2:
        raise ValueError(
            f"curve: expected a radius in which pivots {pivots_mm:g} mm and a bogie wheelbase of "
            f"{bogie_wheelbase_mm:g} mm can stand, came {radius_mm:g} mm"
        )
    turn = math.asin(pivots_mm / 2 / inner) * (1 if left else -1)
    ahead = half if leading_axle else -half
    shift = (ahead * (math.cos(turn) - 1), ahead * math.sin(turn), 0.0)
    side = "left" if left else "right"
    return Motion(f"bogie in a {radius_mm:g} mm curve to the {side}", shift, turn)


def two_axle_swing(*, radius_mm: float, wheelbase_mm: float, play_mm: float = 0.0) -> Motion:
    """How an axle held in the body stands in a curve: it does not swing, it only uses its sideways play.

    >>> two_axle_swing(radius_mm=360, wheelbase_mm=65, play_mm=0.2).shift_mm
    (0.0, 0.2, 0.0)
    """
    if radius_mm <= wheelbase_mm / 2:
        raise ValueError(
            f"curve: expected a radius above half the wheelbase {wheelbase_mm:g} mm, came {radius_mm:g} mm"
        )
    return Motion(f"two-axle wagon in a {radius_mm:g} mm curve", (0.0, play_mm, 0.0))


def plays(play_mm: tuple[float, float, float], bearings_mm: float) -> tuple[Motion, ...]:
    """The ends of an axle's play: along each axis, and askew by both ends' play.

    Parameters
    ----------
    play_mm : to either side: forward, left, up
    bearings_mm : between the two bearings of the axle

    >>> [motion.name for motion in plays((0.1, 0.2, 0.1), 24.0)]
    ['play forward', 'play sideways', 'play upwards', 'yaw in the bearings', 'roll in the bearings']
    """
    forward, left, up = play_mm
    return (
        Motion("play forward", (forward, 0.0, 0.0)),
        Motion("play sideways", (0.0, left, 0.0)),
        Motion("play upwards", (0.0, 0.0, up)),
        Motion("yaw in the bearings", yaw_rad=math.atan2(2 * forward, bearings_mm)),
        Motion("roll in the bearings", roll_rad=math.atan2(2 * up, bearings_mm)),
    )


def sunk(spring_mm: float) -> Motion:
    """The body sinks on its springs: the axle comes nearer to the sensor."""
    return Motion(f"springs down by {spring_mm:g} mm", (0.0, 0.0, spring_mm))


def motion_errors(
    sources: tuple[Source, ...],
    place_mm: tuple[float, float, float],
    motions: tuple[Motion, ...],
    *,
    floor: Continuation | None = None,
) -> tuple[MotionError, ...]:
    """What each motion does to the angle that is read.

    Parameters
    ----------
    place_mm : of the sensor from the axle's centre at rest: forward, left, up
    floor : from `plates.passage`

    Raises
    ------
    ValueError   a sensor to which the field at rest does not turn

    Notes
    -----
    The reader is calibrated at rest; the field at rest reads with an error of its own (its higher harmonics), which is
    taken off. All motions in one call of the field.
    """
    drawn = as_drawn(1 + len(motions), len(sources))
    moved = np.array([(0.0, 0.0, 0.0), *(motion.shift_mm for motion in motions)])
    askew = np.array([(0.0, 0.0), *((motion.roll_rad, motion.yaw_rad) for motion in motions)])
    phi = np.linspace(0.0, 2 * math.pi, ANGLES, endpoint=False)
    build = replace(drawn, sensor_mm=-moved, axle_rad=askew)
    fields = fields_over_turn(sources, place_mm, build=build, phi_rad=phi, floor=floor)
    reader = reader_of(fields[0])
    errors = reader.error_rad(fields, phi)
    errors = errors[1:] - errors[0]
    found = []
    for motion, error, field in zip(motions, errors, fields[1:], strict=True):
        steady = float(np.mean(error))
        strength = reader_of(field).signal_mt[1] / reader.signal_mt[1]
        found.append(MotionError(motion, steady, float(np.std(error)), float(np.max(np.abs(error))), strength))
    return tuple(found)

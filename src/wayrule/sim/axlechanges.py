"""What may happen to an axle's magnets, sensor or floor, as a field over a turn: exact bodies, nothing linear."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wayrule.model import FloorLayer, Wagon
from wayrule.wagon.magnets import TurnField
from wayrule.wagon.plates import passage
from wayrule.wagon.sources import as_drawn, sources_of
from wayrule.wagon.turns import fields_over_turn

Triple = tuple[float, float, float]
NOWHERE: Triple = (0.0, 0.0, 0.0)


def changed_field(
    wagon: Wagon,
    *,
    strength: Sequence[float] | None = None,
    shift_mm: Sequence[Triple] | None = None,
    sensor_mm: Triple = NOWHERE,
    sensor_rad: Triple = NOWHERE,
    floor: Sequence[FloorLayer] | None = None,
) -> TurnField:
    """The field of a wagon as drawn but for these.

    Parameters
    ----------
    strength : of each magnet, how much more than drawn, as a share; -1: it has come off
    shift_mm : of each magnet in the turning frame at an axle angle of 0: forward, left, up (the moment points up)
    sensor_mm, sensor_rad : how far the sensor sits elsewhere, and is turned
    floor : instead of the wagon file's

    Examples
    --------
    >>> from wayrule.sim.wagons import HO_VAN
    >>> drawn, alone = changed_field(HO_VAN), changed_field(HO_VAN, strength=(0.0, -1.0))
    >>> round(float(np.ptp(alone.field_mt[:, 2]) / np.ptp(drawn.field_mt[:, 2])), 1)  # about half
    0.5
    """
    assert wagon.magnets is not None
    assert wagon.sensor.place_mm is not None
    sources = sources_of(wagon.magnets)
    build = as_drawn(1, len(sources))
    build = replace(
        build,
        strength=build.strength if strength is None else np.array([strength], dtype=float),
        shift_mm=build.shift_mm if shift_mm is None else np.array([shift_mm], dtype=float),
        sensor_mm=np.array([sensor_mm], dtype=float),
        sensor_rad=np.array([sensor_rad], dtype=float),
    )
    place = wagon.sensor.place_mm
    behind = passage(wagon.floor if floor is None else floor, place[2], over_mm=place[:2])
    phi = np.linspace(0.0, 2 * math.pi, 361)
    field = fields_over_turn(sources, place, build=build, phi_rad=phi, floor=behind)[0]
    field[-1] = field[0]
    return TurnField(phi, field)

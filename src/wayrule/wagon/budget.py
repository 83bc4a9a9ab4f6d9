"""The error budget of a wagon: axle angle and distance, cause by cause, from its file alone.

Two kinds are kept apart. What is wrong by an angle (noise, shape, play) is wrong by so many mm at either end of a way,
however long; what is wrong in the wheel's circumference adds up along the way.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.errors import UsageError
from wayrule.maths.counting import FAST_TURN
from wayrule.model import Budget, BudgetLine, FloorLayer, Wagon
from wayrule.model.arrays import Array
from wayrule.wagon.disturbers import EARTH, STRONGEST_EARTH_MT, Disturbance, Place, disturbance
from wayrule.wagon.eddy import eddy
from wayrule.wagon.edges import EdgeEffect, edge_effect
from wayrule.wagon.expected import Turn, earth_factors, read_turn, reading_sd_mt
from wayrule.wagon.grades import remanence_mt, warmed
from wayrule.wagon.learning import Pull, learning
from wayrule.wagon.motion import Motion, bogie_swing, motion_errors, plays, sunk, two_axle_swing
from wayrule.wagon.needed import Needed, needed
from wayrule.wagon.plates import covers
from wayrule.wagon.sources import Build, as_drawn
from wayrule.wagon.staying import staying
from wayrule.wagon.tolerances import build_of, columns_of, tolerances_of
from wayrule.wagon.turns import fields_over_turn

ANGLES: Final = 72
DIAMETER_SD: Final = 0.004
"""Relative sd of a wheel's diameter of unknown quality: a caliper's 0.04 mm on 10 mm; common practice, no source."""

SLIP_MM_PER_ROOT_M: Final = 0.2
"""Slip and flange play, which add up like a random walk; common practice, no source."""

SHARP_GAUGES: Final = 20.0
"""Radius of a sharp curve in gauges where none is stated: 330 mm in HO, 180 mm in N; common practice, no source."""

ROOM_C: Final = (15.0, 30.0)
"""Temperatures of a room or a garden where the file states none [deg C]."""

STEEL_1_K: Final = 12e-6
"""Expansion of steel [1/K] (handbook, from memory); brass has 19e-6, plastics up to 100e-6."""

EXPRESS_KM_H: Final = 120.0


@dataclass(frozen=True, slots=True)
class Conditions:
    """How and where the wagon is run.

    way_mm            between two places of one run
    speed_mm_s        of the wagon
    heading_rad       by which the line turns on that way
    radius_mm         of the sharpest curve; `SHARP_GAUGES` gauges where left out
    place             for Earth's field
    out_of_round_mm   amplitude of the wheel's once-a-turn error; our choice, no source
    ramp_mm_s2        mean acceleration when starting and stopping
    """

    way_mm: float = 1000.0
    speed_mm_s: float = 250.0
    heading_rad: float = 2 * math.pi
    radius_mm: float | None = None
    place: Place = EARTH[2]
    out_of_round_mm: float = 0.02
    ramp_mm_s2: float = 120.0

    @property
    def pull(self) -> Pull:
        """The same as `expected` takes it."""
        return Pull(
            self.way_mm,
            self.speed_mm_s,
            self.heading_rad,
            self.place.level_mt,
            self.out_of_round_mm,
            self.ramp_mm_s2,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """A wagon laid out: what its budget is made of.

    phi_rad    (a,) evenly round a turn
    field_mt   (a, 3) at the sensor, as drawn, at rest
    turn       drawn behind its floor (0), in air (1), at the nearest (2), at the farthest (3), then one sd of each
               build error
    nearest    greatest component at the nearest, for the middle of the remanence [mT]
    edge       what the ends of steel plates change; None where none has an end
    endless    share of the field that the plates would leave if they had no ends
    """

    wagon: Wagon
    have: Needed
    phi_rad: Array
    field_mt: Array
    turn: Turn
    nearest_mt: float
    edge: EdgeEffect | None
    endless: float

    @property
    def left(self) -> float:
        """Share of the field that the floor leaves: of the mean of both half axes that counts against noise."""
        return math.sqrt(float(self.turn.flat_1_mt2[1] / self.turn.flat_1_mt2[0]))


def budget(
    wagon: Wagon, conditions: Conditions | None = None, *, one_sd: Build | None = None, edges: bool = True
) -> Budget:
    """The error budget of a wagon file.

    Parameters
    ----------
    one_sd : build errors, one sd of one of them in each wagon; the usual tolerances where left out
    edges : reckon with the ends of steel plates (0.1 to 0.7 s)

    Raises
    ------
    UndeterminedError, UsageError   what the file does not say, or says wrongly; a curve the wagon cannot stand in

    Examples
    --------
    >>> from wayrule.model import FieldSensor, Magnets, Wheel
    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04), magnets=discs,
    ...             sensor=FieldSensor(40.0, 12, 0.03, 200.0, (0.8, 1.2, 12.5)))
    >>> found = budget(van)
    >>> found.dominant.cause, round(found.repeats_mm, 2), round(found.adds_mm, 1)
    ('noise of the sensor', 0.13, 3.8)
    """
    return budget_of(lay_out(wagon, one_sd=one_sd, edges=edges), conditions)


def lay_out(wagon: Wagon, *, one_sd: Build | None = None, edges: bool = True) -> Laid:
    """All fields of a wagon's budget, in two calls."""
    have = needed(wagon)
    phi: Array = np.arange(ANGLES, dtype=np.float64) * (2 * math.pi / ANGLES)
    free = fields_over_turn(have.sources, have.place_mm, phi_rad=phi)
    behind = fields_over_turn(
        have.sources, have.place_mm, build=_rows(wagon, have, one_sd), phi_rad=phi, floor=have.floor
    )
    edge = edge_effect(have.sources, have.place_mm, wagon.floor) if edges else None
    endless = read_turn(behind[:1]).flat_1_mt2[0]
    if edge is not None:
        behind = behind + _at(edge, phi)
    turn = read_turn(np.concatenate([behind[:1], free, behind[1:]]))
    if not np.isfinite(turn.flat_1_mt2[0]):
        greater, smaller = turn.signal_mt[0]
        raise UsageError(
            expected="a field that turns",
            came=f"an ellipse of {greater:.3g} by {smaller:.2g} mT: there the magnets come and go but do not turn",
            where="sensor.place_mm",
            next_step="move the sensor over the axle, or towards the ends of the magnets' turn",
        )
    return Laid(
        wagon,
        have,
        phi,
        behind[0],
        turn,
        float(np.max(np.abs(behind[1]))),
        edge,
        math.sqrt(float(turn.flat_1_mt2[1] / endless)),
    )


def budget_of(laid: Laid, conditions: Conditions | None = None) -> Budget:
    """The budget of a wagon that was laid out."""
    run = conditions or Conditions()
    wagon, have, turn = laid.wagon, laid.have, laid.turn
    wheel_mm = 2 * have.radius_mm
    low, high = remanence_mt(have.magnets)
    cold, hot = (warmed(have.magnets, celsius) for celsius in have.magnets.temperature_c or ROOM_C)
    sd = math.hypot(*reading_sd_mt(wagon.sensor))
    metre = math.pi * wheel_mm * FAST_TURN
    lines = (
        *_readings(laid, hot),
        *_periodic(laid, run),
        _earth(laid, run),
        *_disturbers(laid),
        *_motions(laid, run),
        _currents(laid, run),
        *_adding(wagon),
    )
    return Budget(
        lines=lines,
        way_mm=run.way_mm,
        turns=run.way_mm / (math.pi * wheel_mm),
        speed_mm_s=run.speed_mm_s,
        signal_mt=(float(turn.signal_mt[0, 0]), float(turn.signal_mt[0, 1])),
        range_mt=math.nan if wagon.sensor.range_mt is None else wagon.sensor.range_mt,
        nearest_mt=laid.nearest_mt * 2 * high / (low + high) * max(cold, hot)
        + STRONGEST_EARTH_MT
        + sum(one.size_mt for one in _foreign(laid)),
        farthest_mt=float(turn.signal_mt[3, 1]) * 2 * low / (low + high) * min(cold, hot),
        reading_sd_mt=sd,
        resolution_um=1000 * have.radius_mm * sd * math.sqrt(float(turn.flat_1_mt2[0])),
        worst_um=1000 * have.radius_mm * sd / float(turn.signal_mt[0, 1]),
        top_mm_s=math.nan if wagon.sensor.rate_hz is None else metre * wagon.sensor.rate_hz,
        rate_hz=EXPRESS_KM_H / 3.6 * 1000 / wagon.ratio / metre,
    )


def _rows(wagon: Wagon, have: Needed, one_sd: Build | None) -> Build:
    """As drawn, nearest, farthest, and one sd of each build error."""
    count = len(have.sources)
    if one_sd is None:
        width = max(part.stop for part in columns_of(count).values())
        one_sd = build_of(np.eye(width), have.sources, tolerances_of(have.magnets))
    up = wagon.axle.play_mm[2] if wagon.axle.play_mm else 0.0
    way = np.asarray(have.place_mm) / float(np.linalg.norm(have.place_mm))
    near = replace(
        as_drawn(3, count),
        sensor_mm=np.array([0.0, -up - (wagon.body.spring_mm or 0.0), up])[:, None] * way,
    )
    names = ("strength", "turned_rad", "shift_mm", "axle_rad", "sensor_mm", "sensor_rad")
    return Build(*(np.concatenate([getattr(near, name), getattr(one_sd, name)]) for name in names))


def _at(edge: EdgeEffect, phi: Array) -> Array:
    """What edges change, at other angles evenly round: (1, a, 3)."""
    series = np.fft.rfft(edge.change_mt, axis=0)
    orders = np.arange(len(series))
    weight = np.where((orders == 0) | (2 * orders == len(edge.phi_rad)), 1.0, 2.0) / len(edge.phi_rad)
    return np.asarray(np.real(np.exp(1j * np.outer(phi, orders)) @ (weight[:, None] * series))[None], dtype=np.float64)


def _repeating(cause: str, radius_mm: float, before: float, after: float, how: str, ends: float = 2.0) -> BudgetLine:
    """A line of an angle: both ends of a way have it (`ends` = 2), or one (1: a curve against a straight)."""
    return BudgetLine(cause, before, after, math.sqrt(ends) * radius_mm * after, 0.0, 0.0, how)


def _readings(laid: Laid, hot: float) -> list[BudgetLine]:
    """Noise and steps in air; what the floor and warmth add to them."""
    noise, step = reading_sd_mt(laid.wagon.sensor)
    behind, air = float(laid.turn.flat_1_mt2[0]), float(laid.turn.flat_1_mt2[1])
    radius, squared = laid.have.radius_mm, noise**2 + step**2
    plate = math.sqrt(squared * max(behind - air, 0.0))
    warm = math.sqrt(squared * behind * max(hot**-2 - 1, 0.0))
    left = laid.left
    cost = f"leaves {left:.0%} of the field" if abs(left - 1) > 0.005 else "costs nothing at a stand"
    stated = "stated" if laid.wagon.sensor.noise_mt is not None else "not stated: a usual one"
    values = (
        ("noise of the sensor", noise * math.sqrt(air), f"{noise:g} mT a reading, {stated}; in air"),
        ("steps of the sensor", step * math.sqrt(air), f"step {step * math.sqrt(12):.2g} mT, over the root of 12"),
        ("floor", plate, cost if laid.wagon.floor else "none stated"),
        ("warm magnets", warm, f"{1 - hot:.1%} less field when warm; the angle itself does not mind"),
    )
    return [_repeating(cause, radius, angle, angle, how) for cause, angle, how in values]


def _periodic(laid: Laid, run: Conditions) -> list[BudgetLine]:
    """Shape of the field, build errors, out-of-round wheel: before and after calibration."""
    turn, radius = laid.turn, laid.have.radius_mm
    noise, step = reading_sd_mt(laid.wagon.sensor)
    _, within = earth_factors(run.heading_rad)
    earth = within * run.place.level_mt * math.sqrt(float(turn.level_1_mt2[0]))
    seen = np.array([math.sqrt((noise**2 + step**2) * float(turn.round_1_mt2[0]) + earth**2)])
    learnt = learning(seen, run.pull, laid.wagon.sensor.rate_hz, 2 * radius)
    told = float(learnt.told_rad[0])
    drawn = turn.harmonics[0]
    found = staying(
        drawn,
        turn.harmonics[4:] - drawn,
        told,
        learnt.leak_rad,
        run.out_of_round_mm / radius,
        float(turn.rest_rad[0]),
    )
    told_words = (
        f"harmonics above {math.degrees(told):.2g} deg are learnt from the run and taken out"
        if math.isfinite(told)
        else "too few turns on this way to learn the harmonics"
    )
    return [
        _repeating(
            "shape of the field",
            radius,
            found.shape_before,
            math.hypot(found.shape_after, float(learnt.fit_rad[0])),
            told_words,
        ),
        _repeating("build", radius, found.build_before, found.build_after, "usual tolerances of flats, discs, sensor"),
        _repeating(
            "out-of-round wheel",
            radius,
            found.out_before,
            found.out_after,
            f"{run.out_of_round_mm:g} mm once a turn; our choice, no source",
        ),
    ]


def _earth(laid: Laid, run: Conditions) -> BudgetLine:
    away, _ = earth_factors(run.heading_rad)
    angle = away * run.place.level_mt * math.sqrt(float(laid.turn.level_1_mt2[0]))
    how = f"{run.place.level_mt:.3f} mT along the level at {run.place.name}, turning with the line; none on a straight"
    return _repeating("Earth's field", laid.have.radius_mm, angle, angle, how)


def _disturbers(laid: Laid) -> list[BudgetLine]:
    """Foreign fields at their worst, in any direction of the plane; what stays as it is, the ellipse takes."""
    found = []
    for foreign in _foreign(laid):
        steady = foreign.changes == "steady"
        angle = 0.0 if steady else foreign.size_mt * math.sqrt(float(laid.turn.flat_1_mt2[0]) / 2)
        found.append(
            _repeating(foreign.name, laid.have.radius_mm, angle, angle, f"{foreign.size_mt:.2g} mT: {foreign.how}")
        )
    return found


def _foreign(laid: Laid) -> list[Disturbance]:
    return [disturbance(item, laid.have.place_mm, laid.have.sources) for item in laid.wagon.disturbers]


def swing(wagon: Wagon, radius_mm: float | None) -> tuple[Motion, ...]:
    """How the sensed axle stands in the sharpest curve, to the left and to the right.

    Raises
    ------
    UsageError   a curve in which the wagon cannot stand
    """
    sharp = max(SHARP_GAUGES * wagon.gauge_mm, 1.5 * wagon.wheelbase_mm) if radius_mm is None else radius_mm
    try:
        if wagon.bogie is None:
            play = wagon.axle.play_mm[1] if wagon.axle.play_mm else 0.0
            held = two_axle_swing(radius_mm=sharp, wheelbase_mm=wagon.wheelbase_mm, play_mm=play)
            return (held, replace(held, shift_mm=(0.0, -play, 0.0)))
        number = {"front": 1, "rear": 4}.get(str(wagon.wheel.axle), wagon.wheel.axle)
        return tuple(
            bogie_swing(
                radius_mm=sharp,
                pivots_mm=wagon.bogie.pivots_mm,
                bogie_wheelbase_mm=wagon.bogie.wheelbase_mm,
                leading_axle=number in (1, 3),
                left=(side == (number in (1, 2))),
            )
            for side in (True, False)
        )
    except ValueError as error:
        expected, _, came = str(error).partition(": expected ")[2].rpartition(", came ")
        raise UsageError(
            expected=expected, came=came, where="curve", next_step="state a wider curve, or correct the wheelbase"
        ) from None


def _motions(laid: Laid, run: Conditions) -> list[BudgetLine]:
    """Play and springs anywhere within their ends (sd of an even spread), and the swing of a curve as a whole."""
    wagon, have = laid.wagon, laid.have
    across = wagon.axle.length_mm or 1.5 * wagon.gauge_mm
    loose = plays(wagon.axle.play_mm, across) if wagon.axle.play_mm else ()
    springs = (sunk(wagon.body.spring_mm),) if wagon.body.spring_mm else ()
    curves = swing(wagon, run.radius_mm)
    errors = motion_errors(have.sources, have.place_mm, (*loose, *springs, *curves), floor=have.floor)
    size = [math.hypot(error.steady_rad, error.ripple_rad) for error in errors]
    n, m = len(loose), len(loose) + len(springs)
    play = math.sqrt(sum(one**2 for one in size[:n]) / 3)
    spring = math.sqrt(sum(one**2 for one in size[n:m]) / 12)
    worst = int(np.argmax(size[m:]))
    aside = curves[worst].shift_mm[1]
    radius = have.radius_mm
    words = f"{curves[worst].name}: the magnets stand {abs(aside):.2g} mm aside"
    if curves[worst].yaw_rad:
        words += f" and askew by {abs(math.degrees(curves[worst].yaw_rad)):.1f} deg"
    stated = "within the play of its bearings" if loose else "axle.play_mm not stated: none"
    return [
        _repeating("axle play", radius, play, play, stated),
        _repeating("springs", radius, spring, spring, "anywhere within body.spring_mm" if springs else "none stated"),
        _repeating(
            "swing in a curve", radius, size[m:][worst], size[m:][worst], f"{words}; against a straight", ends=1.0
        ),
    ]


def _currents(laid: Laid, run: Conditions) -> BudgetLine:
    place = laid.have.place_mm
    floor: Sequence[FloorLayer] = [layer for layer in laid.wagon.floor if covers(layer, place[0], place[1])]
    found = eddy(floor, place[2], speed_mm_s=run.speed_mm_s, wheel_mm=2 * laid.have.radius_mm)
    how = f"lag at {run.speed_mm_s:g} mm/s against a stand; nothing at a steady speed"
    angle = abs(found.lag_rad)
    return _repeating("currents in the floor", laid.have.radius_mm, angle, angle, how, ends=1.0)


def _adding(wagon: Wagon) -> list[BudgetLine]:
    """What adds up along the way: size of the wheel, its warmth, slip."""
    wheel = wagon.wheel
    diameter = wheel.diameter_mm or math.nan
    known = wheel.diameter_sd_mm is not None
    share = (wheel.diameter_sd_mm or 0.0) / diameter if known else DIAMETER_SD
    low, high = (wagon.magnets.temperature_c if wagon.magnets else None) or ROOM_C
    caliper = f"caliper: {diameter:g} +- {share * diameter:.2g} mm" + ("" if known else ", assumed")
    return [
        BudgetLine("size of the wheel", 0.0, 0.0, 0.0, share, 0.0, f"{caliper}; a taped distance does better"),
        BudgetLine(
            "warm wheel",
            0.0,
            0.0,
            0.0,
            STEEL_1_K * (high - low) / math.sqrt(12),
            0.0,
            f"steel, {low:g} to {high:g} deg C",
        ),
        BudgetLine("slip and flange play", 0.0, 0.0, 0.0, 0.0, SLIP_MM_PER_ROOT_M, "common practice, no source"),
    ]

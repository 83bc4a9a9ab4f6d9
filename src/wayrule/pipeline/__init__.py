"""The order of the work, readable as prose: from a recording to travel, from all runs of a line to its survey."""

import dataclasses
import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from wayrule.errors import UndeterminedError, UsageError
from wayrule.model import AxleReference, BodyImu, Calibration, Facts, Mishap, Recording, State, Survey, Travel, Wagon
from wayrule.run.attitude import Attitude, find_attitude
from wayrule.run.bias import gyro_bias
from wayrule.run.chainage import rolled
from wayrule.run.health.card import health
from wayrule.run.locks import locks
from wayrule.run.mishaps import gaps, hands, knocks, within, without_overlaps
from wayrule.run.rolled import Rolled, Scale
from wayrule.run.slides import slides
from wayrule.run.speed import speed
from wayrule.run.state import states
from wayrule.track.adjust.adjust import adjust
from wayrule.track.adjust.between import AdjustedJoint
from wayrule.track.adjust.closure import closure
from wayrule.track.adjust.findings import assumptions, estimates
from wayrule.track.adjust.learnt import learnt
from wayrule.track.adjust.problem import prepare
from wayrule.track.adjust.repeats import repeats
from wayrule.track.adjust.stations import stations
from wayrule.track.befallen import befallen
from wayrule.track.chainages import placed_travels
from wayrule.track.elements import elements
from wayrule.track.faults import detect, false_alarm_words
from wayrule.track.fitting import check_new, check_seat, for_wagon
from wayrule.track.place import Line, place, start_decision
from wayrule.track.stated import check_facts, check_pairs
from wayrule.version import VERSION

__all__ = ["Scale", "survey", "travel"]


def travel(
    recording: Recording,
    wagon: Wagon,
    *,
    scale: Scale | None = None,
    as_mounted: bool = False,
    axle: AxleReference | None = None,
) -> Travel:
    """What one run did: distance, speed and state against time, and the inertial readings in body axes.

    Parameters
    ----------
    recording : Recording   as read; nothing in it is changed
    wagon : Wagon           its wheel, and where given its sensor
    scale : Scale           a better scale than the caliper's (tape, laps of known length, an earlier calibration)
    as_mounted : bool       wheel and inertial sensor sit as they say: the accelerometer does not overrule it
    axle : AxleReference    the turning field as a calibration knows it, for the card of health

    Returns
    -------
    Travel   its notes say what was found, what was assumed and what this log cannot give

    Raises
    ------
    UndeterminedError   no wheel input, no diameter, or a field that does not tell the angle
    """
    wheel = rolled(recording, wagon.wheel, scale=scale, place_mm=wagon.sensor.place_mm, noise_mt=wagon.sensor.noise_mt)
    return travelled(recording, wagon, wheel, as_mounted=as_mounted, axle=axle)


def travelled(
    recording: Recording, wagon: Wagon, wheel: Rolled, *, as_mounted: bool = False, axle: AxleReference | None = None
) -> Travel:
    """The rest of `travel`, once it is known how far the wheel rolled."""
    v, v_sd, window, state = movement(recording, wheel)
    attitude = find_attitude(
        recording.t_s,
        v,
        recording.gyro_rad_s,
        recording.acc_mm_s2,
        can_flip=wheel.can_flip,
        direction_known=wheel.direction_known,
        as_mounted=as_mounted,
        run=recording.name,
    )
    if attitude.flip_wheel:
        wheel, v = wheel.turned_round(), -v
    imu, imu_notes = _body_imu(recording, attitude, state)
    why = "stated" if as_mounted else attitude.notes[-1]
    mishaps, missed_mm, missed_mm_s = _mishaps(recording, wheel, v, state, imu, wagon.wheelbase_mm)
    locked = within(recording.t_s, tuple(one for one in mishaps if one.kind == "slide")) & (state == State.STANDING)
    if locked.any():  # the wheel stood, the wagon did not: no standstill to take a bias from
        state = np.where(locked, State.ROLLING, state).astype(np.int8)
        imu, imu_notes = _body_imu(recording, attitude, state)
    found = Travel(
        run=recording.name,
        t_s=recording.t_s,
        distance_mm=wheel.distance_mm + missed_mm,
        distance_sd_mm=wheel.distance_sd_mm,
        speed_mm_s=v + missed_mm_s,
        speed_sd_mm_s=np.hypot(v_sd, wheel.scale_sd * v),
        state=state,
        chainage_mm=np.full(recording.n, np.nan),
        scale_sd=wheel.scale_sd,
        scale_source=wheel.scale_source,
        imu=imu,
        marks=recording.marks,
        problems=recording.problems + wheel.problems,
        decisions=((f"forward of {recording.name}", attitude.answer, why, "--as-mounted RUN"),),
        mishaps=mishaps,
        notes=(*wheel.notes, f"Speed over windows of {window:.2f} s.", *attitude.notes, *imu_notes),
    )
    return dataclasses.replace(found, health=health(recording, wagon, found, _turned(wheel, wagon), axle))


def movement(
    recording: Recording, wheel: Rolled
) -> tuple[NDArray[np.float64], NDArray[np.float64], float, NDArray[np.int8]]:
    """Speed and its sd without the scale (n,) [mm/s], the window it was taken over [s], and states (n,)."""
    v, v_sd, window = speed(recording.t_s, wheel.distance_mm, wheel.white_sd_mm, wheel.speed_noise_mm_s)
    state = states(
        recording.t_s,
        wheel.distance_mm,
        v,
        v_sd,
        white_sd_mm=wheel.white_sd_mm,
        speed_noise_mm_s=wheel.speed_noise_mm_s,
        quantum_mm=wheel.quantum_mm,
        gyro_rad_s=recording.gyro_rad_s,
        unsure=wheel.unsure,
    )
    return v, v_sd, window, state


def _turned(wheel: Rolled, wagon: Wagon) -> NDArray[np.float64] | None:
    """Angle that the sensed axle turned, (n,) [rad]; None where the wheel's size is not known."""
    diameter = wagon.wheel.diameter_mm
    return None if diameter is None else 2.0 * wheel.distance_mm / diameter


def _mishaps(
    recording: Recording,
    wheel: Rolled,
    v_mm_s: NDArray[np.float64],
    state: NDArray[np.int8],
    imu: BodyImu | None,
    wheelbase_mm: float,
) -> tuple[tuple[Mishap, ...], NDArray[np.float64], NDArray[np.float64]]:
    """What befell the run, and the path and speed that its wheel missed by sliding."""
    found = gaps(recording.t_s, v_mm_s, wheel.growth_sd_mm)
    none = np.zeros(recording.n)
    if imu is None:
        return found, none, none
    t_s = recording.t_s
    found += knocks(t_s, imu, state)
    locked = locks(t_s, wheel.distance_mm, v_mm_s, imu, state, within(t_s, found))
    held = hands(t_s, v_mm_s, imu, state, wheelbase_mm)
    found += tuple(one for one in held if all(one.last_s < a or one.first_s > b for a, b in locked))
    slid = slides(t_s, wheel.distance_mm, v_mm_s, imu, state, within(t_s, found), locked)
    return without_overlaps(found + slid.mishaps), slid.missed_mm, slid.missed_mm_s


def _body_imu(
    recording: Recording, attitude: Attitude, state: NDArray[np.int8]
) -> tuple[BodyImu | None, tuple[str, ...]]:
    """Inertial readings in body axes, and what is missing for want of them."""
    if recording.gyro_rad_s is None:
        return None, ("No gyro: distance and speed only, no plan map, no height.",)
    gyro = recording.gyro_rad_s @ attitude.rotation.T
    bias, sd, note = gyro_bias(recording.t_s, gyro, state)
    notes = [note]
    acc = recording.acc_mm_s2
    if acc is None:
        notes.append("No accelerometer: no absolute gradient and cant, height only as far as the gyro tells.")
    return BodyImu(gyro, None if acc is None else acc @ attitude.rotation.T, attitude.rotation, bias, sd), tuple(notes)


def survey(
    recordings: Sequence[Recording],
    wagon: Wagon,
    facts: Facts | None = None,
    *,
    calibration: Calibration | None = None,
    between: Sequence[tuple[str, str]] = (),
    step_mm: float | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> Survey:
    """All runs of one line of track, adjusted to one map with its error bars.

    Parameters
    ----------
    recordings : Recording   runs of one line; each may go its own way, with its own laps
    wagon : Wagon            the wagon that made them
    facts : Facts            what is known besides (laps, turned runs, tapes, control points ...)
    calibration : Calibration   of this wagon, from an earlier survey; None: nothing is remembered of it
    between : (A, B)         pairs of places (chainage in mm, mark, start, end) to say at once what lies between them
    step_mm : float          distance of the stations; None: about 0.3 of the gauge (5 mm in H0)
    tell                     called with a few words as each stage begins

    Returns
    -------
    Survey   stations, elements, faults, runs along the line, closure, and what was learnt, decided and assumed

    Raises
    ------
    UsageError          no recording, two of one name, stated facts that contradict the runs or each other, or a
                        calibration of another wagon, or one that rests on these runs already
    UndeterminedError   what was recorded cannot give a map (no gyro, no movement, a run of other track)
    """
    facts = facts or Facts()
    _check_names(recordings, facts)
    runs = tuple((r.name, r.sha256) for r in recordings)
    if calibration:
        check_new(calibration, runs)
        calibration = for_wagon(calibration, wagon)
    tell("distance and attitude")
    travels = _travels(recordings, wagon, facts, calibration)
    tell("laps and places")
    line = _placed(travels, wagon, facts, between)
    with threadpool_limits(limits=1, user_api="blas"):  # thousands of small solves: threads only wait on each other
        tell("adjustment")
        adjusted = adjust(prepare(travels, wagon, facts, line, calibration))
        tell("error bars")
        track = stations(adjusted, step_mm or station_step(wagon.gauge_mm))
        against = repeats(adjusted)
    tell("elements and faults")
    pieces = elements(track)
    detected = detect(track, pieces)
    closes = closure(adjusted)
    placed = tuple(_with_places(one) for one in placed_travels(adjusted))
    found = Survey(
        stations=track,
        elements=pieces,
        faults=detected.faults,
        travels=placed,
        closure=closes,
        estimates=estimates(adjusted),
        decisions=(*(d for one in travels for d in one.decisions), *line.decisions, start_decision(facts)),
        assumptions=(*assumptions(adjusted), false_alarm_words(track, detected)),
        problems=(*(p for one in travels for p in one.problems), *befallen(adjusted, placed)),
        marks=tuple((float(np.interp(m.t_s, one.t_s, one.chainage_mm)), m) for one in placed for m in one.marks),
        calibration=learnt(adjusted, runs),
        inputs=_inputs(wagon, runs, calibration),
        wagon_name=wagon.name,
        scale=wagon.scale,
        ratio=wagon.ratio,
        version=VERSION,
        repeats=against,
        joint=AdjustedJoint(adjusted),
    )
    if not between:
        return found
    tell("between places")
    return dataclasses.replace(found, pairs=tuple(found.between(a, b) for a, b in between))


def _with_places(placed: Travel) -> Travel:
    """A placed run whose card tells places on the line."""
    card = placed.health
    return placed if card is None else dataclasses.replace(placed, health=card.placed(placed.t_s, placed.chainage_mm))


def _travels(
    recordings: Sequence[Recording], wagon: Wagon, facts: Facts, calibration: Calibration | None
) -> list[Travel]:
    """What every run did; refused where one of them shows no map, or sits otherwise than the calibration's did."""
    axle = calibration.axle if calibration else None
    travels = [
        travel(recording, wagon, as_mounted=recording.name in facts.as_mounted, axle=axle) for recording in recordings
    ]
    for one in travels:
        _check_mappable(one)
    if calibration:
        check_seat(calibration, travels)
    return travels


def _placed(travels: Sequence[Travel], wagon: Wagon, facts: Facts, between: Sequence[tuple[str, str]]) -> Line:
    """Where the runs lie on one line; refused where what was stated or asked for cannot be of it."""
    line = place(travels, facts, wagon.wheelbase_mm, cell_size(travels, wagon.wheelbase_mm))
    check_facts(travels, facts, line, wagon.wheelbase_mm)
    check_pairs(travels, between, line, wagon.wheelbase_mm)
    return line


def _inputs(
    wagon: Wagon, runs: Sequence[tuple[str, str]], calibration: Calibration | None
) -> tuple[tuple[str, str, str], ...]:
    """Role, name and digest of all that goes into a survey."""
    known = [("calibration", calibration.wagon_name, calibration.sha256)] if calibration else []
    return (("wagon", wagon.name, wagon.sha256), *known, *(("run", name, digest) for name, digest in runs))


def station_step(gauge_mm: float) -> float:
    """About 0.3 of the gauge, on the steps 1, 2, 2.5, 5, 10: 5 mm in H0, 2.5 mm in N.

    >>> station_step(16.5), station_step(9.0), station_step(45.0)
    (5.0, 2.5, 10.0)
    """
    wanted = 0.3 * gauge_mm
    power = 10.0 ** math.floor(math.log10(wanted))
    return power * min((1.0, 2.0, 2.5, 5.0, 10.0), key=lambda m: abs(math.log(wanted / (m * power))))


def cell_size(travels: Sequence[Travel], wheelbase_mm: float) -> float:
    """Cell of the signatures: an eighth of the wheelbase, wider on very long runs."""
    longest = max(float(np.ptp(t.distance_mm)) for t in travels)
    return max(wheelbase_mm / 8, longest / 200_000)


def _check_names(recordings: Sequence[Recording], facts: Facts) -> None:
    names = [r.name for r in recordings]
    if not names:
        raise UsageError(
            expected="at least one recording", came="none", where="survey", next_step="name the runs to survey"
        )
    for name in names:
        if names.count(name) > 1:
            raise UsageError(
                expected="runs of different names", came=f"{name} twice", where="survey", next_step="rename one of them"
            )
    for name in (*facts.laps, *facts.turned, *facts.not_turned, *facts.as_mounted):
        if name not in names:
            raise UsageError(
                expected=f"one of the runs {', '.join(names)}",
                came=name,
                where="@laps, --turned, --not-turned or --as-mounted",
                next_step="write the run as in the list of runs",
            )


def _check_mappable(one: Travel) -> None:
    if one.imu is None or not np.isfinite(one.imu.gyro_rad_s[:, 2]).any():
        raise UndeterminedError(
            expected="gyro columns gx, gy, gz for a map",
            came="none that can be used",
            where=one.run,
            next_step="use `wayrule travel` for distance and speed, or map the log's gyro in [columns]",
        )
    if not one.moving:
        raise UndeterminedError(
            expected="a run that moves",
            came="a wagon at rest from start to end",
            where=one.run,
            next_step="check the wheel sensor with `wayrule travel`",
        )

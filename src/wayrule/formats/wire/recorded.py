"""A trip as a recording: counts to values by the hello, then checked and repaired as any log is."""

import re
from dataclasses import replace

import numpy as np

from wayrule.errors import RecordingError
from wayrule.formats.columns import Meaning, Use, resolve
from wayrule.formats.problems import many, problem
from wayrule.formats.recording import NO_IMU, NO_SENSOR, PLAIN, arranged
from wayrule.formats.wire.frames import Column
from wayrule.formats.wire.trips import Trip
from wayrule.model import ColumnMap, FieldSensor, Imu, Mark, Problem, Recording
from wayrule.model.arrays import Array

MILLION = 1e6


def values(trip: Trip, column: Column, at: int) -> Array:
    """(n,) readings of one column in the unit that its name carries."""
    return np.asarray(trip.counts[:, at] * column.scale + column.offset, dtype=np.float64)


def recording_of(
    trip: Trip,
    name: str,
    columns: ColumnMap = PLAIN,
    *,
    sensor: FieldSensor = NO_SENSOR,
    imu: Imu = NO_IMU,
    counter_bits: int | None = None,
    sha256: str = "",
) -> Recording:
    """One boot of one wagon as a recording, in inside units; `t_s` is the wagon's clock since it was switched on.

    Parameters
    ----------
    name : of the run; columns, sensor, imu, counter_bits : as for a recording from text (`recording.read_recording`)
    sha256 : digest of the raw bytes

    Raises
    ------
    RecordingError   when no hello says what the counts mean, or for what cannot be repaired
    """
    if trip.hello is None:
        raise RecordingError(
            expected="a hello that says what the counts mean",
            came=f"{many(len(trip.seq), 'sample')} of device {trip.device:08x}, boot {trip.boot}, without one",
            where=name,
            next_step="record for longer (a wagon says hello every two seconds), or look at the damage that was told",
        )
    kept = trip.hello.columns
    header = ("t_us", *(c.name for c in kept))
    uses = resolve(header, columns, name)
    numbers = {k + 1: values(trip, column, k) for k, column in enumerate(kept)}
    used = tuple(u for u in uses if u.index and u.meaning is not None)
    recording = arranged(
        used, numbers, trip.t_us / MILLION, trip.seq, name,
        unit="us", sensor=sensor, imu=imu, counter_bits=_counter_bits(used, kept, counter_bits), problems=_found(trip),
        sha256=sha256,
    )  # fmt: skip
    told = [_by_sample(p) for p in recording.problems if not (trip.missing and p.kind == "gap")]
    marks = tuple(Mark(m.t_us / MILLION, m.name) for m in sorted(trip.marks, key=lambda m: m.t_us))
    battery = recording.battery_v if recording.battery_v is not None else _battery(trip, recording.t_s)
    return replace(recording, marks=marks, problems=tuple(told), battery_v=battery)


def _counter_bits(uses: tuple[Use, ...], columns: tuple[Column, ...], stated: int | None) -> int | None:
    """The width of an encoder's counter: as stated, or 16 where its column has 16 bits; else it is found by itself."""
    ticks = [columns[u.index - 1].bits for u in uses if isinstance(u.meaning, Meaning) and u.meaning.kind == "count"]
    return stated if stated is not None or not ticks or ticks[0] == 32 else ticks[0]


def _found(trip: Trip) -> list[Problem]:
    """What the numbers of the samples tell: what never came, what came twice with other readings."""
    problems = []
    if trip.missing:
        lost = sum(count for _, count in trip.missing)
        first, longest = trip.missing[0][0], max(count for _, count in trip.missing)
        what = f"{many(lost, 'sample')} never came, in {many(len(trip.missing), 'hole')} of up to {longest}"
        problems.append(problem("lost samples", what, f"from line {first} on", "left open", count=lost))
    if trip.clashing:
        what = f"{many(trip.clashing, 'sample')} came again with other readings: two wagons may have one id"
        problems.append(problem("clashing samples", what, "all through", "the first kept", count=trip.clashing))
    return problems


def _by_sample(found: Problem) -> Problem:
    """Rows have no lines here: they go by the number of the sample."""
    where, text = (re.sub(r"\bline(s?) (\d)", r"sample\1 \2", part) for part in (found.where, found.text))
    return replace(found, where=where, text=text)


def _battery(trip: Trip, t_s: Array) -> Array | None:
    """(n,) voltage of the cell [V], between the times at which the wagon told it."""
    told = [(s.t_us / MILLION, s.battery_mv / 1e3) for s in trip.states if s.battery_mv is not None]
    if not told:
        return None
    when, volt = np.array(told).T
    return np.asarray(np.interp(t_s, when, volt), dtype=np.float64)

"""Raw logs as recordings: which wagon of a log, its boots on one clock, marks from the desk, and what is missing."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.errors import RecordingError
from wayrule.formats import recording as recordings
from wayrule.formats.columns import resolve
from wayrule.formats.problems import many, problem
from wayrule.formats.rawlogframes import LogContent, Stamps, clock_stamps, log_content
from wayrule.formats.rawlogproblems import log_problems
from wayrule.formats.rawlogreader import RawLog
from wayrule.formats.wire import Trip, recording_of, text_recording
from wayrule.maths.clocktie import ClockTie, tie_clocks
from wayrule.model import ColumnMap, Mark, Problem, Recording, Wagon
from wayrule.model.arrays import Array

LEAST_SAMPLES: Final = 20
"""A boot with fewer samples is no part of a run: a tenth of a second."""

ALIKE_S: Final = 1e-6
"""Between two boots on one clock that would touch."""


@dataclass(frozen=True, slots=True)
class InLog:
    """One wagon of a log: `key` (its device number, or text-SOURCE), `name` as its hello says, `trips` by boot."""

    key: str
    name: str
    id: str
    trips: tuple[Trip, ...]
    text_source: int = 0


def wagons_in(content: LogContent) -> tuple[InLog, ...]:
    """Every wagon of a log, in the order of first hearing."""
    by_device: dict[int, list[Trip]] = {}
    for trip in content.trips:
        by_device.setdefault(trip.device, []).append(trip)
    found = []
    for device, trips in by_device.items():
        hello = next((t.hello for t in trips if t.hello), None)
        whole = tuple(_with_hello(t, trips) for t in sorted(trips, key=lambda t: t.boot))
        found.append(InLog(f"{device:08x}", hello.name if hello else "", hello.id if hello else "", whole))
    return (*found, *(InLog(f"text-{t.source}", "", "", (), t.source) for t in content.texts))


def _with_hello(trip: Trip, trips: Iterable[Trip]) -> Trip:
    """A boot whose hello was lost speaks as the wagon's other boots do, if it has as many columns."""
    alike = (t.hello for t in trips if t.hello and len(t.hello.columns) == trip.counts.shape[1])
    return trip if trip.hello else replace(trip, hello=next(alike, None))


def choose(wagons: tuple[InLog, ...], wanted: str, where: str) -> InLog:
    """The wagon that is wanted, by name, id or key; the only one where none is named.

    Raises
    ------
    RecordingError   for a log without a wagon, with several and none named, or without the one named
    """
    word = wanted.strip().lower()
    fit = [w for w in wagons if not word or word in (w.name.lower(), w.id.lower(), w.key.lower())]
    if len(fit) == 1:
        return fit[0]
    names = ", ".join(f"{w.name} ({w.key})" if w.name else w.key for w in wagons)
    raise RecordingError(
        expected=f"a wagon called {wanted}" if word else "samples of one wagon",
        came=names or "no frame and no header of a text log",
        where=where,
        next_step=f"write {where}@wagon={wagons[0].key}" if wagons else "see what the sender prints, and docs/wire.md",
    )


def recording_from(
    log: RawLog, name: str, where: str, wagon: Wagon, *, wanted: str = "", sha256: str = ""
) -> Recording:
    """One wagon of a raw log as a recording.

    One boot keeps the wagon's own clock; several are put on the recorder's clock, from the first sample on, with a gap
    between them. Marks dropped at the desk are put on the same clock.

    Raises
    ------
    RecordingError   as `choose`, and for what cannot be repaired
    """
    content = log_content(log)
    chosen = choose(wagons_in(content), wanted, where)
    sensor, imu, bits = wagon.sensor, wagon.imu, wagon.wheel.counter_bits
    if chosen.text_source:
        lines = next(t.lines for t in content.texts if t.source == chosen.text_source)
        text, dropped = text_recording(lines)
        made = recordings.read_recording(text, name, wagon.columns, sensor=sensor, imu=imu, counter_bits=bits)
        return replace(made, problems=(*log_problems(log), *_dropped(dropped), *made.problems), sha256=sha256)
    trips = [t for t in chosen.trips if len(t.seq) >= LEAST_SAMPLES] or list(chosen.trips[:1])
    short = [t for t in chosen.trips if t not in trips]
    parts = [recording_of(t, name, wagon.columns, sensor=sensor, imu=imu, counter_bits=bits) for t in trips]
    desk = [(n.t_ns * 1e-9, n.words.get("name", "")) for n in log.notes if n.what == "mark"]
    stamps = clock_stamps(log) if desk or len(trips) > 1 else {}
    ties = [_tie(stamps.get((t.device, t.boot)), log) for t in trips]
    made = _one(parts[0], ties[0], desk) if len(parts) == 1 else _joined(parts, ties, desk, where)
    told = (*log_problems(log), *_short(short), *made.problems, *_damaged(content))
    return replace(made, name=name, problems=told, sha256=sha256)


def understood(log: RawLog, where: str, columns: ColumnMap, wanted: str = "") -> recordings.Preview:
    """What the columns of one wagon of a raw log are taken for; a log of frames has the separator "frames".

    Raises
    ------
    RecordingError   as `choose`, and for names that do not fit
    """
    content = log_content(log)
    chosen = choose(wagons_in(content), wanted, where)
    if chosen.text_source:
        lines = next(t.lines for t in content.texts if t.source == chosen.text_source)
        return recordings.preview(text_recording(lines)[0], where, columns)
    hello = next((t.hello for t in chosen.trips if t.hello), None)
    header = ("t_us", *(c.name for c in hello.columns)) if hello else ()
    return recordings.Preview("frames", False, 0, resolve(header, columns, where), ())


def _tie(stamps: Stamps | None, log: RawLog) -> ClockTie | None:
    breaks = tuple(n.numbers["after_s"] for n in log.notes if n.what == "slept" and "after_s" in n.numbers)
    return tie_clocks(stamps.wagon_s, stamps.recorder_s, breaks) if stamps is not None else None


def _one(part: Recording, tie: ClockTie | None, desk: list[tuple[float, str]]) -> Recording:
    """A single boot: desk marks come onto the wagon's clock."""
    if tie is None or not desk:
        return part
    times = tie.first(np.array([t for t, _ in desk]))
    marks = [Mark(float(t), name) for t, (_, name) in zip(times, desk, strict=True)]
    return replace(part, marks=tuple(sorted((*part.marks, *marks), key=lambda m: m.t_s)))


def _joined(
    parts: list[Recording], ties: list[ClockTie | None], desk: list[tuple[float, str]], where: str
) -> Recording:
    """Several boots on the recorder's clock."""
    if any(tie is None for tie in ties):
        raise RecordingError(
            expected="a moment of receipt for every boot of the wagon",
            came="a boot without one",
            where=where,
            next_step="the log is damaged where that boot begins; read what is told about it",
        )
    known = [tie for tie in ties if tie is not None]
    times = [tie.second(part.t_s) for tie, part in zip(known, parts, strict=True)]
    begin = float(times[0][0])
    edges: list[Array] = []
    for t in times:
        late = edges[-1][-1] + ALIKE_S - (t[0] - begin) if edges else 0.0
        edges.append(t - begin + max(late, 0.0))
    marks = [
        Mark(float(tie.second(np.array([m.t_s]))[0]) - begin, m.name)
        for tie, part in zip(known, parts, strict=True)
        for m in part.marks
    ]
    marks += [Mark(t - begin, name) for t, name in desk]
    restarts = [problem(
        "restart", f"the wagon was switched on anew {many(len(parts) - 1, 'time')}",
        ", ".join(f"at {t[0]:.3f} s" for t in edges[1:]),
        f"its boots are put on the recorder's clock, to {1e3 * max(tie.sd_s for tie in known):.1g} ms",
        count=len(parts) - 1,
    )]  # fmt: skip
    return Recording(
        name=parts[0].name,
        t_s=np.concatenate(edges),
        **{group: _stacked([getattr(p, group) for p in parts], group, parts) for group in GROUPS},  # type: ignore[arg-type]
        marks=tuple(sorted(marks, key=lambda m: m.t_s)),
        problems=(*restarts, *(p for part in parts for p in part.problems)),
    )


GROUPS: Final = (
    "field_mt", "ticks_count", "wheel_mm_s", "wheel_mm", "gyro_rad_s", "acc_mm_s2", "temp_c", "battery_v",
)  # fmt: skip
"""What a recording may hold."""


def _stacked(values: list[Array | None], group: str, parts: list[Recording]) -> Array | None:
    """One group of several boots: NaN where a boot has none of it; what counts up goes on from where it was."""
    shapes = [v.shape[1:] for v in values if v is not None]
    if not shapes:
        return None
    whole = [np.full((p.n, *shapes[0]), np.nan) if v is None else v for v, p in zip(values, parts, strict=True)]
    if group in ("ticks_count", "wheel_mm"):
        for k in range(1, len(whole)):
            last, first = whole[k - 1][np.isfinite(whole[k - 1])], whole[k][np.isfinite(whole[k])]
            if len(last) and len(first):
                whole[k] = whole[k] + (last[-1] - first[0])
    return np.concatenate(whole)


def _dropped(count: int) -> list[Problem]:
    if not count:
        return []
    return [problem("garbled lines", many(count, "line") + " that are no row", "all through", "dropped", count=count)]


def _short(trips: list[Trip]) -> list[Problem]:
    return [
        problem(
            "short boot",
            f"boot {t.boot} sent {many(len(t.seq), 'sample')} only",
            "before the next",
            "left out",
            count=1,
        )
        for t in trips
    ]


def _damaged(content: LogContent) -> list[Problem]:
    """Pieces that came garbled over the link; the samples in them are named as lost, or came again."""
    pieces = [d for part in content.damage.values() for d in part]
    if not pieces:
        return []
    size = sum(d.size for d in pieces)
    what = f"{many(len(pieces), 'piece')} came garbled or were cut, {size} bytes"
    return [problem("garbled", what, f"the first: {pieces[0].why}", "passed over", count=len(pieces))]

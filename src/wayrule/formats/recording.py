"""A recording as text: bytes to `Recording`, every defect found, placed, and repaired or refused."""

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wayrule.errors import RecordingError
from wayrule.formats.cells import read_cells
from wayrule.formats.columns import Use, resolve
from wayrule.formats.counters import undo_wrap
from wayrule.formats.dialect import Dialect, find_dialect, plain_text
from wayrule.formats.lines import clean_rows
from wayrule.formats.problems import many, place, problem
from wayrule.formats.readings import refuse_absurd, without_dead_rows, without_saturation
from wayrule.formats.stamps import order
from wayrule.model import ColumnMap, FieldSensor, Imu, Mark, Problem, Recording
from wayrule.model.arrays import Array
from wayrule.units import DEG, G_MM_S2

Lines = NDArray[np.int64]

PLAIN, NO_SENSOR, NO_IMU = ColumnMap(), FieldSensor(), Imu()
"""Nothing mapped, nothing stated."""

GROUPS = {"field": "field_mt", "rate": "gyro_rad_s", "acceleration": "acc_mm_s2"}


@dataclass(frozen=True, slots=True)
class Preview:
    """How a log was understood, before it is read in full.

    separator      "comma", "semicolon", "tab" or "blanks"
    columns        one entry for each use of a column, in file order; unused ones say why
    first_row      its cells as written
    """

    separator: str
    decimal_comma: bool
    header_line: int
    columns: tuple[Use, ...]
    first_row: tuple[str, ...]


def preview(data: bytes, name: str, columns: ColumnMap = PLAIN) -> Preview:
    """Say what the columns of a log are understood as.

    >>> seen = preview(b"t_ms;Gyro Z\\n0;1,5\\n5;1,6\\n", "log.csv", ColumnMap((("gz_dps", "-Gyro Z"),)))
    >>> seen.separator, seen.decimal_comma, [(u.theirs, u.meaning.slot, u.sign) for u in seen.columns]
    ('semicolon', True, [('t_ms', 't', 1), ('Gyro Z', 'gz', -1)])

    Raises
    ------
    RecordingError   when there is no header, or a name does not fit
    """
    text = plain_text(data, name)
    dialect = find_dialect(text, columns, name)
    uses = resolve(dialect.header, columns, name)
    end = text.find(b"\n", dialect.body_at)
    row = text[dialect.body_at : end if end >= 0 else len(text)].decode("utf-8", errors="replace")
    words = {",": "comma", ";": "semicolon", "\t": "tab", " ": "blanks"}
    return Preview(
        separator=words[dialect.separator],
        decimal_comma=dialect.decimal_comma,
        header_line=dialect.header_line,
        columns=uses,
        first_row=tuple(c.strip() for c in (row.split() if dialect.separator == " " else row.split(dialect.separator))),
    )


def read_recording(
    data: bytes,
    name: str,
    columns: ColumnMap = PLAIN,
    *,
    sensor: FieldSensor = NO_SENSOR,
    imu: Imu = NO_IMU,
    counter_bits: int | None = None,
) -> Recording:
    """Read a text log by the contract.

    Parameters
    ----------
    data : bytes             the file, untouched
    name : str               of the run, for the recording and for error lines
    columns : ColumnMap      for foreign logs
    sensor, imu              stated ranges, for saturation; without them it is told from the readings
    counter_bits : int       width of an encoder's counter; None = found by itself

    Returns
    -------
    Recording   times strictly rising, missing samples NaN, `problems` in the order they were found

    Raises
    ------
    RecordingError   for what cannot be read or repaired, with line and next step

    Examples
    --------
    >>> run = read_recording(b"t_s,wheel_mm_s,gz_dps\\n0.0,100,0\\n0.1,110,90\\n0.1,110,90\\n", "monday")
    >>> run.t_s, run.wheel_mm_s, run.problems[0].text
    (array([0. , 0.1]), array([100., 110.]), '1 repeated row (line 4, at 0.100 s): dropped.')
    """
    text = plain_text(data, name)
    dialect = find_dialect(text, columns, name)
    uses = resolve(dialect.header, columns, name)
    time = _time_column(uses, dialect, columns, name)
    rows = clean_rows(text, dialect, name)
    numbers, marks, problems = read_cells(rows, dialect, uses, name)
    problems = [*rows.problems, *_told_unused(uses), *problems]
    t_s, wrapped = _seconds(numbers[time.index], time, columns)
    unit = time.meaning.unit if time.meaning else "s"
    readings = {k: v for k, v in numbers.items() if k != time.index}
    return arranged(
        uses, readings, t_s, rows.lines, name,
        unit=unit, sensor=sensor, imu=imu, counter_bits=counter_bits, marks=marks,
        problems=[*problems, *wrapped], sha256=hashlib.sha256(data).hexdigest(),
    )  # fmt: skip


def arranged(
    uses: tuple[Use, ...],
    numbers: dict[int, Array],
    t_s: Array,
    lines: Lines,
    name: str,
    *,
    unit: str = "s",
    sensor: FieldSensor = NO_SENSOR,
    imu: Imu = NO_IMU,
    counter_bits: int | None = None,
    marks: list[str | None] | None = None,
    problems: list[Problem],
    sha256: str,
) -> Recording:
    """A recording from columns of numbers, whatever they were read from: in order of time, checked and repaired.

    Parameters
    ----------
    uses      what each column is used for
    numbers   index of a column (without that of time) -> (n,) values in the column's own unit
    t_s       (n,) stamps; `unit`, of the column that they came from, for the error line
    lines     (n,) number of each row, to place problems by
    marks     text of each row, or None
    problems  found before

    Raises
    ------
    RecordingError   for what cannot be repaired
    """
    at = order(t_s, list(numbers.values()), lines, unit, name)
    problems = [*problems, *at.problems]
    lines = lines[at.rows]
    groups, units = _groups(uses, numbers, at.rows)
    groups, found = without_dead_rows(groups, at.t_s, lines)
    problems += found
    limits = _limits(sensor, imu)
    for kind, values in groups.items():
        refuse_absurd(kind, values, units[kind], name)
        problems += without_saturation(kind, values, limits[kind], at.t_s, lines)
    singles = _singles(uses, numbers, at.rows, name)
    if "ticks_count" in singles:
        singles["ticks_count"], found = _counted(singles["ticks_count"], counter_bits, lines, name)
        problems += found
    for values in (at.t_s, *groups.values(), *singles.values()):
        values.flags.writeable = False  # ours alone: the recording need not copy them
    return Recording(
        name=name,
        t_s=at.t_s,
        **{GROUPS[kind]: values for kind, values in groups.items()},
        **singles,
        marks=_marks(marks, at.rows, at.t_s),
        problems=tuple(problems),
        sha256=sha256,
    )


def _limits(sensor: FieldSensor, imu: Imu) -> dict[str, float | None]:
    """Where each group's readings saturate, as stated, in our units; None where it is not."""
    return {
        "field": sensor.range_mt,
        "rate": None if imu.gyro_range_dps is None else imu.gyro_range_dps * DEG,
        "acceleration": None if imu.acc_range_g is None else imu.acc_range_g * G_MM_S2,
    }


def _time_column(uses: tuple[Use, ...], dialect: Dialect, columns: ColumnMap, name: str) -> Use:
    time = next((u for u in uses if u.meaning and u.meaning.kind == "time"), None)
    if time is None or time.meaning is None:
        likely = [
            h for h in dialect.header if any(w in h.lower() for w in ("time", "milli", "micro", "stamp", "clock"))
        ]
        theirs = likely[0] if likely else dialect.header[0]
        raise RecordingError(
            expected="a time column (t_s, t_ms, t_us, t_ns or t_sample)",
            came=f"columns {', '.join(dialect.header[:12])}",
            where=f"{name} line {dialect.header_line}",
            next_step=f'map it in the wagon file: [columns] t_ms = "{theirs}"',
        )
    if time.meaning.factor is None and columns.rate_hz is None:
        raise RecordingError(
            expected="the rate that goes with a sample number",
            came=f"column {time.theirs} alone",
            where=f"{name} line {dialect.header_line}",
            next_step="state rate_hz = 100 (or what it is) in the [columns] table of the wagon file",
        )
    if not any(u.meaning and u.meaning.kind not in ("time", "mark", "temperature", "voltage") for u in uses):
        raise RecordingError(
            expected="a wheel input, a gyro or an accelerometer besides the time",
            came=f"columns {', '.join(dialect.header[:12])}",
            where=f"{name} line {dialect.header_line}",
            next_step='name their units (bx_mT, gz_dps, ax_g ...) or map them: [columns] gz_dps = "Gyro Z"',
        )
    return time


def _seconds(raw: Array, time: Use, columns: ColumnMap) -> tuple[Array, list[Problem]]:
    """Stamps in seconds; the 32-bit microsecond and millisecond counters of small computers run over."""
    problems: list[Problem] = []
    unit = time.meaning.unit if time.meaning else "s"
    if unit in ("ms", "us", "sample"):
        raw, wraps, bits = undo_wrap(raw, None if unit == "sample" else 32, rising=True)
        if wraps:
            what = f"the {bits}-bit clock ran over {many(wraps, 'time')}"
            problems.append(problem("clock ran over", what, f"column {time.theirs}", "made continuous", count=wraps))
    factor = time.meaning.factor if time.meaning else None
    return (raw * factor if factor is not None else raw / (columns.rate_hz or 1.0)), problems


def _told_unused(uses: tuple[Use, ...]) -> list[Problem]:
    told = [u for u in uses if u.meaning is None and "another wheel" in u.note]
    return [problem("second wheel input", f"column {u.theirs}: {u.note}", "header", "left out", count=1) for u in told]


def _groups(uses: tuple[Use, ...], numbers: dict[int, Array], rows: Lines) -> tuple[dict[str, Array], dict[str, str]]:
    """(n, 3) readings in inside units for field, gyro and accelerometer; and the unit of their columns."""
    groups: dict[str, Array] = {}
    units: dict[str, str] = {}
    whole = len(rows) == len(next(iter(numbers.values()))) and bool(np.all(np.diff(rows) == 1))
    for use in uses:
        if use.meaning is None or use.meaning.kind not in GROUPS or use.meaning.factor is None:
            continue
        if use.meaning.kind not in groups:
            groups[use.meaning.kind] = _no_readings(len(rows))
        group = groups[use.meaning.kind]
        values = numbers[use.index] if whole else numbers[use.index][rows]
        np.multiply(values, use.sign * use.meaning.factor, out=group[:, "xyz".index(use.meaning.slot[1])])
        units[use.meaning.kind] = use.meaning.unit
    return groups, units


def _no_readings(n: int) -> Array:
    """(n, 3) of NaN, each axis in one piece of memory."""
    return np.full((3, n), np.nan).T


def _singles(uses: tuple[Use, ...], numbers: dict[int, Array], rows: Lines, name: str) -> dict[str, Array]:
    fields = {"count": "ticks_count", "speed": "wheel_mm_s", "distance": "wheel_mm"}
    fields |= {"temperature": "temp_c", "voltage": "battery_v"}
    singles = {}
    for use in uses:
        if use.meaning and use.meaning.kind in fields and use.meaning.factor is not None:
            values = numbers[use.index][rows] * (use.sign * use.meaning.factor)
            if use.meaning.kind == "speed":
                refuse_absurd("speed", values, use.meaning.unit, name)
            singles[fields[use.meaning.kind]] = values
    return singles


def _counted(count: Array, bits: int | None, lines: Lines, name: str) -> tuple[Array, list[Problem]]:
    span = float(np.nanmax(count) - np.nanmin(count)) if np.isfinite(count).any() else 0.0
    if bits is not None and span >= 2.0**bits:
        raise RecordingError(
            expected=f"counts that fit a {bits}-bit counter",
            came=f"counts over {span:g}",
            where=f"{name}, column ticks_count",
            next_step="correct counter_bits under [wheel] in the wagon file, or leave it off",
        )
    whole, wraps, width = undo_wrap(count, bits)
    if not wraps:
        return count, []
    jumps = np.flatnonzero(np.abs(np.diff(count)) > 2.0 ** (width - 1)) + 1
    what = f"the {width}-bit counter ran over {many(wraps, 'time')}"
    return whole, [problem("counter ran over", what, place(lines[jumps]), "made continuous", count=wraps)]


def _marks(marks: list[str | None] | None, rows: Lines, t_s: Array) -> tuple[Mark, ...]:
    """The moments at which a mark begins; held over several rows it is one mark."""
    found: list[Mark] = []
    before = ""
    for row, t in zip(rows.tolist(), t_s.tolist(), strict=True) if marks is not None else ():
        word = (marks[row] or "").strip() if marks is not None else ""
        if word and word != before:
            found.append(Mark(t, word))
        before = word
    return tuple(found)

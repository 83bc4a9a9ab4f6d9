"""`calibrate`: what a wagon's recordings teach of it, kept as a file, with what to do next."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from os import PathLike, fspath
from pathlib import Path
from typing import Any

from wayrule import model, store
from wayrule.desk.frame import framed
from wayrule.desk.opening import PathName, read_recording, read_wagon
from wayrule.desk.steps import Step, silent, stages
from wayrule.formats.calibrationfile import calibration_content
from wayrule.formats.purposes import parse_purpose
from wayrule.formats.spelling import run_names
from wayrule.model import Calibration, Wagon
from wayrule.model.rolling import WAYS
from wayrule.pipeline.calibrate import calibrate as calibrate_day
from wayrule.pipeline.calibrateaxle import NAME as AXLE
from wayrule.pipeline.calibrateinertial import LEVEL
from wayrule.pipeline.calibratenoise import NAME as NOISE
from wayrule.pipeline.rollinghistory import control_chart, history
from wayrule.report.axle import axle_picture, orders_table
from wayrule.report.calibration import calibration_page, part_sentences, purpose_words, standing_sentences
from wayrule.report.controlchart import History, chart_picture
from wayrule.report.noise import noise_picture, noise_rows
from wayrule.report.pictures import Picture
from wayrule.report.seat import seat_picture
from wayrule.report.tables import Table
from wayrule.units import DEG, G_MM_S2
from wayrule.version import VERSION

PAGE = "calibration.html"


@dataclass(frozen=True, slots=True, eq=False)
class CalibrateResult(model.CalibrationDay):
    """A day of calibrating that can be saved, and that a notebook shows as its report.

    wagon     that was calibrated
    chosen    the calibration that it went on from, in words; "" where there was none
    written   files, where it was saved
    """

    wagon: Wagon | None = None
    chosen: str = ""
    written: tuple[Path, ...] = ()

    def page(self) -> str:
        """The report, a whole HTML page."""
        assert self.wagon is not None
        made = self.calibration.made.replace("T", " ").replace("Z", " UTC")
        return calibration_page(self, self.wagon, self.pictures(), self.tables(), made=made, version=VERSION)

    def pictures(self) -> dict[str, list[Picture]]:
        """The drawings of each part."""
        assert self.wagon is not None
        drawn = {"distance": [chart_picture(one) for one in _histories(self.calibration)]}
        if self.axle is not None and self.wagon.wheel.diameter_mm is not None:
            drawn[AXLE] = [axle_picture(self.axle, self.wagon.wheel.diameter_mm)]
        if self.seat is not None:
            drawn[LEVEL] = [seat_picture(self.seat)]
        if (known := self.calibration.inertial) is not None:
            claims = {
                "gyro": (self.wagon.imu.gyro_noise_dps_rthz, DEG),
                "accelerometer": (self.wagon.imu.acc_noise_g_rthz, G_MM_S2),
            }
            drawn[NOISE] = [
                noise_picture(one, (claims[one.kind][0] or math.nan) * claims[one.kind][1])
                for one in (known.gyro_noise, known.force_noise)
                if one is not None
            ]
        return drawn

    def tables(self) -> dict[str, list[Table]]:
        """The tables of each part."""
        assert self.wagon is not None
        axle, diameter_mm = self.axle, self.wagon.wheel.diameter_mm
        return {AXLE: [orders_table(axle, diameter_mm)]} if axle is not None and diameter_mm is not None else {}

    def save(self, folder: PathName) -> list[Path]:
        """Write the calibration, never over another, and `calibration.html`; returns what was written.

        After a dry test alone there is no calibration, and only the page is written.
        """
        page = store.write_text(Path(folder) / PAGE, self.page())
        return [*([store.write_calibration(Path(folder), self.calibration)] if self.calibration.runs else []), page]

    def lines(self) -> list[str]:
        """Everything for a terminal: where the parts stand, what was found, what to do next."""
        out = [plain_signs(sentence) for sentence in standing_sentences(self)]
        known = self.calibration.inertial
        noises = [one for one in (known.gyro_noise, known.force_noise) if one is not None] if known else []
        for part in self.parts:
            out += ["", f"{part.name[0].upper()}{part.name[1:]}: {part.standing}"]
            out += [f"  {plain_signs(sentence)}" for sentence in part_sentences(part)]
            if part.name == NOISE:
                out += [f"  {one.kind}, {plain_signs(': '.join(row))}" for one in noises for row in noise_rows(one)]
        decided = [
            f"Decided: {name}: {purpose_words(one)} ({one.decided}); to overrule: {name}@WHAT."
            for name, one in self.purposes
            if one.decided
        ]
        return [*out, "", *decided, *([self.chosen] if self.chosen else [])]

    def facts(self) -> dict[str, Any]:
        """Everything as plain words and numbers, for a machine; unknown numbers are NaN."""
        return {
            "wagon": self.wagon_name,
            "parts": [
                {"name": p.name, "standing": p.standing, "told": p.told, "refused": p.refused, "todo": p.todo}
                for p in self.parts
            ],
            "next": self.todo,
            "recordings": [
                {"run": name, "taken_for": one.kind, "words": purpose_words(one), "decided": one.decided}
                for name, one in self.purposes
            ],
            "distance": self.distance,
            "calibration": calibration_content(self.calibration),
            "from": self.chosen,
            "problems": self.problems,
            "written": self.written,
        }

    def _repr_html_(self) -> str:
        return framed(self.page(), 1200)


def calibrate(
    runs: PathName | Sequence[PathName],
    wagon: PathName | Wagon,
    *,
    calibration: PathName | Calibration | None = None,
    out: PathName | None = None,
    made: str | None = None,
    step: Step = silent,
) -> CalibrateResult:
    """Calibrate a wagon from whatever recordings of one day there are; the words are those of the command line.

    Parameters
    ----------
    runs : RUN or RUN@WHAT, one or several; WHAT is dry, spin, rest, taped=MM:SD, rod=MM:SD, laps=N (with @lap=MM:SD
        where a lap is taped), table=TURNS, position, level, turned, run; left off, the data decide
    wagon : its file, or the wagon
    calibration : of this wagon, to go on from: a file, a folder (the newest in it), or one in hand
    out : folder to write into; None writes nothing
    made : when, UTC (2026-08-01T14:05:00Z); None is now
    step : shows what is being done

    Raises
    ------
    RecordingError, WagonFileError, CalibrationError, UsageError, UndeterminedError   each in one line
    """
    words = [fspath(run) for run in ([runs] if isinstance(runs, str | PathLike) else runs)]
    with step("reading the wagon file"):
        known = read_wagon(wagon)
    before, chosen = remembered(calibration, known)
    parsed = [parse_purpose(word) for word in words]
    names = run_names([path for path, _ in parsed])
    recordings = []
    for name, (path, purpose) in zip(names, parsed, strict=True):
        with step(f"reading {path}"):
            recordings.append((read_recording(path, known, name), purpose))
    with stages(step) as tell:
        day = calibrate_day(recordings, known, before, made=made or moment(), tell=tell)
    same: dict[str, Any] = {f.name: getattr(day, f.name) for f in fields(day)}
    result = CalibrateResult(**same, wagon=known, chosen=chosen)
    if out is None:
        return result
    with step(f"writing {fspath(out)}"):
        written = result.save(out)
    return CalibrateResult(**same, wagon=known, chosen=chosen, written=tuple(written))


def plain_signs(text: str) -> str:
    """Signs that any terminal has."""
    return text.replace("±", "+-").replace("−", "-")


def moment() -> str:
    """Now, as calibrations write it."""
    return f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"


def remembered(calibration: PathName | Calibration | None, wagon: Wagon) -> tuple[Calibration | None, str]:
    """A calibration from its file or the newest of a folder, and a sentence on which one; one in hand stays."""
    if calibration is None or isinstance(calibration, Calibration):
        return calibration, ""
    found = store.choose_calibration(Path(calibration), wagon.name)
    return found.calibration, f"From {found.path}: {found.why}." if found.why else ""


def _histories(calibration: Calibration) -> Iterator[History]:
    """Every way of rolling that was ever shown, for its chart."""
    both = {one.way for step in calibration.steps for one in step.circles} >= {"forward", "backward"}
    for way, words in WAYS.items():
        if way in ("forward", "backward") and not both:
            continue  # one of them alone is what all straights say
        steps, values, sds = history(calibration.steps, way)
        if steps:
            circle = steps[-1].circle(way)
            unit = "mm" if circle is not None and math.isfinite(circle.circumference_mm) else ""
            dates = tuple(step.made[:10] for step in steps)
            yield History(words, dates, values, sds, unit, control_chart(calibration.steps, way))

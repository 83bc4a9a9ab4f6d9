"""The monitor's numbers: how soon after their bytes, and how near to the offline pipeline on the same bytes."""

import dataclasses
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.living.surveyed import SurveyedLine, speed_of, surveyed
from benchmarks.row import Row, at_least, at_most
from wayrule import pipeline
from wayrule.formats.wire import Frame, Samples, encode, gather, recording_of
from wayrule.live.follower import KnownTrack
from wayrule.live.links.link import LinkEndedError, Sink
from wayrule.live.listener import Heard
from wayrule.live.monitor import Monitor
from wayrule.live.recorder import Recorder
from wayrule.model import Calibration, State, Wagon
from wayrule.model.arrays import Array
from wayrule.model.now import Now
from wayrule.pipeline.onward import calibrated_scale
from wayrule.run.axle import learn_axle
from wayrule.sim import Leg
from wayrule.sim.onwire import in_time, on_wire
from wayrule.track.known import known_line

LATENCY_MS, AGREES_MM = 100.0, 0.1
OWN_MM = 1000.0
"""Without a calibration the field is learnt on the way: 30 turns in H0."""

Batches = list[tuple[float, list[Frame]]]


def pull(line: SurveyedLine, seed: int) -> tuple[Batches, Array, int]:
    """(seconds, frames) of a pull with a stop and a way back; true chainage at each sample; which way it faced."""
    legs = (Leg(3000.0, speed_of(line), 1.5), Leg(-900.0, 0.6 * speed_of(line), 1.0), Leg(1500.0, speed_of(line)))
    recording, truth = line.push(700.0, legs, np.random.default_rng(seed))
    return list(in_time(*on_wire(recording, line.wagon, identity="0badc0de"))), truth.chainage_mm, truth.facing


def calibrated(line: SurveyedLine) -> Calibration:
    """What the survey learnt of the wagon, and its axle's field from another roll."""
    rolled, _ = line.push(100.0, (Leg(3000.0, speed_of(line)),), np.random.default_rng(99))
    place, noise = line.wagon.sensor.place_mm, line.wagon.sensor.noise_mt
    axle = learn_axle(rolled, place_mm=place, noise_mt=noise, pushed_forward_first=True).reference
    return dataclasses.replace(line.calibration, axle=axle)


def watched(batches: Batches, wagon: Wagon, calibration: Calibration | None, track: KnownTrack) -> list[Now]:
    """Everything that is told."""
    told: list[Now] = []
    known = {wagon.name: calibration} if calibration else {}
    monitor = Monitor([wagon], calibrations=known, track=track, tell=lambda _, now: told.append(now), aside=False)
    for t_s, frames in batches:
        monitor.watch(Heard(1, int(t_s * 1e9), tuple(frames)))
    return told


def agreeing_rows(quick: bool) -> Iterator[Row]:
    """Live against offline."""
    line = surveyed(0)
    track, known = KnownTrack.of(line.stations), known_line(line.stations)
    for calibration, what, from_mm in (
        (calibrated(line), "axle calibrated, from the start", -1.0), (None, "nothing known, from 1 m on", OWN_MM),
    ):  # fmt: skip
        worst = 0.0
        speeds: list[float] = []
        slopes: list[float] = []
        bends: list[float] = []
        for seed in range(1 if quick else 4):
            batches, chainage, facing = pull(line, seed)
            told = watched(batches, line.wagon, calibration, track)
            trip = gather([frame for _, frames in batches for frame in frames]).trips[0]
            wagon = line.wagon
            recording = recording_of(trip, "r", sensor=wagon.sensor, imu=wagon.imu)
            went = pipeline.travel(recording, wagon, scale=calibrated_scale(calibration))
            t = np.array([now.t_s for now in told])
            off = np.array([now.distance_mm.value for now in told]) - np.interp(t, went.t_s, went.distance_mm)
            rolled = np.interp(t, went.t_s, np.maximum.accumulate(went.distance_mm))
            worst = max(worst, float(np.nanmax(np.abs(off[rolled > from_mm]))))
            use = (rolled > max(from_mm, 200.0)) & np.isfinite(off)
            v, v_sd = (np.interp(t, went.t_s, column) for column in (went.speed_mm_s, went.speed_sd_mm_s))
            speeds += list(_sigmas(told, "speed_mm_s", v, v_sd, use))
            here = line.told(np.interp(t, recording.t_s, chainage))
            wheelbase, way = wagon.wheelbase_mm, np.array([now.rolls for now in told]) * facing
            felt, before = (known.felt(s, facing, wheelbase) for s in (here, here - way * wheelbase))
            moving = use & (np.array([now.state for now in told]) == State.ROLLING)
            sd = known.gradient_sd
            slopes += list(_sigmas(told, "gradient", np.tan(felt[1]), np.full(len(t), sd), moving))
            turn = (felt[0] - before[0] + np.pi) % (2 * np.pi) - np.pi
            bend = turn / (np.array([now.rolls or 1 for now in told]) * wheelbase)
            curvature_sd = float(np.median(line.stations.curvature_sd_1_mm))
            bends += list(_sigmas(told, "curvature_1_mm", bend, np.full(len(t), curvature_sd), moving))
        yield at_most(f"live against offline, distance, {what}: greatest difference", worst, AGREES_MM, "mm")
        against = {"speed": speeds, "gradient, of the survey": slopes, "curvature, of the survey": bends}
        for name, z in against.items():
            inside = 100.0 * float(np.mean(np.abs(z) < 2.0))
            yield at_least(f"live against offline, {name}, {what}: inside two sigma", inside, 90.0, "%")


def _sigmas(told: list[Now], name: str, value: Array, sd: Array, use: NDArray[np.bool_]) -> Array:
    """Differences over the sigmas of both."""
    live = np.array([getattr(now, name) for now in told])
    z = (live[:, 0] - value) / np.hypot(live[:, 1], sd)
    return np.asarray(z[use & np.isfinite(z)])


class TimedLink:
    """A wagon in real time; knows when it sent each sample."""

    spelling = "timed"

    def __init__(self, batches: Batches) -> None:
        self._batches = batches
        self.sent: dict[int, float] = {}

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """Until the run is over."""
        sink.up("wagon", lambda _: None)
        begin = time.monotonic()
        for t_s, frames in self._batches:
            left = begin + t_s - time.monotonic()
            if left > 0 and stop.wait(left):
                return
            now = time.monotonic()
            for frame in frames:
                if isinstance(frame, Samples):
                    self.sent[int(frame.seq[-1])] = now
            sink.came("wagon", b"".join(map(encode, frames)))
        sink.down("wagon", "over")
        raise LinkEndedError("over")


def latency_rows(quick: bool) -> Iterator[Row]:
    """From a frame's bytes to the first number that has them in it."""
    line = surveyed(0)
    batches, _, _ = pull(line, 5)
    until_s = 10.0 if quick else 25.0
    link = TimedLink([(t_s, frames) for t_s, frames in batches if t_s < until_s])
    shown: list[tuple[int, float]] = []
    monitor = Monitor(
        [line.wagon], calibrations={line.wagon.name: calibrated(line)}, track=KnownTrack.of(line.stations),
        tell=lambda _, now: shown.append((now.seq, time.monotonic())),
    )  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        recorder = Recorder(Path(folder) / "l.waylog", [link], monitor=monitor)
        while not recorder.ended:
            time.sleep(0.1)
        recorder.close()
    seqs, times = np.array([seq for seq, _ in shown]), np.array([at for _, at in shown])
    first = {seq: int(np.searchsorted(seqs, seq)) for seq in link.sent}
    late = np.array([times[first[seq]] - at for seq, at in link.sent.items() if first[seq] < len(seqs)])
    what = f"monitor, bytes to number at 200 Hz, {until_s:.0f} s with a map, recorded meanwhile"
    yield at_most(f"{what}: 99 of 100 frames", 1e3 * float(np.quantile(late, 0.99)), LATENCY_MS, "ms")
    yield at_most(f"{what}: the latest of {len(late)}", 1e3 * float(late.max()), LATENCY_MS, "ms")

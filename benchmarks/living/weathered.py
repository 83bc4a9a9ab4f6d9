"""A bad radio link recorded: what came back, what was told as a gap, how well the clocks were tied."""

import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.living.radio import RadioWagon, Weather, counts_of
from benchmarks.row import Row, at_least, at_most
from wayrule.formats.rawlogframes import clock_stamps, log_content
from wayrule.formats.rawlogreader import RawLog, read_raw_log
from wayrule.live.links.udp import UdpLink
from wayrule.live.recorder import Recorder
from wayrule.maths.clocktie import tie_clocks


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a recording of a bad link amounts to.

    made, there, wrong   samples made by the wagon; read back; read back with other readings than they had
    untold               samples that are not there and are not named as missing
    repeated             samples that came more than once
    tie_s                worst error of the tie of clocks over all boots [s]
    boots                heard
    """

    made: int
    there: int
    wrong: int
    untold: int
    repeated: int
    tie_s: float
    boots: int


def weathered(weather: Weather, run_s: float, *, settle_s: float, seed: int = 1) -> Outcome:
    """Record a wagon in such weather for `run_s`, give it `settle_s` to send what it kept, and read the log."""
    with tempfile.TemporaryDirectory() as folder:
        link = UdpLink("udp:", "127.0.0.1", 0)
        recorder = Recorder(Path(folder) / "radio.waylog", [link])
        wagon = RadioWagon(("127.0.0.1", link.port), weather, seed)
        time.sleep(run_s)
        wagon.stand()
        end = time.monotonic() + settle_s
        while time.monotonic() < end and any(w.awaited for w in recorder.status().wagons):
            time.sleep(0.2)
        time.sleep(min(settle_s, 1.0))
        wagon.stop()
        recorder.close()
        log = read_raw_log([(p.name, p.read_bytes()) for p in Path(folder).glob("*.waylog")])
    return outcome(wagon, log)


def outcome(wagon: RadioWagon, log: RawLog) -> Outcome:
    """Compare what was read with what was made."""
    content, both = log_content(log), clock_stamps(log)
    made = sum(boot.made for boot in wagon.boots)
    there = wrong = untold = repeated = 0
    worst = 0.0
    for boot in wagon.boots:
        trip = next((t for t in content.trips if t.boot == boot.number and t.device == wagon.device), None)
        if trip is None:
            untold += boot.made
            continue
        there += len(trip.seq)
        repeated += trip.repeated
        right = np.all(trip.counts == counts_of(wagon.device, boot.number, trip.seq), axis=1)
        wrong += int(np.sum(~right)) + trip.clashing
        inside = int(trip.seq[-1] - trip.seq[0]) + 1
        untold += inside - len(trip.seq) - sum(count for _, count in trip.missing)
        stamps = both[(trip.device, trip.boot)]
        tie = tie_clocks(stamps.wagon_s, stamps.recorder_s)
        at = np.asarray(trip.t_us * 1e-6, dtype=np.float64)
        worst = max(worst, float(np.abs(tie.second(at) - wagon.true_host_s(boot.number, at)).max()))
    return Outcome(made, there, wrong, untold, repeated, worst, len(content.trips))


def weathered_rows(quick: bool) -> Iterator[Row]:
    """The promised weather."""
    run_s = 24.0 if quick else 60.0
    weather = Weather(outage_s=(6.0, 16.0), restart_s=18.0 if quick else 40.0)
    name = f"UDP, 5 % lost, 2 % twice, overtaken, 10 s outage, restart, {run_s:.0f} s at 200 Hz"
    found = weathered(weather, run_s, settle_s=15.0)
    yield at_least(f"{name}: samples there, of those made", 100 * found.there / found.made, 99.9, "%")
    yield at_most(f"{name}: wrong samples, and gaps not told", found.wrong + found.untold, 0, "")
    yield at_least(f"{name}: samples that came twice and were taken once", found.repeated, 1, "")
    yield at_most(f"{name}: clock tie, worst over both boots", 1e3 * found.tie_s, 1.0, "ms")
    poor = weathered(Weather(outage_s=(3.0, 8.0)), 12.0, settle_s=0.0, seed=2)
    yield at_most(
        "the same, read without waiting for what was kept: gaps not told, wrong", poor.untold + poor.wrong, 0, ""
    )

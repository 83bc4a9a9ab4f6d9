"""What an adjustment costs: a million samples against the fastest common reader on the same rows, one thread each.

The reader's threads can only be bound before it is loaded, so the measuring is done by a process of its own:
`python -m benchmarks.adjusting.cost SAMPLES` prints one JSON object.
"""

import io
import json
import os
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl

from benchmarks.adjusting.staged import adjusted, with_sigmas
from benchmarks.row import Row, at_most
from benchmarks.surveying.cost import raw_bytes
from benchmarks.surveying.promised import stated
from wayrule.formats.recordingwriter import write_recording
from wayrule.model import Facts, Recording, Wagon
from wayrule.sim import G_WAGON, GOOD, HO_VAN, RunPlan, garden_g, laps, oval, simulate
from wayrule.track.adjust.adjust import Adjusted

SAMPLES: Final = 1_000_000
QUICK_SAMPLES: Final = 100_000
LAPS: Final = 8
RATE_HZ: Final = 200.0
TIMES: Final = 40.0
AIM_TIMES: Final = 12.0
MEMORY_TIMES: Final = 8.0
ONE_THREAD: Final = dict.fromkeys(
    ("POLARS_MAX_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)


def eight_laps(samples: int) -> tuple[Recording, Wagon]:
    """Eight laps at 200 Hz, about so many samples: of the garden line, or of the oval where they are few."""
    draw, wagon = (garden_g, G_WAGON) if samples >= SAMPLES else (oval, HO_VAN)
    railway = draw(np.random.default_rng(5))
    speed = LAPS * railway.length_mm / (samples / RATE_HZ - 10.0)  # standstills and ramps take about 10 s
    plan = RunPlan(*laps(railway.length_mm, LAPS, speed), rate_hz=RATE_HZ)
    return simulate(railway, wagon, plan, GOOD, np.random.default_rng(6), name="run")[0], wagon


def surveyed(recording: Recording, wagon: Wagon) -> Adjusted:
    """From the recording to the line with all its sigmas."""
    done = adjusted([recording], wagon, Facts(laps={recording.name: LAPS}))
    assert np.all(np.isfinite(with_sigmas(done).x_sd_mm)), "an adjustment without its covariances"
    return done


def measured(samples: int) -> dict[str, Any]:
    """Processor times [s], memory [bytes] and how the iteration ended; run it with one thread."""
    recording, wagon = eight_laps(samples)
    text = write_recording(recording)
    parsing, ours = [], []
    for _ in range(3):
        began = time.process_time()
        rows = pl.read_csv(io.BytesIO(text)).height
        parsing.append(time.process_time() - began)
        assert rows == recording.n, f"the reader found {rows} rows of {recording.n}"
    for _ in range(2):
        began = time.process_time()
        done = surveyed(recording, wagon)
        ours.append(time.process_time() - began)
    tracemalloc.start()
    surveyed(recording, wagon)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return {
        "samples": recording.n,
        "threads": pl.thread_pool_size(),
        "parsing_s": min(parsing),
        "adjusting_s": min(ours),
        "most_bytes": most + raw_bytes(recording),
        "raw_bytes": raw_bytes(recording),
        "iterations": done.iterations,
        "converged": done.converged,
        "last_move_mm": done.moved_mm,
    }


def apart(samples: int) -> dict[str, Any]:
    """The same measured by a process of its own, held to one thread."""
    root = Path(__file__).parents[2]
    path = os.pathsep.join([str(root / "src"), str(root), os.environ.get("PYTHONPATH", "")])
    ran = subprocess.run(
        [sys.executable, "-m", "benchmarks.adjusting.cost", str(samples)],
        cwd=root, env=os.environ | ONE_THREAD | {"PYTHONPATH": path}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if ran.returncode:
        raise RuntimeError(f"measuring {samples} samples failed: {ran.stderr.strip().splitlines()[-1]}")
    found: dict[str, Any] = json.loads(ran.stdout)
    return found


def cost_rows(*, quick: bool) -> Iterator[Row]:
    """Time, memory and iterations of one large adjustment."""
    seen = apart(QUICK_SAMPLES if quick else SAMPLES)
    if seen["threads"] != 1:
        raise RuntimeError(f"expected a reader on one thread, came {seen['threads']}")
    name = f"{seen['samples']} samples of eight laps"
    times = seen["adjusting_s"] / seen["parsing_s"]
    row = at_most(
        f"{name} adjusted with covariances, over the time in which polars parses the same rows from CSV, "
        f"one thread each (aim {AIM_TIMES:g})",
        times, TIMES, "times",
    )  # fmt: skip
    yield Row(row.what, f"{row.measured} ({seen['adjusting_s']:.2f} s)", row.limit, row.ok)
    memory = seen["most_bytes"] / seen["raw_bytes"]
    yield at_most(f"{name}: most memory, raw arrays included, over the raw arrays", memory, MEMORY_TIMES, "times")
    figures = {"iterations": (float(seen["iterations"]), ""), "last step along the line": (seen["last_move_mm"], "mm")}
    row = stated(f"{name}: iterations, converged", figures)
    yield Row(row.what, f"{row.measured}, {'' if seen['converged'] else 'not '}converged", row.limit, seen["converged"])


if __name__ == "__main__":
    print(json.dumps(measured(int(sys.argv[1]))))

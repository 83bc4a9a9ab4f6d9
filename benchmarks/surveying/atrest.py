"""A rail vehicle at rest, twelve starts of its log: what a standstill tells of bias and gravity."""

import io
import struct
from collections.abc import Iterator
from typing import Final

import numpy as np
import polars as pl

from benchmarks.row import Row, at_most
from benchmarks.surveying.car import must_fail
from benchmarks.surveying.opendata import DATA, Floats, recording
from benchmarks.surveying.robot import FOLDER as ROBOT_FOLDER
from benchmarks.surveying.robot import WAGON
from wayrule.model import Recording
from wayrule.pipeline import travel
from wayrule.units import DEG, G_MM_S2

FOLDER: Final = "rail_imu_ethpbl_samples"
BIAS_DPS: Final = {
    1: ((1.36, 1.41), (-1.77, -1.68), (-0.83, -0.77)),
    2: ((0.47, 0.49), (-1.06, -1.03), (-0.56, -0.54)),
}
"""Range of each axis by node [deg/s], from the README beside the data; gravity likewise [g]."""
GRAVITY_G: Final = {1: (1.0111, 1.0125), 2: (1.0162, 1.0225)}
BIAS_WITHIN_DPS: Final = 0.02
GRAVITY_WITHIN_G: Final = 0.001
COUNT_G: Final = 0.061e-3
"""One step of the accelerometer."""


def starts() -> Iterator[tuple[int, Recording]]:
    """Node and recording of each start; its wheel stands still."""
    rows = pl.read_csv(io.BytesIO((DATA / FOLDER / "imu_decoded.csv").read_bytes()))
    for (number, node), one in rows.group_by("run", "node", maintain_order=True):
        t = one["t_s"].to_numpy()
        keep = np.append(True, np.diff(np.maximum.accumulate(t)) > 0)
        gyro = one.select("gyro_x_rad_s", "gyro_y_rad_s", "gyro_z_rad_s").to_numpy()[keep]
        acc = 1000 * one.select("acc_x_m_s2", "acc_y_m_s2", "acc_z_m_s2").to_numpy()[keep]
        still = np.zeros(int(keep.sum()))
        yield int(str(node)), Recording(f"start {number}", t[keep], wheel_mm_s=still, gyro_rad_s=gyro, acc_mm_s2=acc)


def beyond(value: float, low: float, high: float) -> float:
    """By how much a value lies outside a range.

    >>> beyond(1.5, 1.0, 1.4), beyond(1.2, 1.0, 1.4)
    (0.10000000000000009, 0.0)
    """
    return max(low - value, value - high, 0.0)


def rest_rows() -> Iterator[Row]:
    """Bias and norm of gravity of twelve starts, as `travel` finds them at rest."""
    _, wagon = recording(f"{ROBOT_FOLDER}/test1_recording.csv", WAGON)
    bias_off, norm_off, count = 0.0, 0.0, 0
    for node, run in starts():
        imu = travel(run, wagon).imu
        assert imu is not None
        assert imu.acc_mm_s2 is not None
        bias = imu.rotation.T @ imu.gyro_bias_rad_s / DEG
        norm = float(np.linalg.norm(imu.acc_mm_s2.mean(axis=0))) / G_MM_S2
        bias_off = max(bias_off, *(beyond(float(b), *r) for b, r in zip(bias, BIAS_DPS[node], strict=True)))
        norm_off = max(norm_off, beyond(norm, *GRAVITY_G[node]))
        count += 1
    yield Row("rail vehicle at rest: starts that travel reads", str(count), "12", count == 12)
    yield at_most("rail vehicle at rest: gyro bias outside its stated range", bias_off, BIAS_WITHIN_DPS, "deg/s")
    yield at_most("rail vehicle at rest: norm of gravity outside its range", norm_off, GRAVITY_WITHIN_G, "g")
    wrong = min(beyond(norm, *GRAVITY_G[1]) for norm in swapped_norms())
    yield must_fail("rail vehicle, bytes swapped: norm of gravity outside its range", wrong, GRAVITY_WITHIN_G, "g")


def swapped_norms() -> Floats:
    """Mean norm of the specific force in each raw file, read with its bytes in the wrong order [g]."""
    out = []
    for path in sorted((DATA / FOLDER / "raw").iterdir()):
        cells = (line.split(",") for line in path.read_text(errors="replace").splitlines())
        words = [struct.unpack(">6h", bytes.fromhex(c[2][:24])) for c in cells if len(c) == 3 and c[1] == "I"]
        out.append(float(np.mean(np.linalg.norm(np.array(words)[:, 3:], axis=1))) * COUNT_G)
    return np.array(out)

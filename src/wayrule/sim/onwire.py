"""A simulated run as a wagon would send it: counts, a hello that says what they mean, marks."""

from collections.abc import Iterator

import numpy as np

from wayrule.formats.wire import Column, Frame, Hello, Marked, Samples
from wayrule.formats.wire.hello import device_of
from wayrule.model import Recording, Wagon
from wayrule.units import DEG, G_MM_S2

FULL = 32_767
"""Largest count of 16 bits."""

HELLO_S = 2.0
"""From one hello to the next (docs/wire.md)."""


def on_wire(recording: Recording, wagon: Wagon, *, identity: str, boot: int = 1) -> tuple[Hello, Samples, list[Marked]]:
    """A recording with a field, gyro and accelerometer as frames; its time begins when the wagon is switched on.

    Parameters
    ----------
    identity : of the wagon's microcontroller, in hexadecimal

    Examples
    --------
    >>> run = Recording("r", np.array([0.0, 0.005]), field_mt=np.array([[1.0, 0.0, -2.0], [40.0, 0.0, np.nan]]))
    >>> from wayrule.sim import HO_VAN
    >>> hello, samples, _ = on_wire(run, HO_VAN, identity="01")
    >>> [c.name for c in hello.columns], samples.t_us, samples.counts[:, 2]
    (['bx_mT', 'by_mT', 'bz_mT'], array([   0, 5000]), array([ -1638, -32768], dtype=int32))
    """
    device = device_of(identity)
    ranges = {
        "field_mt": (("bx_mT", "by_mT", "bz_mT"), 1.0, wagon.sensor.range_mt or 40.0),
        "gyro_rad_s": (("gx_dps", "gy_dps", "gz_dps"), 1 / DEG, wagon.imu.gyro_range_dps or 250.0),
        "acc_mm_s2": (("ax_g", "ay_g", "az_g"), 1 / G_MM_S2, wagon.imu.acc_range_g or 2.0),
    }
    columns: list[Column] = []
    counts: list[np.ndarray[tuple[int], np.dtype[np.int32]]] = []
    for group, (names, factor, most) in ranges.items():
        values = getattr(recording, group)
        if values is None:
            continue
        scale = most / FULL
        for axis, name in enumerate(names):
            columns.append(Column(name, 16, scale))
            whole = np.nan_to_num(np.round(values[:, axis] * factor / scale), nan=-FULL - 1)
            counts.append(np.clip(whole, -FULL - 1, FULL).astype(np.int32))
    t_us = np.round((recording.t_s - recording.t_s[0]) * 1e6).astype(np.int64)
    hello = Hello(device, boot, 0, identity, wagon.name, "make-believe 1", round(recording.rate_hz, 1), tuple(columns))
    samples = Samples(device, boot, np.arange(recording.n), t_us, np.stack(counts, axis=1))
    marks = [
        Marked(device, boot, k, round((m.t_s - recording.t_s[0]) * 1e6), m.name) for k, m in enumerate(recording.marks)
    ]
    return hello, samples, marks


def in_time(hello: Hello, samples: Samples, marks: list[Marked], rows: int = 4) -> Iterator[tuple[float, list[Frame]]]:
    """What is sent, and when [s since switching on]: frames of `rows` samples, a hello every two seconds, marks."""
    said = -HELLO_S
    waiting = sorted(marks, key=lambda m: m.t_us)
    for start in range(0, len(samples), rows):
        part = slice(start, start + rows)
        now_us = int(samples.t_us[part][-1])
        frames: list[Frame] = []
        if now_us * 1e-6 - said >= HELLO_S:
            said = now_us * 1e-6
            frames.append(
                Hello(
                    hello.device, hello.boot, now_us, hello.id, hello.name, hello.firmware, hello.rate_hz, hello.columns
                )
            )
        while waiting and waiting[0].t_us <= now_us:
            frames.append(waiting.pop(0))
        frames.append(
            Samples(samples.device, samples.boot, samples.seq[part], samples.t_us[part], samples.counts[part])
        )
        yield now_us * 1e-6, frames

"""The same line as another survey would have it: another start, the other way, another scale, a part of it."""

from dataclasses import replace

import numpy as np

from wayrule.model import Fault, Stations, Surveyed
from wayrule.model.track import STATION_COLUMNS

ODD = ("curvature_1_mm", "gradient", "cant_mm")


def part(st: Stations, first: int, last: int) -> Stations:
    """Stations first to last of an open line, chainage from 0."""
    cut = {name: getattr(st, name)[first:last] for name in STATION_COLUMNS}
    cut["s_mm"] = cut["s_mm"] - cut["s_mm"][0]
    return replace(st, **cut, passes=st.passes[first:last], closed=False, length_mm=float(cut["s_mm"][-1]))


def reversed_line(st: Stations) -> Stations:
    """The line from its other end (open), or the other way round from the same start (closed)."""
    columns = {name: getattr(st, name)[::-1].copy() for name in STATION_COLUMNS}
    columns["s_mm"] = st.length_mm - columns["s_mm"]
    for name in ODD:
        columns[name] = -columns[name]
    columns["heading_rad"] = columns["heading_rad"] + np.pi
    if st.closed:  # the first station, chainage 0, has become the last, at the length
        columns = {name: np.roll(value, 1) for name, value in columns.items()}
        columns["s_mm"][0] = 0.0
    return replace(st, **columns, passes=st.passes[::-1])


def started_at(st: Stations, index: int) -> Stations:
    """A closed line whose chainage begins at another station."""
    columns = {name: np.roll(getattr(st, name), -index) for name in STATION_COLUMNS}
    columns["s_mm"] = (columns["s_mm"] - columns["s_mm"][0]) % st.length_mm
    turn = st.heading_rad[-1] - st.heading_rad[0]
    columns["heading_rad"] = np.unwrap(columns["heading_rad"]) if turn else columns["heading_rad"]
    return replace(st, **columns, passes=np.roll(st.passes, -index))


def stretched(st: Stations, factor: float) -> Stations:
    """The same with a wheel that tells `factor` mm for each."""
    lengths = {n: getattr(st, n) * factor for n in ("s_mm", "x_mm", "y_mm", "z_mm", "x_sd_mm", "y_sd_mm", "z_sd_mm")}
    return replace(st, **lengths, curvature_1_mm=st.curvature_1_mm / factor, length_mm=st.length_mm * factor)


def moved(st: Stations, x: float, y: float, z: float, turn: float) -> Stations:
    """The same map laid elsewhere."""
    place = (st.x_mm + 1j * st.y_mm) * np.exp(1j * turn)
    return replace(st, x_mm=place.real + x, y_mm=place.imag + y, z_mm=st.z_mm + z, heading_rad=st.heading_rad + turn)


def surveyed(st: Stations, name: str = "one", faults: tuple[Fault, ...] = ()) -> Surveyed:
    """Stations as a survey without anything else."""
    return Surveyed(name, st, (), faults, (), (), (), (), "Van 7", "HO", 87.0, "0.1.0")

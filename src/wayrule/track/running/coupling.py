"""Couplers on the line: how far the ends of two coupled bodies lie beside each other, at every place.

Both bodies are laid on the surveyed line itself, so transitions, reverses and kinks count as they are: axles on the
line, a bogie's pivot midway between its axles, the body through its pivots. The path from pivot to pivot across the
coupling is taken along the line (its chord is shorter by about 1 % where it is as long as half the radius).
"""

import numpy as np

from wayrule.model import Stations, Train, Vehicle
from wayrule.model.arrays import Array


class _Path:
    """The line in plan as complex numbers over chainage; NaN beyond open ends."""

    def __init__(self, stations: Stations) -> None:
        s, p = stations.s_mm, stations.x_mm + 1j * stations.y_mm
        if stations.closed:
            length = stations.length_mm
            self.s, self.p = np.concatenate([s - length, s, s + length]), np.tile(p, 3)
        else:
            self.s, self.p = s, p

    def at(self, s_mm: Array) -> np.ndarray:
        found = np.interp(s_mm, self.s, self.p.real) + 1j * np.interp(s_mm, self.s, self.p.imag)
        return np.where((s_mm < self.s[0]) | (s_mm > self.s[-1]), np.nan, found)

    def pivot(self, s_mm: Array, bogie_mm: float) -> np.ndarray:
        return np.asarray(0.5 * (self.at(s_mm - 0.5 * bogie_mm) + self.at(s_mm + 0.5 * bogie_mm)))


def coupler_offset_mm(stations: Stations, first: Vehicle, second: Vehicle) -> Array:
    """Sideways offset of two bodies' ends, their coupling at each station, `first` ahead, its end to the left > 0 [mm].

    Parameters
    ----------
    stations : the line, in plan

    Returns
    -------
    (n,) array, NaN near open ends
    """
    path, s = _Path(stations), stations.s_mm
    gap = 0.5 * (first.over_couplers_mm - first.length_mm + second.over_couplers_mm - second.length_mm)
    end_1, along_1 = _body_end(path, s + 0.5 * gap + first.overhang_mm, first, ahead=True)
    end_2, along_2 = _body_end(path, s - 0.5 * gap - second.overhang_mm, second, ahead=False)
    along = along_1 + along_2
    with np.errstate(invalid="ignore"):
        return np.asarray(((end_1 - end_2) * np.conj(along / np.abs(along))).imag)


def _body_end(path: _Path, pivot_mm: Array, car: Vehicle, *, ahead: bool) -> tuple[np.ndarray, np.ndarray]:
    """End of a body next to the coupling, and the body's direction (towards growing chainage); its nearer pivot is at
    `pivot_mm` and its farther one ahead of or behind it."""
    near = path.pivot(pivot_mm, car.bogie_mm)
    way = car.pivots_mm if ahead else -car.pivots_mm
    for _ in range(2):  # the chord between the pivots is what is given: lengthen the path until it fits
        far = path.pivot(pivot_mm + way, car.bogie_mm)
        with np.errstate(invalid="ignore", divide="ignore"):
            way = way * car.pivots_mm / np.abs(far - near)
    far = path.pivot(pivot_mm + way, car.bogie_mm)
    with np.errstate(invalid="ignore", divide="ignore"):
        outwards = (near - far) / np.abs(near - far)
    return near + car.overhang_mm * outwards, -outwards if ahead else outwards


def worst_offsets_mm(stations: Stations, train: Train) -> Array:
    """The largest offset, without sign, of all couplings of a train at each station [mm]; 0 for one vehicle."""
    pairs = {(a, b) for a, b in zip(train.vehicles, train.vehicles[1:], strict=False)}
    worst = np.zeros(len(stations.s_mm))
    for a, b in sorted(pairs, key=lambda pair: (pair[0].name, pair[1].name)):
        worst = np.maximum(worst, np.abs(coupler_offset_mm(stations, a, b)))
    return worst

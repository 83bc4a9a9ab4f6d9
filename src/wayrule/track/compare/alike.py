"""A line read at any chainage, and seen the other way round."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.model import Fault, Stations
from wayrule.model.arrays import Array

TURNED: Final = frozenset({"curvature_1_mm", "gradient", "cant_mm"})
"""What changes its sign when the line is seen the other way."""


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """Stations as functions of their chainage; NaN beyond the ends of an open line."""

    stations: Stations

    def at(self, name: str, s_mm: Array, way: int = 1) -> Array:
        """(n,) a column of stations at chainages [mm], with the sign that it has for one who travels `way`."""
        st = self.stations
        x, y = st.s_mm, getattr(st, name)
        if st.closed:
            s = np.mod(s_mm, st.length_mm)
            x, y = np.r_[x, x[0] + st.length_mm], np.r_[y, y[0]]
            value = np.interp(s, x, y)
            before = s < x[0]
            if before.any():
                value[before] = np.interp(s[before] + st.length_mm, x, y)
        else:
            value = np.interp(s_mm, x, y, left=np.nan, right=np.nan)
        return np.asarray(-value if way < 0 and name in TURNED else value)

    def reaches(self) -> tuple[float, float]:
        """First and last chainage [mm]; once round for a closed line."""
        st = self.stations
        return (0.0, st.length_mm) if st.closed else (float(st.s_mm[0]), float(st.s_mm[-1]))


def fault_seen(fault: Fault, s_mm: float, way: int) -> Fault:
    """A fault at another chainage; seen the other way, left is right.

    >>> fault_seen(Fault("kink", 10.0, 1.5, "deg", 0.1), 90.0, -1)
    Fault(kind='kink', s_mm=90.0, size=-1.5, unit='deg', sd=0.1, rail='')
    """
    if way > 0:
        return replace(fault, s_mm=s_mm)
    size = -fault.size if fault.kind in ("kink", "twist", "lateral") else fault.size
    rail = {"left": "right", "right": "left", "": ""}[fault.rail]
    return replace(fault, s_mm=s_mm, size=size, rail=rail)  # type: ignore[arg-type]

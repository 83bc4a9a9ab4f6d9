"""A railway as a survey that makes no error: what judging, mending and comparing say of the truth."""

import dataclasses

import numpy as np

from wayrule.model import Stations, Surveyed
from wayrule.model.arrays import Array
from wayrule.sim.railway import Railway

TINY = 1e-6
"""Sigma of everything, over the size of its unit; a survey without any would know what it cannot."""


def as_laid(railway: Railway, *, step_mm: float = 5.0, wheelbase_mm: float = 65.0) -> Surveyed:
    """The line as it lies, chainage from the railway's own start; curvature, gradient and cant are means over a
    wheelbase, as a survey gives them.
    """
    n = int(railway.length_mm / step_mm)
    s: Array = np.linspace(0.0, railway.length_mm, n, endpoint=not railway.closed)
    x, y = railway.xy(s)
    small = np.full(n, TINY)
    means = (railway.mean_curvature, railway.mean_gradient, railway.mean_cant)
    curvature, gradient, cant = (np.asarray(mean(s, wheelbase_mm), dtype=float) for mean in means)
    stations = Stations(
        s, x, y, railway.z(s), railway.heading(s), curvature, gradient, cant,
        small, small, small, small, 1e-3 * small, small, small, np.ones(n, dtype=np.int64),
        closed=railway.closed, length_mm=railway.length_mm, gauge_mm=railway.gauge_mm, wheelbase_mm=wheelbase_mm,
    )  # fmt: skip
    pieces = tuple(
        dataclasses.replace(
            e, misfit=0.0, curvature_sd_1_mm=1e-3 * TINY, gradient_sd=TINY, s0_sd_mm=TINY, s1_sd_mm=TINY,
            length_sd_mm=TINY, turned_sd_rad=TINY, rise_sd_mm=TINY,
        )
        for e in railway.elements
    )  # fmt: skip
    faults = tuple(dataclasses.replace(f, sd=TINY) for f in railway.faults)
    return Surveyed(
        railway.name, stations, pieces, faults, (), (), (), (), "none", railway.scale, railway.ratio, "as laid"
    )

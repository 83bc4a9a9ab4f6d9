"""Laying a survey upon the truth: where its chainage begins, which way it runs, how it is best shifted and turned.

Points of the plan are complex numbers here, x + i y: a turn is a product with e^(i angle).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from wayrule.model import Element, Fault, Stations
from wayrule.sim.railway import Railway
from wayrule.sim.wagonrun import RunTruth

Floats = NDArray[np.float64]
Plan = NDArray[np.complex128]


def rms(values: Floats) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


@dataclass(frozen=True, slots=True)
class Laid:
    """How survey chainage lies on the railway: railway = start + way * ratio * survey."""

    start_mm: float
    way: int
    ratio: float

    def railway_mm(self, survey_mm: Floats) -> Floats:
        """Railway chainage, unwrapped."""
        return self.start_mm + self.way * self.ratio * survey_mm


def lay(railway: Railway, run: RunTruth, stations: Stations) -> Laid:
    """Start, way and length ratio of a survey; ratio 1 for an open line whose survey has no plan to fit it by."""
    laid = Laid(float(run.chainage_mm[0]), run.direction, 1.0)
    if railway.closed:
        return replace(laid, ratio=railway.length_mm / stations.length_mm)
    surveyed = stations.x_mm + 1j * stations.y_mm
    if not np.all(np.isfinite(surveyed)):
        return laid

    def misfit(ratio: float) -> float:
        s = np.clip(replace(laid, ratio=ratio).railway_mm(stations.s_mm), 0.0, railway.length_mm)
        x, y = railway.xy(s)
        return rms(np.abs(registered(surveyed, x + 1j * y, scale=True)[0]))

    # a caliper is never 5 % off; the misfit has one valley there
    trial = np.linspace(0.95, 1.05, 41)
    best = trial[int(np.argmin([misfit(r) for r in trial]))]
    found = minimize_scalar(misfit, bounds=(best - 0.0025, best + 0.0025), method="bounded", options={"xatol": 1e-8})
    return replace(laid, ratio=float(found.x))


def registered(surveyed: Plan, true: Plan, *, scale: bool) -> tuple[Plan, float]:
    """Survey minus truth, truth shifted and turned (and stretched) to fit best; and the turn [rad].

    Points as complex numbers: the best turn is the argument of sum(conj(true) survey), both about their means.
    A survey with a missing point has no registration: NaN.
    """
    if not np.all(np.isfinite(surveyed)):
        return np.full(len(surveyed), complex(np.nan, np.nan)), float("nan")
    a, b = surveyed - surveyed.mean(), true - true.mean()
    cross = np.vdot(b, a)
    factor = cross / np.vdot(b, b).real if scale else cross / abs(cross)
    return a - factor * b, float(np.angle(cross))


def on_railway(e: Element, laid: Laid) -> Element:
    """An element in railway chainage and direction; curvature and gradient stay per surveyed mm."""
    s0, s1 = (float(laid.railway_mm(np.array(s))) for s in (e.s0_mm, e.s1_mm))
    if laid.way > 0:
        return replace(e, s0_mm=s0, s1_mm=s1)
    return replace(
        e,
        s0_mm=s1,
        s1_mm=s0,
        curvature0_1_mm=-e.curvature1_1_mm,
        curvature1_1_mm=-e.curvature0_1_mm,
        gradient0=-e.gradient1,
        gradient1=-e.gradient0,
        turned_rad=-e.turned_rad,
    )


def fault_on_railway(f: Fault, laid: Laid) -> Fault:
    """A fault in railway chainage; seen the other way round, left is right."""
    s = float(laid.railway_mm(np.array(f.s_mm)))
    if laid.way > 0:
        return replace(f, s_mm=s)
    other: dict[str, str] = {"left": "right", "right": "left", "": ""}
    size = -f.size if f.kind in ("kink", "twist", "lateral") else f.size
    return replace(f, s_mm=s, size=size, rail=other[f.rail])  # type: ignore[arg-type]

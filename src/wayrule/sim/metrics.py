"""What a survey got wrong: (truth, survey) -> errors, in a person's units, and how far its sigmas can be trusted.

A survey has its own chainage (0 where the first run starts, growing the way that run first travels) and its own
frame. It is laid upon the truth by the first run's true start and direction and one length ratio; only then compared.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.model import Element, Fault, Stations
from wayrule.sim.matching import Matching, match_elements, match_faults
from wayrule.sim.railway import Railway
from wayrule.sim.register import Laid, fault_on_railway, lay, on_railway, registered, rms
from wayrule.sim.wagonrun import RunTruth

Floats = NDArray[np.float64]

QUANTITIES: Final = ("x", "y", "z", "heading", "curvature", "gradient", "cant")
"""The quantities whose sigmas are judged."""


@dataclass(frozen=True, slots=True, eq=False)
class SurveyErrors:
    """Errors of one survey; NaN where the survey has no such quantity.

    plan_rms_mm            after the best shift and rotation
    plan_scaled_rms_mm     after one scale factor as well (where no tape gives the scale)
    height_rms_mm          after the best plane
    gradient_rms, curvature_rms_1_mm   means over two wheelbases
    cant_rms_mm            means over one wheelbase, after its mean
    cant_mean_mm           that mean
    radius_error_percent   of every arc, on its inner part
    length_error_percent   of the whole line (closed), or of the scale that fits best (open)
    stations               how many stations lie on the railway and were compared
    normalised             quantity -> (stations,) error over claimed sigma; see `errors`
    plan_elements, profile_elements, faults   what was found
    """

    plan_rms_mm: float
    plan_scaled_rms_mm: float
    height_rms_mm: float
    gradient_rms: float
    curvature_rms_1_mm: float
    cant_rms_mm: float
    cant_mean_mm: float
    radius_error_percent: tuple[float, ...]
    length_error_percent: float
    stations: int
    normalised: dict[str, Floats]
    plan_elements: Matching
    profile_elements: Matching
    faults: Matching


def errors(
    railway: Railway,
    first_run: RunTruth,
    stations: Stations,
    *,
    elements: Sequence[Element] = (),
    faults: Sequence[Fault] = (),
    fault_within_mm: float | None = None,
) -> SurveyErrors:
    """Hold a survey against the truth.

    Parameters
    ----------
    first_run : truth of the first run named to the survey: it fixes chainage 0 and direction
    elements, faults : as surveyed, in survey chainage
    fault_within_mm : how far a fault may lie off and still count as found; default one wheelbase

    Returns
    -------
    SurveyErrors, whose `normalised` holds, as the sigmas are defined: x, y (best shift and rotation removed, in the
    survey's frame), z (mean removed), heading (that rotation removed), and the means over one wheelbase of curvature,
    gradient and cant (nothing removed).

    Notes
    -----
    The length ratio is true over surveyed length on a closed line; on an open one that which makes the plan fit best.
    A survey against the railway's chainage has headings half a turn off and the signs of curvature, gradient and cant
    reversed; that is undone here.
    """
    laid = lay(railway, first_run, stations)
    s = laid.railway_mm(stations.s_mm)
    on = np.ones(len(s), dtype=bool) if railway.closed else (s >= 0) & (s <= railway.length_mm)
    if on.sum() < 3:
        raise ValueError(f"{railway.name}: at least 3 stations must lie on the line, came {int(on.sum())}")
    x, y = railway.xy(s[on])
    surveyed, true = stations.x_mm[on] + 1j * stations.y_mm[on], x + 1j * y
    residual, turn = registered(surveyed, true, scale=False)
    scaled, _ = registered(surveyed, true, scale=True)
    z_error = stations.z_mm[on] - railway.z(s[on])
    one, two = (
        {name: values[on] for name, values in _mean_errors(railway, laid, stations, on, window).items()}
        for window in (stations.wheelbase_mm, 2 * stations.wheelbase_mm)
    )
    normalised = _normalised(railway, laid, stations, on, residual, turn, z_error, one)
    period = railway.length_mm if railway.closed else None
    mine, shortest = [on_railway(e, laid) for e in elements], 2 * stations.wheelbase_mm
    return SurveyErrors(
        plan_rms_mm=rms(np.abs(residual)),
        plan_scaled_rms_mm=rms(np.abs(scaled)),
        height_rms_mm=rms(_less_plane(x, y, z_error)),
        gradient_rms=rms(two["gradient"]),
        curvature_rms_1_mm=rms(two["curvature"]),
        cant_rms_mm=float(np.std(one["cant"])),
        cant_mean_mm=float(np.mean(one["cant"])),
        radius_error_percent=_radius_errors(railway, laid, stations),
        length_error_percent=100.0 * (1.0 / laid.ratio - 1.0),
        stations=int(on.sum()),
        normalised=normalised,
        plan_elements=_matched(railway, mine, "plan", shortest, period),
        profile_elements=_matched(railway, mine, "profile", shortest, period),
        faults=match_faults(
            railway.faults,
            [fault_on_railway(f, laid) for f in faults],
            within_mm=stations.wheelbase_mm if fault_within_mm is None else fault_within_mm,
            period_mm=period,
        ),
    )


def _matched(
    railway: Railway, mine: Sequence[Element], plane: str, shortest_mm: float, period_mm: float | None
) -> Matching:
    """Pieces of one plane, as surveyed, against the railway's."""
    return match_elements(
        [e for e in railway.elements if e.plane == plane],
        sorted((e for e in mine if e.plane == plane), key=lambda e: e.s0_mm),
        shortest_mm=shortest_mm,
        period_mm=period_mm,
    )


def _less_plane(x: Floats, y: Floats, z: Floats) -> Floats:
    """z less its best plane over x, y."""
    across = np.stack([np.ones_like(x), x - x.mean(), y - y.mean()], axis=-1)
    across[:, 1:] /= max(np.ptp(x), np.ptp(y))
    return np.asarray(z - across @ np.linalg.lstsq(across, z, rcond=1e-9)[0])


def _station_sum(stations: Stations, values: Floats) -> tuple[Floats, Floats]:
    """Places and running integral of a station column (straight lines between stations; closed: once round and on)."""
    s, v = stations.s_mm, values
    if stations.closed:  # a lap before and a lap after, so that any window fits
        length = stations.length_mm
        s, v = np.concatenate([s - length, s, s + length]), np.tile(v, 3)
    return s, np.concatenate([[0.0], np.cumsum(0.5 * np.diff(s) * (v[1:] + v[:-1]))])


def _station_mean(stations: Stations, values: Floats, a: Floats, b: Floats) -> Floats:
    """Mean of a station column from a to b (survey chainage)."""
    s, total = _station_sum(stations, values)

    def at(place: Floats) -> Floats:
        i = np.clip(np.searchsorted(s, place) - 1, 0, len(s) - 2)
        v = values[np.arange(len(s)) % len(values)]
        u = place - s[i]
        return np.asarray(total[i] + u * (v[i] + 0.5 * u * (v[i + 1] - v[i]) / (s[i + 1] - s[i])))

    return np.asarray((at(b) - at(a)) / (b - a))


def _mean_errors(
    railway: Railway, laid: Laid, stations: Stations, on: NDArray[np.bool_], window_mm: float
) -> dict[str, Floats]:
    """Errors of the means over a window at every station, (n,), NaN off the line; windows are cut at an open end."""
    a, b = stations.s_mm - window_mm / 2, stations.s_mm + window_mm / 2
    if not stations.closed:
        low, high = stations.s_mm[on][[0, -1]]
        a, b = np.clip(a, low, high), np.clip(b, low, high)
    out = {}
    for name, column, true in (
        ("curvature", stations.curvature_1_mm, railway.curvature_between),
        ("gradient", stations.gradient, railway.gradient_between),
        ("cant", stations.cant_mm, railway.cant_between),
    ):
        error = np.full(len(a), np.nan)
        ends = laid.railway_mm(a[on]), laid.railway_mm(b[on])
        error[on] = _station_mean(stations, column, a[on], b[on]) - laid.way * true(*ends)
        out[name] = error
    return out


def _normalised(
    railway: Railway,
    laid: Laid,
    stations: Stations,
    on: NDArray[np.bool_],
    residual: NDArray[np.complex128],
    turn_rad: float,
    z_error: Floats,
    one: dict[str, Floats],
) -> dict[str, Floats]:
    """Errors over claimed sigmas at every station on the line."""
    along = railway.heading(laid.railway_mm(stations.s_mm[on])) + (0.0 if laid.way > 0 else np.pi)
    heading = stations.heading_rad[on] - along - turn_rad
    heading = (heading + np.pi) % (2 * np.pi) - np.pi
    pairs = {
        "x": (residual.real, stations.x_sd_mm),
        "y": (residual.imag, stations.y_sd_mm),
        "z": (z_error - z_error.mean(), stations.z_sd_mm),
        "heading": (heading, stations.heading_sd_rad),
        "curvature": (one["curvature"], stations.curvature_sd_1_mm),
        "gradient": (one["gradient"], stations.gradient_sd),
        "cant": (one["cant"], stations.cant_sd_mm),
    }
    return {name: error / sd[on] for name, (error, sd) in pairs.items()}


def _radius_errors(railway: Railway, laid: Laid, stations: Stations) -> tuple[float, ...]:
    """Radius error of every arc [%]: mean curvature on the arc less a wheelbase and a tenth at either end."""
    out = []
    for e in railway.elements:
        if e.kind != "arc":
            continue
        inset = stations.wheelbase_mm + 0.1 * e.length_mm
        if e.length_mm < 3 * inset:
            continue
        a, b = sorted((s - laid.start_mm) / (laid.way * laid.ratio) for s in (e.s0_mm + inset, e.s1_mm - inset))
        if stations.closed:
            lap = stations.length_mm * np.floor(a / stations.length_mm)
            a, b = a - lap, b - lap
        elif a < stations.s_mm[0] or b > stations.s_mm[-1]:
            continue
        mean = _station_mean(stations, stations.curvature_1_mm, np.array([a]), np.array([b]))[0]
        true = laid.way * railway.curvature_between(*laid.railway_mm(np.array([a, b])))
        out.append(float(100.0 * (true / mean - 1.0)))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Coverage:
    """Share of errors inside one and two claimed sigmas, pooled; n errors (NaN left out)."""

    inside_one: float
    inside_two: float
    n: int


def coverage(surveys: Sequence[SurveyErrors]) -> dict[str, Coverage]:
    """Pool the normalised errors of many lines; every line counts alike, however many stations it has.

    Errors along one line are correlated: one line alone proves little.
    """
    out = {}
    for name in QUANTITIES:
        lines = [e[np.isfinite(e)] for e in (survey.normalised[name] for survey in surveys)]
        lines = [np.abs(e) for e in lines if len(e)]
        one, two = (float(np.mean([np.mean(e <= k) for e in lines])) if lines else float("nan") for k in (1.0, 2.0))
        out[name] = Coverage(one, two, sum(len(e) for e in lines))
    return out

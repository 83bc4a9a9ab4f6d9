"""The work sheet: from the target line to whole shims at every sleeper, and nothing where nothing is worth doing.

A sleeper is worked where the track is out by more than is left alone and by more than two sigmas, or beside a fault by
half of what is left alone; the stretch goes on to either side until less than one shim is missing. Limits and
fixed stretches hold here without exception.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.ndimage import binary_closing, gaussian_filter1d

from wayrule.model import Fault, Mark, MendLimits, Stations, WorkSheet
from wayrule.model.arrays import Array
from wayrule.track.errorbars import taken_apart
from wayrule.track.mend.pieces import reach
from wayrule.track.mend.target import Target

SLEEPER_GAUGES: Final = 600.0 / 1435.0
"""Sleepers every 600 mm under standard gauge; common practice, no source."""

NEAR_FAULT: Final = 0.5
SLEW_LEAVES: Final = 3.0
"""Away from a fault of the plan, only what is out sideways by three times as much is slewed (0.9 mm in HO): a long
slight bow hurts no train, while every slew brings in the errors of the hand, which a survey tells as kinks. Tried."""

ACROSS_WHEELBASES: Final = 0.75
"""A slewed stretch goes on where the other way begins so near: half of a bend taken away leaves two kinks."""

BRIDGE_WHEELBASES: Final = 4.0
"""Length of track over which an amount is measured against what lies on either side: for its sigma."""


def places(
    stations: Stations, marks: Sequence[tuple[float, Mark]], sleeper_mm: float, *, marks_only: bool
) -> tuple[Array, tuple[str, ...]]:
    """Chainages to work at, and the marks that lie there."""
    start, stop = reach(stations)
    named = sorted((s, m.name) for s, m in marks if start <= s <= stop)
    if marks_only:
        once = dict(named)
        return np.array(list(once)), tuple(once.values())
    s = np.arange(start, stop - (1e-6 if stations.closed else -1e-6), sleeper_mm)
    label = [""] * len(s)
    for at, name in named:
        label[int(np.argmin(abs(s - at)))] = name
    return s, tuple(label)


def work_sheet(
    stations: Stations,
    found: Target,
    faults: Sequence[Fault],
    limits: MendLimits,
    at: tuple[Array, tuple[str, ...]],
) -> WorkSheet:
    """Lift of both rails and slew at places, in whole shims.

    Parameters
    ----------
    at : places and their marks, from `places`
    """
    s, label = at
    sds = amount_sds(stations, s)
    board = found.board_lift(s)
    work = found.work(s)
    amounts = {}
    fixed = np.zeros(len(s), dtype=bool)
    for a, b in limits.fixed:
        fixed |= (s >= a) & (s <= b)
    for name, carried in (("left", board[0]), ("right", board[1]), ("slew", np.zeros(len(s)))):
        near = np.zeros(len(s), dtype=bool)
        for fault in faults:
            if (fault.kind in ("kink", "lateral")) == (name == "slew"):
                near |= _away(s, fault.s_mm, stations) < stations.wheelbase_mm
        step = 0.5 * limits.shim_mm if name == "slew" else limits.shim_mm  # nothing is put under a slewed track
        low, top = (limits.slew_mm,) * 2 if name == "slew" else (limits.lower_mm, limits.lift_mm)
        allowed = np.where(fixed, 0.0, np.clip(work[name] - carried, -low, top))
        across = round(ACROSS_WHEELBASES * stations.wheelbase_mm / _spacing(s)) if name == "slew" else 0
        leave = limits.leave_mm * np.where(near, NEAR_FAULT, SLEW_LEAVES if name == "slew" else 1.0)
        # a fault that was told is sure enough
        amounts[name] = whole_shims(
            allowed, np.where(near, 0.0, sds[name]), leave, limits.shim_mm, step, across=across, ring=stations.closed
        )
    return WorkSheet(
        s, amounts["left"], amounts["right"], amounts["slew"], sds["left"], sds["right"], sds["slew"], *board, label
    )


def whole_shims(
    wanted: Array, sd: Array, leave_mm: Array, grow_mm: float, step_mm: float, *, across: int = 0, ring: bool
) -> Array:
    """Amounts (n,) in whole steps where they are worth doing, 0 elsewhere; NaN counts as 0.

    Worth doing: out by `leave_mm` and by two sigmas, and beside that until less than `grow_mm` is missing;
    `across`: the other way as well, if it begins within so many places.

    >>> sd, leave = np.full(5, 0.01), np.full(5, 0.3)
    >>> whole_shims(np.array([0.04, 0.16, 0.52, 0.14, 0.2]), sd, leave, 0.1, 0.1, ring=False).tolist()
    [0.0, 0.2, 0.5, 0.1, 0.2]
    """
    size = np.abs(np.nan_to_num(wanted))
    core = size >= np.maximum(leave_mm, 2.0 * np.nan_to_num(sd))
    wide = (size >= grow_mm) & np.isfinite(wanted)
    if across:
        wide = binary_closing(np.pad(wide, across), np.ones(across + 1, dtype=bool))[
            across : across + len(wide)
        ] & np.isfinite(wanted)
    alike = (np.sign(wanted[1:]) == np.sign(wanted[:-1])) | bool(across)
    same = np.concatenate([[False], wide[1:] & wide[:-1] & alike])
    run = np.cumsum(~same)
    if ring and len(run) and wide[0] and wide[-1] and (across or wanted[0] * wanted[-1] > 0):
        run[run == run[-1]] = run[0]
    kept = np.isin(run, np.unique(run[core])) & wide
    share = kept.astype(float)
    if across:  # ends of a stretch fade, so that none ends in a step
        share = gaussian_filter1d(share, across / 4.0, mode="wrap" if ring else "nearest")
    return np.round(share * np.nan_to_num(wanted) / step_mm) * step_mm + 0.0


def amount_sds(stations: Stations, s_mm: Array) -> dict[str, Array]:
    """How sure a lift or slew is against the track on either side, (n,) each [mm]; NaN where it is not known.

    Heights and headings are random walks between two places (0013): the middle of a bridge of length l over one of
    density d has variance d l / 4, and the middle of one of their integral d l^3 / 48. What the whole line shares, a
    tilt, a constant of the cant, moves both ends alike and is taken off.
    """
    base, length = stations.wheelbase_mm, stations.length_mm
    span = BRIDGE_WHEELBASES * base
    rise, turn = (
        taken_apart(rate, whole, length, base, closed=stations.closed).local
        for rate, whole in (
            (stations.gradient_sd, stations.z_sd_mm),
            (stations.curvature_sd_1_mm, stations.heading_sd_rad),
        )
    )
    middle = np.where(np.isfinite(stations.gradient_sd), np.sqrt(rise * span / 4.0), np.nan)
    cant = np.nan_to_num(stations.cant_sd_mm)
    cant = np.sqrt(cant**2 - 0.99 * float(np.min(cant, initial=np.inf)) ** 2) if len(cant) else cant
    rail = np.hypot(middle, 0.5 * cant)
    slew = np.where(np.isfinite(stations.curvature_sd_1_mm), np.sqrt(turn * span**3 / 48.0), np.nan)
    on = {"left": rail, "right": rail, "slew": slew}
    return {name: np.interp(s_mm, stations.s_mm, sd) for name, sd in on.items()}


def _spacing(s: Array) -> float:
    return float(np.median(np.diff(s))) if len(s) > 1 else np.inf


def _away(s: Array, at: float, stations: Stations) -> Array:
    away = np.abs(s - at)
    return np.minimum(away, stations.length_mm - away) if stations.closed else away

"""What every pass shares: the wheel's slides along the line that no comparison of passes can show.

Passes that disagree about where a bend lies show each other's slides. A slide that all of them share moves every bend
alike, as if the line were longer there: nothing in the runs tells it from a longer line. So a run's start, slide,
stretch and lag are what it departs from the mean of the passes, and the mean's own departure from truth belongs to the
line: `waver`, a relative change of ds/dsigma from cell to cell, known by its prior and by ties (closure, tape, control)
only. Left in the runs it would make Gauss-Newton creep: each step would move the bends along fixed knots.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wayrule.maths.splines import UniformSpline
from wayrule.track.adjust.pose import Setting
from wayrule.track.adjust.unknowns import MAX_KNOTS, SLIDE_KNOT_WHEELBASES, SLIDE_SHARE, Border, hats

SHARED_OF_STEP = 0.1
"""The passes' mean departure is held to this share of what one slide wanders over a cell."""


def add_waver(border: Border, settings: Sequence[Setting], spline: UniformSpline) -> None:
    """Lay out the line's waver, and hold the mean departure of the passes at nothing."""
    wheelbase = settings[0].wheelbase_mm
    cells = int(np.clip(np.ceil(spline.length / (SLIDE_KNOT_WHEELBASES * wheelbase)), 1, MAX_KNOTS))
    cell = spline.length / cells
    passes = max(sum(float(s.bins.path_mm[-1]) for s in settings) / spline.length, 1.0)
    step_sd = SLIDE_SHARE * (wheelbase * cell) ** 0.5
    border.add("waver", cells, step_sd / cell / passes**0.5)
    for row in shared_departure(border, settings, spline, cells):
        border.hold(row, SHARED_OF_STEP * step_sd)


def shared_departure(
    border: Border, settings: Sequence[Setting], spline: UniformSpline, cells: int
) -> NDArray[np.float64]:
    """(c, k) how starts, slides, stretches and the lag move the passes on average, at the cells' bounds passed.

    A pass beyond a break (a lift, lost turns) does not know its place: where others do, they alone are averaged, else
    the free jump would let all of them drift together. Runs begin where they were first placed, a mm or so from each
    other, and leaving one out moves the mean by that: over such a stretch it is held to its own level, not to nothing.
    """
    total, count = np.zeros((2, cells + 1, border.size)), np.zeros((2, cells + 1))
    for run in settings:
        along = run.way * run.stretch * run.bins.d_mm
        cell = np.floor((run.start_mm + along - spline.origin) / (spline.length / cells)).astype(np.int64)
        at = np.flatnonzero(np.diff(cell) != 0)
        bound = np.maximum(cell[at], cell[at + 1])
        bound = np.mod(bound, cells) if spline.closed else np.clip(bound, 0, cells)
        astray = (run.bins.t_s[at] < run.sure_s[0]) | (run.bins.t_s[at] > run.sure_s[1])
        for group, part in enumerate((~astray, astray)):
            total[group] += _departures(border, run, along, at[part], bound[part], cells)
            count[group] += np.bincount(bound[part], minlength=cells + 1)
    left_out = (count > 0).all(axis=0)
    used = np.where(count[0] > 0, 0, 1), np.arange(cells + 1)
    mean = total[used] / np.maximum(count[used], 1.0)[:, None]
    edge = np.flatnonzero(np.diff(np.concatenate(([False], left_out, [False]))))
    for first, last in zip(edge[::2], edge[1::2], strict=True):
        mean[first:last] -= mean[first:last].mean(axis=0)
    return np.asarray(mean[count[used] > 0])


def _departures(
    border: Border,
    run: Setting,
    along: NDArray[np.float64],
    at: NDArray[np.intp],
    bound: NDArray[np.int64],
    cells: int,
) -> NDArray[np.float64]:
    """(cells + 1, k) how a run's own unknowns move it where it crosses cells' bounds, at edges `at`, summed."""
    out = np.zeros((cells + 1, border.size))
    slide = border.names[f"slide/{run.number}"]
    hat = hats(run.bins.path_mm[at], run.bins.path_span, slide.stop - slide.start)
    which = sparse.csr_array((np.ones(len(at)), (bound, np.arange(len(at)))), shape=(cells + 1, len(at)))
    out[:, slide] += (which @ hat).toarray()
    for stretch in ("stretch", f"stretch/{run.number}"):
        out[:, border.names[stretch].start] += np.asarray(which @ along[at])
    out[:, border.names["lag_s"].start] -= np.asarray(which @ (run.way * run.stretch * run.bins.v_mm_s[at]))
    out[:, border.names[f"start/{run.number}"].start] += np.bincount(bound, minlength=cells + 1)
    return out

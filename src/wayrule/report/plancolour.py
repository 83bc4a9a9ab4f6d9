"""The line itself on a plan: an ink casing, curvature or gradient as colour inside it, and the bar that explains it."""

import math
from collections.abc import Callable
from functools import partial
from itertools import pairwise
from typing import Final, NamedTuple

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import BoundaryNorm, LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from wayrule.model.arrays import Array
from wayrule.report.canvas import INK, PX_PER_INCH, Size, dress
from wayrule.report.lengths import Lengths
from wayrule.report.scalewords import radius_words, slope_words

COLOURS: Final = LinearSegmentedColormap.from_list("plan", matplotlib.colormaps["cividis"](np.linspace(0.04, 1.0, 64)))
"""Rising evenly in lightness: right to left (falling to climbing) is dark to light in grey print and for any eye.
The scale is cividis (Nunez, Anderton, Renslow, PLoS ONE 13(7), 2018), made for colour-deficient vision too."""

LEVELS: Final = 17
SPARE: Final = 1.2
PIECES: Final = 900
CASING_PX: Final = 5.6
COLOUR_PX: Final = 3.4
BAR_LEFT_PX: Final = 46.0
BAR_UP_PX: Final = 24.0
BAR_THICK_PX: Final = 9.0


class Scale(NamedTuple):
    """The norm of the colours, symmetric about zero, and whether its ends stand for larger values too."""

    norm: BoundaryNorm
    open_ended: bool


def colour_scale(value: Array, sd: Array) -> Scale | None:
    """A scale that shows the line, not its faults and not its noise; None where no value is known.

    It reaches to the largest value, but no further than `SPARE` times what all but 2 % of the line keeps to (a kink or
    a joint would leave the rest without colour), and at least to three sigmas.

    >>> k = np.r_[np.zeros(500), np.full(490, 2.0), np.full(10, 40.0)]
    >>> scale = colour_scale(k, np.full(1000, 0.01))
    >>> float(scale.norm.boundaries[-1]), scale.open_ended
    (2.4, True)
    """
    known = np.abs(value[np.isfinite(value)])
    if not len(known):
        return None
    spread = sd[np.isfinite(sd)]
    usual = SPARE * float(np.quantile(known, 0.98))
    noise = 3.0 * float(np.median(spread)) if len(spread) else 0.0
    largest = float(known.max())
    top = max(min(largest, usual) if usual > 0 else largest, noise) or 1.0
    return Scale(BoundaryNorm(np.linspace(-top, top, LEVELS + 1), COLOURS.N, clip=True), largest > top)


def draw_line(axes: Axes, x_m: Array, y_m: Array, value: Array, scale: Scale | None) -> None:
    """The line in ink, and inside it the colour of `value` where that is known.

    Parameters
    ----------
    x_m, y_m : (n,) or (n + 1,) places [m]; one more than values where the line returns to its start
    value : (n,)    what the colour shows, sign included; NaN leaves the ink bare
    """
    step = max(1, len(value) // PIECES)
    keep = np.unique(np.r_[np.arange(0, len(x_m), step), len(x_m) - 1])
    axes.plot(x_m[keep], y_m[keep], color=INK, linewidth=CASING_PX, solid_capstyle="butt", zorder=3)
    if scale is None:
        return
    norm = scale.norm
    means = np.array([_mean(value[a : max(b, a + 1)]) for a, b in pairwise(keep.tolist())])
    level = np.where(np.isfinite(means), np.clip(np.digitize(means, norm.boundaries), 1, LEVELS), -1)
    cuts = [0, *(np.flatnonzero(np.diff(level)) + 1).tolist(), len(level)]
    pieces, colours = [], []
    for a, b in pairwise(cuts):
        if level[a] >= 0:
            # One point back into the piece before: without it the ink of the casing shows as a hairline at every joint.
            joined = keep[max(0, a - 1 if a and level[a - 1] >= 0 else a) : b + 1]
            pieces.append(np.c_[x_m[joined], y_m[joined]])
            colours.append(COLOURS(norm(float(np.mean(means[a:b])))))
    axes.add_collection(LineCollection(pieces, colors=colours, linewidths=COLOUR_PX, capstyle="butt", zorder=4))


def colour_bar(figure: Figure, scale: Scale, colour_by: str, lengths: Lengths, size: Size) -> None:
    """The scale of the colours beneath the plan, read as radii or as 1:n."""
    norm = scale.norm
    width, height = figure.get_figwidth() * PX_PER_INCH, figure.get_figheight() * PX_PER_INCH
    long = min(380.0, width - 2 * BAR_LEFT_PX)
    box = figure.add_axes((BAR_LEFT_PX / width, BAR_UP_PX / height, long / width, BAR_THICK_PX / height))
    dress(box, size.font - 1)
    for a, b in pairwise(norm.boundaries.tolist()):
        box.axvspan(a, b, color=COLOURS(norm(0.5 * (a + b))), linewidth=0.4)
    top = float(norm.boundaries[-1])
    box.set_xlim(-top, top)
    box.set_xticks([-top, -0.5 * top, 0.0, 0.5 * top, top])
    box.set_yticks([])
    box.grid(False)
    for spine in box.spines.values():
        spine.set_visible(False)
    words: Callable[[float, object], str]
    if colour_by == "curvature":
        words = partial(_radius, lengths)
        name = f"Radius, {lengths.metric}: right-hand \u2190 \u2192 left-hand"
        beyond = " (ends: and sharper)"
    else:
        words = _slope
        name = "Gradient: falling \u2190 \u2192 climbing"
        beyond = " (ends: and steeper)"
    name += beyond if scale.open_ended else ""
    box.xaxis.set_major_formatter(FuncFormatter(words))
    box.text(0.0, 1.9, name, transform=box.transAxes, ha="left", va="bottom", fontsize=size.font - 1, color=INK)


def _radius(lengths: Lengths, curvature_1_m: float, _: object) -> str:
    words = radius_words(curvature_1_m / 1000.0, lengths, "straight")
    return words if words == "straight" else f"R {words}"


def _slope(percent: float, _: object) -> str:
    return slope_words(percent / 100.0)


def _mean(values: Array) -> float:
    held = values[np.isfinite(values)]
    return float(held.mean()) if len(held) else math.nan

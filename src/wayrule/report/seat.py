"""How the inertial sensor sits, as a picture: the wagon seen from its right, and the sensor's three axes in it."""

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wayrule.model import Seat
from wayrule.model.arrays import Array
from wayrule.report.canvas import INK, LINE, MARK, REST, SECOND, SOFT, WIDE, Size, new_figure, place_axes, to_svg
from wayrule.report.pictures import Picture, picture

HEIGHT_PX: Final = 300.0
VIEW: Final = np.array([[0.88, -0.22], [0.46, 0.34], [0.0, 1.0]])
"""Where forward, left and up go on paper (right, up): the front to the right, the left side away from the eye."""
HALF: Final = np.array([1.55, 0.55, 0.45])
"""Half the wagon's length, width, height as drawn."""
STYLES: Final = ((LINE, "-"), (SECOND, (0, (2, 1.4))), (MARK, (0, (6, 2))))
"""Ink and line of x, y and z: told apart without colour as well."""
REACH: Final = 1.15
OFF_RAD: Final = np.radians(2.0)


def seat_figure(seat: Seat, size: Size = WIDE) -> Figure:
    """The wagon as a box with its marked front, the sensor's axes as arrows, and each said in words beside it."""
    wide = size.width > 500
    figure = new_figure(size, HEIGHT_PX if wide else HEIGHT_PX + 110.0)
    axes = place_axes(figure, 8.0, 250.0 if wide else 8.0, 8.0, 8.0 if wide else 118.0)
    axes.set_aspect("equal")
    axes.axis("off")
    axes.set_xlim(-2.3, 3.2)
    axes.set_ylim(-1.75, 2.0)
    _wagon(axes, size)
    for k, (ink, line) in enumerate(STYLES):
        _arrow(axes, seat.rotation[:, k], f"{'xyz'[k]}", ink, line, size)
    axes.plot(*_on_paper(np.zeros(3)), marker="s", markersize=9, color=INK, zorder=6)
    _words(figure, seat, size, wide=wide)
    return figure


def seat_svg(seat: Seat, size: Size = WIDE) -> str:
    """The same as an inline SVG."""
    return to_svg(seat_figure(seat, size), "seat", seat_words(seat))


def seat_picture(seat: Seat) -> Picture:
    """For the page of a calibration: to be looked at before it is accepted."""
    key = "The box is the wagon, its marked front shaded; the arrows are the sensor's own axes."
    return picture("seat", "How the sensor sits", seat_words(seat), key, lambda size: seat_figure(seat, size))


def seat_words(seat: Seat) -> str:
    """What the picture says, in a sentence.

    >>> seat_words(Seat(np.eye(3), ("forward", "left", "up"), np.zeros(3), ("+x", "+y", "+z"), True, ""))
    'The inertial sensor in the wagon: x points forward, y points left, z points up.'
    """
    return "The inertial sensor in the wagon: " + ", ".join(
        f"{axis} points {way}" for axis, way in zip("xyz", seat.points, strict=True)
    ) + "."  # fmt: skip


def _column(name: str) -> str:
    """A gyro's column as logs call it.

    >>> _column("+x"), _column("-z")
    ('gx', '−gz')
    """
    return ("−" if name[0] == "-" else "") + f"g{name[1]}"


def _on_paper(point: Array) -> Array:
    return np.asarray(point @ VIEW)


def _wagon(axes: Axes, size: Size) -> None:
    """A box, its front shaded, an arrow the way it rolls forward, the rails below."""
    corner = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)]) * HALF
    front = corner[[4, 5, 7, 6]]
    axes.fill(*_on_paper(front).T, facecolor=REST, edgecolor=SOFT, linewidth=1.2, zorder=1)
    for a in range(8):
        for b in range(a + 1, 8):
            if np.count_nonzero(corner[a] != corner[b]) == 1:
                hidden = corner[[a, b]][:, 0].min() < 0 and 2 in (a, b)  # the corner behind: rear, left, below
                style = (0, (3, 2)) if hidden else "-"
                axes.plot(*_on_paper(corner[[a, b]]).T, color=SOFT, linewidth=1.0, linestyle=style, zorder=2)
    for side in (-0.8, 0.8):
        rail = np.array([[-2.1, side * HALF[1], -0.75], [2.1, side * HALF[1], -0.75]])
        axes.plot(*_on_paper(rail).T, color=SOFT, linewidth=2.0, zorder=0)
    ahead = _on_paper(np.array([[HALF[0] + 0.1, 0.0, -0.1], [HALF[0] + 0.6, 0.0, -0.1]]))
    axes.annotate("", ahead[1], ahead[0], arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.6})
    axes.annotate(
        "marked front", ahead[1], xytext=(2.0, -2.0), textcoords="offset points", ha="left", va="top",
        fontsize=size.font, color=INK,
    )  # fmt: skip


def _arrow(axes: Axes, way: Array, name: str, ink: str, line: object, size: Size) -> None:
    tip = _on_paper(REACH * way)
    to = float(tip[0]), float(tip[1])
    style = {"arrowstyle": "-|>", "color": ink, "linewidth": 2.2, "linestyle": line, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", to, (0.0, 0.0), arrowprops=style, zorder=5)
    beyond = tip + 0.17 * tip / max(float(np.linalg.norm(tip)), 1e-9)
    axes.text(
        float(beyond[0]), float(beyond[1]), name, color=ink, fontsize=size.font + 2, weight="bold", ha="center",
        va="center", zorder=6,
    )  # fmt: skip


def _words(figure: Figure, seat: Seat, size: Size, *, wide: bool) -> None:
    """Axis by axis: where it points, and which gyro column turns about it."""
    axes = (
        place_axes(figure, size.width - 250.0, 8.0, 40.0, 40.0)
        if wide
        else place_axes(figure, 12.0, 8.0, HEIGHT_PX, 4.0)
    )
    axes.axis("off")
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, 1.0)
    height = 0.24
    for k, (ink, line) in enumerate(STYLES):
        y = 0.92 - k * height
        axes.plot([0.0, 0.12], [y, y], color=ink, linewidth=2.2, linestyle=line)
        off = f", {np.degrees(seat.off_rad[k]):.0f}° off" if seat.off_rad[k] > OFF_RAD else ""
        axes.text(0.16, y, f"{'xyz'[k]} points {seat.points[k]}{off}", fontsize=size.font, color=INK, va="center")
        if seat.gyro_known:
            axes.text(
                0.16, y - 0.42 * height, f"turning about it: gyro column {_column(seat.gyro_columns[k])}",
                fontsize=size.font - 1.5, color=SOFT, va="center",
            )  # fmt: skip
    notes = [] if seat.forward_known else ["forward" if seat.up_known else "up and forward"]
    notes = [f"{notes[0]} not shown: taken as mounted"] if notes else []
    notes.append("gyro and accelerometer compared" if seat.gyro_known else "gyro's columns taken to be the same")
    for k, note in enumerate(notes):
        axes.text(0.0, 0.92 - (3 + 0.4 * k) * height, note, fontsize=size.font - 1.5, color=SOFT, va="center")

"""Noise at rest as a figure: the Allan deviation of three axes against averaging time, with the wagon file's claim."""

import math
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wayrule.model import Noise
from wayrule.model.arrays import Array
from wayrule.report.canvas import (
    BAND2,
    INK,
    LINE,
    MARK,
    SECOND,
    SOFT,
    WIDE,
    Size,
    dress,
    new_figure,
    place_axes,
    to_svg,
)  # fmt: skip
from wayrule.report.numbers import significant
from wayrule.report.pictures import Picture, picture
from wayrule.units import DEG, G_MM_S2

HEIGHT_PX: Final = 300.0
STYLES: Final = ((LINE, "-"), (SECOND, (0, (2, 1.4))), (MARK, (0, (6, 2))))
UNITS: Final = {"gyro": (DEG / 3600.0, "deg/h"), "accelerometer": (G_MM_S2 * 1e-6, "ug")}
"""Kind of sensor -> (inside units in one of these, its name)."""


def noise_figure(noise: Noise, claimed_density: float = math.nan, size: Size = WIDE) -> Figure:
    """Allan deviation of three axes with their 68 % bands.

    Parameters
    ----------
    claimed_density : of the wagon file, inside units over sqrt(Hz); its random walk is drawn as a thin line
    """
    unit, name = UNITS[noise.kind]
    figure = new_figure(size, HEIGHT_PX)
    axes = place_axes(figure, 62.0, 30.0, 34.0, 44.0)
    dress(axes, size.font)
    axes.set_xscale("log")
    axes.set_yscale("log")
    for k, (ink, line) in enumerate(STYLES):
        seen = noise.deviation[:, k] > 0
        axes.fill_between(
            noise.tau_s[seen], noise.low[seen, k] / unit, noise.high[seen, k] / unit, color=BAND2, linewidth=0, zorder=1
        )
        axes.plot(
            noise.tau_s[seen], noise.deviation[seen, k] / unit, color=ink, linewidth=1.8, linestyle=line, zorder=3,
            label="xyz"[k],
        )  # fmt: skip
    if math.isfinite(claimed_density):
        walk = claimed_density / math.sqrt(2.0) / np.sqrt(noise.tau_s) / unit
        axes.plot(noise.tau_s, walk, color=SOFT, linewidth=1.0, zorder=2, label="wagon file")
    axes.legend(frameon=False, fontsize=size.font, labelcolor=INK, handlelength=3.2, loc="upper right")
    axes.set_xlabel("Averaging time, s")
    _plain_numbers(axes)
    axes.annotate(
        f"Allan deviation of the {noise.kind} at rest, {name}", (0.0, 1.0), xytext=(-56.0, 12.0),
        xycoords="axes fraction", textcoords="offset points", ha="left", va="bottom", fontsize=size.font, color=INK,
    )  # fmt: skip
    return figure


def noise_svg(noise: Noise, claimed_density: float = math.nan, size: Size = WIDE) -> str:
    """The same as an inline SVG."""
    return to_svg(noise_figure(noise, claimed_density, size), f"noise-{noise.kind}", noise_words(noise))


def noise_picture(noise: Noise, claimed_density: float = math.nan) -> Picture:
    """For the page of a calibration, with the terms in words."""
    terms = "; ".join(f"{name} {values}" for name, values in noise_rows(noise))
    key = f"Bands hold the true deviation with 68 %. Terms for x, y, z, or what each is below with 95 %: {terms}."
    return picture(
        f"noise-{noise.kind}", f"Noise of the {noise.kind}", noise_words(noise), key,
        lambda size: noise_figure(noise, claimed_density, size),
    )  # fmt: skip


def noise_words(noise: Noise) -> str:
    """What the figure says, in a sentence."""
    unit, name = UNITS[noise.kind]
    lowest = noise.deviation.min(axis=0)
    at = noise.tau_s[int(noise.deviation.mean(axis=1).argmin())]
    return (
        f"Allan deviation of the {noise.kind} over {noise.seconds:.0f} s of rest: lowest {_list(lowest / unit)} {name} "
        f"(x, y, z), at about {significant(float(at))} s."
    )


def noise_rows(noise: Noise) -> tuple[tuple[str, str], ...]:
    """The terms in a person's units, each as found or as a bound: (name, x, y, z as one text).

    Random walk in deg/sqrt(h) or mm/s/sqrt(h), instability in deg/h or ug, the rest in inside units.
    """
    hour = math.sqrt(3600.0)
    gyro = noise.kind == "gyro"
    units = (
        (("quantisation", DEG, "deg"), ("angle random walk", DEG / hour, "deg/sqrt(h)"))
        if gyro
        else (("quantisation", 1.0, "mm/s"), ("velocity random walk", 1.0 / hour, "mm/s/sqrt(h)"))
    ) + (
        ("bias instability", *UNITS[noise.kind]),
        ("rate random walk", UNITS[noise.kind][0] / hour, f"{UNITS[noise.kind][1]}/sqrt(h)"),
        ("rate ramp", UNITS[noise.kind][0] / 3600.0, f"{UNITS[noise.kind][1]}/h"),
    )
    return tuple(
        (f"{name}, {unit_name}", " · ".join(_term(noise, k, axis, unit) for axis in range(3)))
        for k, (name, unit, unit_name) in enumerate(units)
    )


def _term(noise: Noise, k: int, axis: int, unit: float) -> str:
    value, sd, below = (each[k, axis] / unit for each in (noise.terms, noise.terms_sd, noise.terms_below))
    return f"< {significant(below)}" if not math.isfinite(value) else f"{significant(value)} ± {significant(sd, 1)}"


def _list(values: Array) -> str:
    return ", ".join(significant(float(value)) for value in values)


def _plain_numbers(axes: Axes) -> None:
    """0.01, 1, 100 in place of powers of ten."""
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(lambda value, _: f"{value:g}")
        axis.set_minor_formatter(lambda _value, _: "")

"""The dry test, before any glue: do the magnets sit well enough, and if not, what to shift and which way.

Their middle off the axle bends the ring: a dipole at r moved by s along its moment adds -(s . grad) B, which turns
twice with the axle. Fingers that twist the axle on spoil the motion; what lies across the curve they cannot spoil.
"""

import math
from typing import Final

import numpy as np
from scipy.optimize import minimize_scalar

from wayrule.errors import UndeterminedError
from wayrule.maths.dipole import dipole_of
from wayrule.maths.turncurve import terms_of
from wayrule.model import AxleReference, DryTest, DryWord, Recording
from wayrule.model.arrays import Array
from wayrule.model.axlereference import ORDERS
from wayrule.run.axlecauses import Explanation
from wayrule.run.axlechecks import refused_still
from wayrule.run.axlecompare import compared, fitted
from wayrule.run.axlesigns import MAGNETS, MIDDLE, SIGNS
from wayrule.run.decode import Decoded, decode, turns_of
from wayrule.run.field import DEFAULT_NOISE_MT
from wayrule.run.unwrap import TAU

LEAST_TURNS: Final = 3.0
"""Fewer turns do not show whether the ring repeats."""
GOOD_RAD: Final = math.radians(5.0)
"""Once-a-turn error of a plain ring that calibrating takes out without a trace: our choice, no source."""
ONCE: Final = 2.6
"""That error for a move of the whole distance along the moment, straight above the axle: (3 + 9/4) / 2, of the circles
with and against the turning that the moved dipole adds to the ring brought to a circle."""
ASIDE: Final = 0.04
"""Share of the distance to the sensor from which a place along the axle is told: our choice, no source."""
WEAK: Final = 8.0
"""Smaller semi-axis over a sample's noise below which a distance between two places errs by tenths of a mm and more."""
THIN: Final = 5.0
"""Larger over smaller semi-axis above which the sensor sits badly: a dipole has 2 above the axle, 1 beside its end."""


def dry_test(recording: Recording, place_mm: tuple[float, float, float], *, noise_mt: float | None = None) -> DryTest:
    """Whether the magnets can be fixed as they sit.

    Parameters
    ----------
    recording : Recording   a few turns by hand, `LEAST_TURNS` and more, however uneven
    place_mm : (3,)         sensor from the axle centre: forward, left, up
    noise_mt : float        noise of one sample per axis; the usual one where None

    Raises
    ------
    UndeterminedError   no field, no turning, or too few turns

    Notes
    -----
    The ring's own ellipse stands for well-seated magnets (`run.axlecompare` with a wide prior of how far they sit off);
    its centre and axes are left free, for Earth, iron and the sensor's scale make those. The move along the axle is
    that of a sensor whose first harmonic then has a moment square to the axle.
    """
    run, field = recording.name, recording.field_mt
    if field is None:
        raise UndeterminedError(
            expected="the field of the magnets", came="none", where=run, next_step="record the field sensor"
        )
    found = decode(recording.t_s, field, place_mm=place_mm, noise_mt=noise_mt, run=run)
    if found is None:
        raise refused_still(run)
    turns = turns_of(found.counted.psi_rad)
    if turns < LEAST_TURNS:
        raise UndeterminedError(
            expected=f"{LEAST_TURNS:.0f} turns of the axle and more",
            came=f"{turns:.1f}",
            where=run,
            next_step="turn it on by hand, as unevenly as you like",
        )
    noise = DEFAULT_NOISE_MT if noise_mt is None else noise_mt
    ring = _round(found, noise)
    seen = np.isfinite(field[:, found.axes]).all(axis=1)
    best = fitted(compared(ring, recording.t_s[seen], field[seen], place_mm), _loose(ring))
    far_mm = float(np.linalg.norm(place_mm))
    shift = best.theta[MAGNETS] * far_mm
    sd = np.sqrt(np.diag(best.covariance))[MAGNETS] * far_mm
    once = ONCE * math.hypot(shift[0], shift[2]) / far_mm
    once_sd = ONCE * max(sd[0], sd[2]) / far_mm
    small = float(ring.semi_axes_mt[1]) / noise
    word: DryWord = "fix" if once + once_sd < GOOD_RAD else "shift" if once > GOOD_RAD + once_sd else "unsure"
    aside_mm = _aside(ring, place_mm)
    steps = (*_steps(word, shift, sd), *_others(small, ring.condition, aside_mm, far_mm))
    return DryTest(
        word=word,
        along_mm=float(shift[0]),
        along_sd_mm=float(sd[0]),
        ahead_mm=float(shift[2]),
        ahead_sd_mm=float(sd[2]),
        aside_mm=aside_mm,
        once_rad=once,
        signal_mt=(float(ring.semi_axes_mt[0]), float(ring.semi_axes_mt[1])),
        signal_to_noise=small,
        turns=turns,
        text=_text(word, once),
        steps=steps,
    )


def _round(found: Decoded, noise_mt: float) -> AxleReference:
    """A reference whose curve is the ring's ellipse alone; middle and ellipse are free, a third harmonic is the discs'.

    sds by order, shares of the larger semi-axis: our choice, no source.
    """
    ring, axes = found.ring, found.axes
    out = np.linalg.inv(ring.ellipse.to_circle)
    curve = np.full((2 * ORDERS + 1, 3), np.nan)
    curve[:, axes] = 0.0
    curve[0, axes] = (ring.basis.T @ ring.ellipse.centre)[axes]
    curve[1, axes] = (ring.basis.T @ out[:, 0])[axes]
    curve[1 + ORDERS, axes] = ring.forward * (ring.basis.T @ out[:, 1])[axes]
    return AxleReference(
        basis=ring.basis,
        centre_mt=curve[0].copy(),
        semi_axes_mt=ring.ellipse.semi_axes,
        tilt_rad=ring.ellipse.tilt_rad,
        forward=ring.forward,
        forward_source="",
        curve_mt=curve,
        curve_sd_mt=ring.ellipse.semi_axes[0] * np.array([1.0, 0.1, 0.002, 0.03, 0.0, 0.0, 0.0]),
        angle_rad=np.zeros((2, ORDERS)),
        angle_sd_rad=np.zeros(ORDERS),
        noise_mt=noise_mt,
        residual_mt=noise_mt,
        temperature_c=math.nan,
        turns=0.0,
        runs=(),
    )


def _loose(ring: AxleReference) -> Explanation:
    """Magnets that sit anywhere, and a middle of the ring that is wherever Earth and iron put it."""
    sd = np.full(SIGNS, 1e-6)
    sd[MIDDLE] = ring.semi_axes_mt[0]
    sd[MAGNETS] = 0.3, 1e-6, 0.3
    return Explanation("unknown", np.zeros(SIGNS), sd)


def _aside(ring: AxleReference, place_mm: tuple[float, float, float]) -> float:
    """How far the magnets sit to the left: by so much the place is moved until the moment turns square to the axle."""
    if not ring.axes.all():
        return math.nan
    first = np.zeros_like(ring.curve_mt)
    first[[1, 1 + ORDERS]] = ring.curve_mt[[1, 1 + ORDERS]]
    field = np.asarray(terms_of(np.linspace(0.0, TAU, 72, endpoint=False), ORDERS) @ first)
    far = float(np.linalg.norm(place_mm))

    def leans(left_mm: float) -> float:
        moment = dipole_of(field, np.array(place_mm) - [0.0, left_mm, 0.0])
        return float(np.mean(moment[:, 1] ** 2) / np.mean(moment**2))

    return float(minimize_scalar(leans, bounds=(-0.5 * far, 0.5 * far), method="bounded").x)


def _text(word: DryWord, once_rad: float) -> str:
    degrees = math.degrees(once_rad)
    if word == "fix":
        return (
            f"The magnets sit well: fix them as they are (once a turn {degrees:.1f} deg, which calibrating takes out)."
        )
    if word == "shift":
        return f"Shift the magnets before you fix them: they make {degrees:.1f} deg once a turn."
    return f"Not sure yet ({degrees:.1f} deg once a turn, near the limit or beyond what these turns tell): turn on."


def _steps(word: DryWord, shift_mm: Array, sd_mm: Array) -> tuple[str, ...]:
    """What to shift and which way, the larger first; nothing that is not clear."""
    if word == "fix":
        return ()
    up = "Turn the axle until the upward reading is greatest. "
    along, ahead = float(shift_mm[0]), float(shift_mm[2])
    said = []
    if abs(along) > 2 * sd_mm[0]:
        way = "down" if along > 0 else "up"
        said.append(
            (abs(along), f"{up}Now both discs belong {abs(along):.2f} +- {sd_mm[0]:.2f} mm further {way}: file or shim "
             "one flat; or the discs are unlike: the upper one is the "
             f"{'stronger' if along > 0 else 'weaker'}.")
        )  # fmt: skip
    if abs(ahead) > 2 * sd_mm[2]:
        way = "back" if ahead > 0 else "forward"
        said.append((abs(ahead), f"{up}Now slide both discs {abs(ahead):.2f} +- {sd_mm[2]:.2f} mm {way}."))
    return tuple(text for _, text in sorted(said, reverse=True))


def _others(signal_to_noise: float, condition: float, aside_mm: float, far_mm: float) -> tuple[str, ...]:
    """What else keeps a reading from being a good one."""
    said = []
    if abs(aside_mm) > ASIDE * far_mm:
        ways = ("left", "right") if aside_mm > 0 else ("right", "left")
        said.append(
            f"The discs sit {abs(aside_mm):.2f} mm too far to the {ways[0]} for the sensor's place as stated: slide "
            f"them along the flats, or the sensor sits further to the {ways[1]} (or rolled) than the wagon file says."
        )
    if signal_to_noise < WEAK:
        said.append(
            f"The field is weak: {signal_to_noise:.1f} times the noise. Thicker discs, a sensor that sits nearer, or a "
            "floor without steel make it stronger."
        )
    if condition > THIN:
        said.append(f"The ring is thin ({condition:.1f} to 1): move the sensor towards the middle above the axle.")
    return tuple(said)

"""The answer of the bench in words a builder acts on: does it work, what costs most, will it turn, how fast."""

import math
from dataclasses import replace
from typing import Final

from wayrule.model import Bench, Budget, Wagon
from wayrule.model.bench import Word
from wayrule.units import scale_km_h
from wayrule.wagon.budget import Conditions, Laid, budget_of, lay_out
from wayrule.wagon.cautions import cautions
from wayrule.wagon.clearance import clash_lines
from wayrule.wagon.disturbers import reed
from wayrule.wagon.eddy import told
from wayrule.wagon.edges import fullness, magnetic
from wayrule.wagon.keptout import LEAST_SIGNAL, THINNEST
from wayrule.wagon.mass import NEM_302, letter, mass_sum
from wayrule.wagon.needed import in_one_line
from wayrule.wagon.options import options
from wayrule.wagon.plates import covers
from wayrule.wagon.turning import Turning, against_floor, against_rails, will_it_turn

POOR_MM: Final = 1.0
"""From this sd of a distance on a wagon reads, but poorly; our choice."""

FULL: Final = 0.7
"""Share of its saturation from which a plate shields less than is reckoned."""

HEAVY_G_MM: Final = {"G": 4.0}
"""Least mass for each mm where NEM 302 names the scale otherwise: its II [g/mm]."""


def bench(wagon: Wagon, conditions: Conditions | None = None) -> Bench:
    """Will this wagon measure, and how well?

    Raises
    ------
    UndeterminedError, UsageError   what the file does not say, or what cannot be, in one line

    Examples
    --------
    >>> from wayrule.model import FieldSensor, Magnets, Wheel
    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5, 0.04), magnets=discs,
    ...             sensor=FieldSensor(40.0, 12, 0.03, 200.0, (0.8, 1.2, 12.5)))
    >>> found = bench(van)
    >>> found.word, found.turning[0]
    ('works', 'The wheel turns freely: the floor holds no steel.')
    """
    run = conditions or Conditions()
    with in_one_line(wagon.name):
        laid = lay_out(wagon)
        found = budget_of(laid, run)
        turns = _turning(laid)
        word = _word(found, turns)
        return Bench(
            wagon=wagon,
            word=word,
            verdict=(*_verdict(word, found, turns, wagon), *_floor(laid)),
            options=options(wagon, found, run),
            phi_rad=laid.phi_rad,
            field_mt=laid.field_mt,
            budget=found,
            turning=_turning_words(laid, turns),
            remarks=_remarks(laid, run),
            missing=_missing(wagon),
            cautions=cautions(wagon),
        )


def _word(found: Budget, turns: Turning) -> Word:
    weak = found.signal_to_noise < LEAST_SIGNAL or found.signal_mt[0] > THINNEST * found.signal_mt[1]
    if weak or found.saturates or turns.verdict == "skids":
        return "fails"
    return "poor" if found.repeats_mm >= POOR_MM or turns.verdict == "sticks" else "works"


def _verdict(word: Word, found: Budget, turns: Turning, wagon: Wagon) -> list[str]:
    """The first sentences: how well, or why not; what dominates; how fast."""
    told_by = {"works": "Works", "poor": "Reads, but poorly", "fails": "Does not work as it is"}[word]
    size = next(line for line in found.lines if line.cause == "size of the wheel")
    sentences = [
        f"{told_by}: two places of one run are told apart to {_mm(found.repeats_mm)} (one sigma), however far apart; "
        f"on top comes the wheel's size, {_mm(size.share * 1000)} on a metre, until a taped distance mends it."
    ]
    if found.signal_to_noise < LEAST_SIGNAL:
        sentences.append(
            f"The field is lost in the noise: {found.signal_mt[1]:.2g} mT, a reading has {found.reading_sd_mt:.2g} mT."
        )
    if found.signal_mt[0] > THINNEST * found.signal_mt[1]:
        sentences.append(
            f"The field hardly turns there: an ellipse of {found.signal_mt[0]:.2g} by {found.signal_mt[1]:.2g} mT."
        )
    if found.saturates:
        sentences.append(
            f"The sensor is full: {found.nearest_mt:.3g} mT at the nearest, its range is ±{found.range_mt:g}."
        )
    if turns.verdict != "fine":
        sentences.append(_held(turns))
    worst = found.dominant
    sentences.append(f"Most of it comes from: {worst.cause}, {_mm(worst.distance_mm)} ({worst.how}).")
    sentences += [_range(found), _speed(found, wagon)]
    return [sentence for sentence in sentences if sentence]


def _range(found: Budget) -> str:
    turning = f"At its farthest and weakest the field still turns through {found.farthest_mt:.2g} mT"
    if math.isnan(found.range_mt):
        return f"{turning}; the sensor's range is not stated, the nearest field is {found.nearest_mt:.2g} mT."
    return (
        f"Of the range of ±{found.range_mt:g} mT the nearest field takes {found.nearest_mt / found.range_mt:.0%}; "
        f"{turning[0].lower()}{turning[1:]}, {found.farthest_mt / found.reading_sd_mt:.0f} times a reading's sigma."
    )


def _speed(found: Budget, wagon: Wagon) -> str:
    need = f"120 km/h at scale needs {math.ceil(found.rate_hz)} readings a second"
    if math.isnan(found.top_mm_s):
        return f"The sensor's rate is not stated; {need}."
    scale = scale_km_h(found.top_mm_s, wagon.ratio)
    return f"Turns are counted up to {found.top_mm_s / 1000:.2g} m/s ({scale:.0f} km/h at scale); {need}."


def _mm(value: float) -> str:
    return f"{value:.2g} mm" if value < 10 else f"{value:.0f} mm"


def _floor(laid: Laid) -> list[str]:
    """What steel costs, and how full it is."""
    steel = magnetic(laid.wagon.floor)
    if not steel:
        return []
    left = laid.left
    found = [
        f"The steel in the floor {f'costs {1 - left:.0%} of' if left < 1 else f'adds {left - 1:.0%} to'} the field."
    ]
    if laid.edge is not None:
        over = any(covers(plate, *laid.have.place_mm[:2]) for plate in steel if plate.length_mm or plate.width_mm)
        begins = (
            f"Without ends it would leave {laid.endless:.0%}" if over else "No plate with ends reaches over the sensor"
        )
        found.append(f"{begins}; what comes round the ends is reckoned with, good to some per cent.")
    found += [
        f"The {one.material.name} layer is full to {one.share:.0%}: it shields less than is reckoned here."
        for one in fullness(laid.have.sources, laid.wagon.floor)
        if one.share > FULL
    ]
    return found


def _turning(laid: Laid) -> Turning:
    wagon = laid.wagon
    summed = mass_sum(wagon)
    mass = summed.total_g if summed else _likely_g(wagon)
    parts = [against_floor(laid.have.sources, wagon.floor)] if magnetic(wagon.floor) else []
    axles = 4 if wagon.bogie else 2
    return will_it_turn(parts, axle_load_g=mass / axles, wheel_mm=2 * laid.have.radius_mm, wagon_g=mass)


def _likely_g(wagon: Wagon) -> float:
    """NEM 302's least mass for a wagon 1.7 times as long as its wheelbase; N's figure by gauge elsewhere."""
    name = letter(wagon.scale)
    rate = NEM_302.get(name) or HEAVY_G_MM.get(name) or 0.4 * (wagon.gauge_mm / 16.5) ** 2
    return rate * 1.7 * wagon.wheelbase_mm


def _held(turns: Turning) -> str:
    grip = f"the rails hold {turns.grip_n_mm[0]:.2g} N mm at least"
    if turns.verdict == "skids":
        return f"The wheel skids: steel holds the magnets with {turns.torque_n_mm:.2g} N mm, {grip}."
    return (
        f"The wheel sticks: steel holds the magnets with {turns.torque_n_mm:.2g} N mm, more than the wagon's own "
        f"rolling resistance of {turns.rolling_n_mm:.2g} N mm, so it jerks and does not coast; {grip}."
    )


def _turning_words(laid: Laid, turns: Turning) -> tuple[str, ...]:
    wagon, sources = laid.wagon, laid.have.sources
    if not turns.parts:
        found = ["The wheel turns freely: the floor holds no steel."]
    elif turns.verdict == "fine":
        found = [
            f"The wheel turns: steel holds the magnets with {turns.torque_n_mm:.2g} N mm, less than the rolling "
            f"resistance of {turns.rolling_n_mm:.2g} N mm; the rails hold {turns.grip_n_mm[0]:.2g} N mm at least."
        ]
    else:
        found = [_held(turns)]
    rails = against_rails(sources, gauge_mm=wagon.gauge_mm, wheel_mm=2 * laid.have.radius_mm)
    on_steel = replace(turns, torque_n_mm=turns.torque_n_mm + rails.torque_n_mm)
    beats = on_steel.torque_n_mm > turns.rolling_n_mm
    found.append(
        f"Steel rails add {rails.torque_n_mm:.2g} N mm and {'then it sticks' if beats else 'change nothing'}; nickel "
        "silver and brass rails do nothing."
    )
    trip = reed(sources, wheel_mm=2 * laid.have.radius_mm)
    word = {"surely": "will close", "perhaps": "may close", "no": "does not close"}[trip.trips]
    found.append(f"The axle {word} reed contacts between the rails ({trip.field_mt:.2g} mT there).")
    return tuple(found)


def _remarks(laid: Laid, run: Conditions) -> tuple[str, ...]:
    wagon, height = laid.wagon, laid.have.place_mm[2]
    metals = told(wagon.floor, height, speed_mm_s=run.speed_mm_s, wheel_mm=2 * laid.have.radius_mm)
    return (*metals, *clash_lines(wagon))


def _missing(wagon: Wagon) -> tuple[str, ...]:
    """What the file does not say and what was taken instead."""
    sensor = wagon.sensor
    stated = (
        (sensor.noise_mt, "sensor.noise_mt: a usual 0.03 mT was taken"),
        (sensor.range_mt and sensor.bits, "sensor.range_mt and bits: no steps, no limit"),
        (sensor.rate_hz, "sensor.rate_hz: no top speed"),
        (wagon.wheel.diameter_sd_mm, "wheel.diameter_sd_mm: 0.4 % was taken"),
        (wagon.axle.play_mm, "axle.play_mm: no play was taken"),
        (mass_sum(wagon), f"body.mass_g: {_likely_g(wagon):.0f} g were taken (NEM 302 for a likely length)"),
    )
    return tuple(text for value, text in stated if not value)

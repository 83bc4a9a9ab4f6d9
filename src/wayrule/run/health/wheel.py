"""Of the wheel: turns that may be miscounted, a wheel that locks, slides or spins, a lifted wagon, knocks."""

import math

import numpy as np

from wayrule.maths.counting import FAST_TURN
from wayrule.model import HealthItem, Mishap, Travel
from wayrule.run.health.beside import disagreements
from wayrule.run.health.limits import LIMITS
from wayrule.run.health.seen import Seen, digits, many, unknown
from wayrule.run.mishaps import jolts

TAU = 2.0 * math.pi
NOT_TOLD = "What the wagon did could not be told from these rows."


def turn_counting(seen: Seen) -> HealthItem:
    """The fastest turning beside what the rate can follow, and gaps in which turns may be lost."""
    name = "turn counting"
    if seen.travel is None:
        return unknown(name, NOT_TOLD)
    if seen.recording.field_mt is None:
        return unknown(name, "The wheel's own sensor counts: these rows cannot tell whether it lost any.")
    if seen.turned_rad is None or seen.recording.n < 3:
        return unknown(name, NOT_TOLD)
    step = np.diff(seen.recording.t_s)
    period = float(np.median(step))
    advance = np.where(step < 1.5 * period, np.abs(np.diff(seen.turned_rad)), 0.0) / TAU
    limit = LIMITS["turn counting"]
    value = 100.0 * float(advance.max()) / FAST_TURN
    lossy = [one for one in seen.travel.mishaps if one.kind == "gap" and one.loose_mm > 0.0]
    light = "red" if lossy else limit.light(value)
    told = (
        f"The wheel turned up to {digits(float(advance.max()) / period)} times a second; this rate follows "
        f"{digits(FAST_TURN / period)}"
    )
    if lossy:
        told += f"; turns may be lost in {many(len(lossy), 'gap')}"
    fast = np.concatenate(([False], 100.0 * advance / FAST_TURN >= limit.amber))
    return HealthItem(
        name,
        light,
        f"{told}.",
        "" if light == "green" else "Pull slower, or record faster; see that no row is lost.",
        (*seen.spots_of(lossy), *seen.spots_where(fast)),
        value,
        limit,
    )


def locked_or_sliding(seen: Seen) -> HealthItem:
    """The wheel against the inertial sensor: still while the wagon goes on, or the reverse."""
    name = "locked or sliding wheel"
    if seen.travel is None:
        return unknown(name, NOT_TOLD)
    imu = seen.travel.imu
    if imu is None or imu.acc_mm_s2 is None or not np.isfinite(imu.acc_mm_s2).any():
        return unknown(name, "No accelerometer: a wheel that locks or slides would not be seen.")
    slid = _of(seen.travel, "slide", "spin")
    missed = sum(abs(one.size) for one in slid)
    beside = disagreements(seen)
    limit = LIMITS["wheel"]
    value = 100.0 * missed / seen.way_mm if seen.way_mm > 0.0 else 0.0
    told = [_words(one) for one in sorted(slid, key=lambda one: -abs(one.size))[:3]]
    told += [f"{len(slid) - 3} more"] if len(slid) > 3 else []
    told += [f"the wheel stood for {_lasted(beside.still)} s while the wagon shook as it does when it rolls"] * bool(
        beside.still
    )
    told += [f"the wheel turned for {_lasted(beside.turning)} s while the wagon was as quiet as at rest"] * bool(
        beside.turning
    )
    light = limit.light(value)
    if light == "green" and told:
        light = "amber"
    quiet = "The wheel turned with the wagon throughout" + ("" if beside.known else beside.why) + "."
    return HealthItem(
        name,
        light,
        quiet if not told else f"{'; '.join(told)} ({digits(value)} % of the way).".capitalize(),
        "" if light == "green" else "Clean and oil the axle, look for what rubs on wheel or magnets; pull evenly.",
        (*seen.spots_of(slid), *(seen.spot(a, b) for a, b in (*beside.still, *beside.turning))),
        value,
        limit,
    )


def lifted(seen: Seen) -> HealthItem:
    """Hands on the wagon, and lifts."""
    name = "lifted wagon"
    if seen.travel is None:
        return unknown(name, NOT_TOLD)
    if seen.travel.imu is None:
        return unknown(name, "No gyro: a hand on the wagon would not be seen.")
    held = _of(seen.travel, "hand", "lift")
    limit = LIMITS["lifted"]
    value = max((one.size for one in held), default=0.0)
    light = limit.light(value)
    lifts = sum(one.kind == "lift" for one in held)
    parts = [(lifts, "lifted or tilted off its rails"), (len(held) - lifts, "touched")]
    told = " and ".join(f"{what} {many(count, 'time')}" for count, what in parts if count)
    return HealthItem(
        name,
        light,
        f"At a stop {told}, by up to {digits(value)} deg."
        if held
        else "No hand on the wagon between its first move and its last.",
        "" if not held else "Begin a new run after a lift: only other passes can tell where it was set down.",
        seen.spots_of(held),
        value,
        limit,
    )


def knocks(seen: Seen) -> HealthItem:
    """Jolts far beyond the run's usual shaking; told even where they are so many that they are how the wagon runs."""
    name = "knocks"
    if seen.travel is None:
        return unknown(name, NOT_TOLD)
    if seen.travel.imu is None or seen.travel.imu.acc_mm_s2 is None:
        return unknown(name, "No accelerometer: a knock would not be seen.")
    held = _of(seen.travel, "hand", "lift", "gap")
    found = [
        one
        for one in jolts(seen.travel.t_s, seen.travel.imu, seen.travel.state)
        if all(one.last_s < other.first_s or one.first_s > other.last_s for other in held)
    ]
    limit = LIMITS["knocks"]
    value = 1000.0 * len(found) / max(seen.way_mm, 1000.0)
    light = limit.light(value)
    worst = max((one.size for one in found), default=0.0)
    told = f"{many(len(found), 'knock')}, the hardest {digits(worst)} g ({digits(value)} a metre)"
    if found and not _of(seen.travel, "knock"):
        told += "; so many for its time that they are how the wagon runs, and none is kept out of the map"
    return HealthItem(
        name,
        light,
        f"{told}." if found else "No knock.",
        "" if not found else "Look at the track there (a joint, a frog), at wheels and couplers if it is everywhere.",
        seen.spots_of(found),
        value,
        limit,
    )


def _of(travel: Travel, *kinds: str) -> list[Mishap]:
    return [one for one in travel.mishaps if one.kind in kinds]


def _words(one: Mishap) -> str:
    how = "turned too little" if one.kind == "slide" else "spun"
    return f"the wheel {how} by {abs(one.size):.0f} +- {one.sd:.0f} mm at {one.first_s:.1f} s"


def _lasted(spans: tuple[tuple[float, float], ...]) -> str:
    return digits(sum(b - a for a, b in spans))

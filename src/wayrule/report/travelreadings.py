"""What one run says, in a practitioner's sentences, and what its log cannot give."""

import math
from typing import Final

import numpy as np

from wayrule.model import Travel
from wayrule.report.lengths import metres
from wayrule.report.numbers import NO_BREAK, duration, significant, with_sd
from wayrule.report.readings import scale_text
from wayrule.report.travelfacts import TravelFacts, speed_unit, travel_facts
from wayrule.units import scale_km_h, scale_mph

WORTH_SAYING_S: Final = 0.1
"""Unsure stretches shorter than this [s] in all are not told."""


def travel_sentences(travel: Travel, ratio: float) -> list[str]:
    """Distance, speed and stops of one run in a few sentences."""
    f = travel_facts(travel)
    if not math.isfinite(f.net_mm):
        return ["Too few samples to say how far it went."]
    said = [f"{with_sd(f.net_mm / 1000.0, f.net_sd_mm / 1000.0, 'm')} in {duration(f.duration_s)}{_there_and_back(f)}."]
    said.append(f"{top_speed(f, ratio)}." if travel.moving else "It never rolled.")
    said.append(f"{stop_count(f)}.")
    if f.unsure_s >= WORTH_SAYING_S:
        said.append(f"For {duration(f.unsure_s)} it is unsure whether it rolled or stood.")
    said.append(scale_sentence(travel))
    return said


def top_speed(f: TravelFacts, ratio: float) -> str:
    """Top speed in mm/s and in scale km/h and mph, without a full stop."""
    scale = "scale " if ratio >= 2 else ""
    km_h, mph = scale_km_h(f.top_mm_s, ratio), scale_mph(f.top_mm_s, ratio)
    unit, size = speed_unit(np.array([f.top_mm_s]))
    top = with_sd(f.top_mm_s / size, f.top_sd_mm_s / size, unit)
    return f"Top speed {top}, that is {scale}{significant(km_h)}{NO_BREAK}km/h or {significant(mph)}{NO_BREAK}mph"


def stop_count(f: TravelFacts) -> str:
    """How often and how long it stood, without a full stop."""
    if not f.stops:
        return "It did not stop"
    longest = max(s.lasted_s for s in f.stops)
    if len(f.stops) == 1:
        return f"It stood once, for {duration(longest)}"
    times = "twice" if len(f.stops) == 2 else f"{len(f.stops)} times"
    return f"It stood {times}, the longest for {duration(longest)}"


def scale_sentence(travel: Travel) -> str:
    """What the length of the run rests on."""
    if math.isfinite(travel.scale_sd) and travel.scale_sd > 0:
        return scale_text(travel.scale_sd, travel.scale_source)
    return f"The length scale has no error bar ({travel.scale_source or 'source not stated'})."


def cannot_give(travel: Travel) -> list[str]:
    """What this log cannot give, one sentence each; empty when it can give all."""
    if travel.imu is None or not np.isfinite(travel.imu.gyro_rad_s).any():
        return ["No gyro in this log: no heading, curvature or map."] + (
            ["No accelerometer in this log: no height, gradient or cant."] if travel.imu is None else []
        )
    if travel.imu.acc_mm_s2 is None or not np.isfinite(travel.imu.acc_mm_s2).any():
        return ["No accelerometer in this log: no height, gradient or cant."]
    if not np.isfinite(travel.imu.gyro_bias_rad_s).any():
        return ["The run has no standstill: the gyro's bias is not known from this run alone."]
    return []


def speed_time_reading(travel: Travel, ratio: float) -> str:
    """What the diagram of speed against time shows."""
    f = travel_facts(travel)
    if not math.isfinite(f.top_mm_s):
        return "Not known: fewer than two samples with a distance."
    return f"{top_speed(f, ratio)}. {stop_count(f)}."


def speed_place_reading(travel: Travel, placed: bool) -> str:
    """What the diagram of speed against place shows."""
    f = travel_facts(travel)
    if not math.isfinite(f.path_mm) or f.path_mm == 0:
        return "Nothing to draw: the wagon went nowhere."
    inner = [s for s in f.stops if s.t0_s > travel.t_s[0] and s.t1_s < travel.t_s[-1]]
    places = [metres(s.chainage_mm if placed else s.distance_mm) for s in inner]
    if not places:
        return "No stop on the way."
    listed = ", ".join(places[:6]) + (f" and {len(places) - 6} more" if len(places) > 6 else "")
    return f"Stops on the way at {listed}."


def distance_reading(travel: Travel) -> str:
    """What the diagram of distance shows."""
    f = travel_facts(travel)
    if not math.isfinite(f.net_mm):
        return "Not known: fewer than two samples with a distance."
    net = with_sd(f.net_mm / 1000.0, f.net_sd_mm / 1000.0, "m")
    return f"{net} from the first sample to the last{_there_and_back(f)}."


def _there_and_back(f: TravelFacts) -> str:
    if f.path_mm > 1.02 * abs(f.net_mm) + 20.0:
        return f", {metres(f.path_mm)} with every reversal counted"
    return ""

"""What the adjustment learnt of wagon and runs, and what it had to assume, in words and numbers."""

import numpy as np

from wayrule.model import Estimate, Travel
from wayrule.track.adjust.adjust import Adjusted, ties_at
from wayrule.track.adjust.problem import Problem
from wayrule.units import DEG, G_MM_S2

WAGON_ESTIMATES = (
    ("scale", "distance scale", 100.0, "%", "true length over the wheel's, less one"),
    ("slip_mm", "slip in curves", 1.0, "mm", "distance lost per radian turned"),
    ("gyro_scale_z", "gyro scale, yaw", 100.0, "%", "reads more than true where positive"),
    ("gyro_scale_y", "gyro scale, pitch", 100.0, "%", "reads more than true where positive"),
    ("gyro_scale_x", "gyro scale, roll", 100.0, "%", "reads more than true where positive"),
    ("cross_x", "yaw seen by the roll axis", 1 / DEG, "deg", "mounting of the gyro"),
    ("cross_y", "yaw seen by the pitch axis", 1 / DEG, "deg", "mounting of the gyro"),
    ("yaw", "mounting about the upright", 1 / DEG, "deg", "left turn of the sensor in the wagon < 0"),
    ("level_x", "level error forward", 1e3 / G_MM_S2, "mg", "accelerometer bias and mounting pitch together"),
    ("level_y", "level error across", 1e3 / G_MM_S2, "mg", "accelerometer bias and mounting roll together"),
)
"""border name, words, factor to the unit, unit, meaning"""


def estimates(adjusted: Adjusted) -> tuple[Estimate, ...]:
    """Constants of the wagon, then the mean gyro bias of each run."""
    out = []
    for name, words, factor, unit, meaning in WAGON_ESTIMATES:
        value, sd = _known(adjusted, name)
        out.append(Estimate(words, value * factor, sd * factor, unit, meaning))
    for r, travel in enumerate(adjusted.problem.travels):
        for axis, words in zip("xyz", ("roll", "pitch", "yaw"), strict=True):
            part = adjusted.unknowns.names[f"bias_{axis}/{r}"]
            value, sd = _known(adjusted, f"bias_{axis}/{r}", (part.stop - part.start) // 2)
            out.append(Estimate(f"gyro bias of {travel.run}, {words}", value / DEG, sd / DEG, "deg/s", "in mid-run"))
    return tuple(out)


def _known(adjusted: Adjusted, name: str, knot: int = 0) -> tuple[float, float]:
    """Value and sd of a border unknown."""
    place = adjusted.unknowns.names[name].start + knot
    return float(adjusted.unknowns.border[place]), float(np.sqrt(max(adjusted.border_covariance[place, place], 0.0)))


def assumptions(adjusted: Adjusted) -> tuple[str, ...]:
    """What the data could not tell, one sentence each."""
    problem = adjusted.problem
    out = [_scale_sentence(adjusted)]
    if problem.calibration:
        out.append(_calibration_sentence(problem))
    out += _unturned(adjusted)
    if not problem.facts.controls:
        out.append("Position and direction of the map are free: it starts at (0, 0) along x, height 0.")
    if problem.facts.relations:
        out.append(_relations_sentence(adjusted))
    if problem.wagon.imu.place_mm is None:
        out.append("The wagon file does not say where the inertial sensor sits: taken as mid-wheelbase at rail height.")
    if problem.line.lap_mm is not None:
        out.append(
            "A closed line cannot show the wheel's circumference: a bigger ring closes as well as a smaller one."
        )
    if not any(len(s.bins.force_mm_s2) for s in problem.settings):
        out.append("No accelerometer: no heights, gradients or cant.")
    if not adjusted.converged:
        out.append(
            f"The adjustment had not settled after {adjusted.iterations} rounds "
            f"(last step {adjusted.moved_mm:.2f} mm): take its figures with care."
        )
    return tuple(out)


def _relations_sentence(adjusted: Adjusted) -> str:
    """How well the stated relations agree with the runs and with each other."""
    problem = adjusted.problem
    ties = [t for t in ties_at(problem, adjusted.unknowns, adjusted.runs, whole=True) if t.name.startswith("relation")]
    left = np.array([abs(t.residual) / t.sd for t in ties])
    name = ties[int(np.argmax(left))].name.removeprefix("relation ")
    return (
        f"{len(problem.facts.relations)} stated between places of the line: what is left of them is "
        f"{float(np.sqrt(np.mean(left**2))):.2g} of their sigmas rms, {left.max():.2g} at most ({name})."
    )


def _calibration_sentence(problem: Problem) -> str:
    """What was remembered of the wagon."""
    calibration = problem.calibration
    assert calibration is not None
    count = len(calibration.runs)
    changed = " The wagon file has changed since; only the wheel's diameter is converted."
    return (
        f"The wagon's constants begin from a calibration by {count} earlier run{'s' if count > 1 else ''}, each with a "
        f"part of the day's own.{changed if calibration.wagon_sha256 != problem.wagon.sha256 else ''}"
    )


def _unturned(adjusted: Adjusted) -> list[str]:
    """What stays unknown where no run was turned end for end."""
    problem = adjusted.problem
    if len({s.way for s in problem.settings}) > 1:
        return []
    rests = ", which the calibration leaves" if problem.calibration else " (mounting and accelerometer bias)"
    cant_mm = _level_sd(adjusted, "level_y") / G_MM_S2 * problem.wagon.gauge_mm
    out = [
        f"No run was turned end for end: the cant is known but for one constant of about {cant_mm:.2f} mm{rests}; "
        "a turned run would settle it."
    ]
    if problem.line.lap_mm is None:
        tilt = 1000 * _level_sd(adjusted, "level_x") / G_MM_S2
        rests = ", which the calibration leaves" if problem.calibration else ""
        out.append(
            f"No run was turned on this open line: all gradients share a constant of about {tilt:.1f} per mille"
            f"{rests}; a turned run or a stretch known to be level would settle it."
        )
    return out


def _level_sd(adjusted: Adjusted, name: str) -> float:
    """Sd of a level offset of the first run, the wagon's and its own together [mm/s2]."""
    names = adjusted.unknowns.names
    at = [names[name].start, names[f"{name}/0"].start]
    return float(np.sqrt(max(adjusted.border_covariance[np.ix_(at, at)].sum(), 0.0)))


def wheel_source(problem: Problem, travel: Travel) -> str:
    """What a run's wheel scale rests on: an earlier calibration, or what its travel says."""
    if problem.calibration is None:
        return travel.scale_source
    value, sd = problem.calibration.one("wheel_scale")
    diameter_mm = problem.calibration.diameter_mm
    if diameter_mm is None:
        return f"calibration: {100 * value:+.2f} +- {100 * sd:.2g} %"
    return f"calibration: wheel of {(1 + value) * diameter_mm:.3f} +- {sd * diameter_mm:.2g} mm"


def _scale_sentence(adjusted: Adjusted) -> str:
    problem = adjusted.problem
    sd = 100 * _known(adjusted, "scale")[1]
    source = wheel_source(problem, problem.travels[0])
    ties = [f"tape ({t.what} {t.length_mm:g} +- {t.sd_mm:g} mm)" for t in problem.facts.tapes]
    if sum(c.has_plan for c in problem.facts.controls) >= 2:
        ties.append("control points")
    if any(one.tells_scale for one in problem.facts.relations):
        ties.append("relations")
    rests = " and ".join([*ties, source])
    better = "" if ties else "; roll a taped distance to do better"
    return f"Length scale rests on {rests}: +-{sd:.2g} %{better}."

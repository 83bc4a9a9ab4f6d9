"""What a survey leaves known of the wagon, for the next one.

Legend, over the wagon's constants: m, C mean and covariance of the wagon's own c before the survey; S of b = c + e, as
it acts in the survey, before, B after with mean b' (H picks out of c what acts). Since c depends on the runs through b
alone, by the law of total covariance
    c' = m + K (b' - H m),   C' = C - K (S - B) K',   K = C H' S^-1.
C' is never more than C: a calibration in, a better one out. And however often the wagon runs on one day, that day's
part stays in C'.
"""

import numpy as np

from wayrule.model import Calibration
from wayrule.model.arrays import Array
from wayrule.track.adjust.adjust import Adjusted
from wayrule.track.adjust.remembered import Before, constant_rows
from wayrule.track.adjust.sway import LEAST_PASSES, passes, sway_seen
from wayrule.version import VERSION


def learnt(adjusted: Adjusted, runs: tuple[tuple[str, str], ...]) -> Calibration:
    """The wagon as it is known after the survey of these runs (name, sha256)."""
    problem = adjusted.problem
    imu = problem.travels[0].imu
    assert imu is not None
    border = adjusted.unknowns.border
    rows = constant_rows(adjusted.unknowns.names, problem.before.acting_names, len(border))
    values, covariance = own_after(problem.before, rows @ border, rows @ adjusted.border_covariance @ rows.T)
    sway, length, looks = _sway(adjusted)
    bias, count = _bias(adjusted)
    before = problem.calibration
    return Calibration(
        wagon_name=problem.wagon.name,
        wagon_sha256=problem.wagon.sha256,
        diameter_mm=problem.wagon.wheel.diameter_mm,
        names=problem.before.names,
        values=values,
        covariance=covariance,
        rotation=imu.rotation,
        sway_rad=sway,
        sway_length_mm=length,
        sway_passes=looks,
        bias_rad_s=bias,
        bias_runs=count,
        runs=(*(before.runs if before else ()), *runs),
        version=VERSION,
        axle=before.axle if before else None,
        steps=before.steps if before else (),
        inertial=before.inertial if before else None,
    )


def own_after(before: Before, mean: Array, covariance: Array) -> tuple[Array, Array]:
    """Mean (n,) and covariance (n, n) of the wagon's own constants, from those (a,), (a, a) of the acting ones."""
    gain = np.linalg.solve(before.as_met, before.own[before.acting]).T
    values = before.values + gain @ (mean - before.values[before.acting])
    own = before.own - gain @ (before.as_met - covariance) @ gain.T
    return values, 0.5 * (own + own.T)


def _sway(adjusted: Adjusted) -> tuple[Array, Array, float]:
    """How the body sways, this survey's and the remembered weighed by the passes beyond the first."""
    problem, remembered = adjusted.problem, adjusted.problem.calibration
    looks = passes(problem)
    sizes, lengths, weights = [], [], []
    if remembered and remembered.sway_passes:
        sizes.append(remembered.sway_rad**2)
        lengths.append(np.log(remembered.sway_length_mm))
        weights.append(remembered.sway_passes)
    if looks >= LEAST_PASSES:
        seen = sway_seen(problem, adjusted.unknowns, adjusted.runs, adjusted.noise.weights)
        sizes.append(np.mean(seen.sd**2, axis=1))
        lengths.append(np.mean(np.log(seen.length_mm), axis=1))
        weights.append(looks - 1)
    if not weights:
        return np.full(3, np.nan), np.full(3, np.nan), 0.0
    size, length = (np.average(v, axis=0, weights=weights) for v in (sizes, lengths))
    return np.sqrt(size), np.exp(length), float(sum(weights))


def _bias(adjusted: Adjusted) -> tuple[float, int]:
    """Rms of the gyro's biases in mid-run, and how many runs it rests on, those remembered included."""
    u, remembered = adjusted.unknowns, adjusted.problem.calibration
    total, runs = (remembered.bias_rad_s**2 * remembered.bias_runs, remembered.bias_runs) if remembered else (0.0, 0)
    for r in range(len(adjusted.runs)):
        middles = [float(np.median(u.some(f"bias_{axis}/{r}"))) for axis in "xyz"]
        total, runs = total + float(np.mean(np.square(middles))), runs + 1
    return float(np.sqrt(total / runs)), runs

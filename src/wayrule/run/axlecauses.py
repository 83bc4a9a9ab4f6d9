"""Explanations of a changed axle field: how large each change would be, how likely beforehand, what to say of it."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wayrule.model import DriftCause, DriftKind
from wayrule.model.arrays import Array
from wayrule.run.axlesigns import HIGHER, MAGNETS, MIDDLE, SENSOR, SIGNS, STRENGTH, TURNED

USUAL: Final[dict[str, float]] = {
    "middle_mt": 0.07, "strength": 0.005, "higher": 0.02, "sensor": 0.002, "turned": 0.005, "magnets": 0.001
}  # fmt: skip
"""What changes from day to day without a fault, sds: Earth's field (0.05 mT, IGRF) as the wagon is headed otherwise,
and iron about it; play of the axle; a body that bends. All but the first are our choice, no source."""

ODDS: Final[dict[DriftKind, float]] = {
    "nothing": 0.55, "temperature": 0.20, "sensor moved": 0.08, "magnet moved": 0.08, "magnet off": 0.04,
    "plate out": 0.02, "plate in": 0.02, "unknown": 0.01,
}  # fmt: skip
"""How likely each is before anything was looked at: our choice, no source."""

ROOM_K: Final = 15.0
"""Temperatures of two days differ by so much (sd) where they were not recorded; MEASURED_K where they were."""
MEASURED_K: Final = 3.0
FURTHEST: Final = 0.2
"""Shares of the distance from axle to sensor: a sensor, or one disc, that moved further hangs loose or has come off."""
MOST_K: Final = 60.0
"""Between frost and a hot car, or so: no two days differ by more."""

Triple = tuple[float, float, float]

COLUMNS: Final[dict[str, int | slice]] = {
    "strength": STRENGTH, "higher": HIGHER, "sensor": SENSOR, "turned": TURNED, "magnets": MAGNETS
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Explanation:
    """A prior of the columns of `axlesigns`.

    mean, sd     (`SIGNS`,)
    crude        share of the change to which its sign is right: plates and pairs are no dipoles
    bending_mt   sd of any other bending of the curve
    least, most  strengths outside of these are none of it; nor is a sensor or magnet that moved beyond `FURTHEST`
    sizes        whether its sizes are told; another of its kind tells them otherwise
    """

    kind: DriftKind
    mean: Array
    sd: Array
    crude: float = 0.0
    bending_mt: float = 0.0
    least: float = -math.inf
    most: float = math.inf
    sizes: bool = True

    def allows(self, theta: Array) -> bool:
        """Whether sizes are such as it can have."""
        moved = max(float(np.linalg.norm(theta[SENSOR])), 2.0 * float(np.linalg.norm(theta[MAGNETS])))
        return bool(self.least <= theta[STRENGTH] <= self.most and (moved < FURTHEST or self.kind == "magnet off"))


PLAIN: Final = Explanation("unknown", np.zeros(SIGNS), np.array([1.0] * 3 + [1.0, 0.5] + [1e-6] * 9), 0.0)
"""Strength and middle alone, as free as can be: what is told of any change."""


def explanations(
    then_c: float, now_c: float, change_pct_k: float, *, pair: bool, size_mt: float
) -> tuple[Explanation, ...]:
    """All explanations; `size_mt` is the ring's larger semi-axis."""
    usual = np.zeros(SIGNS)
    usual[MIDDLE], usual[STRENGTH], usual[HIGHER] = USUAL["middle_mt"], USUAL["strength"], USUAL["higher"]
    usual[SENSOR], usual[TURNED], usual[MAGNETS] = USUAL["sensor"], USUAL["turned"], USUAL["magnets"]
    each = abs(change_pct_k) / 100.0
    measured = math.isfinite(then_c) and math.isfinite(now_c)
    warm = change_pct_k / 100.0 * (now_c - then_c) if measured else 0.0

    def one(kind: DriftKind, **changed: tuple[float | Triple, float | Triple]) -> Explanation:
        mean, sd = np.zeros(SIGNS), usual.copy()
        for name, (middle, spread) in changed.items():
            mean[COLUMNS[name]], sd[COLUMNS[name]] = middle, np.hypot(spread, USUAL[name])
        return Explanation(kind, mean, sd)

    plates = {"higher": (0.0, 0.3)}
    found = [
        one("nothing"),
        replace(
            one("temperature", strength=(warm, each * (MEASURED_K if measured else ROOM_K))),
            least=warm - each * MOST_K,
            most=warm + each * MOST_K,
        ),
        replace(one("sensor moved", sensor=(0.0, 0.06), turned=(0.0, 0.04), higher=(0.0, 0.15)), crude=0.03),
        replace(one("sensor moved", sensor=(0.0, (0.0, 0.0, 0.06)), higher=(0.0, 0.15)), crude=0.03, sizes=False),
        replace(one("sensor moved", turned=(0.0, 0.04)), sizes=False),
        replace(one("magnet moved", magnets=(0.0, 0.03), strength=(0.0, 0.03), higher=(0.0, 0.3)), crude=0.15),
        replace(one("plate out", strength=(0.6, 0.25), **plates), crude=0.04, least=0.0),
        replace(one("plate out", strength=(4.0, 3.0), **plates), crude=0.04, least=0.0),
        replace(one("plate in", strength=(-0.6, 0.2), **plates), crude=0.04, most=0.0),
        replace(one("unknown", strength=(0.0, 0.5), higher=(0.0, 1.0)), bending_mt=0.25 * size_mt),
    ]
    if pair:
        off = one("magnet off", strength=(-0.5, 0.04), magnets=(0.0, (0.08, 0.02, 0.02)), higher=(0.0, 0.3))
        found.append(replace(off, crude=0.05))
    return tuple(found)


def cause_of(
    kind: DriftKind, theta: Array, covariance: Array, probability: float, *, far_mm: float, change_pct_k: float
) -> DriftCause:
    """An explanation for a person; far_mm: distance from axle to sensor, NaN where it is not known."""
    unit, length = ("mm", far_mm) if math.isfinite(far_mm) else ("1", 1.0)
    strength, strength_sd = float(theta[STRENGTH]), math.sqrt(float(covariance[STRENGTH, STRENGTH]))
    if kind == "temperature":
        each = change_pct_k / 100.0
        warmer, sd = strength / each, strength_sd / abs(each)
        word = "warmer" if warmer > 0 else "colder"
        text = f"The field is {_percent(strength)}: magnets that are {abs(warmer):.0f} +- {sd:.0f} K {word} make that."
        return DriftCause(kind, warmer, sd, "K", probability, text, "")
    if kind in ("sensor moved", "magnet moved"):
        size, sd = _length(theta, covariance, SENSOR if kind == "sensor moved" else MAGNETS)
        size, sd = size * length, sd * length
        shown = (
            f"{size:.2f} +- {sd:.2f} mm" if unit == "mm" else f"{size:.1%} +- {sd:.1%} of its distance from the axle"
        )
        if kind == "sensor moved":
            turned = math.degrees(float(np.linalg.norm(theta[TURNED])))
            ways = _ways(theta[SENSOR], ("forward", "to the left", "up"), ("back", "to the right", "down"))
            text = f"The sensor sits {shown} elsewhere ({ways}), turned by {turned:.1f} deg, or the axle does."
            return DriftCause(kind, size, sd, unit, probability, text, "See that the sensor is firm; calibrate again.")
        text = f"The middle of the magnets has moved by {shown}: one disc of a pair by twice that."
        return DriftCause(kind, size, sd, unit, probability, text, "See that the magnets are firm; calibrate again.")
    if kind == "magnet off":
        text = f"{-strength:.0%} of the magnets' field is gone, and its curve is bent: one magnet has come off."
        advice = "Look for it at once, above all where children or animals are: magnets are dangerous when swallowed."
        return DriftCause(kind, -strength, strength_sd, "1", probability, text, advice)
    if kind in ("plate out", "plate in"):
        done = "taken out from between" if kind == "plate out" else "put between"
        text = f"The field is {1.0 + strength:.2f} times what it was: a steel plate was {done} axle and sensor."
        return DriftCause(kind, 1.0 + strength, strength_sd, "1", probability, text, "Calibrate again as it is now.")
    if kind == "nothing":
        text = "The field is as it was, within noise and what is usual from day to day."
        return DriftCause(kind, math.nan, math.nan, "", probability, text, "")
    text = f"The field has changed ({_percent(strength)}) in a way that nothing known explains."
    return DriftCause(
        kind, strength, strength_sd, "1", probability, text, "Look at magnets and sensor; calibrate again."
    )


def _percent(strength: float) -> str:
    return f"{abs(strength):.1%} {'stronger' if strength > 0 else 'weaker'}"


def _length(theta: Array, covariance: Array, where: slice) -> tuple[float, float]:
    """Length of three numbers and its sd along them."""
    vector = theta[where]
    size = float(np.linalg.norm(vector))
    way = vector / size if size else np.array([0.0, 0.0, 1.0])
    return size, math.sqrt(float(way @ covariance[where, where] @ way))


def _ways(vector: Array, plus: tuple[str, ...], minus: tuple[str, ...]) -> str:
    """The directions that make up most of a move, the largest first."""
    size = float(np.linalg.norm(vector))
    order = [i for i in np.argsort(-np.abs(vector)) if size and abs(vector[i]) > 0.3 * size]
    return ", ".join(plus[i] if vector[i] > 0 else minus[i] for i in order) or "nowhere in particular"

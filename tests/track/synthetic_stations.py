"""Lines with known elements and faults, seen the way a wagon's survey shows them. Made for tests, from a seed.

The truth is a list of closed-form pieces. What a survey shows is their moving mean over a part of a wheelbase, plus the
line's own roughness (a random bump every so often, Gaussian process of displacement), plus noise of the heading's
increments at the claimed sigma: independent over disjoint lengths, sd of a mean over one wheelbase as claimed.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from wayrule.model import Element, Fault, Stations


@dataclass(frozen=True)
class Size:
    """A scale: gauge, wheelbase, station step [mm] and the sizes of fault that have to be found."""

    name: str
    gauge: float
    wheelbase: float
    step: float
    dip: float
    twist: float


HO = Size("HO", 16.5, 65.0, 5.0, 0.6, 0.8)
N = Size("N", 9.0, 38.0, 3.0, 0.35, 0.45)
G = Size("G", 45.0, 180.0, 12.0, 3.0, 3.5)
SIZES = (HO, N, G)


@dataclass
class Noise:
    """Levels of noise, for H0; scaled to other gauges.

    curvature   sd of a mean over one wheelbase [1/mm]; gradient, cant_mm likewise
    rough_mm    rms of lateral and vertical roughness at wavelengths of some wheelbases
    """

    name: str
    curvature: float
    gradient: float
    cant_mm: float
    rough_mm: float


CLEAN = Noise("clean", 1e-7, 1e-6, 1e-4, 0.0)
GOOD = Noise("good", 2e-6, 1e-4, 0.01, 0.03)
ROUGH = Noise("rough", 6e-6, 3e-4, 0.02, 0.08)
HEAVY = Noise("heavy", 3e-5, 1e-3, 0.05, 0.15)


@dataclass
class Truth:
    plan: list[tuple[str, float, float, float]] = field(default_factory=list)  # kind, length, k0, k1
    profile: list[tuple[str, float, float, float]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def elements(self, plane):
        pieces = self.plan if plane == "plan" else self.profile
        ends = np.cumsum([0.0] + [p[1] for p in pieces])
        names = {"plan": ("curvature0_1_mm", "curvature1_1_mm"), "profile": ("gradient0", "gradient1")}[plane]
        return [
            Element(plane, kind, ends[i], ends[i + 1], **{names[0]: a, names[1]: b})
            for i, (kind, _, a, b) in enumerate(pieces)
        ]


def values(pieces, x):
    """Value of piecewise linear pieces at x."""
    ends = np.cumsum([0.0] + [p[1] for p in pieces])
    i = np.clip(np.searchsorted(ends, x, side="right") - 1, 0, len(pieces) - 1)
    a, b = np.array([p[2] for p in pieces])[i], np.array([p[3] for p in pieces])[i]
    return a + (b - a) * np.clip((x - ends[i]) / (ends[i + 1] - ends[i]), 0, 1)


def bump(x, centre, length):
    """Raised cosine of height 1 and the given length."""
    return np.where(np.abs(x - centre) < length / 2, 0.5 + 0.5 * np.cos(2 * np.pi * (x - centre) / length), 0.0)


def stations(size, truth, noise, rng, *, closed=False, blur=0.2, faults=()):
    """Survey of a line: `faults` are (kind, s, size, length), size in the unit of the kind."""
    length = sum(p[1] for p in truth.plan)
    fine = size.step / 5
    n = round(length / fine)
    fine = length / n
    x = (np.arange(n) + 0.5) * fine
    wide = round(size.wheelbase / fine)
    mode = "wrap" if closed else "nearest"
    scale = size.gauge / 16.5

    def rough():
        if noise.rough_mm == 0:
            return np.zeros(n)
        out = np.zeros(n)
        for wavelength, part in ((0.7 * size.wheelbase, 0.5), (3 * size.wheelbase, 1.0)):
            raw = gaussian_filter1d(rng.normal(size=n), wavelength / fine, mode="wrap")
            out += part * raw / raw.std()
        return out * noise.rough_mm * scale

    def blurred(rate):
        return uniform_filter1d(rate, max(1, round(blur * wide)), mode=mode) if blur else rate

    def white(sd):
        return rng.normal(size=n) * sd * np.sqrt(size.wheelbase / fine)

    k = values(truth.plan, x) + np.gradient(np.gradient(rough(), fine), fine)
    level = rough()
    cant = 0.5 * rough() + 0.2 * noise.rough_mm * scale * np.sin(2 * np.pi * x / length)
    for kind, s, amount, extent in faults:
        if kind == "kink":
            k = k + np.radians(amount) * (np.abs(x - s) < fine / 2 + 1e-9) / fine
        elif kind == "lateral":
            k = k + np.gradient(np.gradient(amount * bump(x, s, extent), fine), fine)
        elif kind in ("dip", "hump"):
            level = level + (amount if kind == "hump" else -amount) * bump(x, s, extent)
        elif kind == "twist":
            cant = cant + amount * bump(x, s, extent)
        elif kind == "left_dip":
            cant, level = cant - amount * bump(x, s, extent), level - amount / 2 * bump(x, s, extent)
        elif kind == "right_dip":
            cant, level = cant + amount * bump(x, s, extent), level - amount / 2 * bump(x, s, extent)
    k_sd, g_sd = noise.curvature / scale, noise.gradient
    k_seen = blurred(k) + white(k_sd)
    g_seen = blurred(values(truth.profile, x) + np.gradient(level, fine)) + white(g_sd)
    if closed:
        k_seen -= (k_seen.sum() * fine - 2 * np.pi * round(k.sum() * fine / (2 * np.pi))) / length
        g_seen -= g_seen.mean()
    heading = np.concatenate([[0.0], np.cumsum(k_seen) * fine])
    z = np.concatenate([[0.0], np.cumsum(g_seen) * fine])
    edge = np.arange(n + 1) * fine
    s = np.arange(0, length - (1e-6 if closed else -1e-6), size.step)
    k_mean, g_mean = (uniform_filter1d(v, max(1, wide // 4), mode=mode) for v in (k_seen, g_seen))
    h = np.interp(s, edge, heading)
    c = np.interp(s, x, blurred(cant)) + np.interp(
        s, x, gaussian_filter1d(rng.normal(size=n), wide / 4, mode="wrap") * noise.cant_mm * scale * np.sqrt(wide)
    )
    ones = np.ones(len(s))
    # a random walk of density sd^2 w over the line T, less its mean: variance d T / 12 in the middle and all along one
    # that returns to its start, d T / 3 at the ends of one that does not
    walk = np.sqrt(size.wheelbase * (length / 12.0 + (0.0 if closed else 1.0) * (s - length / 2) ** 2 / length))
    return Stations(
        s,
        np.cumsum(np.cos(h)) * size.step,
        np.cumsum(np.sin(h)) * size.step,
        np.interp(s, edge, z),
        h,
        np.interp(s, x, k_mean),
        np.interp(s, x, g_mean),
        c,
        ones,
        ones,
        g_sd * walk,
        k_sd * walk,
        k_sd * ones,
        g_sd * ones,
        noise.cant_mm * scale * ones,
        np.ones(len(s), dtype=np.int64),
        closed,
        float(length),
        size.gauge,
        size.wheelbase,
    )


def random_plan(rng, size, *, curves=None, with_transitions=None):
    """Straights and curves; curves may be plain, with transitions, compound, or reverse without a straight."""
    scale = size.gauge / 16.5
    pieces = [("straight", rng.uniform(200, 1000) * scale, 0.0, 0.0)]
    for _ in range(curves or rng.integers(2, 7)):
        radius = rng.uniform(360, 1100) * scale
        sign = rng.choice([-1, 1])
        k = sign / radius
        eased = rng.random() < 0.5 if with_transitions is None else with_transitions
        ease = rng.uniform(2.5, 5) * size.wheelbase
        arc = max(radius * np.radians(rng.uniform(20, 120)), 3 * size.wheelbase)
        if eased:
            pieces.append(("transition", ease, 0.0, k))
        pieces.append(("arc", arc, k, k))
        how = rng.random()
        if how < 0.2:  # compound
            k2 = k * rng.choice([0.55, 0.65, 1.5])
            pieces.append(("arc", max(np.radians(rng.uniform(20, 60)) / abs(k2), 3 * size.wheelbase), k2, k2))
            k = k2
        if how > 0.85:  # reverse
            k2 = -sign / (rng.uniform(400, 1100) * scale)
            if eased:
                pieces.append(("transition", 1.5 * ease, k, k2))
            pieces.append(("arc", max(np.radians(rng.uniform(20, 60)) / abs(k2), 3 * size.wheelbase), k2, k2))
            k = k2
        if eased:
            pieces.append(("transition", ease, k, 0.0))
        pieces.append(("straight", rng.uniform(150, 1200) * scale, 0.0, 0.0))
    return pieces


def random_profile(rng, size, length):
    """Grades up to 30 per mille, joined by vertical curves that fill the given length."""
    scale = size.gauge / 16.5
    pieces, at, g = [], 0.0, 0.0
    while True:
        run = rng.uniform(600, 2000) * scale
        g2 = g
        while abs(g2 - g) < 0.008:
            g2 = rng.choice([0.0, rng.uniform(-0.03, 0.03)])
        curve = max(abs(g2 - g) * rng.uniform(8000, 16000) * scale, 2.5 * size.wheelbase)
        if at + run + curve + 600 * scale > length:
            return [*pieces, ("grade", length - at, g, g)]
        pieces += [("grade", run, g, g), ("vertical_curve", curve, g, g2)]
        at, g = at + run + curve, g2


def random_line(rng, size):
    """Truth of a random open line, without faults."""
    plan = random_plan(rng, size)
    return Truth(plan, random_profile(rng, size, sum(p[1] for p in plan)))


def oval(size, *, radius=450.0, straight=1500.0, ease=200.0):
    """A closed line of two straights and two eased half circles, starting in the middle of a straight."""
    scale = size.gauge / 16.5
    k = 1 / (radius * scale)
    e, straight = ease * scale, straight * scale
    arc = np.pi / k - e
    half = [("transition", e, 0.0, k), ("arc", arc, k, k), ("transition", e, k, 0.0)] if ease else [("arc", arc, k, k)]
    plan = [
        ("straight", straight / 2, 0.0, 0.0),
        *half,
        ("straight", straight, 0.0, 0.0),
        *half,
        ("straight", straight / 2, 0.0, 0.0),
    ]
    length = sum(p[1] for p in plan)
    return Truth(plan, [("grade", length, 0.0, 0.0)])


def matched(truth, found, *, length=None):
    """Pairs (truth, found) of one plane: same kind, and each covers more than half of the other."""
    pairs, left = [], list(found)
    for t in truth:
        for f in left:
            if f.kind != t.kind:
                continue
            shifts = (0.0,) if length is None else (-length, 0.0, length)
            common = max(min(t.s1_mm, f.s1_mm + d) - max(t.s0_mm, f.s0_mm + d) for d in shifts)
            if common > 0.5 * max(t.s1_mm - t.s0_mm, f.s1_mm - f.s0_mm):
                pairs.append((t, f))
                left.remove(f)
                break
    return pairs

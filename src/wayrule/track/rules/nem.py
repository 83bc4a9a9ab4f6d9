"""NEM sheets as data: straight clearance (102), widening on curves (103), least radius (111), track spacing (112),
transitions (113) and cant (114). Figures only; the sheets' words are theirs.

NEM 102:2017, 103:2016, 111:2016, 113:2016 and 114:2007 from stored copies of the sheets; NEM 112 (edition unknown) from
secondary pages.
"""

import math
from typing import Final, Literal

Group = Literal["A", "B", "C"]

CLEARANCE: Final[dict[str, tuple[float, ...]]] = {
    "Z": (6.5, 20, 14, 18, 4.5, 6, 18, 24, 16, 13, 27),
    "N": (9, 27, 18, 25, 6, 8, 25, 33, 22, 18, 37),
    "TT": (12, 36, 24, 32, 8, 10, 33, 43, 28, 22, 48),
    "H0": (16.5, 48, 32, 42, 11, 14, 45, 59, 38, 30, 65),
    "S": (22.5, 66, 44, 57, 15, 19, 60, 78, 50, 38, 87),
    "0": (32, 94, 63, 82, 21, 27, 85, 109, 68, 52, 120),
    "I": (45, 130, 87, 114, 30, 38, 118, 150, 93, 71, 165),
    "II": (64, 184, 124, 154, 43, 53, 168, 214, 140, 106, 235),
}
"""NEM 102:2017: scale -> gauge, three widths, four heights above rail top, overhead: two widths, a height [mm]."""

BODIES: Final[dict[str, tuple[float, float, tuple[float, ...]]]] = {
    "A": (20, 14, (91, 125, 167, 230, 313, 460, 625, 889)),
    "B": (24.2, 17.2, (110, 151, 202, 278, 378, 556, 756, 1076)),
    "C": (27.2, 19.5, (124, 170, 227, 313, 425, 625, 850, 1209)),
}
"""NEM 103:2016 p1: group -> longest body and pivot spacing of the prototype [m]; longest body in Z to II [mm]."""

SCALES: Final = ("Z", "N", "TT", "H0", "S", "0", "I", "II")
"""In the order of `BODIES`."""

RADII: Final = (
    175, 200, 225, 250, 275, 300, 325, 350, 400, 450, 500, 550, 600,
    700, 800, 900, 1000, 1200, 1400, 1600, 1800, 2000, 2500, 3000, 3500, 4000,
)  # fmt: skip
"""Rows of the widening table [mm]."""

_WIDENING: Final[dict[tuple[str, Group], str]] = {
    ("Z", "A"): "2 2 2 1 1 1 1 1 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0",
    ("Z", "B"): "3 3 2 2 2 2 1 1 1 1 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0",
    ("Z", "C"): "5 4 4 3 3 3 2 2 2 1 1 1 1 0 0 0 0 0 0 0 0 0 0 0 0 0",
    ("N", "A"): "4 4 3 3 3 2 2 2 1 1 1 0 0 0 0 0 0 0 0 0 0 0 0 0 0 0",
    ("N", "B"): "5 5 4 4 3 3 2 2 1 1 1 0 0 0 0 0 0 0 0 0 0 0 0 0",
    ("N", "C"): "6 6 5 5 4 4 3 3 2 2 2 1 1 0 0 0 0 0 0 0 0 0 0",
    ("TT", "A"): "6 5 5 4 4 3 3 2 2 1 1 0 0 0 0 0 0 0 0 0 0 0 0",
    ("TT", "B"): "7 6 6 5 4 4 3 3 2 2 1 1 0 0 0 0 0 0 0 0 0",
    ("TT", "C"): "8 7 6 5 4 4 3 3 2 2 1 1 1 0 0 0 0 0 0",
    ("H0", "A"): "8 7 6 5 4 4 3 3 2 2 1 1 0 0 0 0 0 0 0",
    ("H0", "B"): "11 9 8 7 6 5 4 3 3 2 2 1 1 0 0 0 0 0",
    ("H0", "C"): "12 11 10 9 7 6 5 4 3 2 2 1 1 0 0 0 0",
    ("S", "A"): "12 10 9 8 7 6 5 4 3 2 2 1 1 0 0 0 0",
    ("S", "B"): "14 13 11 9 8 7 5 4 3 2 2 1 1 0 0",
    ("S", "C"): "17 15 13 11 9 7 6 5 4 3 2 1 1 0",
    ("0", "A"): "19 16 14 12 10 8 7 6 5 4 3 2 1 0",
    ("0", "B"): "22 19 17 14 11 9 8 7 5 3 2 1",
    ("0", "C"): "25 22 18 15 13 11 9 7 5 4 3",
    ("I", "A"): "23 20 16 13 11 9 7 5 3 2 1",
    ("I", "B"): "31 25 21 18 15 13 10 7 5 4",
    ("I", "C"): "34 28 24 21 18 13 10 8 6",
    ("II", "A"): "37 31 26 23 20 15 11 9 6",
    ("II", "B"): "41 36 32 24 19 16 13",
    ("II", "C"): "47 42 32 26 21 18",
}
"""NEM 103:2016 p2: (scale, group) -> widening of the clearance on each side [mm], for the last rows of `RADII`."""

WIDENING: Final[dict[tuple[str, Group], dict[int, int]]] = {
    column: dict(zip(RADII[-len(cells.split()) :], map(int, cells.split()), strict=True))
    for column, cells in _WIDENING.items()
}
"""The same: (scale, group) -> radius [mm] -> widening [mm]."""

BUFFERS: Final[dict[str, tuple[float, float, float]]] = {
    "A1": (9.8, 5, 50),
    "A2": (14.6, 8, 57),
    "A3": (17.5, 10, 71),
    "A": (20.3, 14, 57),
    "B": (24.5, 17.2, 60),
    "C": (27.5, 19.5, 84),
}
"""NEM 111:2016 s3.2, buffers touch: group -> length over them, axle or pivot spacing [m], least radius [gauges]."""

SPACING: Final[dict[str, dict[float, float]]] = {
    "H0": {math.inf: 46, 400: 64, 450: 61, 500: 59, 600: 55, 700: 52, 800: 50, 900: 48, 1000: 47, 1100: 46},
    "N": {math.inf: 25},
    "TT": {math.inf: 34},
}
"""NEM 112 (edition unknown): scale -> radius -> track centres apart, longest vehicles [mm]; inf: straight."""

STATION_SPACING: Final[dict[str, float]] = {"H0": 52, "N": 28}
"""NEM 112 (edition unknown): spacing of straight tracks in stations [mm]."""

TRANSITION_CANT: Final[dict[float, tuple[float, float]]] = {
    6.5: (3, 0.4),
    9: (4, 0.6),
    12: (6, 0.8),
    16.5: (9, 1),
    22.5: (13, 1.5),
    32: (18, 2),
    45: (25, 3),
    64: (36, 4),
}
"""Gauge -> shift of the curve by its transition (NEM 113:2016 s3.1 table 1), greatest cant (NEM 114:2007 s1) [mm]."""

_LENGTHS: Final = {
    6.5: "150:100 175:110 200:120 250:135 300:145 350:160",
    9: "175:130 200:140 250:155 300:170 350:185 400:195 500:220",
    12: "250:190 300:210 350:225 400:240 500:270 600:295 700:320",
    16.5: "350:275 400:295 500:330 600:360 700:390 800:415 1000:465",
    22.5: "500:395 600:430 700:465 800:500 1000:560 1200:610 1400:660",
    32: "700:550 800:590 1000:655 1200:720 1400:780 1600:830 2000:930 2500:1040 3000:1140",
    45: "1000:775 1200:850 1400:915 1600:980 2000:1095 2500:1225 3000:1340",
    64: "1400:1100 1600:1175 2000:1315 2500:1470 3000:1610",
}

LENGTHS: Final[dict[float, dict[int, int]]] = {
    gauge: {int(radius): int(length) for radius, length in (cell.split(":") for cell in cells.split())}
    for gauge, cells in _LENGTHS.items()
}
"""NEM 113:2016 s3.1 table 2: gauge -> radius -> length of the transition [mm], to the nearest 5 mm."""

WITHOUT_TRANSITION_GAUGES: Final = 60.0
"""NEM 113:2016 s1: a transition may be left off above so many gauges."""

ATTACK_DEG: Final = 12.0
"""NEM 111:2016 s2.1: largest angle at which a non-steering end axle may meet the rail."""

CANT_SHARE: Final = 1.0 / 15.0
"""NEM 114:2007 s1: cant must not exceed this share of the gauge."""

FLANGEWAY_GAUGES: Final = (55.0, 42.0, 30.0)
"""NEM 110:2009 note 5: least, middle and largest flangeway at a frog serve radii above so many gauges."""

FREE_LENGTH: Final = 0.8
"""NEM 113:2016 s3.2: a freely chosen transition is shorter than the radius, preferably than so much of it."""


def nearest_gauge(gauge_mm: float) -> float:
    """The sheet gauge nearest in ratio.

    >>> nearest_gauge(16.5), nearest_gauge(18.2)
    (16.5, 16.5)
    """
    return min(TRANSITION_CANT, key=lambda g: abs(math.log(g / gauge_mm)))


def shift_mm(gauge_mm: float) -> float:
    """Shift f that a transition should give (NEM 113:2016 s3.1 table 1); between the sheet's gauges in proportion.

    >>> shift_mm(16.5)
    9.0
    """
    near = nearest_gauge(gauge_mm)
    return float(TRANSITION_CANT[near][0] * gauge_mm / near)


def transition_length_mm(shift: float, radius_mm: float) -> float:
    """Length of the transition that shifts a curve by so much: sqrt(24 f R), NEM 113:2016 s3.1 [mm].

    >>> round(transition_length_mm(9.0, 800.0), 1)
    415.7
    """
    return math.sqrt(24.0 * shift * radius_mm)


def shift_of_mm(length_mm: float, radius_mm: float) -> float:
    """The shift that a transition gives: L^2 / (24 R), NEM 113:2016 table 3 for L/R below 0.6 [mm].

    >>> round(shift_of_mm(275.0, 350.0), 1)
    9.0
    """
    return length_mm**2 / (24.0 * radius_mm)


def group_of(pivots_mm: float, ratio: float) -> Group | None:
    """The group of NEM 103 that a bogie vehicle belongs to by its pivot spacing; None beyond the longest.

    >>> group_of(160.0, 87.0), group_of(300.0, 87.0)
    ('A', None)
    """
    metres = pivots_mm * ratio / 1000.0
    groups: tuple[Group, ...] = ("A", "B", "C")
    return next((g for g in groups if metres <= BODIES[g][1] + 0.05), None)


def buffer_group(pivots_mm: float, ratio: float, *, bogies: bool) -> str:
    """The group of NEM 111 s3.2 that a vehicle belongs to by the spacing of its pivots or end axles; the last beyond.

    >>> buffer_group(57.0, 87.0, bogies=False), buffer_group(195.0, 87.0, bogies=True)
    ('A1', 'B')
    """
    metres = pivots_mm * ratio / 1000.0
    groups = [group for group in BUFFERS if (len(group) == 1) == bogies]
    return next((group for group in groups if metres <= BUFFERS[group][1] + 0.05), groups[-1])


def widening_mm(scale: str, group: Group, radius_mm: float) -> float:
    """Widening on each side, between the rows of the table by 1 / R; NaN for curves tighter than its first row.

    >>> widening_mm("H0", "B", 400.0)
    11.0
    """
    rows = WIDENING[scale, group]
    radii = sorted(rows)
    if radius_mm < radii[0]:
        return math.nan
    above = next((r for r in radii if r >= radius_mm), None)
    if above is None:
        return float(rows[radii[-1]]) * radii[-1] / radius_mm
    below = max((r for r in radii if r <= radius_mm), default=above)
    share = 0.0 if above == below else (1 / below - 1 / radius_mm) / (1 / below - 1 / above)
    return float(rows[below] + share * (rows[above] - rows[below]))

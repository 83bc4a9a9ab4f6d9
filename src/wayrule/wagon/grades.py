"""Magnet grades of the trade: remanence range, what warmth takes from it, and what it stands."""

from dataclasses import dataclass
from typing import Final

from wayrule.model import Magnets

REFERENCE_C: Final = 20.0
"""Temperature at which suppliers state remanence [deg C] (common practice)."""

HIGHEST_MT: Final = 1600.0
"""Saturation polarisation of Nd2Fe14B at room temperature, 1.6 T: no permanent magnet of the trade has more."""


@dataclass(frozen=True, slots=True)
class Grade:
    """One grade.

    remanence_mt           least and greatest, at 20 deg C
    change_1_k             relative change of remanence for each kelvin (< 0)
    highest_c              working temperature above which it loses strength for good [deg C]
    source                 where the numbers come from
    """

    name: str
    remanence_mt: tuple[float, float]
    change_1_k: float
    highest_c: float
    source: str


SUPPLIERS: Final = "range over suppliers' published tables; trade codes, not IEC designations"
EXEMPLARY: Final = "an open physical-modelling library's exemplary value, +-3 %; working temperature from memory"

GRADES: Final[dict[str, Grade]] = {
    grade.name: grade
    for grade in (
        Grade("N35", (1170.0, 1220.0), -0.0012, 80.0, SUPPLIERS),
        Grade("N38", (1220.0, 1250.0), -0.0012, 80.0, SUPPLIERS),
        Grade("N40", (1250.0, 1280.0), -0.0012, 80.0, SUPPLIERS),
        Grade("N42", (1280.0, 1320.0), -0.0012, 80.0, SUPPLIERS),
        Grade("N45", (1320.0, 1380.0), -0.0012, 80.0, SUPPLIERS),
        Grade("N48", (1370.0, 1420.0), -0.0012, 80.0, SUPPLIERS),
        Grade("N50", (1390.0, 1450.0), -0.0012, 70.0, SUPPLIERS),
        Grade("N52", (1420.0, 1480.0), -0.0012, 70.0, SUPPLIERS),
        Grade("SMCO5", (920.0, 980.0), -0.0004, 250.0, EXEMPLARY),
        Grade("SMCO17", (990.0, 1050.0), -0.0003, 300.0, EXEMPLARY),
        Grade("Y30", (370.0, 400.0), -0.002, 250.0, "hard ferrite, from memory"),
    )
}
"""Name in capitals -> grade. Coefficient of NdFeB: suppliers print -0.12 %/K, textbooks -0.10 to -0.12."""

SUFFIX_C: Final[dict[str, float]] = {"": 80.0, "M": 100.0, "H": 120.0, "SH": 150.0, "UH": 180.0, "EH": 200.0}
"""Letters after an NdFeB grade -> working temperature [deg C] (suppliers' tables); the remanence is the same."""


def grade_named(name: str) -> Grade:
    """The grade of that name, however written; letters after an NdFeB grade raise its working temperature.

    Raises
    ------
    ValueError   unknown, with the known ones

    >>> grade_named("n42 sh").highest_c, grade_named("N42").change_1_k
    (150.0, -0.0012)
    """
    plain = name.upper().replace(" ", "")
    if plain in GRADES:
        return GRADES[plain]
    base, suffix = plain[:3], plain[3:]
    if base in GRADES and base.startswith("N") and suffix in SUFFIX_C:
        found = GRADES[base]
        return Grade(plain, found.remanence_mt, found.change_1_k, SUFFIX_C[suffix], found.source)
    raise ValueError(f"magnets: expected grade to be one of {', '.join(GRADES)} or a remanence_mt, came {name!r}")


def remanence_mt(magnets: Magnets) -> tuple[float, float]:
    """Least and greatest remanence [mT] at 20 deg C, from `remanence_mt` or the grade.

    Raises
    ------
    ValueError   when neither is given, the grade is unknown, or no magnet is that strong

    >>> remanence_mt(Magnets("disc_pair", grade="n42"))
    (1280.0, 1320.0)
    """
    if magnets.remanence_mt is None:
        return grade_named(magnets.grade or "").remanence_mt
    low, high = magnets.remanence_mt
    if not 0.0 < low <= high <= HIGHEST_MT:
        raise ValueError(
            f"magnets: expected remanence_mt from lowest to highest and at most {HIGHEST_MT:g} mT "
            f"(what Nd2Fe14B saturates at), came [{low:g}, {high:g}]"
        )
    return magnets.remanence_mt


def change_1_k(magnets: Magnets) -> float:
    """Relative change of remanence for each kelvin: as stated, else the grade's, else that of NdFeB.

    >>> change_1_k(Magnets("single", grade="SmCo5")), change_1_k(Magnets("single", remanence_change_pct_k=-0.2))
    (-0.0004, -0.002)
    """
    if magnets.remanence_change_pct_k is not None:
        return magnets.remanence_change_pct_k / 100
    return GRADES["N42"].change_1_k if magnets.grade is None else grade_named(magnets.grade).change_1_k


def warmed(magnets: Magnets, celsius: float) -> float:
    """Factor on the remanence at a temperature, relative to 20 deg C.

    Raises
    ------
    ValueError   hotter than the grade stands without losing strength for good

    >>> round(warmed(Magnets("single", grade="N42"), 45.0), 3)
    0.97
    """
    if magnets.grade is not None and celsius > grade_named(magnets.grade).highest_c:
        raise ValueError(
            f"magnets: expected at most {grade_named(magnets.grade).highest_c:g} deg C for {magnets.grade} "
            f"(above, it loses strength for good), came {celsius:g}"
        )
    return 1 + change_1_k(magnets) * (celsius - REFERENCE_C)

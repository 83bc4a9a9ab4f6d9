"""Published test sets of Allan deviations, as facts.

W. J. Riley, Handbook of Frequency Stability Analysis, NIST Special Publication 1065 (2008), 12.1 (nine frequencies) and
12.2 (1000 points); confirmed in the test suite of an open-source library that quotes the handbook.
"""

from collections.abc import Iterator
from typing import Final

import numpy as np

from wayrule.maths.allan import DEVIATIONS, phase_of
from wayrule.model.arrays import Array

SMALL: Final = np.array([892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0])
"""The nine frequencies of the small set: W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065, 12.1."""

PRINTED: Final = {
    ("small", 1): {"adev": "91.22945", "oadev": "91.22945", "mdev": "91.22945", "tdev": "52.67135",
                   "ohdev": "70.80607", "totdev": "91.22945"},
    ("small", 2): {"adev": "115.8082", "oadev": "85.95287", "mdev": "74.78849", "tdev": "86.35831",
                   "hdev": "116.798", "ohdev": "85.61487", "totdev": "93.90379"},
    ("1000", 1): {"adev": "2.922319e-01", "oadev": "2.922319e-01", "mdev": "2.922319e-01", "tdev": "1.687202e-01",
                  "hdev": "2.943883e-01", "ohdev": "2.943883e-01", "totdev": "2.922319e-01"},
    ("1000", 10): {"adev": "9.965736e-02", "oadev": "9.159953e-02", "mdev": "6.172376e-02", "tdev": "3.563623e-01",
                   "hdev": "1.052754e-01", "ohdev": "9.581083e-02", "totdev": "9.134743e-02"},
    ("1000", 100): {"adev": "3.897804e-02", "oadev": "3.241343e-02", "mdev": "2.170921e-02", "tdev": "1.253382e+00",
                    "ohdev": "3.237638e-02", "totdev": "3.406530e-02"},
}  # fmt: skip
"""NIST SP 1065, tables of 12.1 and 12.2, total deviation as in that edition. Two Hadamard entries are left out: the
handbook prints 70.80608 (small set, 1) and 3.910860e-02 (1000 points, 100), others compute one unit less and one more
in the last digit, as here."""

ONE_DIGIT_APART: Final = {("small", 1): ("hdev", 70.80608), ("1000", 100): ("hdev", 3.910860e-02)}


def thousand() -> Array:
    """The 1000-point set: n' = 16807 n mod 2147483647 from 1234567890, over 2147483647 (SP 1065, 12.2)."""
    n, out = 1234567890, []
    for _ in range(1000):
        out.append(n / 2147483647)
        n = 16807 * n % 2147483647
    return np.array(out)


RATES: Final = {"small": SMALL, "1000": thousand()}


def agreeing() -> Iterator[tuple[str, bool]]:
    """Each printed value and whether ours rounds to it in every digit."""
    for (name, m), printed in PRINTED.items():
        for kind, text in printed.items():
            digits = len(text.split("e")[0].replace(".", "")) - 1
            found = DEVIATIONS[kind](phase_of(RATES[name], 1.0), m, 1.0)
            yield f"{name} {kind} {m}", f"{found:.{digits}e}" == f"{float(text):.{digits}e}"

"""Run against run, in a table and in a sentence."""

import math
from collections.abc import Sequence
from typing import Final

from wayrule.model import Repeat
from wayrule.report.lengths import Lengths
from wayrule.report.numbers import significant
from wayrule.report.tables import Table

UNITS: Final = {"curvature": ("1/m", 1e3), "gradient": ("‰", 1e3), "cant": ("mm", 1.0)}
"""Unit of each quantity on a page, and how many of it make one inside."""

ONCE: Final = "No place was passed twice, or not far enough: nothing can be compared run against run."


def repeat_table(repeats: Sequence[Repeat], lengths: Lengths) -> Table:
    """Seen and promised sd of differences between passes, a row for each band and quantity."""
    rows = tuple(
        (
            f"{r.band}: {lengths.short(r.shortest_mm, 2)} to {lengths.short(r.longest_mm, 2)}",
            f"{r.quantity}, {UNITS[r.quantity][0]}",
            *_seen_and_promised(r.quantity, r.one_run, r.one_run_promised),
            *_seen_and_promised(r.quantity, r.two_runs, r.two_runs_promised),
            str(r.passes),
        )
        for r in repeats
    )
    return Table(
        "differences",
        "Sd of the difference of two passes over one place, by band of wavelength.",
        ("Band", "Quantity", "Laps: seen", "Laps: promised", "Runs: seen", "Runs: promised", "Passes"),
        (False, False, True, True, True, True, True),
        rows,
        note="Curvature, gradient and cant as the body over its wheelbase feels them. "
        "Laps: two passes of one run; runs: of two runs, or of one that came back. Bands D1, D2 and D3 are those of "
        "full-size track recording (3 to 25, 25 to 70, 70 to 150 m), scaled. Promised is what the error bars take the "
        "passes' own noise to be; where more is seen, they trust a single pass too much in that band.",
        empty=ONCE,
    )


def repeat_sentence(repeats: Sequence[Repeat]) -> str:
    """How what was seen compares with what was promised, over all bands, in one sentence."""
    ratios = [
        (seen / told, r)
        for r in repeats
        for seen, told in ((r.one_run, r.one_run_promised), (r.two_runs, r.two_runs_promised))
        if math.isfinite(seen) and told > 0
    ]
    if not ratios:
        return ONCE
    least, most = min(ratios, key=lambda one: one[0]), max(ratios, key=lambda one: one[0])
    worst = most[1]
    return (
        f"Passes over one place differ by {significant(least[0], 2)} to {significant(most[0], 2)} "
        f"times what the error bars promise (most in the {worst.quantity}, band {worst.band})."
    )


def _seen_and_promised(quantity: str, seen: float, told: float) -> tuple[str, str]:
    factor = UNITS[quantity][1]
    return tuple(significant(v * factor, 2) if math.isfinite(v) else "–" for v in (seen, told))  # type: ignore[return-value]

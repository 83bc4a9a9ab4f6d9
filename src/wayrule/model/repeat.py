"""How well passes over one place agree, by quantity and band of wavelength."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Repeat:
    """Differences between passes of one quantity in one band; NaN where there are no two passes to compare.

    quantity        curvature [1/mm], gradient [1] or cant [mm], as the body over its wheelbase feels it
    band            D1, D2 or D3, scaled to the model
    shortest_mm, longest_mm   its waves on the model
    passes          how many passes were compared
    length_mm       length of track on which two and more were compared
    one_run         sd of the difference of two passes of one run (laps); *_promised by the error bars' noise
    two_runs        sd of the difference of passes of two runs, or of two ways of one run
    """

    quantity: Literal["curvature", "gradient", "cant"]
    band: str
    shortest_mm: float
    longest_mm: float
    passes: int
    length_mm: float
    one_run: float
    one_run_promised: float
    two_runs: float
    two_runs_promised: float

"""From where on an item of the card is amber or red: data with their sources, no rule in code."""

import math
from typing import Final

from wayrule.model import Limit

ANY: Final = 1e-9
"""An amber limit that anything at all exceeds."""

LIMITS: Final[dict[str, Limit]] = {
    "field changed": Limit(
        "sigma", 3.0, math.inf,
        "beyond noise and what is usual from day to day (`run/axlecauses.py`); the likeliest cause decides the light",
    ),
    "saturation": Limit(
        "% of a sensor's samples", ANY, 1.0,
        "amber: any, since each is a reading that is not one; red: our choice, no source",
    ),
    "noise": Limit(
        "times the stated noise", 1.5, 3.0,
        "our choice, no source; 100 samples scatter by 7 %, sensors of one kind by some 20 %",
    ),
    "lost samples": Limit("% of the rows", 0.1, 2.0, "our choice, no source"),
    "turn counting": Limit(
        "% of the fastest turning that the rate can follow", 80.0, 100.0,
        "red: from 0.4 turn a sample the count may slip (half a turn looks alike both ways); amber: our choice",
    ),
    "wheel": Limit(
        "% of the way that the wheel missed", ANY, 1.0,
        "amber: any, since each moves all that comes after; red: our choice, no source",
    ),
    "lifted": Limit(
        "deg", ANY, 5.0,
        "amber: any hand on the wagon; red: beyond the steepest grades (5 %) and cants (8 % of the gauge) of models, "
        "so off its rails; common practice, no source",
    ),
    "knocks": Limit(
        "a metre", ANY, 1.0,
        "amber: any; red: our choice, no source: one a metre is a wheel or a track with a fault of its own",
    ),
    "wobble": Limit(
        "per mille once a turn", 0.6, 2.5,
        "our choice, no source: a gradient over one wheelbase is known to about 0.5 per mille after a few passes",
    ),
    "temperature": Limit(
        "K over the run", 4.0, 12.0,
        "our choice: a gyro's bias moves by some 0.02 deg/s a K, from memory; by 4 K as far as in an hour of wander",
    ),
    "battery": Limit(
        "% below its voltage at the start", 8.0, 18.0,
        "our choice: a lithium cell falls from 4.2 V by 8 % over its better half, near empty by 18 %; from memory",
    ),
    "rate": Limit(
        "% off the stated rate", 2.0, math.inf,
        "our choice: a sensor's own clock is good to 1 to 2 %, from memory; amber only, since stamps tell the time",
    ),
    "jitter": Limit("% of a period, rms", 15.0, 40.0, "our choice, no source; beyond 40 % rows overtake each other"),
    "clock jumps": Limit("jumps", ANY, 3.0, "amber: any; red: our choice, no source"),
}  # fmt: skip
"""Item, or part of one -> its limit. Everything that stays below amber is green."""

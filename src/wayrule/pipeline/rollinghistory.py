"""Every calibration of a wagon's distance, as a control chart sees it."""

import math
from collections.abc import Sequence

import numpy as np

from wayrule.maths.controlchart import Chart, chart
from wayrule.model import DistanceStep
from wayrule.model.arrays import Array
from wayrule.model.rolling import Way
from wayrule.track.adjust.remembered import DAY_SD


def history(steps: Sequence[DistanceStep], way: Way) -> tuple[list[DistanceStep], Array, Array]:
    """The steps that know a way of rolling, their values and what each promised, the day's part included; mm, or shares
    of one where there is no circumference in all of them."""
    known = [step for step in steps if step.circle(way) is not None]
    circles = [step.circle(way) for step in known]
    sizes = [c for c in circles if c is not None]
    in_mm = all(math.isfinite(c.circumference_mm) for c in sizes)
    values = np.array([c.circumference_mm if in_mm else c.scale for c in sizes])
    sds = np.array([c.circumference_sd_mm if in_mm else c.scale_sd for c in sizes])
    return known, values, np.hypot(sds, DAY_SD["wheel_scale"] * (values if in_mm else 1.0))


def control_chart(steps: Sequence[DistanceStep], way: Way) -> Chart | None:
    """The control chart of one way of rolling; None with fewer than two steps."""
    _, values, sds = history(steps, way)
    return chart(values, sds) if len(values) > 1 else None

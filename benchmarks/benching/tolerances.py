"""The tolerance study, whole: drawn builds, fields, three readings, percentiles, shares; against the bare core."""

from collections.abc import Iterator

import numpy as np

from benchmarks.benching.speed import PIECE, PLACE, bare, in_turn
from benchmarks.row import Row, at_most
from wayrule.model import FloorLayer, Magnets
from wayrule.wagon.plates import passage
from wayrule.wagon.sources import sources_of
from wayrule.wagon.tolerance import ToleranceStudy, study
from wayrule.wagon.tolerances import tolerances_of

DISCS = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")


def tolerance_rows(quick: bool) -> Iterator[Row]:
    """The ratios, all in one run, the jobs taking turns."""
    wagons = 2000 if quick else 10_000
    floor = passage([FloorLayer("steel", 0.5, 3.0)], PLACE[2])

    def whole(behind: bool) -> ToleranceStudy:
        rng = np.random.default_rng(1)
        return study(
            sources_of(DISCS),
            PLACE,
            tolerances_of(DISCS),
            rng,
            wagons=wagons,
            radius_mm=5.25,
            floor=floor if behind else None,
        )

    took = in_turn((bare(wagons, PIECE), lambda: whole(False), lambda: whole(True)), times=3 if quick else 7)
    name = f"tolerance study of {wagons} wagons x 72 angles, with calibrations, percentiles and shares"
    against = f"over the bare core on the two discs in air ({took[0]:.2f} s)"
    yield at_most(f"{name}, {against}", took[1] / took[0], 1.5, "times")
    yield at_most(f"{name}, behind a steel plate, {against}", took[2] / took[0], 4.0, "times")

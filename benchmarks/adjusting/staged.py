"""The stages of a survey one by one, as `wayrule.pipeline.survey` takes them, for what lies between them."""

from collections.abc import Callable, Sequence

from wayrule.model import Facts, Recording, Stations, Wagon
from wayrule.pipeline import cell_size, station_step, travel
from wayrule.track.adjust.adjust import Adjusted, adjust
from wayrule.track.adjust.problem import Problem, prepare
from wayrule.track.adjust.stations import stations
from wayrule.track.place import place


def adjusted(
    recordings: Sequence[Recording], wagon: Wagon, facts: Facts, tell: Callable[[Problem], None] = lambda _: None
) -> Adjusted:
    """From the recordings to the adjusted line; `tell` may write what it knows into the problem before it is solved."""
    travels = [travel(recording, wagon) for recording in recordings]
    line = place(travels, facts, wagon.wheelbase_mm, cell_size(travels, wagon.wheelbase_mm))
    problem = prepare(travels, wagon, facts, line)
    tell(problem)
    return adjust(problem)


def with_sigmas(done: Adjusted) -> Stations:
    """The line's stations with all their sigmas."""
    return stations(done, station_step(done.problem.wagon.gauge_mm))

"""`choose` over thousands of arrangements against the bare core, with play reckoned for each of them."""

from collections.abc import Iterator
from dataclasses import replace

from benchmarks.benching.speed import PIECE, bare, in_turn
from benchmarks.row import Row, at_most
from wayrule.model import Axle, FieldSensor, FloorLayer, FreeSpace, Wagon, Wheel
from wayrule.wagon.choose import Choice, choose

SPACE = FreeSpace((-4.0, -3.0, 15.0), (4.0, 3.0, 30.0))
WAGON = Wagon(
    "Heather Vale bolster wagon",
    "I",
    32.0,
    45.0,
    140.0,
    Wheel(31.0, 0.08),
    axle=Axle(5.0, 60.0, play_mm=(0.1, 0.3, 0.1)),
    sensor=FieldSensor(40.0, 16, 0.005, 200.0),
)
DROWNED = {
    "too weak: the field drowns in the noise",
    "the field comes and goes but hardly turns",
    "saturates the sensor",
}


def choose_rows(quick: bool) -> Iterator[Row]:
    """Bare core of 10 000 wagons and both floors, taking turns."""
    plate = replace(WAGON, floor=(FloorLayer("steel", 0.5, 12.0),))
    found: dict[str, Choice] = {}

    def whole(name: str, wagon: Wagon) -> None:
        found[name] = choose(wagon, space=SPACE, steps=(3, 3, 4))

    took = in_turn(
        (bare(10_000, PIECE), lambda: whole("in air", WAGON), lambda: whole("behind a steel plate", plate)),
        times=2 if quick else 4,
    )
    for (name, choice), seconds in zip(found.items(), took[1:], strict=True):
        reckoned = choice.fit + sum(count for reason, count in choice.fell_out if reason in DROWNED)
        yield at_most(
            f"choose, {name}: fields and errors of {reckoned} arrangements (of {choice.tried} tried), five motions of "
            f"play each, over the bare core on 10 000 wagons x 72 angles ({took[0]:.2f} s)",
            seconds / took[0] * 5000 / min(reckoned, 5000),
            10.0,
            "times",
        )

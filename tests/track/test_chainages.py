"""What lengths are said to rest on."""

import pytest

from wayrule.model import Control, Facts, Tape
from wayrule.track.chainages import scale_source

WHEEL = "caliper: 10.50 +- 0.04 mm"


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        (Facts(), WHEEL),
        (Facts(tapes=(Tape("lap", 9012.5, 5.0),)), f"tape: lap 9012.5 +- 5 mm; {WHEEL}"),
        (
            Facts(tapes=(Tape("stops", 900.0, 1.0), Tape("a..b", 500.0, 2.0))),
            f"tape: stops 900 +- 1 mm, a..b 500 +- 2 mm; {WHEEL}",
        ),
        (Facts(controls=(Control("start", 0.0, 0.0, sd_mm=1.0),)), WHEEL),  # one point alone gives no length
        (Facts(controls=tuple(Control(a, 0.0, 0.0, sd_mm=1.0) for a in ("start", "end"))), f"control points; {WHEEL}"),
    ],
)
def test_a_tape_comes_before_the_wheel(facts: Facts, says: str) -> None:
    assert scale_source(facts, WHEEL) == says

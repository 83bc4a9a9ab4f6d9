"""What a sheet to work from has to say: sizes to mark and file, remarks, and the cautions of each step."""

from dataclasses import dataclass
from typing import Final, Literal

from wayrule.model.wagon import Wagon

Step = Literal["buy", "open", "file", "magnets", "glue", "solder", "cell", "run", "keep"]
"""The order of the work: buying, opening the body, filing the axle, magnets in the hand, gluing, soldering, the cell,
running, and keeping the wagon."""


STEPS: Final[dict[Step, str]] = {
    "buy": "Buying and unpacking magnets",
    "open": "Opening and cutting the body",
    "file": "Filing the flats",
    "magnets": "Magnets in the hand",
    "glue": "Gluing",
    "solder": "Soldering",
    "cell": "The cell",
    "run": "Running",
    "keep": "Keeping the wagon",
}
"""Step -> its name, in the order of the work."""

DEFER: Final = (
    "Local codes, the makers' instructions and people who are trained or licensed for such work go before this sheet."
)
"""What stands once on every sheet."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A strip of paper to wrap round a wheel or an axle, to mark two points half a turn apart.

    diameter_mm         of what it is wrapped round [mm]
    paper_mm            thickness of the paper that was reckoned with [mm]
    length_mm           once round at half the paper's thickness: pi (diameter + paper)
    tab_mm              to hold it by, beyond the length [mm]
    error_mm_per_0_1    how far the ends miss each other when the paper is 0.1 mm thicker than reckoned with [mm]
    error_deg_per_0_1   and by how much the second mark is then off half a turn [deg]
    """

    what: str
    diameter_mm: float
    paper_mm: float
    length_mm: float
    tab_mm: float
    error_mm_per_0_1: float
    error_deg_per_0_1: float


@dataclass(frozen=True, slots=True)
class Flat:
    """Two opposite flats on a round axle.

    diameter_mm         of the axle
    flat_radius_mm      axle's centre to the flat
    depth_mm            filed away at the middle of the flat
    width_mm            of the flat, across the axle
    across_mm           from flat to flat, what the caliper must read
    width_per_0_01      change of the width for 0.01 mm of depth: the width shows the depth as through a glass
    """

    diameter_mm: float
    flat_radius_mm: float
    depth_mm: float
    width_mm: float
    across_mm: float
    width_per_0_01: float


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt at one step of the work, and what to do about it.

    step      where it matters
    title     in a few words
    text      one or two sentences
    source    of its figures; "" where it has none
    """

    step: Step
    title: str
    text: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Worksheet:
    """All that the sheet shows; `flat` is None where axle or magnets do not say enough, and `missing` says what."""

    wagon: Wagon
    strips: tuple[Strip, ...]
    flat: Flat | None
    remarks: tuple[str, ...]
    cautions: tuple[Caution, ...]
    missing: tuple[str, ...] = ()

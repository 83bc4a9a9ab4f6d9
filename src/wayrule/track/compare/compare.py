"""Two surveys of one line: registered, differenced, and what is significant told."""

from wayrule.model import Comparison, Difference, Registered, Surveyed
from wayrule.track.compare.differ import differences
from wayrule.track.compare.fates import fates
from wayrule.track.compare.register import register
from wayrule.track.compare.significant import UNITS, changes

SHARED_LIMIT = 3.0
"""Sigmas of a constant that all of the line shares, beyond which it is worth a sentence."""

WORDS = {"curvature": "All curvature", "gradient": "All gradients", "cant": "All cant"}


def compare(before: Surveyed, after: Surveyed, *, same_start: bool = False) -> Comparison:
    """The later survey less the earlier one.

    Parameters
    ----------
    same_start : both start at one place and run one way; for lines without bends

    Raises
    ------
    UndeterminedError   where the two are not of one line, or share too little
    """
    registered = register(before.stations, after.stations, same_start=same_start)
    found = differences(before.stations, after.stations, registered)
    return Comparison(
        before.name,
        after.name,
        registered,
        found,
        changes(found),
        fates(before, after, found, registered),
        (*_overlap_note(before, registered), *(note for d in found for note in _offset_note(d))),
    )


def _overlap_note(before: Surveyed, registered: Registered) -> tuple[str, ...]:
    length = before.stations.length_mm
    if registered.overlap_mm > 0.98 * length:
        return ()
    return (f"Only {registered.overlap_mm / 1000:.2f} m of the {length / 1000:.2f} m are in both surveys.",)


def _offset_note(difference: Difference) -> tuple[str, ...]:
    if not abs(difference.offset) > SHARED_LIMIT * difference.offset_sd:
        return ()
    factor, unit = UNITS[difference.quantity]
    return (
        f"{WORDS[difference.quantity]} differs by {factor * difference.offset:+.3g} {unit} (sd "
        f"{factor * difference.offset_sd:.2g}), the same everywhere: more likely the sensor's seat than the track.",
    )

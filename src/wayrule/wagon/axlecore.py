"""A steel axle between the magnets: it is magnetised by them, turns with them, and adds to their field."""

import numpy as np

from wayrule.wagon.fields import field_mt, is_inside
from wayrule.wagon.sources import ALONG_AXLE, Source

STATIONS = 33
"""Places along the axle at which the field is averaged."""


def with_steel_axle(
    sources: tuple[Source, ...], radius_mm: float, *, permeability: float = 200.0
) -> tuple[Source, ...]:
    """The magnets and the part of the axle between them.

    Parameters
    ----------
    radius_mm : of the axle where the magnets sit (to the flat)

    Returns
    -------
    the sources and one more: a rod along the axle as long as the magnets, magnetised across

    Raises
    ------
    ValueError   a rod that the magnets do not leave room for

    Notes
    -----
    A long rod across a field B0 takes the polarisation 2 B0 (mu - 1)/(mu + 1) (demagnetising factor 1/2). B0 is the
    mean over the rod's middle line as long as the magnets; it is not even there, so the rod's part is an estimate, good
    to about a third of itself.

    Examples
    --------
    >>> from wayrule.model import Magnets
    >>> from wayrule.wagon.sources import sources_of
    >>> pair = sources_of(Magnets("disc_pair", diameter_mm=4, thickness_mm=1, flat_radius_mm=0.7, grade="N42"))
    >>> len(with_steel_axle(pair, 0.7))
    3
    """
    length = max(_along(source) for source in sources)
    line = np.zeros((STATIONS, 3))
    line[:, 1] = (np.arange(STATIONS) + 0.5 - STATIONS / 2) * length / STATIONS
    if any(np.any(is_inside(source, (line - source.place_mm) @ source.rotation)) for source in sources):
        raise ValueError(
            f"axle: expected magnets that leave room for an axle of radius {radius_mm:g} mm, came one in its middle"
        )
    taken = 2 * (permeability - 1) / (permeability + 1) * field_mt(sources, line).mean(axis=0) * [1.0, 0.0, 1.0]
    return (*sources, Source("disc", (2 * radius_mm, length), ALONG_AXLE.T @ taken, np.zeros(3), ALONG_AXLE))


def _along(source: Source) -> float:
    """Size along the axle [mm]."""
    if source.shape == "block":
        return source.size_mm[1]
    return source.size_mm[-1] if source.shape == "ring" else source.size_mm[0]

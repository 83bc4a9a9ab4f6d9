"""The card of a run, or of the last window of one that is still being recorded."""

from wayrule.model import AxleReference, Health, Recording, Travel, Wagon
from wayrule.model.arrays import Array
from wayrule.run.health.magnets import field
from wayrule.run.health.rows import clock, lost_samples
from wayrule.run.health.seen import Seen
from wayrule.run.health.sensors import noise, saturation
from wayrule.run.health.trends import battery, temperature
from wayrule.run.health.wheel import knocks, lifted, locked_or_sliding, turn_counting
from wayrule.run.health.wobble import wobble

ITEMS = (
    field, saturation, noise, lost_samples, turn_counting, locked_or_sliding, lifted, knocks, wobble, temperature,
    battery, clock,
)  # fmt: skip


def health(
    recording: Recording,
    wagon: Wagon,
    travel: Travel | None,
    turned_rad: Array | None = None,
    axle: AxleReference | None = None,
) -> Health:
    """Whether a run's instrument can be trusted.

    Parameters
    ----------
    recording : Recording   a run, or a window of one; nothing in it is changed
    wagon : Wagon           what its sensors are stated to be
    travel : Travel         what it did; None where that could not be told: what needs it is then not known
    turned_rad : (n,)       angle that the sensed axle turned [rad]; None where it is not known
    axle : AxleReference    its field as a calibration knows it; None: not calibrated

    Returns
    -------
    Health   green, amber, red or not known for each item, with its reason, its places and what to do

    Examples
    --------
    >>> import numpy as np
    >>> from wayrule.model import Wheel
    >>> run = Recording("monday", np.arange(2000) * 0.005, wheel_mm=np.zeros(2000))
    >>> card = health(run, Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel()), None)
    >>> card.light, [item.name for item in card.of("green")]
    ('green', ['lost samples', 'clock'])
    """
    seen = Seen(recording, wagon, travel, turned_rad, axle)
    return Health(recording.name, tuple(item(seen) for item in ITEMS))

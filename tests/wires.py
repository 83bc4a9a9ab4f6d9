"""Made-up wagons on the wire."""

import numpy as np

from wayrule.formats.wire import Samples
from wayrule.formats.wire.hello import device_of

ID = "a1b2c3d4e5f6"
DEVICE = device_of(ID)


def batch(n: int, *, first: int = 0, boot: int = 3, wide: int = 0, columns: int = 9, seed: int = 1) -> Samples:
    """Made-up samples at 200 Hz, with a clock that jitters."""
    rng = np.random.default_rng(seed)
    seq = np.arange(first, first + n)
    counts = rng.integers(-32768, 32768, (n, columns))
    if wide:
        counts[:, columns - wide :] *= 60000
    return Samples(DEVICE, boot, seq, 1_000_000 + seq * 5000 + rng.integers(-50, 50, n), counts.astype(np.int32), wide)

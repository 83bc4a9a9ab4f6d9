"""Recordings made outside the project, with their truth: where they lie and how they are read.

They stand beside the checkout, not in it; `shared/data/README.md` there names origins, licences and check values.
"""

from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wayrule.formats.recording import read_recording
from wayrule.formats.wagonfile import read_wagon
from wayrule.model import Recording, Wagon

Floats = NDArray[np.float64]

DATA: Final = Path(__file__).parents[3] / "shared" / "data"
ABSENT: Final = "the shared recordings are not here (looked for ../shared/data beside the checkout)"


def table(path: str) -> NDArray[np.void]:
    """A table of truth, columns by name."""
    return np.asarray(np.genfromtxt(DATA / path, delimiter=",", names=True))


def recording(path: str, wagon: bytes) -> tuple[Recording, Wagon]:
    """A recording in the general form, read as a user's, with the wagon file that a user would write."""
    checked = read_wagon(wagon, "wagon.toml")
    return read_recording((DATA / path).read_bytes(), Path(path).stem, checked.columns), checked


def running_mean(t_s: Floats, values: Floats, at_s: Floats, window_s: float) -> Floats:
    """Mean of `values` over `window_s` about each of the times `at_s`."""
    total = np.concatenate(([0.0], np.cumsum(np.diff(t_s) * 0.5 * (values[1:] + values[:-1]))))
    late, early = (np.interp(at_s + half, t_s, total) for half in (0.5 * window_s, -0.5 * window_s))
    return np.asarray((late - early) / window_s)


def rigid_rms(places: NDArray[np.complex128], truth: NDArray[np.complex128]) -> float:
    """Rms distance of places x + iy from their truth after the best shift and rotation.

    >>> square = np.array([0, 1, 1 + 1j, 1j])
    >>> round(rigid_rms(square * 1j + 5, square), 12)
    0.0
    """
    a, b = places - places.mean(), truth - truth.mean()
    turn = np.exp(1j * np.angle(np.sum(b * np.conj(a))))
    return float(np.sqrt(np.mean(np.abs(a * turn - b) ** 2)))

"""Read-only, shape-checked arrays for the frozen types."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""A float64 array; its shape stands in the docstring of whoever holds it."""


def frozen(owner: Any, name: str, shape: tuple[int | None, ...], *, dtype: Any = np.float64) -> None:
    """Replace attribute `name` of a frozen dataclass by a read-only array of the wanted shape.

    Parameters
    ----------
    shape : each entry a length, or None for any

    Raises
    ------
    ValueError   when the shape differs, naming both
    """
    value = getattr(owner, name)
    array = np.array(value, dtype=dtype) if value.flags.writeable or value.dtype != dtype else value
    fits = array.ndim == len(shape) and all(
        want is None or want == have for want, have in zip(shape, array.shape, strict=True)
    )
    if not fits:
        wanted = ", ".join("any" if w is None else str(w) for w in shape)
        raise ValueError(f"{type(owner).__name__}.{name}: expected shape ({wanted}), came {array.shape}")
    array.flags.writeable = False
    object.__setattr__(owner, name, array)

"""What one step of calibrating has shown of a wagon: a few of its constants, or sums of them, with their covariance."""

from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array, frozen
from wayrule.model.calibration import CONSTANTS


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """Linear news of the constants: matrix @ constants = values, within `covariance`.

    step         short name of the step, "taped runs"
    names        (n,) which constants it speaks of, of `CONSTANTS`
    matrix       (m, n); values (m,) and covariance (m, m) in the units of the constants, as the matrix mixes them
    runs         (name, sha256) of the recordings that it rests on
    text         one sentence for a person: what was found, how sure

    Raises
    ------
    ValueError   for shapes that do not fit, unknown names, or a covariance that is not positive definite

    Examples
    --------
    >>> found = np.array([0.002])
    >>> one = Shown("taped runs", ("wheel_scale",), np.eye(1), found, np.diag([9e-8]), (("a.csv", ""),), "larger")
    >>> float(one.values[0])
    0.002
    """

    step: str
    names: tuple[str, ...]
    matrix: Array
    values: Array
    covariance: Array
    runs: tuple[tuple[str, str], ...]
    text: str

    def __post_init__(self) -> None:
        unknown = [name for name in self.names if name not in CONSTANTS]
        if unknown or len(set(self.names)) != len(self.names):
            raise ValueError(f"Shown.names: expected different ones of {', '.join(CONSTANTS)}, came {self.names}")
        m = len(self.values)
        for name, shape in (("matrix", (m, len(self.names))), ("values", (m,)), ("covariance", (m, m))):
            frozen(self, name, shape)
            if not np.isfinite(getattr(self, name)).all():
                raise ValueError(f"Shown.{name}: expected finite numbers")
        size = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        if not (size > 0).all() or np.linalg.eigvalsh(self.covariance / np.outer(size, size)).min() <= 0:
            raise ValueError("Shown.covariance: expected a symmetric positive definite matrix")

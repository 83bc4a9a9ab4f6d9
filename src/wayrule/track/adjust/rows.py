"""Readings of a run beside what was expected of them, and how that changes with the unknowns."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from wayrule.model.arrays import Array


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of one kind of a run: residual = observed - modelled.

    kind      gyro_x, gyro_y, gyro_z (a reading a bin), force_x, force_y (a reading a group)
    spline    whose angle they read: 0 theta, 1 gamma, 2 phi
    residual  (m,)
    ok        (m,) whether every sample is there
    """

    kind: str
    spline: int
    residual: Array
    ok: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Rows:
    """Derivatives of readings of one kind over a part of a run.

    where      which of the run's readings of that kind
    by_spline  (m, n) by that spline's coefficients
    by_sway    (m, knots) by the run's own sway of that angle; None where it does not enter
    by_border  (m, k)
    """

    kind: str
    spline: int
    where: slice
    by_spline: sparse.csr_array
    by_sway: sparse.csr_array | None
    by_border: sparse.csr_array


def scaled(rows: sparse.csr_array, factor: Array) -> sparse.csr_array:
    """(m, n) every row times its factor (m,).

    >>> scaled(sparse.csr_array(np.eye(2)), np.array([2.0, 3.0])).toarray().tolist()
    [[2.0, 0.0], [0.0, 3.0]]
    """
    data = rows.data * np.repeat(factor, np.diff(rows.indptr))
    return sparse.csr_array((data, rows.indices, rows.indptr), shape=rows.shape)


def in_columns(
    columns: dict[str, Array], parts: dict[str, sparse.csr_array], names: dict[str, slice], k: int
) -> sparse.csr_array:
    """Border derivatives put in their columns: (m, k) from single columns (m,) and blocks (m, knots) by name."""
    m = len(next(iter(columns.values()))) if columns else next(iter(parts.values())).shape[0]
    alone = np.array([names[name].start for name in columns], dtype=np.int32)
    row, column = [np.tile(np.arange(m, dtype=np.int32), len(alone))], [np.repeat(alone, m)]
    data = list(columns.values())
    for name, part in parts.items():
        entries = part.tocoo()
        row.append(entries.row)
        column.append(entries.col + np.int32(names[name].start))
        data.append(entries.data)
    return sparse.csr_array((np.concatenate(data), (np.concatenate(row), np.concatenate(column))), shape=(m, k))


def level_names(letter: str, run: int) -> tuple[str, str]:
    """The border's level offsets of an axis: the wagon's and the run's own.

    A body that leans over by what an offset says yaws less about its upright: the gyro's roll and pitch axes see the
    offset as they see cross_x and cross_y. The angles themselves are other splines, whose derivatives are left out of
    the gyro's rows; but angle times g and offset together are what the accelerometer read, so one stands for the other.
    """
    return f"level_{letter}", f"level_{letter}/{run}"

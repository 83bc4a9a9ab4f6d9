"""Symmetric banded matrices of sparse parts: summed up, factored, solved; a ring is banded once it is folded.

Kept by rows of the lower half, the diagonal last: entry [i, w - d] is A[i, i - d] for d = 0 .. w. The work is done in
square tiles as wide as the band, so that every step is a product or a solve of small dense matrices; a band solver that
takes one right-hand side after the other is five to ten times slower.
Source: G. H. Golub and C. F. Van Loan, Matrix Computations, 4th ed., sec. 4.3 (band Cholesky), 4.5.1 (in tiles).
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg.blas import dtrsm

Array = NDArray[np.float64]

LEAST_WIDTH = 32
"""Bands are kept at least this wide, so that steps between tiles cost more than Python's part in them."""


def fold(n: int, *, closed: bool) -> NDArray[np.int64]:
    """An order of n unknowns in a ring in which neighbours stay near: 0, n-1, 1, n-2, ... (open: unchanged).

    >>> fold(5, closed=True).tolist()
    [0, 4, 1, 3, 2]
    """
    if not closed:
        return np.arange(n)
    order = np.empty(n, dtype=np.int64)
    order[0::2] = np.arange((n + 1) // 2)
    order[1::2] = np.arange(n - 1, (n + 1) // 2 - 1, -1)
    return order


class Banded:
    """A symmetric matrix being summed up; `width` grows with what is added.

    order   (n,) which unknown stands where
    values  (rows, width + 1) as told above, rows filled up to whole tiles
    """

    def __init__(self, n: int, position: Array | None = None, *, closed: bool, width: int = LEAST_WIDTH) -> None:
        """Nothing yet, of n unknowns.

        Unknowns that meet in an entry must lie near each other in `position` (n,) (default: in their order), or round
        the ring when closed: that makes the matrix banded. `width` saves growing where it is known.
        """
        self.order = fold(n, closed=closed)
        if position is not None:
            self.order = np.argsort(position, kind="stable")[self.order]
        self._place = np.empty_like(self.order)
        self._place[self.order] = np.arange(n)
        self.width = width
        self.values = np.zeros((_whole_tiles(n, width), width + 1))

    def add(self, part: sparse.csr_array) -> None:
        """Add a symmetric (n, n) matrix that has every entry once."""
        coo = part.tocoo()
        row, column = self._place[coo.row], self._place[coo.col]
        keep = row >= column
        row, back = row[keep], (row - column)[keep]
        self._grow(int(np.max(back, initial=0)))
        self.values[row, self.width - back] += coo.data[keep]

    def _grow(self, width: int) -> None:
        if width > self.width:
            n, grown = len(self.order), width - self.width
            wider = np.zeros((_whole_tiles(n, width), width + 1))
            wider[:n, grown:] = self.values[:n]
            self.values, self.width = wider, width

    def factored(self) -> "BandFactor":
        """The Cholesky factor, in place of the sum, which is used up.

        Raises numpy.linalg.LinAlgError when the matrix is not positive definite.
        """
        width, lower = self.width, self.values
        lower[len(self.order) :, width] = 1.0
        self.values = np.empty((0, width + 1))
        before: Array = np.eye(width)
        for start in range(0, len(lower), width):
            below, diagonal = _tiles(lower[start : start + width])
            if start:
                _solve_lower(before, turned := np.ascontiguousarray(below.T))
                below = turned.T
                diagonal -= below @ turned
            before = np.asarray(np.linalg.cholesky(diagonal), dtype=np.float64)
            _put_tiles(lower[start : start + width], below, before)
        return BandFactor(self.order, lower)


def _whole_tiles(n: int, width: int) -> int:
    return -(-n // width) * width


def _tiles(rows: Array) -> tuple[Array, Array]:
    """The two (w, w) tiles that w rows of the band hold: below the diagonal tile of the rows before, and their own."""
    width = len(rows)
    both = np.zeros((width, 2 * width))
    _skewed(both)[:] = rows
    return np.ascontiguousarray(both[:, :width]), np.ascontiguousarray(both[:, width:])


def _put_tiles(rows: Array, below: Array, diagonal: Array) -> None:
    rows[:] = _skewed(np.hstack((below, diagonal)))


def _skewed(both: Array) -> Array:
    """(w, w + 1) the band's rows as they lie in two tiles side by side: row a begins at column a."""
    width, step = len(both), both.itemsize
    return as_strided(both, (width, width + 1), ((2 * width + 1) * step, step))


def _solve_lower(lower: Array, x: Array, *, transposed: bool = False) -> None:
    """x := lower^-1 x (or its transpose's), in place; both (w, .) and stored by rows, so they are turned for BLAS."""
    dtrsm(1.0, lower.T, x.T, side=1, lower=0, trans_a=int(transposed), overwrite_b=1)


@dataclass(frozen=True, slots=True)
class BandFactor:
    """L of L L' = A, and the order of its unknowns; `lower` is laid out as the sum was, filled up to whole tiles."""

    order: NDArray[np.int64]
    lower: Array

    def _tile_rows(self) -> list[slice]:
        width = self.lower.shape[1] - 1
        return [slice(start, start + width) for start in range(0, len(self.lower), width)]

    def solve(self, rhs: Array) -> Array:
        """A^-1 rhs for (n,) or (n, k) right-hand sides."""
        n, tiles = len(self.order), self._tile_rows()
        x = np.zeros((len(self.lower), int(np.prod(rhs.shape[1:]))))
        x[:n] = rhs.reshape(n, -1)[self.order]
        before = None
        for part in tiles:
            below, diagonal = _tiles(self.lower[part])
            if before is not None:
                x[part] -= below @ x[before]
            _solve_lower(diagonal, x[part])
            before = part
        carried = None
        for part in reversed(tiles):
            below, diagonal = _tiles(self.lower[part])
            if carried is not None:
                x[part] -= carried
            _solve_lower(diagonal, x[part], transposed=True)
            carried = below.T @ x[part]
        out = np.empty_like(rhs)
        out[self.order] = x[:n].reshape(rhs.shape)
        return out

    def gram(self, columns: sparse.csr_array) -> Array:
        """(k, k) B' A^-1 B for a sparse (n, k) B: the forward half of a solve, a tile at a time, so that nothing of
        B's size is ever held."""
        ordered = sparse.csr_array(columns[self.order])
        out = np.zeros((columns.shape[1],) * 2)
        before = np.zeros((self.lower.shape[1] - 1, columns.shape[1]))
        for part in self._tile_rows():
            below, diagonal = _tiles(self.lower[part])
            here = below @ before
            given = ordered[part].toarray()
            np.negative(here, out=here)
            here[: len(given)] += given
            _solve_lower(diagonal, here)
            out += here.T @ here
            before = here
        return out

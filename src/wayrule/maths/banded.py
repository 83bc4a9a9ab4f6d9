"""Symmetric banded matrices of sparse parts: summed up, factored, solved; a ring is banded once it is folded.

Kept by rows of the lower half, the diagonal last: entry [i, w - d] is A[i, i - d] for d = 0 .. w. The work is done in
square tiles as wide as the band, so that every step is a product or a solve of small dense matrices; a band solver that
takes one right-hand side after the other is five to ten times slower. A tile needs no copy: its rows are w + 1 long in
the band and begin one further right each, so that A[i, j] and A[i + 1, j] lie w apart (see `_Tiles`).
Source: G. H. Golub and C. F. Van Loan, Matrix Computations, 4th ed., sec. 4.3 (band Cholesky), 4.5.1 (in tiles).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
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
        row, column = row[keep], column[keep]
        self._grow(int(np.max(row - column, initial=0)))
        self.values.reshape(-1)[row * self.width + column + self.width] += coo.data[keep]

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
        tiles = _Tiles.of(lower)
        before: Array = np.eye(width)
        for start in range(0, len(lower), width):
            diagonal = tiles.diagonal(start)
            square = diagonal.copy()
            if start:
                _solve_lower(before, turned := np.ascontiguousarray(tiles.below(start).T))
                square -= turned.T @ turned
                tiles.put_below(start, turned.T)
            before = np.asarray(np.linalg.cholesky(square), dtype=np.float64)
            tiles.put_diagonal(start, before)
        return BandFactor(self.order, lower)


def _whole_tiles(n: int, width: int) -> int:
    return -(-n // width) * width


@dataclass(frozen=True, slots=True)
class _Tiles:
    """The (w, w) tiles of a band: of w rows, those on the diagonal and those left of it.

    A[start + a, start + b] lies at start (w + 1) + w + a w + b of the band: a tile is w^2 numbers in a row. Of one on
    the diagonal the lower half is A, of one left of it the upper half; the other half is entries of other tiles.
    """

    flat: Array
    width: int
    lower: NDArray[np.bool_]
    upper: NDArray[np.bool_]

    @classmethod
    def of(cls, band: Array) -> "_Tiles":
        width = band.shape[1] - 1
        lower = np.tri(width, dtype=np.bool_)
        return cls(band.reshape(-1), width, lower, np.ascontiguousarray(lower.T))

    def diagonal(self, start: int) -> Array:
        """A view, right in its lower half."""
        return self._at(start * (self.width + 1) + self.width)

    def below(self, start: int) -> Array:
        """The tile left of it, a copy."""
        return np.where(self.upper, self._at(start * (self.width + 1)), 0.0)

    def put_diagonal(self, start: int, tile: Array) -> None:
        np.copyto(self.diagonal(start), tile, where=self.lower)

    def put_below(self, start: int, tile: Array) -> None:
        np.copyto(self._at(start * (self.width + 1)), tile, where=self.upper)

    def _at(self, offset: int) -> Array:
        return self.flat[offset : offset + self.width**2].reshape(self.width, self.width)


TILES_AT_ONCE = 16


def _dense(rows: sparse.csr_array, width: int, stop: int) -> Iterator[Array]:
    """(w, k) tiles of sparse rows, filled up to `stop` rows; a few are made at a time, since cutting a sparse matrix
    costs more than filling a tile."""
    for first in range(0, stop, TILES_AT_ONCE * width):
        part = rows[first : first + TILES_AT_ONCE * width]
        some = np.zeros((min(TILES_AT_ONCE * width, stop - first), rows.shape[1]))
        part.toarray(out=some[: part.shape[0]])
        yield from some.reshape(-1, width, rows.shape[1])


def _solve_lower(lower: Array, x: Array, *, transposed: bool = False) -> None:
    """x := lower^-1 x (or its transpose's), in place; both (w, .) and stored by rows, so they are turned for BLAS.

    Of `lower` only the lower half is looked at.
    """
    dtrsm(1.0, lower.T, x.T, side=1, lower=0, trans_a=int(transposed), overwrite_b=1)


@dataclass(frozen=True, slots=True)
class BandFactor:
    """L of L L' = A, and the order of its unknowns; `lower` is laid out as the sum was, filled up to whole tiles."""

    order: NDArray[np.int64]
    lower: Array

    def _starts(self) -> range:
        return range(0, len(self.lower), self.lower.shape[1] - 1)

    def solve(self, rhs: Array) -> Array:
        """A^-1 rhs for (n,) or (n, k) right-hand sides."""
        n, width, tiles = len(self.order), self.lower.shape[1] - 1, _Tiles.of(self.lower)
        x = np.zeros((len(self.lower), int(np.prod(rhs.shape[1:]))))
        x[:n] = rhs.reshape(n, -1)[self.order]
        for start in self._starts():
            here = x[start : start + width]
            if start:
                here -= tiles.below(start) @ x[start - width : start]
            _solve_lower(tiles.diagonal(start), here)
        for start in reversed(self._starts()):
            here = x[start : start + width]
            _solve_lower(tiles.diagonal(start), here, transposed=True)
            if start:
                x[start - width : start] -= tiles.below(start).T @ here
        out = np.empty_like(rhs)
        out[self.order] = x[:n].reshape(rhs.shape)
        return out

    def gram(self, columns: sparse.csr_array) -> Array:
        """(k, k) B' A^-1 B for a sparse (n, k) B: the forward half of a solve, a tile at a time, so that nothing of
        B's size is ever held."""
        width, tiles = self.lower.shape[1] - 1, _Tiles.of(self.lower)
        ordered = sparse.csr_array(columns[self.order])
        out = np.zeros((columns.shape[1],) * 2)
        before = np.zeros((width, columns.shape[1]))
        for start, here in zip(self._starts(), _dense(ordered, width, len(self.lower)), strict=True):
            here -= tiles.below(start) @ before
            _solve_lower(tiles.diagonal(start), here)
            out += here.T @ here
            before = here
        return out

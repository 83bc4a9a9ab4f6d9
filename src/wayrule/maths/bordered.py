"""Symmetric systems that are banded blocks with a common border, and their inverse where it is asked for.

    [ A   B ] [x]   [f]        A = diag(A_1 .. A_q), each banded (closed lines: banded after folding) and positive
    [ B'  D ] [y] = [g]        definite; D small, dense, may be indefinite (multipliers of exact constraints)

Schur complement S = D - B' A^-1 B. Cost: linear in the length of the blocks.
Source: G. H. Golub and C. F. Van Loan, Matrix Computations, 4th ed., sec. 4.3 (band Cholesky) and 3.2.11
(block elimination); the banded blocks in tiles: sec. 4.5.1 (block tridiagonal).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lu_factor, lu_solve, solve_triangular

Array = NDArray[np.float64]


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


@dataclass(frozen=True, slots=True)
class BandBlock:
    """A banded positive definite matrix, factored once: L L' in square tiles as wide as the band.

    Tiles make every step a product or a solve of small dense matrices, five to ten times as fast as a band solver that
    takes one right-hand side after the other.

    order    (n,) which unknown stands where
    diagonal (t, w, w) lower triangular tiles L_ii, the last one padded; below (t - 1, w, w) tiles L_{i+1,i}
    """

    order: NDArray[np.int64]
    diagonal: Array
    below: Array

    @classmethod
    def of(cls, matrix: sparse.csr_array, position: Array | None = None, *, closed: bool) -> "BandBlock":
        """Factor a sparse symmetric matrix; raises numpy.linalg.LinAlgError when it is not positive definite.

        Unknowns that meet in an entry must lie near each other in `position` (n,) (default: in their order), or round
        the ring when closed: that makes the matrix banded.
        """
        order = fold(matrix.shape[0], closed=closed)
        if position is not None:
            order = np.argsort(position, kind="stable")[order]
        place = np.empty_like(order)
        place[order] = np.arange(len(order))
        coo = matrix.tocoo()
        row, column = place[coo.row], place[coo.col]
        width = max(int(np.max(np.abs(row - column), initial=0)), LEAST_TILE)
        tiles = -(-len(order) // width)
        diagonal = np.zeros((tiles, width, width))
        below = np.zeros((max(tiles - 1, 0), width, width))
        same = row // width == column // width
        np.add.at(diagonal, (row[same] // width, row[same] % width, column[same] % width), coo.data[same])
        under = row // width == column // width + 1
        np.add.at(below, (column[under] // width, row[under] % width, column[under] % width), coo.data[under])
        spare = np.arange(len(order) - (tiles - 1) * width, width)
        diagonal[-1, spare, spare] = 1.0
        for i in range(tiles):
            if i:
                below[i - 1] = solve_triangular(diagonal[i - 1], below[i - 1].T, lower=True, check_finite=False).T
                diagonal[i] -= below[i - 1] @ below[i - 1].T
            diagonal[i] = np.linalg.cholesky(diagonal[i])
        return cls(order, diagonal, below)

    def solve(self, rhs: Array) -> Array:
        """A^-1 rhs for (n,) or (n, k) right-hand sides."""
        tiles, width, _ = self.diagonal.shape
        x = np.zeros((tiles * width, *rhs.shape[1:]))
        x[: len(self.order)] = rhs[self.order]
        x = x.reshape(tiles, width, *rhs.shape[1:])
        for i in range(tiles):
            if i:
                x[i] -= self.below[i - 1] @ x[i - 1]
            x[i] = solve_triangular(self.diagonal[i], x[i], lower=True, check_finite=False)
        for i in reversed(range(tiles)):
            if i + 1 < tiles:
                x[i] -= self.below[i].T @ x[i + 1]
            x[i] = solve_triangular(self.diagonal[i], x[i], lower=True, trans="T", check_finite=False)
        out = np.empty_like(rhs)
        out[self.order] = x.reshape(tiles * width, *rhs.shape[1:])[: len(self.order)]
        return out


LEAST_TILE = 32
"""Tiles are at least this wide, so that steps between them cost more than Python's part in them."""


@dataclass(frozen=True, slots=True)
class Bordered:
    """The factored system; `sizes` are the lengths of the blocks, the border comes last."""

    blocks: tuple[BandBlock, ...]
    sizes: tuple[int, ...]
    border: Array
    reach: Array
    schur: tuple[Array, NDArray[np.int32]]

    @classmethod
    def of(
        cls,
        blocks: list[sparse.csr_array],
        border: Array,
        corner: Array,
        position: Array | None = None,
        *,
        closed: bool,
    ) -> "Bordered":
        """Factor; `border` is B (sum of sizes, k), `corner` is D (k, k), `position` as in `BandBlock.of`."""
        factored = tuple(BandBlock.of(b, position, closed=closed) for b in blocks)
        sizes = tuple(int(b.shape[0]) for b in blocks)
        reach = _solve_blocks(factored, sizes, border)
        schur = lu_factor(corner - border.T @ reach, check_finite=True)
        return cls(factored, sizes, border, reach, schur)

    def solve(self, f: Array, g: Array) -> tuple[Array, Array]:
        """x (unknowns of the blocks) and y (border)."""
        z = _solve_blocks(self.blocks, self.sizes, f)
        y = lu_solve(self.schur, g - self.border.T @ z)
        return z - self.reach @ y, y

    def border_covariance(self) -> Array:
        """(k, k) inverse at the border."""
        return lu_solve(self.schur, np.eye(len(self.border.T)))

    def covariance(self, rows: Array, rows_border: Array) -> Array:
        """(m, m) rows inverse rows' for dense functionals: `rows` (m, n) of the blocks, `rows_border` (m, k)."""
        z = _solve_blocks(self.blocks, self.sizes, np.ascontiguousarray(rows.T))
        rest = rows_border.T - self.border.T @ z
        return rows @ z + rest.T @ lu_solve(self.schur, rest)

    def variances(self, rows: sparse.csr_array, rows_border: Array, chunk: int = 512) -> Array:
        """(m,) diagonal of `covariance` for many sparse functionals, a chunk at a time."""
        out = np.empty(rows.shape[0])
        for start in range(0, rows.shape[0], chunk):
            part = rows[start : start + chunk].toarray()
            z = _solve_blocks(self.blocks, self.sizes, np.ascontiguousarray(part.T))
            rest = rows_border[start : start + chunk].T - self.border.T @ z
            out[start : start + chunk] = np.sum(part.T * z, axis=0) + np.sum(rest * lu_solve(self.schur, rest), axis=0)
        return out


def _solve_blocks(blocks: tuple[BandBlock, ...], sizes: tuple[int, ...], rhs: Array) -> Array:
    out = np.empty_like(rhs)
    start = 0
    for block, size in zip(blocks, sizes, strict=True):
        out[start : start + size] = block.solve(rhs[start : start + size])
        start += size
    return out

"""Symmetric systems that are banded blocks with a common border, and their inverse where it is asked for.

    [ A   B ] [x]   [f]        A = diag(A_1 .. A_q), each banded (closed lines: banded after folding) and positive
    [ B'  D ] [y] = [g]        definite; D small, dense, may be indefinite (multipliers of exact constraints)

Schur complement S = D - B' A^-1 B. Cost: linear in the length of the blocks.
Source: G. H. Golub and C. F. Van Loan, Matrix Computations, 4th ed., sec. 3.2.11 (block elimination).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lu_factor, lu_solve

from wayrule.maths.banded import Banded, BandFactor

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bordered:
    """The factored system. What ties the blocks together is the border: sparse, and only of the columns that a block
    meets is anything dense ever made.

    blocks, borders   A_i and its rows of B, (size_i, k)
    schur             LU factors of S
    """

    blocks: tuple[BandFactor, ...]
    borders: tuple[sparse.csr_array, ...]
    schur: tuple[Array, NDArray[np.int32]]

    @classmethod
    def of(
        cls,
        blocks: Iterable[Banded],
        borders: Sequence[sparse.csr_array],
        corner: Array,
    ) -> "Bordered":
        """Factor; `borders` are the rows of B of each block, `corner` is D (k, k). The blocks are used up.

        Raises numpy.linalg.LinAlgError when a block is not positive definite, ValueError when S is not finite.
        """
        factored, schur = [], corner.copy()
        for block, border in zip(blocks, borders, strict=True):
            factored.append(block.factored())
            met = np.unique(border.indices)
            schur[np.ix_(met, met)] -= factored[-1].gram(sparse.csr_array(border[:, met]))
        return cls(tuple(factored), tuple(borders), lu_factor(schur, check_finite=True))

    def solve(self, f: Array, g: Array) -> tuple[Array, Array]:
        """x (unknowns of the blocks, one after the other) and y (border); f and g may have columns."""
        parts = self._parts()
        z = [block.solve(f[part]) for block, part in zip(self.blocks, parts, strict=True)]
        y = lu_solve(self.schur, g - sum(b.T @ one for b, one in zip(self.borders, z, strict=True)))
        x = [
            one - block.solve(np.asarray(border @ y))
            for one, block, border in zip(z, self.blocks, self.borders, strict=True)
        ]
        return np.concatenate(x), y

    def _parts(self) -> list[slice]:
        stops = np.cumsum([len(block.order) for block in self.blocks]).tolist()
        return [slice(a, b) for a, b in zip([0, *stops], stops, strict=False)]

    def border_covariance(self) -> Array:
        """(k, k) inverse at the border."""
        return lu_solve(self.schur, np.eye(len(self.schur[0])))

    def covariance(self, rows: Array, rows_border: Array) -> Array:
        """(m, m) rows inverse rows' for dense functionals: `rows` (m, n) of all blocks, `rows_border` (m, k)."""
        x, y = self.solve(np.ascontiguousarray(rows.T), np.ascontiguousarray(rows_border.T))
        return np.asarray(rows @ x + rows_border @ y)

    def variances(self, block: int, rows: sparse.csr_array, rows_border: Array, chunk: int = 48) -> Array:
        """(m,) diagonal of `covariance` for many functionals of one block and the border, a chunk at a time."""
        out = np.empty(rows.shape[0])
        for start in range(0, rows.shape[0], chunk):
            part = np.ascontiguousarray(rows[start : start + chunk].toarray().T)
            z = self.blocks[block].solve(part)
            rest = rows_border[start : start + chunk].T - self.borders[block].T @ z
            out[start : start + chunk] = np.sum(part * z, axis=0) + np.sum(rest * lu_solve(self.schur, rest), axis=0)
        return out

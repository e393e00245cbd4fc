"""The conductance matrix of a list of branches: laid out once, then filled and factorised for every Newton step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import scipy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
#: solves with a factorised matrix; right-hand sides are vectors, or one in each column
Solve: TypeAlias = Callable[[Floats], Floats]

#: up to this size full matrices are faster than sparse ones
_DENSE = 100


@dataclass(frozen=True, slots=True)
class Pattern:
    """Where branches stand in the matrix, symmetric (size, size), `size` the number of points but the reference."""

    size: int
    #: which branch adds, with which sign, to which of the matrix' entries
    branch: Ints
    sign: Floats
    slot: Ints
    #: the entries' rows, and where each column's begin; a full matrix has none
    rows: npt.NDArray[np.int32] | None
    begins: npt.NDArray[np.int32]

    @staticmethod
    def of(starts: Ints, ends: Ints, size: int) -> Pattern:
        """The reference has the number `size`."""
        rows = np.concatenate([starts, ends, starts, ends])
        columns = np.concatenate([starts, ends, ends, starts])
        inner = (rows < size) & (columns < size)
        branch = np.tile(np.arange(len(starts)), 4)[inner]
        sign = np.repeat([1.0, 1.0, -1.0, -1.0], len(starts))[inner]
        slot = columns[inner] * size + rows[inner]
        if size <= _DENSE:
            return Pattern(size, branch, sign, slot, None, np.zeros(0, dtype=np.int32))
        places, slot = np.unique(slot, return_inverse=True)
        begins = np.searchsorted(places, np.arange(size + 1) * size)
        return Pattern(size, branch, sign, slot, (places % size).astype(np.int32), begins.astype(np.int32))

    def positive(self, slope: Floats) -> Solve | None:
        """Solves with the matrix of branches of those conductances; None where it is not positive definite."""
        if self.rows is None:
            lower, refused = scipy.linalg.lapack.dpotrf(self._full(slope), lower=1, clean=0, overwrite_a=1)
            if refused:
                return None
            return lambda right: _by_columns(lambda one: scipy.linalg.lapack.dpotrs(lower, one, lower=1)[0], right)
        try:
            factors = scipy.sparse.linalg.splu(
                self._sparse(slope, self.rows), "MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
            )
        except RuntimeError:  # exactly singular
            return None
        # Elimination without exchange of rows keeps a symmetric matrix' signature in the pivots (Sylvester).
        exchanged = (factors.perm_r != factors.perm_c).any()
        solve: Solve = factors.solve
        return None if exchanged or factors.U.diagonal().min() <= 0 else solve

    def bordered(self, slope: Floats, column: Floats, branch: Floats) -> Solve | None:
        """Solves with the matrix, whatever its sign, a column at its right and a branch' incidence below it.

        So the solution moves along `column` until the branch has the volts that the last right-hand side says: well
        conditioned where the matrix itself is singular.
        """
        if self.rows is None:
            whole = np.zeros((self.size + 1, self.size + 1), order="F")
            whole[:-1, :-1], whole[:-1, -1], whole[-1, :-1] = self._full(slope), column, branch
            factors, pivots, refused = scipy.linalg.lapack.dgetrf(whole, overwrite_a=1)
            if refused:
                return None
            return lambda right: _by_columns(lambda one: scipy.linalg.lapack.dgetrs(factors, pivots, one)[0], right)
        blocks = [[self._sparse(slope, self.rows), column[:, None]], [branch[None, :], None]]
        try:
            solve: Solve = scipy.sparse.linalg.splu(scipy.sparse.block_array(blocks, format="csc")).solve
        except RuntimeError:
            return None
        return solve

    def _full(self, slope: Floats) -> Floats:
        entries = np.bincount(self.slot, slope[self.branch] * self.sign, self.size**2)
        return np.asarray(entries.reshape(self.size, self.size).T)  # in columns' order, as LAPACK wants it

    def _sparse(self, slope: Floats, rows: npt.NDArray[np.int32]) -> scipy.sparse.csc_array:
        entries = np.bincount(self.slot, slope[self.branch] * self.sign, len(rows))
        return scipy.sparse.csc_array((entries, rows, self.begins), shape=(self.size, self.size))


def _by_columns(solve: Solve, right: Floats) -> Floats:
    """Several right-hand sides at once would start the library's threads, which on a busy machine cost milliseconds."""
    if right.ndim == 1:
        return np.asarray(solve(right))
    return np.stack([solve(column) for column in right.T], axis=1)

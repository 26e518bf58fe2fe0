"""How is one sparse set of equations solved many times over, and what of its inverse does one need?

A supernodal Cholesky factor: the pattern is studied once, then new numbers are put in at will. Small groups of columns
run in compiled loops, large ones in LAPACK. Importing this module imports numba: do it inside the function that needs
it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg.blas
import scipy.linalg.lapack
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis import sparse_kernels as kernels
from firstsilk.science.analysis.sparse_order import count_rows, find_parents, order_columns, sort_families

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
# A group with more work than this (columns x rows x rows) and at least so many columns goes to LAPACK, others to the
# compiled loops: a few tall columns are passed upwards line by line there, without an array of rows x rows.
LARGE = 200_000
WIDE = 16


class NotPositive(ValueError):
    """The equations are not positive definite; `column` has the first pivot that is not above 0."""

    def __init__(self, column: int) -> None:
        super().__init__(f"The matrix is not positive definite: column {column}")
        self.column = column


@dataclass(frozen=True, slots=True)
class Plan:
    """The pattern of a factor. `order` (n,) lists columns as eliminated; `cells` says where each given entry stands.

    `runs` are stretches of groups (begin, end, large); `diagonal` (n,) the cells of the diagonal, by given column.
    """

    n: int
    order: Ints
    first: Ints
    owner: Ints
    row_at: Ints
    rows: Ints
    value_at: Ints
    cells: Ints
    diagonal: Ints
    runs: tuple[tuple[int, int, bool], ...]
    room: int
    tallest: int

    @property
    def size(self) -> int:
        """How many numbers the factor holds."""
        return int(self.value_at[-1])


def plan_factor(n: int, row: Ints, column: Ints) -> Plan:
    """Study the pattern of a symmetric positive definite matrix.

    Parameters
    ----------
    n
        Size of the matrix.
    row, column
        Each entry of the lower triangle once, (entries,), row >= column; an absent diagonal is added.

    Returns
    -------
    Plan
        What `factorise` needs; `Plan.cells` follows the order of the entries given.

    Notes
    -----
    Columns whose patterns are equal, or nearly so, form groups that are stored and worked as dense blocks.

    References
    ----------
    Ng & Peyton 1993 SIAM J. Sci. Comput. 14:1034.

    Checked by
    ----------
    tests/science/test_sparse_factor.py
    """
    whole = _both_triangles(n, row, column)
    order = order_columns(whole.indptr.astype(np.int64), whole.indices.astype(np.int64))
    turned = _permuted(whole, order)
    order = order[sort_families(find_parents(*turned))]
    turned = _permuted(whole, order)
    parent = find_parents(*turned)
    first = kernels.merge_columns(parent, count_rows(*turned, parent))
    owner = np.repeat(np.arange(len(first) - 1), np.diff(first))
    row_at, rows = kernels.list_rows(*turned, first, owner, 4 * n + 16)
    # Sorted here, group by group: a sort inside the kernels would take a second more to compile.
    base = np.repeat(np.arange(len(first) - 1) * n, np.diff(row_at))
    rows = np.sort(rows + base) - base
    tall, wide = np.diff(row_at), np.diff(first)
    value_at = np.concatenate([[0], np.cumsum(tall * wide)]).astype(np.int64)
    place = np.empty(n, dtype=np.int64)
    place[order] = np.arange(n)
    one, two = place[row], place[column]
    pattern = (first, owner, row_at, rows, value_at)
    cells = kernels.find_cells(np.maximum(one, two), np.minimum(one, two), *pattern)
    diagonal = kernels.find_cells(place, place, *pattern)
    large = (wide * tall * tall > LARGE) & (wide >= WIDE)
    small = ~large
    room = int(np.max(tall[small] + wide[small] * tall[small], initial=1))
    return Plan(n, order, *pattern, cells, diagonal, _runs(large), room, int(np.max(tall, initial=1)))


def _both_triangles(n: int, row: Ints, column: Ints) -> scipy.sparse.csc_array:
    rows = np.concatenate([row, column, np.arange(n)])
    columns = np.concatenate([column, row, np.arange(n)])
    whole = scipy.sparse.csc_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(n, n))
    whole.sum_duplicates()
    return whole


def _permuted(whole: scipy.sparse.csc_array, order: Ints) -> tuple[Ints, Ints]:
    turned = scipy.sparse.csc_array(whole[:, order][order])
    turned.sort_indices()
    return turned.indptr.astype(np.int64), turned.indices.astype(np.int64)


def _runs(large: NDArray[np.bool_]) -> tuple[tuple[int, int, bool], ...]:
    alone = np.flatnonzero(large)
    begins = np.unique(np.concatenate([[0], alone, alone + 1]))
    begins = begins[begins < len(large)]
    ends = np.append(begins[1:], len(large))
    return tuple(zip(begins.tolist(), ends.tolist(), large[begins].tolist(), strict=True))


@dataclass(frozen=True, slots=True)
class Factor:
    """The triangle of a matrix, as numbers on a plan."""

    plan: Plan
    values: Floats

    def log_determinant(self) -> float:
        """The logarithm of the matrix's determinant."""
        return 2.0 * float(np.sum(np.log(self.values[self.plan.diagonal])))

    def solve(self, right: Floats) -> Floats:
        """Solve for right-hand sides (n,) or (n, k)."""
        plan = self.plan
        x = np.array(right[plan.order].reshape(plan.n, -1), dtype=np.float64, order="C")
        for begin, end, large in plan.runs:
            if large:
                self._forward_large(begin, x)
            else:
                kernels.forward_small(begin, end, self.values, x, plan.first, plan.row_at, plan.rows, plan.value_at)
        for begin, end, large in reversed(plan.runs):
            if large:
                self._backward_large(begin, x)
            else:
                kernels.backward_small(begin, end, self.values, x, plan.first, plan.row_at, plan.rows, plan.value_at)
        out = np.empty_like(x)
        out[plan.order] = x
        return out.reshape(right.shape)

    def _forward_large(self, s: int, x: Floats) -> None:
        block, below, own = _block(self.plan, self.values, s)
        w = block.shape[1]
        x[own] = scipy.linalg.blas.dtrsm(1.0, block[:w], x[own], lower=1)
        x[below] -= block[w:] @ x[own]

    def _backward_large(self, s: int, x: Floats) -> None:
        block, below, own = _block(self.plan, self.values, s)
        w = block.shape[1]
        x[own] -= block[w:].T @ x[below]
        x[own] = scipy.linalg.blas.dtrsm(1.0, block[:w], x[own], lower=1, trans_a=1)

    def selected_inverse(self) -> Floats:
        """The inverse on the pattern of the factor, (size,): `plan.cells` and `plan.diagonal` say what stands where.

        Notes
        -----
        From the last group to the first, Z_below = -Z_inner Y, Z_own = (L L')^-1 - Y' Z_below, Y = L_below L_own^-1.

        References
        ----------
        Takahashi, Fagan & Chin 1973 (8th PICA Conference Proceedings, 63); Erisman & Tinney 1975 Commun. ACM 18:177.
        """
        plan = self.plan
        inverse = np.zeros(plan.size)
        place, work = np.empty(plan.tallest, dtype=np.int64), np.empty(plan.room)
        pattern = (plan.first, plan.owner, plan.row_at, plan.rows, plan.value_at, place)
        for begin, end, large in reversed(plan.runs):
            if not large:
                kernels.invert_small(begin, end, self.values, inverse, *pattern, work)
                continue
            self._invert_large(begin, inverse, pattern)
        return inverse

    def _invert_large(self, s: int, inverse: Floats, pattern: tuple[Ints, ...]) -> None:
        """One large group, of symmetric blocks the lower triangle only."""
        block, _, _ = _block(self.plan, self.values, s)
        out, _, _ = _block(self.plan, inverse, s)
        w, m = block.shape[1], block.shape[0] - block.shape[1]
        if not m:
            out[:] = block
            found = scipy.linalg.lapack.dpotri(out, lower=1, overwrite_c=1)[0]
            if not np.may_share_memory(found, out):
                out[:] = found
            return
        own = scipy.linalg.lapack.dpotri(block[:w], lower=1)[0]
        inner = np.empty((m, m))
        kernels.collect(s, inner, inverse, *pattern)
        slope = scipy.linalg.blas.dtrsm(1.0, block[:w], block[w:], side=1, lower=1)
        # `inner` is filled from its diagonal to the right, which its transpose, as BLAS wants it, calls the lower part.
        below = scipy.linalg.blas.dsymm(-1.0, inner.T, slope, lower=1)
        out[w:] = below
        out[:w] = scipy.linalg.blas.dgemm(-1.0, slope, below, 1.0, own, trans_a=1, overwrite_c=1)


def factorise(plan: Plan, entries: Floats) -> Factor:
    """Factor the matrix whose lower triangle has these entries, in the order given to `plan_factor`.

    Parameters
    ----------
    plan
        The pattern.
    entries
        The numbers, (entries,).

    Returns
    -------
    Factor
        Ready to solve, and for its determinant and selected inverse.

    Raises
    ------
    NotPositive
        If a pivot is not above 0.
    """
    values = np.zeros(plan.size)
    values[plan.cells] = entries
    place, work = np.empty(plan.tallest, dtype=np.int64), np.empty(plan.room)
    pattern = (plan.first, plan.owner, plan.row_at, plan.rows, plan.value_at, place)
    for begin, end, large in plan.runs:
        failed = (
            _factor_large(plan, values, begin, place)
            if large
            else kernels.factor_small(begin, end, values, *pattern, work)
        )
        if failed >= 0:
            raise NotPositive(int(plan.order[failed]))
    return Factor(plan, values)


def _factor_large(plan: Plan, values: Floats, s: int, place: Ints) -> int:
    block, _, own = _block(plan, values, s)
    w = block.shape[1]
    # In place where the block is all there is; the upper triangle is 0 and stays so.
    lower, failed = scipy.linalg.lapack.dpotrf(block[:w], lower=1, clean=0, overwrite_a=block.shape[0] == w)
    if failed or not np.isfinite(lower[-1, -1]):
        return int(own.start + max(failed, 1) - 1)
    if not np.may_share_memory(lower, block):
        block[:w] = lower
    if block.shape[0] > w:
        below = scipy.linalg.blas.dtrsm(1.0, lower, block[w:], side=1, lower=1, trans_a=1)
        block[w:] = below
        pattern = (plan.first, plan.owner, plan.row_at, plan.rows, plan.value_at, place)
        kernels.take_away(s, scipy.linalg.blas.dsyrk(1.0, below, lower=1).T, values, *pattern)
    return -1


def _block(plan: Plan, values: Floats, s: int) -> tuple[Floats, Ints, slice]:
    """A group's block (rows x columns), its rows below, and its columns."""
    w, r = int(plan.first[s + 1] - plan.first[s]), int(plan.row_at[s + 1] - plan.row_at[s])
    start = int(plan.value_at[s])
    block = values[start : start + r * w].reshape((r, w), order="F")
    return block, plan.rows[plan.row_at[s] + w : plan.row_at[s + 1]], slice(int(plan.first[s]), int(plan.first[s + 1]))

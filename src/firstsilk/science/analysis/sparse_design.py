"""How do fixed terms with many levels become sparse columns, and which of them can be estimated?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import Factor, FixedTerm, not_estimable
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.records import Records
from firstsilk.science.analysis.sparse_factor import Factor as Triangle
from firstsilk.science.analysis.sparse_factor import NotPositive, factorise, plan_factor

Sparse = scipy.sparse.csr_array
# A fixed column, of length 1, of which less than the root of this is its own is taken as made of the others.
DEPENDENT = 1e-10
# So many fixed columns and fewer are told apart one by one in a complaint.
TOLD_APART = 1_500


@dataclass(frozen=True, slots=True)
class FixedPart:
    """The fixed columns (n, p), each divided by its `lengths` (p,), and the triangle of their cross products."""

    columns: Sparse
    lengths: Array
    triangle: Triangle

    def fit(self, values: Array) -> Array:
        """Least-squares coefficients of values (n,) or (n, k), once refined."""
        found = self.triangle.solve(np.asarray(self.columns.T @ values))
        rest = values - self.columns @ found
        return np.asarray(found + self.triangle.solve(np.asarray(self.columns.T @ rest)), dtype=np.float64)

    def take_out(self, values: Array) -> Array:
        """Values less their least-squares fit."""
        return np.asarray(values - self.columns @ self.fit(values), dtype=np.float64)


def multiply_rows(one: Sparse, two: Sparse) -> Sparse:
    """All products of a column of `one` (n, a) with one of `two` (n, b), row by row, (n, a * b)."""
    n, b = one.shape[0], two.shape[1]
    lengths = np.diff(two.indptr)
    row = np.repeat(np.arange(n), np.diff(one.indptr))
    times = lengths[row]
    left = np.repeat(np.arange(len(one.data)), times)
    ends = np.cumsum(times)
    inside = np.arange(len(left)) - np.repeat(ends - times, times)
    right = two.indptr[row][left] + inside
    where = (row[left], one.indices[left].astype(np.int64) * b + two.indices[right])
    return Sparse((one.data[left] * two.data[right], where), shape=(n, one.shape[1] * b))


def build_sparse_design(terms: Sequence[FixedTerm], records: Records) -> Sparse:
    """The columns of all fixed terms side by side, (n, p)."""
    blocks = []
    for term in terms:
        block = Sparse(np.ones((records.n, 1)))
        for factor in term.factors:
            block = multiply_rows(block, _values(factor, records))
        blocks.append(block[:, term.first :])
    return Sparse(scipy.sparse.hstack(blocks, format="csr"))


def _values(factor: Factor, records: Records) -> Sparse:
    if factor.codes is None:
        return Sparse(records.numbers[factor.column][:, None])
    return Sparse(factor.codes[records.classes[factor.column].codes])


def arrange_fixed(terms: Sequence[FixedTerm], records: Records) -> FixedPart:
    """Lay out the fixed columns.

    Raises
    ------
    InputRefused
        If a column is empty or made of others, naming it.
    """
    design = build_sparse_design(terms, records)
    lengths = np.sqrt(np.asarray(design.multiply(design).sum(axis=0)).ravel())
    scaled = Sparse(design @ scipy.sparse.diags_array(1.0 / np.where(lengths > 0, lengths, 1.0)))
    products = scipy.sparse.tril(scaled.T @ scaled, format="coo")
    row, column = products.coords[0].astype(np.int64), products.coords[1].astype(np.int64)
    plan = plan_factor(scaled.shape[1], row, column)
    try:
        triangle = factorise(plan, products.data)
        least = triangle.values[plan.diagonal] ** 2
        bad = np.flatnonzero(least < DEPENDENT)
    except NotPositive as no:
        bad = np.array([no.column])
    if len(bad):
        raise not_estimable(*_told(scaled, terms, bad, lengths))
    return FixedPart(scaled, lengths, triangle)


def _told(
    scaled: Sparse, terms: Sequence[FixedTerm], bad: NDArray[np.intp], lengths: Array
) -> tuple[list[str], list[str]]:
    """Names of the columns without records and of those made of earlier ones."""
    names = [f"{term.name} {level}".strip() for term in terms for level in term.levels]
    empty = [name for name, length in zip(names, lengths, strict=True) if length == 0]
    if scaled.shape[1] > TOLD_APART:
        return empty, [names[at] for at in bad if lengths[at] > 0]
    # Columns of the cross products depend on each other as the columns themselves do.
    products = (scaled.T @ scaled).toarray()
    basis = np.zeros_like(products)
    made, kept = [], 0
    for at in np.flatnonzero(lengths).tolist():
        rest = products[at] / float(np.linalg.norm(products[at]))
        for _ in range(2):
            rest = rest - (basis[:kept] @ rest) @ basis[:kept]
        left = float(np.linalg.norm(rest))
        if left < DEPENDENT:
            made.append(names[at])
        else:
            basis[kept] = rest / left
            kept += 1
    return empty, made or [names[at] for at in bad if lengths[at] > 0]


@dataclass(frozen=True, slots=True)
class MeanPlan:
    """Combinations of coefficients of the means of one term: `common` (p,) plus a row of `own` (cells, p) each."""

    term: str
    levels: tuple[str, ...]
    common: Array
    own: Sparse


def plan_sparse_means(terms: Sequence[FixedTerm], records: Records) -> list[MeanPlan]:
    """For each fixed term of classes only: which coefficients make up each of its means."""
    planned = []
    for term in terms:
        if not term.factors or any(factor.codes is None for factor in term.factors):
            continue
        columns = [records.classes[factor.column] for factor in term.factors]
        cells = np.array(list(itertools.product(*(range(len(column.levels)) for column in columns))))
        at = {column.name: cells[:, k] for k, column in enumerate(columns)}
        common, own = [], []
        for other in terms:
            row = _mean_columns(other, {}, 1)
            if any(factor.column in at for factor in other.factors):
                own.append(_mean_columns(other, at, len(cells)))
                common.append(np.zeros(row.shape[1]))
            else:
                own.append(Sparse((len(cells), row.shape[1])))
                common.append(row.toarray().ravel())
        levels = tuple(":".join(c.levels[k] for c, k in zip(columns, cell, strict=True)) for cell in cells)
        planned.append(
            MeanPlan(term.name, levels, np.concatenate(common), Sparse(scipy.sparse.hstack(own, format="csr")))
        )
    return planned


def _mean_columns(term: FixedTerm, at: dict[str, NDArray[np.intp]], cells: int) -> Sparse:
    """The columns of a term at the levels of each cell, averaged over the levels of other columns."""
    block = Sparse(np.ones((cells, 1)))
    for factor in term.factors:
        if factor.codes is None:
            values = Sparse(np.full((cells, 1), factor.mean))
        elif factor.column in at:
            values = Sparse(factor.codes[at[factor.column]])
        else:
            mean = np.asarray(factor.codes.sum(axis=0)).ravel() / factor.codes.shape[0]
            values = Sparse(np.broadcast_to(mean, (cells, len(mean))))
        block = multiply_rows(block, values)
    return Sparse(block[:, term.first :])


def check_width(incidence: Sparse, most: float) -> None:
    """Refuse rows so wide that their cross products would not fit into memory."""
    wide = float(np.sum(np.diff(incidence.indptr).astype(np.float64) ** 2))
    if wide > most:
        raise refuse(
            "too_large",
            f"Terms with so many levels at each record need some {math.ceil(wide * 16 / 1e9)} GB, too much for one fit",
            "Leave out a relationship with a singular matrix, or an interaction with numbers.",
        )

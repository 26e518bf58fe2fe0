"""How does a model with many levels become sparse columns, and which of the fixed ones can be estimated?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg.lapack
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import Factor, FixedTerm, not_estimable
from firstsilk.science.analysis.components import Block, RandomPart
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.records import Records
from firstsilk.science.analysis.sparse_factor import Factor as Triangle
from firstsilk.science.analysis.sparse_factor import NotPositive, factorise, plan_factor

Sparse = scipy.sparse.csr_array
# A fixed column, of length 1, of which less than the root of this is its own is taken as made of the others.
DEPENDENT = 1e-10
# So many fixed columns and fewer are told apart one by one in a complaint.
TOLD_APART = 1_500
# A relationship whose roots differ by more than this is not inverted but used through its factor.
INVERTIBLE = 1e-6
# What rounding leaves where an inverse has a 0, relative to its largest and to the ratio of the roots.
LEFT_OVER = 1e-14


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


@dataclass(frozen=True, slots=True)
class RandomColumns:
    """The columns of all random terms and the inverse covariance pattern of their effects (q, q).

    `incidence` (n, levels) says which levels a record has, `to_level` (levels, q) turns effects of columns into
    effects of levels; `log_size` is the log-determinant of the
    covariance pattern; `roots` lists columns with a relationship and a factor T of it, T T'.
    """

    incidence: Sparse
    precision: Sparse
    to_level: Sparse
    components: tuple[slice, ...]
    log_size: float
    roots: tuple[tuple[slice, Array], ...]

    @property
    def width(self) -> int:
        """How many columns there are."""
        return int(self.to_level.shape[1])

    def covary(self, inside: slice, values: Array) -> Array:
        """The covariance pattern of the columns `inside` times values (columns, m)."""
        found = values.copy()
        for place, root in self.roots:
            if inside.start <= place.start < inside.stop:
                at = slice(place.start - inside.start, place.stop - inside.start)
                found[at] = root @ (root.T @ values[at])
        return found


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


def arrange_random(part: RandomPart) -> RandomColumns:
    """Lay out the random columns: a level each, or those of a singular relationship's factor."""
    if not part.blocks:
        nothing = Sparse((0, 0))
        return RandomColumns(Sparse(part.incidence), nothing, nothing, (), 0.0, ())
    made = [_of_block(block) for block in part.blocks]
    stops = np.cumsum([one.to_level.shape[1] for one in made]).tolist()
    places = [slice(stop - one.to_level.shape[1], stop) for stop, one in zip(stops, made, strict=True)]
    components = []
    for component in part.components:
        own = [
            place
            for block, place in zip(part.blocks, places, strict=True)
            if component.columns.start <= block.columns.start < component.columns.stop
        ]
        components.append(slice(own[0].start, own[-1].stop) if own else slice(0, 0))
    to_level = Sparse(scipy.sparse.block_diag([one.to_level for one in made], format="csr"))
    roots = [(place, one.root) for one, place in zip(made, places, strict=True) if one.root is not None]
    return RandomColumns(
        Sparse(part.incidence),
        Sparse(scipy.sparse.block_diag([one.precision for one in made], format="csr")),
        to_level,
        tuple(components),
        sum(one.log_size for one in made),
        tuple(roots),
    )


@dataclass(frozen=True, slots=True)
class _BlockColumns:
    to_level: Sparse
    precision: Sparse
    log_size: float
    root: Array | None


def _of_block(block: Block) -> _BlockColumns:
    """A relationship that can be inverted is used through its inverse, a singular one through its factor."""
    levels = block.levels.stop - block.levels.start
    unit = Sparse(scipy.sparse.eye_array(levels, format="csr"))
    if block.factor is None:
        return _BlockColumns(unit, unit, 0.0, None)
    if block.triangular:
        lower = scipy.linalg.lapack.dpotri(block.factor, lower=1)[0]
        inverse = np.tril(lower) + np.tril(lower, -1).T
        own = np.sum(block.factor**2, axis=1)
        inverse = _without_rest(inverse, float(np.max(own) * np.max(np.abs(inverse))))
        log_size = 2.0 * float(np.sum(np.log(np.diag(block.factor))))
        return _BlockColumns(unit, Sparse(inverse), log_size, block.factor)
    roots = np.sum(block.factor**2, axis=0)
    if len(roots) < levels or roots.min() < INVERTIBLE * roots.max():
        alone = Sparse(scipy.sparse.eye_array(len(roots), format="csr"))
        return _BlockColumns(Sparse(block.factor), alone, 0.0, None)
    inverse = _without_rest((block.factor / roots**2) @ block.factor.T, roots.max() / roots.min())
    return _BlockColumns(unit, Sparse((inverse + inverse.T) / 2.0), float(np.sum(np.log(roots))), block.factor)


def _without_rest(inverse: Array, ratio: float) -> Array:
    """Drop what rounding leaves where an inverse has a 0: only where nothing else is nearly as small."""
    size = np.abs(inverse)
    rest = LEFT_OVER * ratio * float(size.max())
    if not np.any((size > rest) & (size < 1_000.0 * rest)):
        inverse[size <= rest] = 0.0
    return inverse


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


def log_lengths(fixed: FixedPart) -> float:
    """Twice the summed logarithms of the fixed columns' lengths, a part of the criterion."""
    return 2.0 * float(np.sum(np.log(fixed.lengths)))


def check_width(incidence: Sparse, most: float) -> None:
    """Refuse rows so wide that their cross products would not fit into memory."""
    wide = float(np.sum(np.diff(incidence.indptr).astype(np.float64) ** 2))
    if wide > most:
        raise refuse(
            "too_large",
            f"Terms with so many levels at each record need some {math.ceil(wide * 16 / 1e9)} GB, too much for one fit",
            "Leave out a relationship with a singular matrix, or an interaction with numbers.",
        )

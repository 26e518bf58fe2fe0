"""How do the random terms become columns of numbers, and which variance rules which column?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg.lapack
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array, Model, RandomTerm, Relationship, SparseRelationship
from firstsilk.science.analysis.records import Records

# An eigenvalue of a relationship matrix below this share of the largest is taken as 0.
FLAT = 1e-12
# Larger relationships are taken apart into a triangle, which is some 20 times quicker than eigenvectors.
EIGEN_UP_TO = 500
# Of a matrix whose reciprocal condition is below this the eigenvectors are taken, whatever its size.
NEARLY_SINGULAR = 1e-6


@dataclass(frozen=True, slots=True)
class Block:
    """Levels that share one relationship: `levels` = `factor` x independent `columns` (the same if None).

    A factor is a lower triangle, or eigenvectors times the roots of their eigenvalues. A sparse relationship, which
    only the sparse way takes, has no factor.
    """

    levels: slice
    columns: slice
    factor: Array | None
    triangular: bool = False
    sparse: SparseRelationship | None = None


@dataclass(frozen=True, slots=True)
class Component:
    """One variance: its term and level, the independent columns it rules, and its value if known."""

    term: str
    level: str
    columns: slice
    known: float | None


@dataclass(frozen=True, slots=True)
class Factored:
    """A factor-analytic term of `order` factors: its `levels` among all, and what each is made of, (m,) each.

    `unit` numbers the level of the first column (or its name in the relationship: `unit_block` has that block),
    `across` that of the second, one of `names`; `units` is how many there are.
    """

    term: str
    order: int
    levels: slice
    unit: NDArray[np.intp]
    across: NDArray[np.intp]
    units: int
    names: tuple[str, ...]
    unit_block: Block | None


@dataclass(frozen=True, slots=True)
class RandomPart:
    """All random terms: incidence (n x levels), blocks, components, and what each level is called."""

    incidence: scipy.sparse.csr_array
    blocks: tuple[Block, ...]
    components: tuple[Component, ...]
    names: tuple[tuple[str, str], ...]
    diagonal: Array
    component_of_level: NDArray[np.intp]
    factored: tuple[Factored, ...] = ()

    @property
    def width(self) -> int:
        """How many independent columns there are."""
        return self.blocks[-1].columns.stop if self.blocks else 0


@dataclass(frozen=True, slots=True)
class _Pattern:
    """How the first column's levels are related: a factor, or a sparse inverse."""

    diagonal: Array
    width: int
    factor: Array | None = None
    triangular: bool = False
    sparse: SparseRelationship | None = None


@dataclass(frozen=True, slots=True)
class _Group:
    """The levels of one term that share a variance and, if related, names; `units` number the first column."""

    by: str
    across: int
    labels: tuple[str, ...]
    units: NDArray[np.intp]
    pattern: _Pattern | None
    records: NDArray[np.intp]
    positions: NDArray[np.intp]


@dataclass(slots=True)
class _Laid:
    """What has been laid out so far."""

    blocks: list[Block]
    components: list[Component]
    names: list[tuple[str, str]]
    diagonal: list[Array]
    owner: list[int]
    rows: list[NDArray[np.intp]]
    cols: list[NDArray[np.intp]]
    values: list[Array]


def plan_random(records: Records, model: Model) -> RandomPart:
    """Lay out the columns of all random terms.

    Raises
    ------
    InputRefused
        If a term stands twice, levels are not in the relationship, or a `variance_by` or `factors` does not fit.
    """
    laid = _Laid([], [], [], [], [], [], [], [])
    factored = []
    for term in model.random:
        if term.name in [one.term for one in laid.components]:
            raise refuse("term_twice", f"The random term {term.name!r} stands twice")
        if term.factors:
            term = _check_factors(term, records)
        begin = len(laid.names)
        size = _multiplier(term, records)
        groups = _groups(term, records, model)
        for group in groups:
            _lay_group(laid, term, group, size)
        if term.factors:
            factored.append(_factor_part(term, groups, slice(begin, len(laid.names)), records, laid.blocks[-1]))
    return RandomPart(
        _incidence(laid.rows, laid.cols, laid.values, (records.n, len(laid.names))),
        tuple(laid.blocks),
        tuple(laid.components),
        tuple(laid.names),
        np.concatenate(laid.diagonal) if laid.diagonal else np.zeros(0),
        np.array(laid.owner, dtype=np.intp),
        tuple(factored),
    )


def _lay_group(laid: _Laid, term: RandomTerm, group: _Group, size: Array) -> None:
    components, pattern = laid.components, group.pattern
    level, column = len(laid.names), laid.blocks[-1].columns.stop if laid.blocks else 0
    wide = pattern.width if pattern else len(group.labels)
    levels, columns = slice(level, level + len(group.labels)), slice(column, column + wide)
    laid.blocks.append(
        Block(levels, columns, pattern.factor, pattern.triangular, pattern.sparse)
        if pattern
        else Block(levels, columns, None)
    )
    if components and (components[-1].term, components[-1].level) == (term.name, group.by):
        columns = slice(components[-1].columns.start, column + wide)
        components[-1] = Component(term.name, group.by, columns, term.variance)
    else:
        components.append(Component(term.name, group.by, columns, term.variance))
    laid.names += [(term.name, label) for label in group.labels]
    laid.diagonal.append(pattern.diagonal if pattern else np.ones(len(group.labels)))
    laid.owner += [len(components) - 1] * len(group.labels)
    laid.rows.append(group.records)
    laid.cols.append(group.positions + level)
    laid.values.append(size[group.records])


def _check_factors(term: RandomTerm, records: Records) -> RandomTerm:
    """The term with a variance for each level of its second column.

    Raises
    ------
    InputRefused
        If a factor-analytic term is not of two class columns, or of more factors than its levels can tell.
    """
    if len(term.columns) != 2 or any(name not in records.classes for name in term.columns):
        raise refuse("factors_not_usable", f"factors of {term.name!r} needs two class columns: line and environment")
    second = term.columns[1]
    if term.variance_by not in (None, second):
        raise refuse("factors_not_usable", f"factors of {term.name!r} gives each level of {second!r} its own variance")
    levels, k = len(records.classes[second].levels), term.factors
    # Loadings, zeros above the diagonal, and (but for two levels) a variance for each, against all covariances.
    needed = levels * k - k * (k - 1) // 2 + (levels if term.variance != 0.0 and levels > 2 else 0)
    if k >= levels or needed > levels * (levels + 1) // 2:
        raise refuse(
            "factors_too_many",
            f"The {levels} levels of {second!r} cannot tell {k} factor{'s' if k > 1 else ''} of {term.name!r}",
            "Ask for fewer factors.",
        )
    return replace(term, variance_by=second)


def _factor_part(term: RandomTerm, groups: Sequence[_Group], levels: slice, records: Records, last: Block) -> Factored:
    names = records.classes[term.columns[1]].levels
    unit = np.concatenate([group.units for group in groups])
    across = np.concatenate([np.full(len(group.units), group.across) for group in groups])
    related = term.relationship
    units = len(related.names) if related else len(records.classes[term.columns[0]].levels)
    return Factored(term.name, term.factors, levels, unit, across, units, names, last if related else None)


def _incidence(
    rows: Sequence[NDArray[np.intp]], cols: Sequence[NDArray[np.intp]], values: Sequence[Array], shape: tuple[int, int]
) -> scipy.sparse.csr_array:
    if not rows:
        return scipy.sparse.csr_array(shape, dtype=np.float64)
    where = (np.concatenate(rows), np.concatenate(cols))
    return scipy.sparse.csr_array((np.concatenate(values), where), shape=shape)


def _multiplier(term: RandomTerm, records: Records) -> Array:
    size = np.ones(records.n)
    for name in term.columns:
        if name in records.numbers:
            size = size * records.numbers[name]
    return size


def _groups(term: RandomTerm, records: Records, model: Model) -> list[_Group]:
    classes = [name for name in term.columns if name not in model.numeric]
    if not classes or len(set(term.columns)) < len(term.columns):
        raise refuse("term_not_usable", f"The random term {term.name!r} needs at least one class column, each once")
    related = term.relationship
    inner = classes[:1] if related else classes
    outer = classes[1:] if related else []
    by = _by_codes(term, records)
    # Outer cells (and levels of variance_by) make groups; inner cells are the levels inside a group.
    outer_cells = _cells([by, *(records.classes[name].codes for name in outer)])
    pattern = _pattern_of(related) if related else None
    groups = []
    for cell in range(outer_cells.max() + 1):
        inside = np.flatnonzero(outer_cells == cell)
        tail = [records.classes[name].levels[records.classes[name].codes[inside[0]]] for name in outer]
        labels, units, positions = _inner_levels(term, inner, inside, records)
        across = int(by[inside[0]])
        level = records.classes[term.variance_by].levels[across] if term.variance_by else ""
        told = tuple(":".join([label, *tail]) for label in labels)
        groups.append(_Group(level, across, told, units, pattern, inside, positions))
    return groups


def _by_codes(term: RandomTerm, records: Records) -> NDArray[np.intp]:
    if term.variance_by is None:
        return np.zeros(records.n, dtype=np.intp)
    if term.variance_by not in records.classes:
        raise refuse("variance_by_number", f"variance_by of {term.name!r} must name a class column")
    by = records.classes[term.variance_by]
    parts = [records.classes[name].codes for name in term.columns if name in records.classes]
    if term.relationship is not None:
        parts = parts[1:]
    pairs = {(int(cell), int(code)) for cell, code in zip(_cells(parts, records.n), by.codes, strict=True)}
    if len({cell for cell, _ in pairs}) < len(pairs):
        raise refuse(
            "variance_by_not_nested",
            f"variance_by {by.name!r} of the random term {term.name!r}: a level of the term has records in more than "
            f"one level of {by.name!r}",
            f"Add {by.name!r} to the term's columns" + (" after the first." if term.relationship is not None else "."),
        )
    return by.codes


def _cells(parts: Sequence[NDArray[np.intp]], n: int = 0) -> NDArray[np.intp]:
    """Number the distinct combinations of several codes, in the order of the codes."""
    if not parts:
        return np.zeros(n, dtype=np.intp)
    _, inverse = np.unique(np.column_stack(parts), axis=0, return_inverse=True)
    return np.asarray(inverse, dtype=np.intp).ravel()


def _inner_levels(
    term: RandomTerm, inner: Sequence[str], inside: NDArray[np.intp], records: Records
) -> tuple[list[str], NDArray[np.intp], NDArray[np.intp]]:
    """The levels inside a group, the first column's number of each, and the position among them of each record."""
    if term.relationship is not None:
        names = list(term.relationship.names)
        at = {name: position for position, name in enumerate(names)}
        column = records.classes[inner[0]]
        absent = [level for level in column.levels if level not in at]
        if absent:
            raise refuse(
                "not_in_relationship",
                f"Column {column.name!r}: {absent[0]!r} is not in its relationship ({len(absent)} such levels)",
                level=absent[0],
            )
        place = np.array([at[level] for level in column.levels], dtype=np.intp)
        return names, np.arange(len(names)), place[column.codes[inside]]
    columns = [records.classes[name] for name in inner]
    key = columns[0].codes[inside].astype(np.int64)
    for column in columns[1:]:
        key = key * len(column.levels) + column.codes[inside]
    cells, positions = np.unique(key, return_inverse=True)
    parts: list[Sequence[str]] = []
    for column in reversed(columns):
        cells, code = np.divmod(cells, len(column.levels))
        parts.append([column.levels[k] for k in code.tolist()])
    units = np.asarray(code, dtype=np.intp)
    names = [":".join(cell) for cell in zip(*reversed(parts), strict=True)]
    return names, units, np.asarray(positions, dtype=np.intp)


def _pattern_of(related: Relationship | SparseRelationship) -> _Pattern:
    if isinstance(related, SparseRelationship):
        return _Pattern(related.diagonal, related.precision.shape[0], sparse=related)
    factor, diagonal, triangular = _factor_of(related)
    return _Pattern(diagonal, factor.shape[1], factor, triangular)


def _factor_of(related: Relationship) -> tuple[Array, Array, bool]:
    """A factor T with T T' = the relationship (singular ones too), its diagonal, and whether T is a triangle.

    Raises
    ------
    InputRefused
        If the matrix is not square, not symmetric, has missing values or a truly negative eigenvalue.
    """
    K = np.asarray(related.matrix, dtype=np.float64)
    size = len(related.names)
    if K.shape != (size, size) or len(set(related.names)) < size:
        raise refuse("relationship_shape", "A relationship must be square, with as many different names as rows")
    if not np.all(np.isfinite(K)):
        raise refuse("relationship_missing", "A relationship must not have missing values")
    scale = float(np.max(np.abs(K)))
    if float(np.max(np.abs(K - K.T))) > 1e-8 * scale:
        raise refuse("relationship_not_symmetric", "A relationship must be symmetric")
    lower = _triangle_of(K) if size > EIGEN_UP_TO else None
    if lower is not None:
        return lower, np.diag(K).copy(), True
    roots, directions = np.linalg.eigh((K + K.T) / 2)
    if roots[0] < -1e-8 * scale * size:
        raise refuse(
            "relationship_negative", f"A relationship must not have a negative eigenvalue (found {roots[0]:.3g})"
        )
    used = roots > FLAT * roots[-1]
    return directions[:, used] * np.sqrt(roots[used]), np.diag(K).copy(), False


def _triangle_of(K: Array) -> Array | None:
    """The Cholesky triangle, or None if the matrix is singular or nearly so."""
    lower, failed = scipy.linalg.lapack.dpotrf((K + K.T) / 2, lower=1)
    if failed:
        return None
    share, _ = scipy.linalg.lapack.dpocon(lower, float(np.max(np.sum(np.abs(K), axis=0))), uplo="L")
    return np.asarray(lower) if share > NEARLY_SINGULAR else None

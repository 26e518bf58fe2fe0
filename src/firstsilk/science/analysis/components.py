"""How do the random terms become columns of numbers, and which variance rules which column?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg.lapack
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array, Model, RandomTerm, Relationship
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

    A factor is a lower triangle, or eigenvectors times the roots of their eigenvalues.
    """

    levels: slice
    columns: slice
    factor: Array | None
    triangular: bool = False


@dataclass(frozen=True, slots=True)
class Component:
    """One variance: its term and level, the independent columns it rules, and its value if known."""

    term: str
    level: str
    columns: slice
    known: float | None


@dataclass(frozen=True, slots=True)
class RandomPart:
    """All random terms: incidence (n x levels), blocks, components, and what each level is called."""

    incidence: scipy.sparse.csr_array
    blocks: tuple[Block, ...]
    components: tuple[Component, ...]
    names: tuple[tuple[str, str], ...]
    diagonal: Array
    component_of_level: NDArray[np.intp]

    @property
    def width(self) -> int:
        """How many independent columns there are."""
        return self.blocks[-1].columns.stop if self.blocks else 0


@dataclass(frozen=True, slots=True)
class _Group:
    """The levels of one term that share a variance and, if related, one set of names."""

    by: str
    labels: tuple[str, ...]
    diagonal: Array
    factor: Array | None
    triangular: bool
    records: NDArray[np.intp]
    positions: NDArray[np.intp]


def plan_random(records: Records, model: Model) -> RandomPart:
    """Lay out the columns of all random terms.

    Raises
    ------
    InputRefused
        If a term stands twice, levels are not in the relationship, or a `variance_by` does not fit.
    """
    blocks: list[Block] = []
    components: list[Component] = []
    names: list[tuple[str, str]] = []
    diagonal: list[Array] = []
    owner: list[int] = []
    rows, cols, values = [], [], []
    for term in model.random:
        if term.name in [one.term for one in components]:
            raise refuse("term_twice", f"The random term {term.name!r} stands twice")
        size = _multiplier(term, records)
        for group in _groups(term, records, model):
            level, column = len(names), blocks[-1].columns.stop if blocks else 0
            wide = group.factor.shape[1] if group.factor is not None else len(group.labels)
            levels, columns = slice(level, level + len(group.labels)), slice(column, column + wide)
            blocks.append(Block(levels, columns, group.factor, group.triangular))
            if components and (components[-1].term, components[-1].level) == (term.name, group.by):
                components[-1] = Component(
                    term.name, group.by, slice(components[-1].columns.start, column + wide), term.variance
                )
            else:
                components.append(Component(term.name, group.by, columns, term.variance))
            names += [(term.name, label) for label in group.labels]
            diagonal.append(group.diagonal)
            owner += [len(components) - 1] * len(group.labels)
            rows.append(group.records)
            cols.append(group.positions + level)
            values.append(size[group.records])
    incidence = _incidence(rows, cols, values, (records.n, len(names)))
    return RandomPart(
        incidence,
        tuple(blocks),
        tuple(components),
        tuple(names),
        np.concatenate(diagonal) if diagonal else np.zeros(0),
        np.array(owner, dtype=np.intp),
    )


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
    factor, spread, triangular = _factor_of(related) if related else (None, None, False)
    groups = []
    for cell in range(outer_cells.max() + 1):
        inside = np.flatnonzero(outer_cells == cell)
        tail = [records.classes[name].levels[records.classes[name].codes[inside[0]]] for name in outer]
        labels, positions = _inner_levels(term, inner, inside, records)
        level = records.classes[term.variance_by].levels[by[inside[0]]] if term.variance_by else ""
        told = tuple(":".join([label, *tail]) for label in labels)
        groups.append(
            _Group(
                level, told, np.ones(len(labels)) if spread is None else spread, factor, triangular, inside, positions
            )
        )
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
) -> tuple[list[str], NDArray[np.intp]]:
    """The names of the levels inside a group, and the position among them of each of its records."""
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
        return names, np.array([at[column.levels[code]] for code in column.codes[inside]], dtype=np.intp)
    columns = [records.classes[name] for name in inner]
    codes = np.column_stack([column.codes[inside] for column in columns])
    cells, positions = np.unique(codes, axis=0, return_inverse=True)
    names = [":".join(c.levels[k] for c, k in zip(columns, cell, strict=True)) for cell in cells]
    return names, np.asarray(positions, dtype=np.intp).ravel()


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

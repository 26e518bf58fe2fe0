"""What are the unknowns of a large model, which levels are they used in, and what scales each use?

A level (a line at a site, a cell of ground) is a combination of unknowns of unit size; each use of an unknown is scaled
by the root of a variance, by a loading, or not at all. Importing this module imports numba: do it inside the function
that needs it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg.lapack
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.components import Block, Factored, RandomPart
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.priors import Prior, Steady
from firstsilk.science.analysis.sparse_factor import Factor, factorise, plan_factor

Sparse = scipy.sparse.csr_array
Ints = NDArray[np.int64]
# A relationship whose roots differ by more than this is not inverted but used through its factor.
INVERTIBLE = 1e-6
# What rounding leaves where an inverse has a 0, relative to its largest and to the ratio of the roots.
LEFT_OVER = 1e-14
# The scaler of a use that nothing scales.
PLAIN = -1


@dataclass(frozen=True, slots=True)
class Columns:
    """The random unknowns (q) and their uses (u).

    `incidence` (n, L) says which levels a record has, `turn` (L, u) which uses make up a level, `column` (u,) the
    unknown of each use, `scaler` (u,) the place of the parameter that scales it (`PLAIN`: none).
    """

    incidence: Sparse
    turn: Sparse
    column: Ints
    scaler: Ints
    width: int
    priors: tuple[Prior, ...]


@dataclass(slots=True)
class Piece:
    """A part of the columns: levels (n, l), uses of its own unknowns and maybe of others, and priors of its own."""

    incidence: Sparse
    turn: Sparse
    column: Ints
    scaler: Ints


def join_columns(pieces: Sequence[Piece], priors: Sequence[Prior], n: int) -> Columns:
    """Set pieces side by side; their columns are numbered already."""
    if not pieces:
        nothing = Sparse((0, 0))
        empty = np.zeros(0, dtype=np.int64)
        return Columns(Sparse((n, 0)), nothing, empty, empty, 0, ())
    return Columns(
        Sparse(scipy.sparse.hstack([one.incidence for one in pieces], format="csr")),
        Sparse(scipy.sparse.block_diag([one.turn for one in pieces], format="csr")),
        np.concatenate([one.column for one in pieces]).astype(np.int64),
        np.concatenate([one.scaler for one in pieces]).astype(np.int64),
        max((prior.columns.stop for prior in priors), default=0),
        tuple(priors),
    )


def random_piece(part: RandomPart, loadings: Sequence[NDArray[np.intp]]) -> tuple[list[Piece], list[Prior]]:
    """The columns of the random terms; the variance of component k is parameter k.

    Parameters
    ----------
    part
        The random terms, laid out.
    loadings
        For each factor-analytic term the place of the loading of each factor at each level of the second column,
        (order, levels), -1 where it is held at 0.
    """
    if not part.blocks:
        return [], []
    owner = np.zeros(len(part.names), dtype=np.int64)
    owner[:] = part.component_of_level
    turns, columns, scalers, priors, at = [], [], [], list[Prior](), 0
    sources = []
    for block in part.blocks:
        source = _source_of(block)
        sources.append(source)
        wide = source.to_level.shape[1]
        turns.append(source.to_level)
        columns.append(np.arange(at, at + wide))
        scalers.append(np.full(wide, owner[block.levels.start]))
        priors.append(Steady(slice(at, at + wide), source.precision, source.log_size, source.solve))
        at += wide
    turn = Sparse(scipy.sparse.block_diag(turns, format="csr"))
    extra: list[Sparse] = []
    for factored, places in zip(part.factored, loadings, strict=True):
        known = next((s for s, b in zip(sources, part.blocks, strict=True) if b is factored.unit_block), None)
        at = _add_factors(factored, places, known, at, (extra, columns, scalers, priors), len(part.names))
    whole = Sparse(scipy.sparse.hstack([turn, *extra], format="csr")) if extra else turn
    piece = Piece(Sparse(part.incidence), whole, np.concatenate(columns), np.concatenate(scalers))
    return [piece], priors


def _add_factors(
    factored: Factored,
    places: NDArray[np.intp],
    known: Source | None,
    at: int,
    into: tuple[list[Sparse], list[NDArray[np.intp]], list[NDArray[np.intp]], list[Prior]],
    levels: int,
) -> int:
    """Unknowns for each factor, used in each level with the loading of its second column; the next free column."""
    extra, columns, scalers, priors = into
    source = known or _plain_source(factored.units)
    wide = source.to_level.shape[1]
    for own in places:
        priors.append(Steady(slice(at, at + wide), source.precision, source.log_size, source.solve))
        for j in np.flatnonzero(own >= 0).tolist():
            inside = np.flatnonzero(factored.across == j)
            picked = scipy.sparse.csr_array(
                (np.ones(len(inside)), (factored.levels.start + inside, factored.unit[inside])),
                shape=(levels, factored.units),
            )
            extra.append(Sparse(picked @ source.to_level))
            columns.append(np.arange(at, at + wide))
            scalers.append(np.full(wide, own[j]))
        at += wide
    return at


@dataclass(frozen=True, slots=True)
class Source:
    """The unknowns of one block: how they make up its levels, their inverse pattern, its covariance as a function."""

    to_level: Sparse
    precision: Sparse
    log_size: float
    solve: Callable[[Array], Array] | None


def _plain_source(levels: int) -> Source:
    unit = Sparse(scipy.sparse.eye_array(levels, format="csr"))
    return Source(unit, unit, 0.0, None)


def _source_of(block: Block) -> Source:
    """A relationship that can be inverted is used through its inverse, a singular one through its factor."""
    levels = block.levels.stop - block.levels.start
    if block.sparse is not None:
        own = block.sparse
        return Source(own.to_level, own.precision, own.log_size, _solver(own.precision))
    if block.factor is None:
        return _plain_source(levels)
    factor = block.factor
    unit = Sparse(scipy.sparse.eye_array(levels, format="csr"))
    if block.triangular:
        lower = scipy.linalg.lapack.dpotri(factor, lower=1)[0]
        inverse = np.tril(lower) + np.tril(lower, -1).T
        own_size = np.sum(factor**2, axis=1)
        inverse = _without_rest(inverse, float(np.max(own_size) * np.max(np.abs(inverse))))
        log_size = 2.0 * float(np.sum(np.log(np.diag(factor))))
        return Source(unit, Sparse(inverse), log_size, lambda right: np.asarray(factor @ (factor.T @ right)))
    roots = np.sum(factor**2, axis=0)
    if len(roots) < levels or roots.min() < INVERTIBLE * roots.max():
        alone = Sparse(scipy.sparse.eye_array(len(roots), format="csr"))
        return Source(Sparse(factor), alone, 0.0, None)
    inverse = _without_rest((factor / roots**2) @ factor.T, roots.max() / roots.min())
    log_size = float(np.sum(np.log(roots)))
    return Source(
        unit, Sparse((inverse + inverse.T) / 2.0), log_size, lambda right: np.asarray(factor @ (factor.T @ right))
    )


def _solver(precision: Sparse) -> Callable[[Array], Array]:
    """The covariance of a sparse inverse, as a function; the factor is made when first asked for."""
    made: list[Factor] = []

    def solve(right: Array) -> Array:
        if not made:
            lower = scipy.sparse.tril(precision, format="coo")
            row, column = (one.astype(np.int64) for one in lower.coords)
            made.append(factorise(plan_factor(precision.shape[0], row, column), lower.data))
        return made[0].solve(right)

    return solve


def _without_rest(inverse: Array, ratio: float) -> Array:
    """Drop what rounding leaves where an inverse has a 0: only where nothing else is nearly as small."""
    size = np.abs(inverse)
    rest = LEFT_OVER * ratio * float(size.max())
    if not np.any((size > rest) & (size < 1_000.0 * rest)):
        inverse[size <= rest] = 0.0
    return inverse

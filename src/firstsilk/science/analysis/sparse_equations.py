"""For given parameters and very many levels: how likely are the data (REML), which way is up, what are the effects?

Henderson's equations for unknowns of unit size on one fixed sparse pattern; each entry is a sum of products of uses, so
that all slopes are exact, from the selected inverse. Importing this module imports numba: do it inside the function
that needs it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.parameters import LOADING, VARIANCE, WIGGLE, Parameter, scale_uses
from firstsilk.science.analysis.priors import Counts, Prior
from firstsilk.science.analysis.residuals import Left
from firstsilk.science.analysis.sparse_columns import PLAIN, Columns, Sparse
from firstsilk.science.analysis.sparse_design import FixedPart, check_width
from firstsilk.science.analysis.sparse_factor import Factor, Ints, NotPositive, Plan, factorise, plan_factor
from firstsilk.science.analysis.sparse_slopes import add_products, sum_slopes

# Numbers in a factor; three such arrays are held at once (a choice of ours: 12 GB).
MOST_NUMBERS = 500_000_000
# Products of cross products that are built at once.
MOST_PRODUCTS = 1e9


@dataclass(frozen=True, slots=True)
class Products:
    """Products of two uses within a piece of the residual's inverse, each belonging to one entry of the equations."""

    cell: Ints
    one: NDArray[np.int32]
    two: NDArray[np.int32]
    piece: NDArray[np.int32]
    value: Array


@dataclass(frozen=True, slots=True)
class LargeProblem:
    """What stays the same while parameters change. Shapes: n records on N rows, q random and p fixed unknowns.

    `place` and `weights` (n,) are the row and known weight of each record; rows without one have an unknown of their
    own (m), which makes them say nothing. `levels` (N, L + p + m), turned over `from_rows`, and `turn` (L + p + m, u)
    lead from rows to uses; `column` and `scaler` (u,) say which unknown a use is of and which parameter scales it.
    `prior_cell`, `prior_piece`, `prior_value` are the entries of the priors' pieces, numbered one prior after another.
    """

    response: Array
    place: NDArray[np.intp]
    weights: Array
    fixed: FixedPart
    parameters: tuple[Parameter, ...]
    priors: tuple[Prior, ...]
    left: Left
    levels: Sparse
    from_rows: Sparse
    turn: Sparse
    column: Ints
    scaler: Ints
    width: int
    size: int
    constant: float
    magnitude: float
    plan: Plan
    twice: Array
    products: Products
    prior_cell: Ints
    prior_piece: Ints
    prior_value: Array

    @property
    def n(self) -> int:
        """How many records there are."""
        return len(self.place)

    def on_rows(self, values: Array) -> Array:
        """From records (n, ...) to rows (N, ...), 0 where there is no record."""
        out = np.zeros((len(self.response), *values.shape[1:]))
        out[self.place] = values
        return out

    def turn_at(self, scale: Array) -> Sparse:
        """From unknowns to levels at given scales, (L + p + m, size)."""
        at = self.turn.indices
        data = self.turn.data * scale[self.scaler[at]]
        return Sparse((data, self.column[at], self.turn.indptr), shape=(self.turn.shape[0], self.size))


@dataclass(slots=True)
class LargeState:
    """One solved set of equations; slopes and the selected inverse are there after `find_slopes`.

    `used` are the parameters that stood in for `values`, `turned` (levels, size) makes levels of unknowns, `back`
    is that turned over, `unit` the solution, `Py` (N,) the projected response.
    """

    values: Array
    log_likelihood: float
    used: Array
    turned: Sparse
    back: Sparse
    factor: Factor
    unit: Array
    Py: Array
    left: Counts
    counts: list[Counts]
    score: Array = field(default_factory=lambda: np.zeros(0))
    information: Array = field(default_factory=lambda: np.zeros((0, 0)))
    inverse: Array = field(default_factory=lambda: np.zeros(0))


def arrange_equations(
    response: Array,
    place: NDArray[np.intp],
    n_rows: int,
    weights: Array,
    fixed: FixedPart,
    columns: Columns,
    left: Left,
    parameters: Sequence[Parameter],
    magnitude: float,
) -> LargeProblem:
    """Lay out the equations on their pattern.

    Raises
    ------
    InputRefused
        If the equations would not fit into memory.
    """
    K, p = len(parameters), fixed.columns.shape[1]
    on_rows = Sparse((np.ones(len(place)), (place, np.arange(len(place)))), shape=(n_rows, len(place)))
    without = np.setdiff1d(np.arange(n_rows), place)
    gaps = Sparse((np.ones(len(without)), (without, np.arange(len(without)))), shape=(n_rows, len(without)))
    incidence = scipy.sparse.hstack([columns.incidence, fixed.columns], format="csr")
    levels = Sparse(scipy.sparse.hstack([on_rows @ incidence, gaps], format="csr"))
    flat = p + len(without)
    turn = Sparse(scipy.sparse.block_diag([columns.turn, scipy.sparse.eye_array(flat)], format="csr"))
    size = columns.width + flat
    column = np.concatenate([columns.column, columns.width + np.arange(flat)])
    scaler = np.concatenate([np.where(columns.scaler == PLAIN, K, columns.scaler), np.full(flat, K)])
    check_width(levels, MOST_PRODUCTS)
    keys, products = _multiply(levels, turn, left, column, scaler, size)
    prior_keys, prior_piece, prior_value = _prior_entries(columns.priors, size)
    entries, where = np.unique(np.concatenate([keys, prior_keys]), return_inverse=True)
    second, first = np.divmod(entries, size)
    plan = plan_factor(size, first, second)
    if plan.size > MOST_NUMBERS:
        raise refuse(
            "too_large",
            f"The equations fill in to {plan.size:,} numbers, too many for one fit ({MOST_NUMBERS:,})",
            "Fit fewer sites at a time, or leave out a term with many crossing levels.",
        )
    constant = (len(place) - p) * math.log(2.0 * math.pi) + 2.0 * float(np.sum(np.log(fixed.lengths)))
    whole = np.zeros(n_rows)
    whole[place] = response
    return LargeProblem(
        whole, place, weights, fixed, tuple(parameters), columns.priors, left, levels, Sparse(levels.T), turn, column,
        scaler, columns.width, size, constant, magnitude, plan, np.where(first == second, 1.0, 2.0),
        Products(where[: len(keys)], *products), where[len(keys) :], prior_piece, prior_value,
    )  # fmt: skip


def _multiply(
    levels: Sparse, turn: Sparse, left: Left, column: Ints, scaler: Ints, size: int
) -> tuple[Ints, tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32], Array]]:
    """Cross products of the uses over each piece of the residual: the entry of each, its scalers, piece and value."""
    keys, ones, twos, pieces, values = [], [], [], [], []
    for at, (rows, piece) in enumerate(left.pieces()):
        inside = levels[rows]
        made = (turn.T @ (inside.T @ (piece @ inside)) @ turn).tocoo()
        a, b = (one.astype(np.int64) for one in made.coords)
        kept = (column[a] >= column[b]) & (made.data != 0)
        a, b = a[kept], b[kept]
        keys.append(column[b] * size + column[a])
        ones.append(scaler[a].astype(np.int32))
        twos.append(scaler[b].astype(np.int32))
        pieces.append(np.full(len(a), at, dtype=np.int32))
        values.append(made.data[kept])
    return np.concatenate(keys), tuple(np.concatenate(one) for one in (ones, twos, pieces, values))  # type: ignore[return-value]


def _prior_entries(priors: Sequence[Prior], size: int) -> tuple[Ints, Ints, Array]:
    """The entries of all pieces of all priors: which, of what piece (numbered through), and their values."""
    keys, pieces, values, at = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)], [np.zeros(0)], 0
    for prior in priors:
        for piece in prior.pieces:
            lower = scipy.sparse.tril(piece, format="coo")
            row, col = (one.astype(np.int64) + prior.columns.start for one in lower.coords)
            keys.append(col * size + row)
            pieces.append(np.full(len(row), at, dtype=np.int64))
            values.append(lower.data)
            at += 1
    return np.concatenate(keys), np.concatenate(pieces), np.concatenate(values)


def solve_large(problem: LargeProblem, values: Array, floor: Array) -> LargeState:
    """Solve the equations and give the REML log-likelihood.

    Parameters
    ----------
    problem
        The data, arranged.
    values
        The parameters, (K,).
    floor
        Stands in for variances below it, (K,), so that their slopes can be told; 0 takes a 0 as 0.

    Returns
    -------
    LargeState
        Solved, without slopes.

    Raises
    ------
    InputRefused
        If the equations are singular at these parameters.
    """
    bounded = np.array([one.kind in (VARIANCE, WIGGLE) for one in problem.parameters], dtype=np.bool_)
    used = np.where(bounded, np.maximum(values, floor), values)
    scale, _ = scale_uses(problem.parameters, used)
    left, counts = problem.left.count(used), [prior.count(used) for prior in problem.priors]
    prior_weights = np.concatenate([one.weights for one in counts]) if counts else np.zeros(0)
    entries = np.bincount(
        problem.prior_cell, problem.prior_value * prior_weights[problem.prior_piece], len(problem.twice)
    ).astype(np.float64)
    made = problem.products
    add_products(made.cell, made.one, made.two, made.piece, made.value, scale, left.weights, entries)
    try:
        factor = factorise(problem.plan, entries)
    except NotPositive:
        raise refuse("equations_singular", "The mixed model equations are singular at these variances") from None
    turned = problem.turn_at(scale)
    weighed = problem.left.weigh(used, problem.response)
    back = Sparse(turned.T)
    unit = factor.solve(np.asarray(back @ (problem.from_rows @ weighed)))
    Py = problem.left.weigh(used, problem.response - problem.levels @ (turned @ unit))
    log_size = left.log_size + sum(one.log_size for one in counts)
    log_likelihood = -0.5 * (problem.constant + log_size + factor.log_determinant() + float(problem.response @ Py))
    return LargeState(values, log_likelihood, used, turned, back, factor, unit, Py, left, counts)


def find_slopes(problem: LargeProblem, state: LargeState) -> LargeState:
    """Add score, average information and the selected inverse to a state.

    Notes
    -----
    Slope along a parameter t: -1/2 [tr(C^-1 dC/dt) + d ln|R|/dt + d ln|G|/dt - y'P dV/dt P y], the first from entries
    of C^-1 on the pattern of C. A variance of exactly 0 gets the slope -1: it is held.
    """
    scale, slope = scale_uses(problem.parameters, state.used)
    state.inverse = state.factor.selected_inverse()
    on_pattern = state.inverse[problem.plan.cells] * problem.twice
    by_scale, by_weight = np.zeros(len(scale)), np.zeros(len(state.left.weights))
    made = problem.products
    sum_slopes(
        made.cell,
        made.one,
        made.two,
        made.piece,
        made.value,
        scale,
        state.left.weights,
        on_pattern,
        by_scale,
        by_weight,
    )
    trace = (by_scale * slope)[:-1]
    trace[list(problem.left.parameters)] += state.left.slopes.T @ by_weight + state.left.log_slopes
    _add_prior_traces(problem, state, on_pattern, trace)
    working = change_response(problem, state.used, state.turned, state.counts, state.unit, state.Py)
    gone = np.array([one.kind == VARIANCE for one in problem.parameters], dtype=np.bool_) & (state.used == 0)
    state.score = np.where(gone, -1.0, -0.5 * (trace - state.Py @ working))
    state.information = 0.5 * working.T @ project(problem, state, working)
    return state


def _add_prior_traces(problem: LargeProblem, state: LargeState, on_pattern: Array, trace: Array) -> None:
    by_piece = np.bincount(
        problem.prior_piece,
        problem.prior_value * on_pattern[problem.prior_cell],
        sum(len(one.weights) for one in state.counts),
    )
    at = 0
    for prior, counts in zip(problem.priors, state.counts, strict=True):
        stop = at + len(counts.weights)
        if prior.parameters:
            trace[list(prior.parameters)] += counts.slopes.T @ by_piece[at:stop] + counts.log_slopes
        at = stop


def change_response(
    problem: LargeProblem, used: Array, turned: Sparse, counts: Sequence[Counts], unit: Array, vector: Array
) -> Array:
    """dV / d(each parameter) times a vector (N,), `unit` (size,) being G T' Z' times it: (N, K)."""
    by_level = _through_scales(problem, used, turned, unit, vector)
    for prior, count in zip(problem.priors, counts, strict=True):
        inside = unit[prior.columns]
        for m, k in enumerate(prior.parameters):
            parts = zip(count.slopes[:, m], prior.pieces, strict=True)
            change = np.sum([w * (piece @ inside) for w, piece in parts], axis=0)
            pulled = np.zeros(problem.size)
            pulled[prior.columns] = -prior.covary(used, change[:, None])[:, 0]
            by_level[:, k] += turned @ pulled
    working = np.asarray(problem.levels @ by_level, dtype=np.float64)
    for m, k in enumerate(problem.left.parameters):
        working[:, k] += problem.left.change(used, m, vector)
    return working


def _through_scales(problem: LargeProblem, used: Array, turned: Sparse, unit: Array, vector: Array) -> Array:
    """The part of that, at levels, of what parameters do as scales, (L + p + m, K)."""
    K, turn = len(problem.parameters), problem.turn
    _, slope = scale_uses(problem.parameters, used)
    use = turn.indices
    level = np.repeat(np.arange(turn.shape[0]), np.diff(turn.indptr))
    scaler = problem.scaler[use]
    inside = scaler < K
    # A root of a variance scales all uses of its unknowns, so both halves of the product are alike.
    twice = np.array([2.0 if one.kind == VARIANCE else 1.0 for one in problem.parameters])
    value = turn.data[inside] * unit[problem.column[use[inside]]] * (slope[:K] * twice)[scaler[inside]]
    found = np.bincount(level[inside] * K + scaler[inside], value, turn.shape[0] * K).reshape(-1, K).astype(np.float64)
    loadings = [k for k, one in enumerate(problem.parameters) if one.kind == LOADING]
    if not loadings:
        return found
    pulled = np.asarray(problem.from_rows @ vector)
    for k in loadings:
        at = np.flatnonzero(scaler == k)
        own = np.bincount(problem.column[use[at]], turn.data[at] * pulled[level[at]], problem.size).astype(np.float64)
        for prior in problem.priors:
            if np.any(own[prior.columns]):
                own[prior.columns] = prior.covary(used, own[prior.columns][:, None])[:, 0]
        found[:, k] += turned @ own
    return found


def project(problem: LargeProblem, state: LargeState, values: Array) -> Array:
    """P times values, (N, m); rows without a record are left out of account."""
    weighed = problem.left.weigh(state.used, values)
    solution = state.factor.solve(np.asarray(state.back @ (problem.from_rows @ weighed)))
    fitted = problem.levels @ (state.turned @ solution)
    return np.asarray(weighed - problem.left.weigh(state.used, np.asarray(fitted)), dtype=np.float64)

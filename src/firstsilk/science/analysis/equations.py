"""For given variances: how likely are the data (REML), which way is up, and what are the effects?

The mixed model equations are solved for independent unit effects v, with u = T sqrt(variance) v, so that a
variance of exactly 0 and a singular relationship are ordinary cases.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.components import RandomPart
from firstsilk.science.analysis.models import Array

# Below this ratio of random to residual information a trace is taken by the long formula, which does not divide
# by the variance.
SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class Problem:
    """What stays the same while variances change. Shapes: n records, p fixed columns, L levels, G residual groups.

    response
        (n,) the response less its least-squares fit on the fixed part (REML does not see the fixed part).
    fixed
        (n, p) orthonormal columns.
    incidence
        (n, L) random incidence; dense after a known residual covariance was taken out.
    groups
        (n,) residual group of each record; `n_groups` of them.
    weights
        (n,) relative precision.
    constant
        Part of -2 log-likelihood that never changes.
    magnitude
        The largest size of a response as given.
    """

    response: Array
    fixed: Array
    incidence: Array | scipy.sparse.csr_array
    random: RandomPart
    groups: NDArray[np.intp]
    n_groups: int
    weights: Array
    constant: float
    magnitude: float

    @property
    def n_random(self) -> int:
        """How many random variances there are."""
        return len(self.random.components)


@dataclass(frozen=True, slots=True)
class Products:
    """Cross products of all columns under given residual variances (q random columns, p fixed ones)."""

    random: Array
    random_fixed: Array
    fixed: Array
    random_response: Array
    fixed_response: Array


@dataclass(frozen=True, slots=True)
class State:
    """One solved set of equations. `inverse` is that of the equations over the active columns and the fixed ones."""

    variances: Array
    log_likelihood: float
    score: Array
    information: Array
    active: NDArray[np.intp]
    scale: Array
    inverse: Array
    fixed_solution: Array
    random_solution: Array

    @property
    def values(self) -> Array:
        """The parameters that were stood at, here the variances."""
        return self.variances


def multiply(problem: Problem, values: Array) -> Array:
    """Z' times values, (L, ...)."""
    return np.asarray(problem.incidence.T @ values, dtype=np.float64)


def to_columns(part: RandomPart, values: Array) -> Array:
    """T' times values: from levels (L, ...) to independent columns (q, ...)."""
    out = np.empty((part.width, *values.shape[1:]))
    for block in part.blocks:
        inside = values[block.levels]
        out[block.columns] = inside if block.factor is None else block.factor.T @ inside
    return out


def to_levels(part: RandomPart, values: Array) -> Array:
    """T times values: from independent columns (q, ...) to levels (L, ...)."""
    out = np.empty((len(part.names), *values.shape[1:]))
    for block in part.blocks:
        inside = values[block.columns]
        out[block.levels] = inside if block.factor is None else block.factor @ inside
    return out


def cross_products(problem: Problem, precision: Array) -> Products:
    """Cross products of random, fixed and response columns, each record weighted by its precision (n,)."""
    Z, part = problem.incidence, problem.random
    if isinstance(Z, np.ndarray):
        inner = Z.T @ (Z * precision[:, None])
    else:
        inner = (Z.T @ Z.multiply(precision[:, None])).toarray()
    weighted = problem.fixed * precision[:, None]
    response = problem.response * precision
    return Products(
        to_columns(part, to_columns(part, np.asarray(inner)).T),
        to_columns(part, multiply(problem, weighted)),
        problem.fixed.T @ weighted,
        to_columns(part, multiply(problem, response)),
        problem.fixed.T @ response,
    )


def _products_at(problem: Problem, residual: Array, at_one: Products | None, precision: Array) -> Products:
    if at_one is None:
        return cross_products(problem, precision)
    share = 1.0 / residual[0]
    return Products(
        at_one.random * share,
        at_one.random_fixed * share,
        at_one.fixed * share,
        at_one.random_response * share,
        at_one.fixed_response * share,
    )


def column_scale(part: RandomPart, random: Array) -> Array:
    """The root of the variance that rules each independent column, (q,)."""
    scale = np.zeros(part.width)
    for component, variance in zip(part.components, random, strict=True):
        scale[component.columns] = math.sqrt(variance)
    return scale


def solve_equations(problem: Problem, variances: Array, at_one: Products | None = None) -> State:
    """Solve the mixed model equations and give REML log-likelihood, score and average information.

    Parameters
    ----------
    problem
        The data, arranged.
    variances
        Random variances, then residual ones, (K,); random ones may be 0.
    at_one
        Cross products at residual variance 1, if there is a single residual variance (saves time).

    Returns
    -------
    State
        The solved equations.

    Raises
    ------
    InputRefused
        If the equations are singular at these variances.

    Notes
    -----
    log-likelihood = -1/2 [(n-p) ln 2pi + ln|V| + ln|X'V^-1X| + y'Py]; score and average information as in
    Gilmour, Thompson & Cullis (1995) Biometrics 51:1440, information_jk = 1/2 y'P V_j P V_k P y.
    """
    part = problem.random
    random, residual = variances[: problem.n_random], variances[problem.n_random :]
    precision = problem.weights / residual[problem.groups]
    products = _products_at(problem, residual, at_one, precision)
    scale = column_scale(part, random)
    active = np.flatnonzero(scale > 0)
    equations = _equations(products, scale, active)
    try:
        lower: Array = np.asarray(np.linalg.cholesky(equations), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise refuse("equations_singular", "The mixed model equations are singular at these variances") from None
    rhs = np.concatenate([scale[active] * products.random_response[active], products.fixed_response])
    solution = scipy.linalg.cho_solve((lower, True), rhs)
    inverse = _inverse(lower)
    v = np.zeros(part.width)
    v[active] = solution[: len(active)]
    b = solution[len(active) :]
    effects = to_levels(part, scale * v)
    Py = precision * (problem.response - problem.incidence @ effects - problem.fixed @ b)
    log_likelihood = -0.5 * (
        problem.constant
        + float(np.sum(np.log(residual[problem.groups])))
        + 2.0 * float(np.sum(np.log(np.diag(lower))))
        + float(problem.response @ Py)
    )
    state = State(variances, log_likelihood, np.zeros(0), np.zeros((0, 0)), active, scale, inverse, b, effects)
    score, information = _slopes(problem, state, products, precision, Py)
    return State(variances, log_likelihood, score, information, active, scale, inverse, b, effects)


def _equations(products: Products, scale: Array, active: NDArray[np.intp]) -> Array:
    d, q = scale[active], len(active)
    size = q + len(products.fixed)
    equations = np.empty((size, size))
    equations[:q, :q] = products.random[np.ix_(active, active)] * d[:, None] * d
    equations[np.arange(q), np.arange(q)] += 1.0
    equations[:q, q:] = products.random_fixed[active] * d[:, None]
    equations[q:, :q] = equations[:q, q:].T
    equations[q:, q:] = products.fixed
    return equations


def _inverse(lower: Array) -> Array:
    inverse, _ = scipy.linalg.lapack.dpotri(lower, lower=1)
    inverse = np.tril(inverse)
    full = inverse + np.tril(inverse, -1).T
    return np.asarray(full, dtype=np.float64)


def _slopes(problem: Problem, state: State, products: Products, precision: Array, Py: Array) -> tuple[Array, Array]:
    part, q = problem.random, len(state.active)
    pulls = to_columns(part, multiply(problem, Py))
    score = np.zeros(len(state.variances))
    working = np.zeros((len(Py), len(state.variances)))
    left = np.zeros(part.width)
    left[state.active] = np.diag(state.inverse)[:q]
    for k, component in enumerate(part.components):
        own = pulls[component.columns]
        trace = _trace(problem, state, products, component.columns, left)
        score[k] = -0.5 * (trace - float(own @ own))
        pulled = np.zeros(part.width)
        pulled[component.columns] = own
        working[:, k] = problem.incidence @ to_levels(part, pulled)
    traces = _residual_traces(problem, state, precision)
    for g in range(problem.n_groups):
        pull = np.where(problem.groups == g, Py / problem.weights, 0.0)
        score[problem.n_random + g] = -0.5 * (traces[g] - float(Py @ pull))
        working[:, problem.n_random + g] = pull
    return score, 0.5 * working.T @ project(problem, state, working)


def _trace(problem: Problem, state: State, products: Products, columns: slice, left: Array) -> float:
    """tr(P V_k) for a random component, V_k = W_k W_k'."""
    variance = state.scale[columns.start] ** 2
    own = float(np.sum(np.diag(products.random)[columns]))
    wide = columns.stop - columns.start
    if variance * own > SMALL * wide:
        return float((wide - np.sum(left[columns])) / variance)
    active = state.active
    across = np.vstack(
        [products.random[active, columns] * state.scale[active][:, None], products.random_fixed[columns].T]
    )
    return own - float(np.sum((state.inverse @ across) * across))


def _residual_traces(problem: Problem, state: State, precision: Array) -> Array:
    """tr(P R_g) for each residual group."""
    q, p = len(state.active), problem.fixed.shape[1]
    if problem.n_groups == 1:
        residual = float(state.variances[-1])
        free = len(problem.response) - q - p + float(np.sum(np.diag(state.inverse)[:q]))
        return np.array([free / residual])
    leverages = measure_leverages(problem, *effect_covariance(problem, state))
    within = precision * (1.0 - precision * leverages) / problem.weights
    return np.bincount(problem.groups, weights=within, minlength=problem.n_groups).astype(np.float64)


def measure_leverages(problem: Problem, random: Array, between: Array, fixed: Array) -> Array:
    """The prediction error variance of each record's fitted value, (n,), from that of the effects."""
    Z, Q = problem.incidence, problem.fixed
    inner = np.asarray(Z @ random)
    own = np.sum(Z * inner, axis=1) if isinstance(Z, np.ndarray) else np.asarray(Z.multiply(inner).sum(axis=1)).ravel()
    return np.asarray(own + np.sum(Q * (2.0 * np.asarray(Z @ between) + Q @ fixed), axis=1), dtype=np.float64)


def effect_covariance(problem: Problem, state: State) -> tuple[Array, Array, Array]:
    """Prediction error covariance of levels (L, L), of levels with fixed (L, p), and of fixed (p, p)."""
    part, q = problem.random, len(state.active)
    d = state.scale[state.active]
    random = np.zeros((part.width, part.width))
    random[np.ix_(state.active, state.active)] = state.inverse[:q, :q] * d[:, None] * d
    between = np.zeros((part.width, problem.fixed.shape[1]))
    between[state.active] = state.inverse[:q, q:] * d[:, None]
    levels = to_levels(part, to_levels(part, random).T)
    return levels, to_levels(part, between), state.inverse[q:, q:]


def record_precision(problem: Problem, state: State) -> Array:
    """The residual precision of each record, (n,)."""
    own = state.variances[problem.n_random :][problem.groups]
    return np.asarray(problem.weights / own, dtype=np.float64)


def back_to_records(problem: Problem, state: State, solution: Array) -> Array:
    """What solutions (active + p, m) of the equations give each record, weighed by its precision, (n, m)."""
    q = len(state.active)
    unit = np.zeros((problem.random.width, solution.shape[1]))
    unit[state.active] = solution[:q] * state.scale[state.active][:, None]
    fitted = problem.incidence @ to_levels(problem.random, unit) + problem.fixed @ solution[q:]
    return np.asarray(np.asarray(fitted) * record_precision(problem, state)[:, None], dtype=np.float64)


def project(problem: Problem, state: State, values: Array) -> Array:
    """P times values, P taking the fixed part out of the inverse covariance of the records, (n, m)."""
    weighted = values * record_precision(problem, state)[:, None]
    pulled = to_columns(problem.random, multiply(problem, weighted))[state.active]
    rhs = np.vstack([pulled * state.scale[state.active][:, None], problem.fixed.T @ weighted])
    return np.asarray(weighted - back_to_records(problem, state, state.inverse @ rhs), dtype=np.float64)

"""For given variances and very many levels: how likely are the data (REML), which way is up, what are the effects?

Henderson's equations for independent unit effects on one fixed sparse pattern. Traces are exact, from the selected
inverse. Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.sparse_design import FixedPart, RandomColumns, Sparse, check_width
from firstsilk.science.analysis.sparse_factor import Factor, Ints, NotPositive, Plan, factorise, plan_factor

# Numbers in a factor; three such arrays are held at once (a choice of ours: 12 GB).
MOST_NUMBERS = 500_000_000
# Products of cross products that are built at once.
MOST_PRODUCTS = 1e9


@dataclass(frozen=True, slots=True)
class LargeProblem:
    """What stays the same while variances change. Shapes: n records, q random and p fixed columns, G groups.

    `levels` (n, L + p) holds random levels then fixed columns, `turn` (L + p, q + p) makes levels of columns. `row`,
    `column`, `twice` are the entries of the lower triangle and how often each counts; `by_group` (entries, G) their
    cross products; `prior` (entries,) the inverse covariance pattern of unit effects, `prior_of` the component it
    belongs to (C where none).
    """

    response: Array
    fixed: FixedPart
    random: RandomColumns
    levels: Sparse
    turn: Sparse
    groups: NDArray[np.intp]
    n_groups: int
    weights: Array
    constant: float
    magnitude: float
    plan: Plan
    row: Ints
    column: Ints
    twice: Array
    by_group: scipy.sparse.csc_array
    prior: Array
    prior_of: Ints

    @property
    def n_random(self) -> int:
        """How many random variances there are."""
        return len(self.random.components)

    def pull(self, values: Array) -> Array:
        """From records (n, ...) to columns (q + p, ...)."""
        return np.asarray(self.turn.T @ (self.levels.T @ values), dtype=np.float64)

    def spread(self, values: Array) -> Array:
        """From columns (q + p, ...) to records (n, ...)."""
        return np.asarray(self.levels @ (self.turn @ values), dtype=np.float64)


@dataclass(slots=True)
class LargeState:
    """One solved set of equations; slopes and the selected inverse are there after `find_slopes`.

    `used` are the variances that stood in for `variances`, `scale` (q + p,) their roots by column, `unit` the solution.
    """

    variances: Array
    log_likelihood: float
    used: Array
    scale: Array
    factor: Factor
    unit: Array
    Py: Array
    score: Array = field(default_factory=lambda: np.zeros(0))
    information: Array = field(default_factory=lambda: np.zeros((0, 0)))
    inverse: Array = field(default_factory=lambda: np.zeros(0))


def arrange_equations(
    response: Array,
    fixed: FixedPart,
    random: RandomColumns,
    groups: NDArray[np.intp],
    n_groups: int,
    weights: Array,
    constant: float,
    magnitude: float,
) -> LargeProblem:
    """Lay out the equations on their pattern; `constant` is what never changes of -2 log-likelihood.

    Raises
    ------
    InputRefused
        If the equations would not fit into memory.
    """
    levels = Sparse(scipy.sparse.hstack([random.incidence, fixed.columns], format="csr"))
    unit = scipy.sparse.eye_array(fixed.columns.shape[1])
    turn = Sparse(scipy.sparse.block_diag([random.to_level, unit], format="csr"))
    check_width(levels, MOST_PRODUCTS)
    size, q = turn.shape[1], random.width
    keys, values, owners = _products_by_group(levels, turn, groups, n_groups, weights)
    inner = scipy.sparse.tril(random.precision, format="coo")
    keys.append(inner.coords[1].astype(np.int64) * size + inner.coords[0])
    entries, where = np.unique(np.concatenate(keys), return_inverse=True)
    own = len(where) - len(inner.data)
    by_group = scipy.sparse.csc_array(
        (np.concatenate(values), (where[:own], np.concatenate(owners))), shape=(len(entries), n_groups)
    )
    prior = np.zeros(len(entries))
    prior[where[own:]] = inner.data
    column, row = np.divmod(entries, size)
    component = np.full(size, len(random.components))
    for k, own_columns in enumerate(random.components):
        component[own_columns] = k
    prior_of = np.where(prior != 0, component[column], len(random.components))
    plan = plan_factor(size, row, column)
    if plan.size > MOST_NUMBERS:
        raise refuse(
            "too_large",
            f"The equations fill in to {plan.size:,} numbers, too many for one fit ({MOST_NUMBERS:,})",
            "Fit fewer sites at a time, or leave out a term with many crossing levels.",
        )
    twice = np.where(row == column, 1.0, 2.0)
    constant += (len(response) - (size - q)) * math.log(2.0 * math.pi) - float(np.sum(np.log(weights)))
    return LargeProblem(
        response, fixed, random, levels, turn, groups, n_groups, weights, constant + random.log_size, magnitude, plan,
        row, column, twice, by_group, prior, prior_of,
    )  # fmt: skip


def _products_by_group(
    levels: Sparse, turn: Sparse, groups: NDArray[np.intp], n_groups: int, weights: Array
) -> tuple[list[Ints], list[Array], list[Ints]]:
    """Cross products of the columns over each residual group: which entries, their values, the group of each."""
    size = turn.shape[1]
    keys, values, owners = [], [], []
    for g in range(n_groups):
        at = np.flatnonzero(groups == g)
        weighted = levels[at].multiply(weights[at][:, None])
        products = scipy.sparse.tril(turn.T @ (levels[at].T @ weighted) @ turn, format="coo")
        keys.append(products.coords[1].astype(np.int64) * size + products.coords[0])
        values.append(products.data)
        owners.append(np.full(len(products.data), g))
    return keys, values, owners


def solve_large(problem: LargeProblem, variances: Array, floor: Array | None = None) -> LargeState:
    """Solve the equations and give the REML log-likelihood.

    Parameters
    ----------
    problem
        The data, arranged.
    variances
        Random variances, then residual ones, (K,).
    floor
        Stands in for random variances below it, (C,), so that their slopes can be told; None takes a 0 as 0.

    Returns
    -------
    LargeState
        Solved, without slopes.

    Raises
    ------
    InputRefused
        If the equations are singular at these variances.
    """
    used = variances.copy()
    if floor is not None:
        used[: problem.n_random] = np.maximum(used[: problem.n_random], floor)
    residual = used[problem.n_random :]
    scale = np.ones(problem.plan.n)
    for k, inside in enumerate(problem.random.components):
        scale[inside] = math.sqrt(used[k])
    entries = (problem.by_group @ (1.0 / residual)) * scale[problem.row] * scale[problem.column] + problem.prior
    try:
        factor = factorise(problem.plan, entries)
    except NotPositive:
        raise refuse("equations_singular", "The mixed model equations are singular at these variances") from None
    precision = problem.weights / residual[problem.groups]
    unit = factor.solve(scale * problem.pull(precision * problem.response))
    Py = precision * (problem.response - problem.spread(scale * unit))
    log_likelihood = -0.5 * (
        problem.constant
        + float(np.sum(np.log(residual[problem.groups])))
        + factor.log_determinant()
        + float(problem.response @ Py)
    )
    return LargeState(variances, log_likelihood, used, scale, factor, unit, Py)


def find_slopes(problem: LargeProblem, state: LargeState) -> LargeState:
    """Add score, average information and the selected inverse to a state.

    Notes
    -----
    tr(P V_k) = (q_k - tr(K^-1 C^kk)) / variance_k for a random term, n_g / s_g - tr(C^-1 dC_g) for a residual, both
    from entries of C^-1 on the pattern of C. A variance of exactly 0 gets the slope -1: it is held.
    """
    C, used = problem.n_random, state.used
    state.inverse = state.factor.selected_inverse()
    on_pattern = state.inverse[problem.plan.cells] * problem.twice
    inner = np.bincount(problem.prior_of, on_pattern * problem.prior, minlength=C + 1)
    outer = problem.by_group.T @ (on_pattern * state.scale[problem.row] * state.scale[problem.column])
    pulled = state.unit[: problem.random.width]
    turned = pulled * (problem.random.precision @ pulled)
    score, working = np.full(len(used), -1.0), np.zeros((len(problem.response), len(used)))
    for k, inside in enumerate(problem.random.components):
        if used[k] > 0:
            wide = inside.stop - inside.start
            score[k] = -0.5 * ((wide - inner[k]) - float(np.sum(turned[inside]))) / used[k]
            alone = np.zeros(problem.plan.n)
            alone[inside] = pulled[inside] / math.sqrt(used[k])
            working[:, k] = problem.spread(alone)
    counts = np.bincount(problem.groups, minlength=problem.n_groups)
    for g in range(problem.n_groups):
        pull = np.where(problem.groups == g, state.Py / problem.weights, 0.0)
        trace = (counts[g] - outer[g] / used[C + g]) / used[C + g]
        score[C + g] = -0.5 * (trace - float(state.Py @ pull))
        working[:, C + g] = pull
    state.score = score
    state.information = 0.5 * working.T @ _project(problem, state, working)
    return state


def _project(problem: LargeProblem, state: LargeState, values: Array) -> Array:
    """P times values, (n, m)."""
    precision = (problem.weights / state.used[problem.n_random :][problem.groups])[:, None]
    weighted = values * precision
    solution = state.factor.solve(state.scale[:, None] * problem.pull(weighted))
    fitted = problem.spread(state.scale[:, None] * solution)
    return np.asarray(weighted - fitted * precision, dtype=np.float64)

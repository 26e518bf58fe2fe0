"""What do tests of fixed effects stand on? V^-1 X and the covariance of the variances, at the variances of a fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import back_to_coefficients
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.degrees_of_freedom import Contrasts
from firstsilk.science.analysis.equations import (
    Problem,
    State,
    effect_covariance,
    multiply,
    project,
    record_precision,
    solve_equations,
    to_columns,
    to_levels,
)
from firstsilk.science.analysis.mixed_models import SMALL_RECORDS, DensePlan, plan_fit
from firstsilk.science.analysis.models import Array, Fit, Model, SparseRelationship

# Above so many random levels and fixed coefficients tests are not made (a choice of ours: some seconds of work).
MOST_COLUMNS = 1_500
# In a larger fit, tests are made of so many fixed coefficients.
MOST_FIXED = 300
# Columns of the identity that are worked at once.
AT_ONCE = 256


@dataclass(frozen=True, slots=True)
class Foundation:
    """What tests stand on: coefficients (p,), their covariance (p, p), and `pulls`.

    The derivative of the coefficients' covariance by a variance is U'U, U (m_k, p) its entry of `pulls`: the pattern's
    root turned on V^-1 X C. `variance_covariance` (K, K) is that of the variances that are estimated and above 0.
    """

    coefficients: Array
    covariance: Array
    pulls: tuple[Array, ...]
    variance_covariance: Array

    def combine_each(self, blocks: Sequence[Array]) -> list[Contrasts]:
        """`combine` of several sets."""
        return [self.combine(block) for block in blocks]

    def combine(self, combinations: Array) -> Contrasts:
        """Combinations (m, p) of the coefficients with all that a test needs of them."""
        slopes = [(pull @ combinations.T).T @ (pull @ combinations.T) for pull in self.pulls]
        m = len(combinations)
        return Contrasts(
            combinations @ self.coefficients,
            combinations @ self.covariance @ combinations.T,
            np.array(slopes).reshape(len(slopes), m, m),
            self.variance_covariance,
        )


def can_judge(model: Model, fit: Fit) -> bool:
    """Whether tests can be made of this fit: no surfaces, correlated ground or factors, and not too large."""
    sparse = any(term.factors or isinstance(term.relationship, SparseRelationship) for term in model.random)
    ground = model.surfaces or model.residual.grid or model.residual.together
    if ground or sparse or fit.n > SMALL_RECORDS:
        return False
    return len(fit.random) + len(fit.fixed) <= MOST_COLUMNS


def can_judge_large(model: Model, fit: Fit) -> bool:
    """Whether tests can be made of this fit by the sparse way: no factors, no wholly known residual, few fixed terms.

    Checked by
    ----------
    tests/science/test_fixed_tests.py
    """
    known = model.residual.covariance is not None or any(term.factors for term in model.random)
    return not known and len(fit.fixed) <= MOST_FIXED


@dataclass(frozen=True, slots=True)
class Standing:
    """The equations once more at the variances of a fit; `free` are the variances that are estimated and above 0."""

    plan: DensePlan
    state: State
    free: NDArray[np.intp]


def stand_on(data: Mapping[str, Column], model: Model, fit: Fit) -> Standing:
    """Solve the equations once more at the variances of a fit.

    Raises
    ------
    InputRefused
        If the model or its size is beyond tests (`can_judge`).

    Checked by
    ----------
    tests/science/test_fixed_tests.py
    """
    if not can_judge(model, fit):
        raise refuse(
            "beyond_tests",
            f"Tests of fixed effects are made of up to {MOST_FIXED} coefficients, without factors; Kenward and Roger's "
            f"up to {SMALL_RECORDS} records and {MOST_COLUMNS} levels, without surfaces and correlated ground",
        )
    plan = plan_fit(data, model)
    found = {(line.term, line.level): line.value for line in fit.variances}
    names, known = plan.layout.variance_names, plan.layout.known
    variances = np.array([found.get(name, at) for name, at in zip(names, known.tolist(), strict=True)])
    state = solve_equations(plan.problem, variances)
    return Standing(plan, state, np.flatnonzero(np.isnan(known) & (variances > 0)))


def lay_foundation(standing: Standing, expected: bool = False) -> Foundation:
    """Lay out what tests stand on, with the variances' covariance from the expected information or the Hessian.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    plan, state, free = standing.plan, standing.state, standing.free
    problem = plan.problem
    pulled = _pull(problem, state, plan.upper)
    _, _, fixed = effect_covariance(problem, state)
    half = back_to_coefficients(plan.upper, fixed)
    covariance = back_to_coefficients(plan.upper, half.T)
    return Foundation(
        back_to_coefficients(plan.upper, plan.least_squares + state.fixed_solution),
        (covariance + covariance.T) / 2.0,
        tuple(_root_on(problem, int(k), pulled) for k in free),
        _spread_variances(problem, state, free, expected),
    )


def _pull(problem: Problem, state: State, upper: Array) -> Array:
    """V^-1 X C, (n, p): from the mixed model equations R^-1 (X C + Z Cov(u, b))."""
    _, between, fixed = effect_covariance(problem, state)
    orthonormal = record_precision(problem, state)[:, None] * (problem.fixed @ fixed + problem.incidence @ between)
    return np.asarray(scipy.linalg.solve_triangular(upper, np.asarray(orthonormal).T).T, dtype=np.float64)


def _root_on(problem: Problem, k: int, values: Array) -> Array:
    """W_k' times values (n, m), where W_k W_k' is the pattern of a variance."""
    if k < problem.n_random:
        return to_columns(problem.random, multiply(problem, values))[problem.random.components[k].columns]
    inside = problem.groups == k - problem.n_random
    return np.asarray(values[inside] / np.sqrt(problem.weights[inside])[:, None], dtype=np.float64)


def _root_times(problem: Problem, k: int, values: Array) -> Array:
    """W_k times values, (n, m)."""
    if k < problem.n_random:
        wide = np.zeros((problem.random.width, values.shape[1]))
        wide[problem.random.components[k].columns] = values
        return np.asarray(problem.incidence @ to_levels(problem.random, wide), dtype=np.float64)
    out = np.zeros((len(problem.response), values.shape[1]))
    inside = problem.groups == k - problem.n_random
    out[inside] = values / np.sqrt(problem.weights[inside])[:, None]
    return out


def _spread_variances(problem: Problem, state: State, free: NDArray[np.intp], expected: bool) -> Array:
    """Covariance of the variances: inverse expected information, or of the Hessian's half where that is positive."""
    if not len(free):
        return np.zeros((0, 0))
    information = expect_information(problem, state, free)
    if not expected:
        average = state.information[np.ix_(free, free)]
        # The average information is half way between expected and observed.
        observed = 2.0 * average - information
        scale = np.sqrt(np.diag(information))
        positive = float(np.linalg.eigvalsh(observed / scale[:, None] / scale)[0]) > 1e-6
        information = observed if positive else average
    root = np.sqrt(np.diag(information))
    return np.asarray(np.linalg.pinv(information / root[:, None] / root, hermitian=True) / root[:, None] / root)


def expect_information(problem: Problem, state: State, free: NDArray[np.intp]) -> Array:
    """Expected information on some of the variances, 1/2 tr(P V_j P V_k), (K, K).

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_random_parts.py
    """
    found = np.zeros((len(free), len(free)))
    for at, k in enumerate(free.tolist()):
        wide = _width(problem, k)
        for begin in range(0, wide, AT_ONCE):
            unit = np.zeros((wide, min(AT_ONCE, wide - begin)))
            unit[np.arange(begin, begin + unit.shape[1]), np.arange(unit.shape[1])] = 1.0
            seen = project(problem, state, _root_times(problem, k, unit))
            for other in range(at, len(free)):
                found[at, other] += 0.5 * float(np.sum(_root_on(problem, int(free[other]), seen) ** 2))
    return np.asarray(np.triu(found) + np.triu(found, 1).T)


def _width(problem: Problem, k: int) -> int:
    if k < problem.n_random:
        columns = problem.random.components[k].columns
        return int(columns.stop - columns.start)
    return int(np.sum(problem.groups == k - problem.n_random))


def adjust_covariance(standing: Standing, ground: Foundation) -> Array:
    """The covariance of the coefficients with what estimating the variances adds, (p, p).

    Notes
    -----
    C + 2 C [sum A_jk X'V^-1 V_j P V_k V^-1 X] C, A the covariance of the variances. Where patterns are linear in the
    variances, the reference's Q_jk - P_j C P_k is what stands in the bracket, and its R_jk is 0.

    References
    ----------
    Kenward & Roger 1997 Biometrics 53:983.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py
    """
    problem, state, free = standing.plan.problem, standing.state, standing.free
    patterns = [_root_times(problem, int(k), pull) for k, pull in zip(free, ground.pulls, strict=True)]
    more = np.zeros_like(ground.covariance)
    for at, pattern in enumerate(patterns):
        seen = project(problem, state, pattern)
        for other, second in enumerate(patterns):
            more += ground.variance_covariance[at, other] * (second.T @ seen)
    return np.asarray(ground.covariance + more + more.T, dtype=np.float64)

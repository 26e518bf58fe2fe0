"""What do plot data say where lines, sites and blocks are many? The sparse way behind `fit_mixed_model`.

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.components import RandomPart
from firstsilk.science.analysis.heritability import mean_difference
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import (
    Array,
    Fit,
    FixedLine,
    MeanLine,
    Model,
    RandomLine,
    VarianceLine,
)
from firstsilk.science.analysis.sparse_design import (
    MeanPlan,
    Sparse,
    arrange_fixed,
    arrange_random,
    log_lengths,
    plan_sparse_means,
)
from firstsilk.science.analysis.sparse_equations import LargeProblem, LargeState, arrange_equations
from firstsilk.science.analysis.sparse_reml import LargeTop, maximise_large

# Covariance matrices of more levels than this are not kept (a choice of ours: 72 MB each).
COVARIANCE_UP_TO = 3_000
# Right-hand sides solved at once.
AT_ONCE = 128


def fit_large(layout: Layout, model: Model) -> Fit:
    """Fit a laid out model by the sparse way.

    Parameters
    ----------
    layout
        Records, fixed terms, random part, residual groups and names.
    model
        What was asked.

    Returns
    -------
    Fit
        As from the dense way; covariance matrices only of terms of up to 3,000 levels.

    Raises
    ------
    InputRefused
        If an effect or a variance cannot be estimated (it is named), or memory would not do.

    Checked by
    ----------
    tests/science/test_sparse_reml.py
    """
    records = layout.records
    fixed = arrange_fixed(layout.terms, records)
    least_squares = fixed.fit(records.response)
    problem = arrange_equations(
        records.response - fixed.columns @ least_squares,
        fixed,
        arrange_random(layout.random),
        layout.groups,
        len(layout.known) - len(layout.random.components),
        records.weights,
        log_lengths(fixed),
        float(np.max(np.abs(records.response))),
    )
    diagonal = np.array(
        [np.mean(layout.random.diagonal[layout.random.component_of_level == k]) for k in range(problem.n_random)]
    )
    names = [f"{term} {level}".strip() for term, level in layout.variance_names]
    top = maximise_large(problem, layout.known, diagonal, names)
    return _tell(layout, model, problem, top, least_squares)


def _tell(layout: Layout, model: Model, problem: LargeProblem, top: LargeTop, least_squares: Array) -> Fit:
    state, q = top.state, problem.random.width
    coefficients = (least_squares + state.unit[q:]) / problem.fixed.lengths
    means, mean_covariance, differences = _mean_lines(layout, problem, state, coefficients)
    to_level = Sparse(problem.random.to_level @ scipy.sparse.diags_array(state.scale[:q]))
    effects = _Combined(
        problem, state, scipy.sparse.hstack([to_level, Sparse((to_level.shape[0], len(least_squares)))])
    )
    own = np.array([at for at, (term, _) in enumerate(layout.random.names) if term == model.genotype], dtype=np.intp)
    random_covariance = {}
    if model.genotype and len(own):
        if len(own) <= COVARIANCE_UP_TO:
            random_covariance[model.genotype] = effects.rows(own).covariance()
        tested = set(layout.records.classes[model.genotype].levels)
        own = np.array([at for at in own if layout.random.names[at][1] in tested], dtype=np.intp)
        if len(own) > 1:
            part = effects.rows(own)
            differences[model.genotype] = mean_difference(float(np.sum(part.spread())), part.total(), len(own))
    variances, at_bound = _variance_lines(layout, top)
    return Fit(
        n=layout.records.n,
        n_dropped=layout.records.n_dropped,
        reml_log_likelihood=state.log_likelihood,
        variances=variances,
        correlations=(),
        fixed=_fixed_lines(layout, problem, state, coefficients),
        means=means,
        random=_random_lines(layout.random, to_level @ state.unit[:q], effects.spread(), state.variances),
        heritability=None,
        converged=top.converged,
        gradient=top.gradient,
        at_bound=at_bound,
        iterations=top.iterations,
        mean_covariance=mean_covariance,
        random_covariance=random_covariance,
        difference_variance=differences,
    )


@dataclass(frozen=True, slots=True)
class _Combined:
    """Combinations (m, q + p) of unit effects and coefficients, and how sure they are."""

    problem: LargeProblem
    state: LargeState
    weights: Sparse

    def rows(self, at: NDArray[np.intp]) -> _Combined:
        return _Combined(self.problem, self.state, Sparse(self.weights[at]))

    def spread(self) -> Array:
        """Variance of each combination, (m,): from the selected inverse where one effect makes it up, else solved."""
        weights = self.weights
        single = np.diff(weights.indptr) <= 1
        own = self.state.inverse[self.problem.plan.diagonal]
        found = np.asarray(weights.multiply(weights) @ own)
        several = np.flatnonzero(~single)
        for begin in range(0, len(several), AT_ONCE):
            at = several[begin : begin + AT_ONCE]
            part = weights[at].toarray()
            found[at] = np.sum(part * self.state.factor.solve(np.ascontiguousarray(part.T)).T, axis=1)
        return found

    def covariance(self) -> Array:
        """Covariance of all combinations, (m, m)."""
        weights = self.weights
        found = np.empty((weights.shape[0], weights.shape[0]))
        for begin in range(0, len(found), AT_ONCE):
            part = weights[begin : begin + AT_ONCE].toarray()
            found[:, begin : begin + AT_ONCE] = weights @ self.state.factor.solve(np.ascontiguousarray(part.T))
        return (found + found.T) / 2.0

    def total(self) -> float:
        """The sum of the covariance over all pairs."""
        summed = np.asarray(self.weights.sum(axis=0), dtype=np.float64).ravel()
        return float(summed @ self.state.factor.solve(summed))


def _mean_lines(
    layout: Layout, problem: LargeProblem, state: LargeState, coefficients: Array
) -> tuple[tuple[MeanLine, ...], dict[str, Array], dict[str, float]]:
    lines: list[MeanLine] = []
    covariances, differences = {}, {}
    for plan in plan_sparse_means(layout.terms, layout.records):
        values = float(plan.common @ coefficients) + plan.own @ coefficients
        spread, total, covariance = _mean_errors(plan, problem, state)
        m = len(values)
        if covariance is not None:
            covariances[plan.term] = covariance
        if m > 1:
            differences[plan.term] = mean_difference(float(np.sum(spread)), total, m)
        for level, value, variance in zip(plan.levels, values, spread, strict=True):
            lines.append(MeanLine(plan.term, level, float(value), math.sqrt(max(float(variance), 0.0))))
    return tuple(lines), covariances, differences


def _mean_errors(plan: MeanPlan, problem: LargeProblem, state: LargeState) -> tuple[Array, float, Array | None]:
    """Variances of the means of one term, the sum of their covariance, and that covariance if it is kept."""
    q, m = problem.random.width, len(plan.levels)
    scaled = Sparse(plan.own @ scipy.sparse.diags_array(1.0 / problem.fixed.lengths))
    own = _Combined(problem, state, Sparse(scipy.sparse.hstack([Sparse((m, q)), scaled], format="csr")))
    common = np.concatenate([np.zeros(q), plan.common / problem.fixed.lengths])
    solved = state.factor.solve(common)
    across = np.asarray(own.weights @ solved)
    base = float(common @ solved)
    if m <= COVARIANCE_UP_TO:
        covariance = base + across[:, None] + across + own.covariance()
        return np.diag(covariance).copy(), float(np.sum(covariance)), covariance
    total = m * m * base + 2.0 * m * float(np.sum(across)) + own.total()
    return base + 2.0 * across + own.spread(), total, None


def _variance_lines(layout: Layout, top: LargeTop) -> tuple[tuple[VarianceLine, ...], tuple[str, ...]]:
    lines, at_bound = [], []
    for k, (term, level) in enumerate(layout.variance_names):
        value, error = float(top.state.variances[k]), float(top.errors[k])
        lines.append(VarianceLine(term, level, value, None if math.isnan(error) else error))
        if math.isnan(layout.known[k]) and value == 0.0:
            at_bound.append(f"{term}:{level}" if level else term)
    return tuple(lines), tuple(at_bound)


def _fixed_lines(
    layout: Layout, problem: LargeProblem, state: LargeState, coefficients: Array
) -> tuple[FixedLine, ...]:
    own = state.inverse[problem.plan.diagonal][problem.random.width :]
    errors = np.sqrt(own) / problem.fixed.lengths
    names = [(term.name, level) for term in layout.terms for level in term.levels]
    return tuple(
        FixedLine(term, level, float(value), float(error))
        for (term, level), value, error in zip(names, coefficients, errors, strict=True)
    )


def _random_lines(part: RandomPart, values: Array, spread: Array, variances: Array) -> tuple[RandomLine, ...]:
    before = variances[part.component_of_level] * part.diagonal
    errors = np.maximum(spread, 0.0)
    return tuple(
        RandomLine(term, level, value, math.sqrt(error), 1.0 - error / prior if prior > 0 else None)
        for (term, level), value, error, prior in zip(
            part.names, values.tolist(), errors.tolist(), before.tolist(), strict=True
        )
    )

"""What do plot data say where lines, sites and blocks are many? The sparse way behind `fit_mixed_model`.

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.heritability import mean_difference
from firstsilk.science.analysis.large_records import measure_forms, tell_records
from firstsilk.science.analysis.large_told import (
    measure_prior,
    tell_correlations,
    tell_loadings,
    tell_random,
    tell_variances,
)
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import Array, Fit, FixedLine, MeanLine, Model
from firstsilk.science.analysis.parameters import NUGGET, RESIDUAL, WIGGLE, Parameter
from firstsilk.science.analysis.sparse_columns import Sparse
from firstsilk.science.analysis.sparse_design import FixedPart, MeanPlan, arrange_fixed, plan_sparse_means
from firstsilk.science.analysis.sparse_equations import LargeProblem, LargeState, arrange_equations
from firstsilk.science.analysis.sparse_left import PLAIN_MODEL, Simpler
from firstsilk.science.analysis.sparse_model import Arranged, arrange_model
from firstsilk.science.analysis.sparse_reml import LargeTop, maximise_large, response_variance
from firstsilk.science.analysis.starts import plan_starts

Name = tuple[str, str, str]
# Covariance matrices of more levels than this are not kept (a choice of ours: 72 MB each).
COVARIANCE_UP_TO = 3_000
# Right-hand sides solved at once.
AT_ONCE = 128
# A nugget below this share of the response variance is 0.
NO_NUGGET = 1e-7
# A level of a surface's repetition that lies this far from the fixed part is not in it.
OUTSIDE = 1e-6


@dataclass(frozen=True, slots=True)
class LargeFit:
    """A fitted model before it is told: what was laid out, the equations, the top, the least-squares coefficients.

    `moved` (p, q) is what each random unknown adds to the fixed coefficients: the plane under each surface. `simpler`
    says what of the model came out as 0 and was left out.
    """

    layout: Layout
    model: Model
    arranged: Arranged
    problem: LargeProblem
    top: LargeTop
    least_squares: Array
    moved: Sparse
    simpler: Simpler

    @property
    def coefficients(self) -> Array:
        """The fixed coefficients, (p,)."""
        q, p = self.problem.width, len(self.least_squares)
        unit = self.top.state.unit
        own = (self.least_squares + unit[q : q + p]) / self.problem.fixed.lengths
        return np.asarray(own + self.moved @ unit[:q], dtype=np.float64)


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
        If an effect or a parameter cannot be estimated (it is named), or memory would not do.

    Checked by
    ----------
    tests/science/test_sparse_reml.py, tests/science/test_ground_fits.py
    """
    return tell_large(climb_large(layout, model))


def arrange_large(layout: Layout, model: Model, simpler: Simpler = PLAIN_MODEL) -> tuple[Arranged, LargeProblem, Array]:
    """Lay out the equations of a model; also the least-squares coefficients, whose part the response has lost."""
    records = layout.records
    fixed = arrange_fixed(layout.terms, records)
    _check_surfaces(layout, model, fixed)
    least_squares = fixed.fit(records.response)
    arranged = arrange_model(layout, model, simpler)
    problem = arrange_equations(
        records.response - fixed.columns @ least_squares,
        arranged.place,
        arranged.n_rows,
        records.weights,
        fixed,
        arranged.columns,
        arranged.left,
        arranged.parameters,
        float(np.max(np.abs(records.response))),
    )
    return arranged, problem, least_squares


def climb_large(layout: Layout, model: Model) -> LargeFit:
    """Lay out the equations of a model and find its parameters.

    Notes
    -----
    A nugget that falls to 0 is left out, and an axis along which a surface does not bend is made straight; then the
    rest is fitted once more, so that both are exactly 0.
    """
    simpler, ended, iterations = PLAIN_MODEL, dict[Name, float](), 0
    while True:
        arranged, problem, least_squares = arrange_large(layout, model, simpler)
        total = response_variance(problem)
        first = plan_starts(problem.parameters, total, problem.n)
        starts = [_carry_over(ended, problem.parameters)] if ended else first
        top = maximise_large(problem, starts, first[0], model.residual.nugget)
        iterations += top.iterations
        found = _simplify(problem, top, simpler, total)
        if found == simpler:
            break
        simpler = found
        ended = {_name(one): value for one, value in zip(problem.parameters, top.state.values, strict=True)}
    moved = move_planes(arranged, problem.fixed)
    return LargeFit(
        layout, model, arranged, problem, replace(top, iterations=iterations), least_squares, moved, simpler
    )


def _simplify(problem: LargeProblem, top: LargeTop, simpler: Simpler, total: float) -> Simpler:
    """What has come out as 0 and can be left out."""
    straight, without = set(simpler.straight), set(simpler.without_nugget)
    for one, value in zip(problem.parameters, top.state.values, strict=True):
        if one.kind == WIGGLE and value == 0.0:
            straight.add((one.term, one.level))
        elif one.term == NUGGET and value < NO_NUGGET * total:
            without.add(one.level)
    return Simpler(frozenset(straight), frozenset(without))


def _name(one: Parameter) -> Name:
    return one.term, one.level, one.axis


def _carry_over(ended: Mapping[Name, float], parameters: Sequence[Parameter]) -> Array:
    """The parameters of a simpler model where the last climb ended."""
    start = np.array([ended[_name(one)] for one in parameters])
    return np.where([one.kind == RESIDUAL for one in parameters], np.maximum(start, 1e-3 * start.max()), start)


def _check_surfaces(layout: Layout, model: Model, fixed: FixedPart) -> None:
    for surface in model.surfaces:
        if surface.within is None:
            continue
        codes = layout.records.classes[surface.within].codes
        beside = fixed.take_out((codes[:, None] == np.unique(codes)).astype(np.float64))
        if float(np.max(np.abs(beside))) > OUTSIDE:
            raise refuse(
                "surface_without_level",
                f"A surface over {surface.name} within {surface.within!r} needs {surface.within!r} as a fixed term",
                f"Add [{surface.within!r}] to the fixed terms.",
            )


def move_planes(arranged: Arranged, fixed: FixedPart) -> Sparse:
    """What each unknown of a surface adds to the fixed coefficients: the plane that fits its humps best.

    Notes
    -----
    What a surface counts as no bending lies in the fixed part as well; there it belongs, so that a surface averages 0.
    """
    q, p = arranged.columns.width, fixed.columns.shape[1]
    parts = Sparse((p, q))
    for patch in arranged.patches:
        rows = np.zeros((fixed.columns.shape[0], 2 ** len(patch.surface.grid)))
        rows[patch.records] = patch.plane
        to_fixed = fixed.fit(rows) / fixed.lengths[:, None]
        inside = np.linalg.lstsq(patch.plane, patch.humps.toarray(), rcond=None)[0]
        made = Sparse(to_fixed @ inside)
        before, after = Sparse((p, patch.columns.start)), Sparse((p, q - patch.columns.stop))
        parts = parts + Sparse(scipy.sparse.hstack([before, made, after], format="csr"))
    return Sparse(parts)


def tell_large(large: LargeFit) -> Fit:
    """Turn the top of the likelihood into the lines of a fit."""
    layout, model, problem, top = large.layout, large.model, large.problem, large.top
    state = top.state
    coefficients = large.coefficients
    means, mean_covariance, differences = _mean_lines(large, coefficients)
    names = len(layout.random.names)
    to_level = Sparse(state.turned[:names])
    effects = Combined(problem, state, to_level)
    random_covariance, of_own = _spread_genotype(large, effects)
    differences |= of_own
    variances, at_bound = tell_variances(problem.parameters, top, bool(model.residual.nugget))
    records, effective_df = tell_records(large.arranged, problem, state, layout, coefficients)
    return Fit(
        n=layout.records.n,
        n_dropped=layout.records.n_dropped,
        reml_log_likelihood=state.log_likelihood,
        variances=variances,
        correlations=tell_correlations(problem.parameters, top),
        fixed=_fixed_lines(large, coefficients),
        means=means,
        random=tell_random(
            layout.random,
            to_level @ state.unit,
            effects.spread(),
            measure_prior(layout.random, problem.parameters, state.values),
        ),
        heritability=None,
        converged=top.converged,
        gradient=top.gradient,
        at_bound=at_bound,
        iterations=top.iterations,
        mean_covariance=mean_covariance,
        random_covariance=random_covariance,
        difference_variance=differences,
        loadings=tell_loadings(layout.random, problem.parameters, top),
        records=records,
        effective_df=effective_df,
    )


@dataclass(frozen=True, slots=True)
class Combined:
    """Combinations (m, size) of unit unknowns, and how sure they are."""

    problem: LargeProblem
    state: LargeState
    weights: Sparse

    def rows(self, at: NDArray[np.intp]) -> Combined:
        """Some of the combinations."""
        return Combined(self.problem, self.state, Sparse(self.weights[at]))

    def spread(self) -> Array:
        """Variance of each combination, (m,): from the selected inverse where that has it, else solved."""
        found = measure_forms(self.problem, self.state, self.weights)
        several = np.flatnonzero(np.isnan(found))
        for begin in range(0, len(several), AT_ONCE):
            at = several[begin : begin + AT_ONCE]
            part = self.weights[at].toarray()
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


def _spread_genotype(large: LargeFit, effects: Combined) -> tuple[dict[str, Array], dict[str, float]]:
    """The covariance of the genotype's effects if it is kept, and the mean variance of a difference of those tested."""
    layout, genotype = large.layout, large.model.genotype
    own = np.array([at for at, (term, _) in enumerate(layout.random.names) if term == genotype], dtype=np.intp)
    covariance: dict[str, Array] = {}
    difference: dict[str, float] = {}
    if genotype and len(own):
        if len(own) <= COVARIANCE_UP_TO:
            covariance[genotype] = effects.rows(own).covariance()
        tested = set(layout.records.classes[genotype].levels)
        own = np.array([at for at in own if layout.random.names[at][1] in tested], dtype=np.intp)
        if len(own) > 1:
            part = effects.rows(own)
            difference[genotype] = mean_difference(float(np.sum(part.spread())), part.total(), len(own))
    return covariance, difference


def combine_coefficients(large: LargeFit, weights: Sparse) -> Sparse:
    """Combinations of fixed coefficients (m, p) as combinations of unit unknowns (m, size)."""
    problem = large.problem
    m, rest = weights.shape[0], problem.size - problem.width - weights.shape[1]
    scaled = Sparse(weights @ scipy.sparse.diags_array(1.0 / problem.fixed.lengths))
    moved = weights @ large.moved if large.moved.nnz else Sparse((m, problem.width))
    return Sparse(scipy.sparse.hstack([moved, scaled, Sparse((m, rest))], format="csr"))


def _mean_lines(
    large: LargeFit, coefficients: Array
) -> tuple[tuple[MeanLine, ...], dict[str, Array], dict[str, float]]:
    lines: list[MeanLine] = []
    covariances, differences = {}, {}
    for plan in plan_sparse_means(large.layout.terms, large.layout.records):
        values = float(plan.common @ coefficients) + plan.own @ coefficients
        spread, total, covariance = _mean_errors(plan, large)
        m = len(values)
        if covariance is not None:
            covariances[plan.term] = covariance
        if m > 1:
            differences[plan.term] = mean_difference(float(np.sum(spread)), total, m)
        for level, value, variance in zip(plan.levels, values, spread, strict=True):
            lines.append(MeanLine(plan.term, level, float(value), math.sqrt(max(float(variance), 0.0))))
    return tuple(lines), covariances, differences


def _mean_errors(plan: MeanPlan, large: LargeFit) -> tuple[Array, float, Array | None]:
    """Variances of the means of one term, the sum of their covariance, and that covariance if it is kept."""
    m, state = len(plan.levels), large.top.state
    own = Combined(large.problem, state, combine_coefficients(large, plan.own))
    common = combine_coefficients(large, Sparse(plan.common[None, :])).toarray()[0]
    solved = state.factor.solve(common)
    across = np.asarray(own.weights @ solved)
    base = float(common @ solved)
    if m <= COVARIANCE_UP_TO:
        covariance = base + across[:, None] + across + own.covariance()
        return np.diag(covariance).copy(), float(np.sum(covariance)), covariance
    total = m * m * base + 2.0 * m * float(np.sum(across)) + own.total()
    return base + 2.0 * across + own.spread(), total, None


def _fixed_lines(large: LargeFit, coefficients: Array) -> tuple[FixedLine, ...]:
    weights = combine_coefficients(large, Sparse(scipy.sparse.eye_array(len(coefficients), format="csr")))
    errors = np.sqrt(Combined(large.problem, large.top.state, weights).spread())
    names = [(term.name, level) for term in large.layout.terms for level in term.levels]
    return tuple(
        FixedLine(term, level, float(value), float(error))
        for (term, level), value, error in zip(names, coefficients, errors, strict=True)
    )

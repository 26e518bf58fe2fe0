"""What do plot data say, once everything in them is given its share? Mixed-model fits, small and large.

Small ones by dense algebra, here; large ones by the sparse way of `large_models`, behind the same function.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import (
    FixedTerm,
    back_to_coefficients,
    build_design,
    orthonormalise,
    plan_means,
    plan_terms,
)
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.components import RandomPart, plan_random
from firstsilk.science.analysis.equations import Problem, State, effect_covariance, measure_leverages, record_precision
from firstsilk.science.analysis.heritability import estimate_heritability, mean_difference
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import (
    Array,
    Fit,
    FixedLine,
    MeanLine,
    Model,
    RandomLine,
    RecordFit,
    Residual,
    VarianceLine,
)
from firstsilk.science.analysis.records import Records, arrange_records
from firstsilk.science.analysis.reml import Top, maximise
from firstsilk.science.analysis.structures import as_matrices, check_structures, lay_surfaces, needs_sparse

# A wholly known residual covariance is taken up to this size (choices of ours).
DENSE_RECORDS = 4_000
DENSE_LEVELS = 3_000
# Up to this many columns and records the dense way takes less than a second, so that nobody waits for a compiler.
SMALL_SIZE = 700
SMALL_RECORDS = 4_000
# A record of which less than this share is left to error is fitted by itself alone: it has no studentised residual.
KNOWN_BY_ITSELF = 1e-10


@dataclass(frozen=True, slots=True)
class DensePlan:
    """A layout with its dense columns."""

    layout: Layout
    problem: Problem
    upper: Array
    least_squares: Array
    root: Array | None


def fit_mixed_model(data: Mapping[str, Column], model: Model) -> Fit:
    """Fit a linear mixed model by REML.

    Parameters
    ----------
    data
        Columns of equal length: texts or numbers; empty text, None and nan are missing.
    model
        What is fixed, what is random, and how the residual behaves.

    Returns
    -------
    Fit
        Variances with standard errors, fixed effects, marginal means, predicted random effects with standard
        errors and reliabilities, heritability of `model.genotype`, and how the fit went.

    Raises
    ------
    InputRefused
        If a column is absent or unusable, an effect or a variance cannot be estimated (it is named), or the
        equations would not fit into memory.

    Notes
    -----
    The REML log-likelihood is -1/2 [(n-p) ln 2pi + ln|V| + ln|X'V^-1X| + y'Py]. Standard errors of variances come
    from the inverse average information; those of effects include the uncertainty of the fixed effects but not
    that of the variances. Reliability is 1 - PEV / (variance x relationship diagonal). Problems of up to
    `SMALL_SIZE` columns and `SMALL_RECORDS` records are worked densely, larger ones sparsely (compiled on first use);
    both give the same answer, nothing is approximated. A wholly known residual covariance is always worked densely,
    up to 4,000 records and 3,000 random levels.

    References
    ----------
    Patterson & Thompson 1971 Biometrika 58:545; Henderson 1975 Biometrics 31:423; Gilmour, Thompson & Cullis 1995
    Biometrics 51:1440.

    Checked by
    ----------
    tests/outside/test_fit_published.py, tests/science/test_fit_twin.py, tests/science/test_sparse_reml.py,
    tests/properties/test_fit_laws.py; `Fit.records` by tests/science/test_record_fits.py and
    tests/outside/test_record_fits_reference.py
    """
    fit, records = _fit(data, model)
    if model.genotype is None:
        return fit
    return replace(fit, heritability=estimate_heritability(data, model, records, fit, lambda d, m: _fit(d, m)[0]))


def _fit(data: Mapping[str, Column], model: Model) -> tuple[Fit, Records]:
    if all(len(term.relationship.names) <= SMALL_SIZE for term in model.random if term.relationship):
        model = as_matrices(model)
    layout = lay_out(data, model)
    if needs_sparse(model) or _is_large(layout, model):
        from firstsilk.science.analysis.large_models import fit_large

        return fit_large(layout, model), layout.records
    plan = _plan_dense(layout, model, data)
    names = [f"{term} {level}".strip() for term, level in layout.variance_names]
    top = maximise(plan.problem, layout.known, names)
    return _tell(plan, top, model), layout.records


def lay_out(data: Mapping[str, Column], model: Model) -> Layout:
    """Lay out the records and terms of a model, whichever way it is then fitted."""
    check_structures(model)
    records = arrange_records(data, model)
    terms = plan_terms(records, model)
    if model.surfaces:
        records, slopes = lay_surfaces(records, model)
        terms = (*terms, *slopes)
    random = plan_random(records, model)
    groups, levels = _residual_groups(records, model.residual)
    names = [(component.term, component.level) for component in random.components]
    names += [("residual", level) for level in levels]
    known = np.array([component.known for component in random.components], dtype=np.float64)
    residual = 1.0 if model.residual.covariance is not None else model.residual.variance
    known = np.append(known, np.full(len(levels), np.nan if residual is None else residual))
    if np.any(known < 0) or np.any(known[len(random.components) :] == 0):
        raise refuse("variance_negative", "A known variance must not be below 0, and that of the residual above 0")
    return Layout(records, terms, random, groups, tuple(names), known)


def _is_large(layout: Layout, model: Model) -> bool:
    """Whether the sparse way is taken.

    Raises
    ------
    InputRefused
        If a known residual covariance asks for the dense way where that is too large.
    """
    levels, n = len(layout.random.names), layout.records.n
    if model.residual.covariance is not None:
        if n > DENSE_RECORDS or levels > DENSE_LEVELS:
            raise refuse(
                "too_large",
                f"{n} records with {levels} random levels are too many beside a wholly known residual covariance "
                f"(up to {DENSE_RECORDS} and {DENSE_LEVELS})",
            )
        return False
    return n > SMALL_RECORDS or levels + sum(len(term.levels) for term in layout.terms) > SMALL_SIZE


def plan_fit(data: Mapping[str, Column], model: Model) -> DensePlan:
    """Lay out a model for the dense way."""
    return _plan_dense(lay_out(data, model), model, data)


def _plan_dense(layout: Layout, model: Model, data: Mapping[str, Column]) -> DensePlan:
    records, random = layout.records, layout.random
    design = build_design(layout.terms, records)
    response, constant = records.response, 0.0
    incidence: Array | scipy.sparse.csr_array = random.incidence
    root = None
    if model.residual.covariance is not None:
        root = _root_of_covariance(model, records, len(data[model.response]))
        design = scipy.linalg.solve_triangular(root, design, lower=True)
        response = scipy.linalg.solve_triangular(root, response, lower=True)
        incidence = scipy.linalg.solve_triangular(root, random.incidence.toarray(), lower=True)
        constant = 2.0 * float(np.sum(np.log(np.diag(root))))
    fixed, upper = orthonormalise(design, layout.terms)
    least_squares = fixed.T @ response
    constant += (len(response) - fixed.shape[1]) * math.log(2.0 * math.pi)
    constant += 2.0 * float(np.sum(np.log(np.abs(np.diag(upper))))) - float(np.sum(np.log(records.weights)))
    problem = Problem(
        response - fixed @ least_squares,
        fixed,
        incidence,
        random,
        layout.groups,
        len(layout.variance_names) - len(random.components),
        records.weights,
        constant,
        float(np.max(np.abs(response))),
    )
    return DensePlan(layout, problem, upper, least_squares, root)


def _residual_groups(records: Records, residual: Residual) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    if residual.variance_by is None:
        return np.zeros(records.n, dtype=np.intp), ("",)
    if residual.covariance is not None:
        raise refuse("residual_twice", "A residual with a known covariance cannot have variance_by as well")
    if residual.variance_by not in records.classes:
        raise refuse("variance_by_number", "variance_by of the residual must name a class column")
    by = records.classes[residual.variance_by]
    alone = np.flatnonzero(np.bincount(by.codes) == 1)
    if len(alone) and residual.variance is None:
        raise refuse(
            "residual_of_one",
            f"{by.name} {by.levels[alone[0]]} has one record only, so a residual variance of its own cannot be told"
            + (f" (so have {len(alone) - 1} others)" if len(alone) > 1 else ""),
            "Give the residual one variance for all, or leave those records out.",
            columns=by.name,
        )
    return by.codes, by.levels


def _root_of_covariance(model: Model, records: Records, n_given: int) -> Array:
    S = np.asarray(model.residual.covariance, dtype=np.float64)
    if model.weights is not None:
        raise refuse("residual_twice", "A residual with a known covariance cannot have weights as well")
    if S.shape != (n_given, n_given):
        raise refuse("covariance_shape", f"The known covariance must be {n_given} x {n_given}, in record order")
    S = S[np.ix_(records.kept, records.kept)]
    if not np.all(np.isfinite(S)) or float(np.max(np.abs(S - S.T))) > 1e-8 * float(np.max(np.abs(S))):
        raise refuse("covariance_not_usable", "The known covariance must be complete and symmetric")
    try:
        return np.asarray(np.linalg.cholesky((S + S.T) / 2.0), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise refuse("covariance_not_positive", "The known covariance must be positive definite") from None


def _tell(plan: DensePlan, top: Top, model: Model) -> Fit:
    """Turn the top of the likelihood into the lines of a fit."""
    state = top.state
    random_cov, between, fixed_cov = effect_covariance(plan.problem, state)
    coefficients = back_to_coefficients(plan.upper, plan.least_squares + state.fixed_solution)
    half = back_to_coefficients(plan.upper, fixed_cov)
    covariance = back_to_coefficients(plan.upper, half.T)
    variances, at_bound = _variance_lines(plan, top, model, np.isnan(plan.layout.known))
    means, mean_covariance = _mean_lines(plan, coefficients, covariance)
    differences = {term: _difference(spread) for term, spread in mean_covariance.items() if len(spread) > 1}
    own = [at for at, (term, _) in enumerate(plan.layout.random.names) if term == model.genotype]
    if model.genotype and own:
        tested = set(plan.layout.records.classes[model.genotype].levels)
        inside = [at for at in own if plan.layout.random.names[at][1] in tested]
        if len(inside) > 1:
            differences[model.genotype] = _difference(random_cov[np.ix_(inside, inside)])
    return Fit(
        n=plan.layout.records.n,
        n_dropped=plan.layout.records.n_dropped,
        reml_log_likelihood=state.log_likelihood,
        variances=variances,
        correlations=(),
        fixed=_fixed_lines(plan.layout.terms, coefficients, covariance),
        means=means,
        random=_random_lines(plan.layout.random, state.random_solution, random_cov, state.variances),
        heritability=None,
        converged=top.converged,
        gradient=top.gradient,
        at_bound=at_bound,
        iterations=top.iterations,
        mean_covariance=mean_covariance,
        random_covariance={model.genotype: random_cov[np.ix_(own, own)]} if model.genotype and own else {},
        difference_variance=differences,
        records=_tell_records(plan, state, random_cov, between, fixed_cov),
    )


def _tell_records(plan: DensePlan, state: State, random: Array, between: Array, fixed: Array) -> RecordFit:
    """Fitted values and what is left over; studentised is (Py)_i / sqrt(P_ii), with P of all records together."""
    problem, records = plan.problem, plan.layout.records
    left = problem.response - problem.incidence @ state.random_solution - problem.fixed @ state.fixed_solution
    precision = record_precision(problem, state)
    if plan.root is None:
        residual, pulled = left, precision * left
        share = 1.0 - precision * measure_leverages(problem, random, between, fixed)
        own = precision * np.where(share > KNOWN_BY_ITSELF, share, np.nan)
    else:
        back = scipy.linalg.solve_triangular(plan.root, np.eye(len(left)), lower=True)
        effects = back.T @ np.hstack([np.asarray(problem.incidence), problem.fixed])
        spread = np.block([[random, between], [between.T, fixed]])
        residual, pulled = plan.root @ left, back.T @ left
        own = np.sum(back**2, axis=0) - np.sum((effects @ spread) * effects, axis=1)
        own = np.where(own > KNOWN_BY_ITSELF * np.sum(back**2, axis=0), own, np.nan)
    ground = np.zeros(len(left))
    return RecordFit(records.kept, records.response - residual, residual, pulled / np.sqrt(own), ground)


def _difference(covariance: Array) -> float:
    return mean_difference(float(np.trace(covariance)), float(np.sum(covariance)), len(covariance))


def _variance_lines(
    plan: DensePlan, top: Top, model: Model, free: NDArray[np.bool_]
) -> tuple[tuple[VarianceLine, ...], tuple[str, ...]]:
    lines, at_bound = [], []
    for k, (term, level) in enumerate(plan.layout.variance_names):
        if term == "residual" and model.residual.covariance is not None:
            continue
        value, error = float(top.state.variances[k]), float(top.errors[k])
        lines.append(VarianceLine(term, level, value, None if math.isnan(error) else error))
        if free[k] and value == 0.0:
            at_bound.append(f"{term}:{level}" if level else term)
    return tuple(lines), tuple(at_bound)


def _fixed_lines(terms: tuple[FixedTerm, ...], coefficients: Array, covariance: Array) -> tuple[FixedLine, ...]:
    names = [(term.name, level) for term in terms for level in term.levels]
    errors = np.sqrt(np.diag(covariance))
    return tuple(
        FixedLine(term, level, float(value), float(error))
        for (term, level), value, error in zip(names, coefficients, errors, strict=True)
    )


def _mean_lines(
    plan: DensePlan, coefficients: Array, covariance: Array
) -> tuple[tuple[MeanLine, ...], dict[str, Array]]:
    lines: list[MeanLine] = []
    covariances = {}
    for term, levels, combinations in plan_means(plan.layout.terms, plan.layout.records):
        spread = combinations @ covariance @ combinations.T
        covariances[term] = spread
        values = combinations @ coefficients
        for level, value, variance in zip(levels, values, np.diag(spread), strict=True):
            lines.append(MeanLine(term, level, float(value), math.sqrt(max(float(variance), 0.0))))
    return tuple(lines), covariances


def _random_lines(part: RandomPart, values: Array, covariance: Array, variances: Array) -> tuple[RandomLine, ...]:
    lines = []
    for at, (term, level) in enumerate(part.names):
        error = max(float(covariance[at, at]), 0.0)
        before = float(variances[part.component_of_level[at]] * part.diagonal[at])
        reliability = 1.0 - error / before if before > 0 else None
        lines.append(RandomLine(term, level, float(values[at]), math.sqrt(error), reliability))
    return tuple(lines)

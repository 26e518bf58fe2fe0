"""Between which bounds does a difference between entries lie, when the variances too are only estimated?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.special
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import plan_means
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.equations import (
    Problem,
    State,
    back_to_records,
    multiply,
    project,
    record_precision,
    to_columns,
    to_levels,
)
from firstsilk.science.analysis.foundations import Standing, expect_information, stand_on
from firstsilk.science.analysis.models import Array, Fit, Model

LEAST_DF = 1.0
"""Degrees of freedom are not taken below this (a choice of ours): there a span says nothing either way."""


@dataclass(frozen=True, slots=True)
class Contrast:
    """A weighted sum of levels of one term, with its interval, all in the unit of the response.

    `plain_se` counts the variances as known, `se` does not; `df` is that of Student's t, None if nothing is estimated.
    """

    value: float
    se: float
    df: float | None
    low: float
    high: float
    plain_se: float


def estimate_contrasts(
    data: Mapping[str, Column],
    model: Model,
    fit: Fit,
    term: str,
    contrasts: Sequence[Mapping[str, float]],
    level: float = 0.95,
) -> tuple[Contrast, ...]:
    """Estimate differences (or other weighted sums) between levels of a term, with intervals for few records too.

    Parameters
    ----------
    data, model, fit
        What was fitted, and what came of it.
    term
        Name of a fixed term of classes (marginal means are combined) or of a random one (predictions are).
    contrasts
        Weights by level, such as ``{"A": 1, "check": -1}``.
    level
        The share of intervals that should hold the truth, between 0 and 1.

    Returns
    -------
    tuple of Contrast
        In the order of `contrasts`.

    Raises
    ------
    InputRefused
        If the term or a level is not in the model, the level is no share, or the model or its size is beyond tests
        (`can_judge`); with so many records the standard errors of the fit are near enough.

    Notes
    -----
    An estimate b'y with plain error variance v and its slopes g_k in the variances: se^2 = v + 2 sum_jk C_jk a_j'P a_k,
    P a_k = d b / d variance_k, C the inverse of the expected information (variances at 0 included). For marginal means
    this is Kenward & Roger's inflation, with their df = 2 v^2 / (g'C g); for predictions that of Prasad & Rao, with
    df = 2 se^4 / (g'C g), since v itself may be 0: such an interval keeps a width where a variance is estimated as 0.
    Degrees of freedom are not taken below 1.

    An interval of a prediction holds for the best of many too, if the entries are draws from one population; one of
    marginal means does not, for the best mean is too high on average.

    References
    ----------
    Kackar & Harville 1984 Journal of the American Statistical Association 79:853; Prasad & Rao 1990 the same 85:163;
    Harville & Jeske 1992 the same 87:724; Kenward & Roger 1997 Biometrics 53:983; Satterthwaite 1946 Biometrics
    Bulletin 2:110.

    Checked by
    ----------
    tests/outside/test_intervals_published.py, tests/science/test_intervals.py, tests/soak/prove_intervals.py
    """
    if not 0.0 < level < 1.0:
        raise refuse("level_not_usable", f"The share of intervals that should hold is between 0 and 1, not {level}")
    standing = stand_on(data, model, fit)
    problem, state = standing.plan.problem, standing.state
    columns, fixed, constant = _directions(standing, term, contrasts)
    b = _weigh_records(problem, state, columns, fixed)
    values = (state.scale[:, None] * columns).T @ _unit_effects(problem, state) + fixed.T @ state.fixed_solution
    plain = _plain_variances(state, columns, fixed)
    covariance = _covariance_of_variances(problem, state, np.flatnonzero(np.isnan(standing.plan.layout.known)))
    extra, spread = _unsureness(problem, state, columns, b, covariance)
    predicted = bool(np.any(columns))
    return tuple(
        _tell(float(value), float(v), float(more), float(wide), level, predicted)
        for value, v, more, wide in zip(values + constant, plain, extra, spread, strict=True)
    )


def _tell(value: float, plain: float, extra: float, spread: float, level: float, predicted: bool) -> Contrast:
    variance = max(plain, 0.0) + 2.0 * max(extra, 0.0)
    df = max(2.0 * (variance if predicted else plain) ** 2 / spread, LEAST_DF) if spread > 0 else None
    tail = 0.5 + level / 2.0
    wide = float(scipy.special.stdtrit(df, tail) if df is not None else scipy.special.ndtri(tail))
    se = math.sqrt(variance)
    return Contrast(value, se, df, value - wide * se, value + wide * se, math.sqrt(max(plain, 0.0)))


def _directions(standing: Standing, term: str, contrasts: Sequence[Mapping[str, float]]) -> tuple[Array, Array, Array]:
    """What is asked for, in independent random columns (q, m) and orthonormal fixed ones (p, m), and a constant."""
    plan, m = standing.plan, len(contrasts)
    problem = plan.problem
    columns, fixed = np.zeros((problem.random.width, m)), np.zeros((problem.fixed.shape[1], m))
    own = {label: at for at, (name, label) in enumerate(problem.random.names) if name == term}
    if own:
        levels = np.zeros((len(problem.random.names), m))
        levels[list(own.values())] = _weights(term, list(own), contrasts).T
        return to_columns(problem.random, levels), fixed, np.zeros(m)
    for name, labels, combinations in plan_means(plan.layout.terms, plan.layout.records):
        if name == term:
            wanted = _weights(term, labels, contrasts) @ combinations
            turned = np.asarray(scipy.linalg.solve_triangular(plan.upper, wanted.T, trans="T"), dtype=np.float64)
            return columns, turned, np.asarray(turned.T @ plan.least_squares)
    raise refuse("term_missing", f"The model has no term {term!r} whose levels could be compared", term=term)


def _weights(term: str, labels: Sequence[str], contrasts: Sequence[Mapping[str, float]]) -> Array:
    at = {label: k for k, label in enumerate(labels)}
    table = np.zeros((len(contrasts), len(labels)))
    for row, contrast in zip(table, contrasts, strict=True):
        for label, weight in contrast.items():
            if label not in at:
                raise refuse("level_missing", f"The term {term!r} has no level {label!r}", term=term, level=label)
            row[at[label]] = weight
    return table


def _unit_effects(problem: Problem, state: State) -> Array:
    """The solved independent effects of variance 1, (q,)."""
    precision = record_precision(problem, state)
    pulled = to_columns(problem.random, multiply(problem, precision * problem.response))
    q = len(state.active)
    rhs = np.concatenate([(state.scale * pulled)[state.active], problem.fixed.T @ (precision * problem.response)])
    unit = np.zeros(problem.random.width)
    unit[state.active] = (state.inverse @ rhs)[:q]
    return unit


def _weigh_records(problem: Problem, state: State, columns: Array, fixed: Array) -> Array:
    """The weight b of each record in each estimate, (n, m)."""
    wanted = np.vstack([(state.scale[:, None] * columns)[state.active], fixed])
    return back_to_records(problem, state, state.inverse @ wanted)


def _plain_variances(state: State, columns: Array, fixed: Array) -> Array:
    """Error variances at the given variances, (m,): l'Gl where a random effect gets nothing from the records."""
    wanted = np.vstack([(state.scale[:, None] * columns)[state.active], fixed])
    return np.asarray(np.sum(wanted * (state.inverse @ wanted), axis=0), dtype=np.float64)


def _covariance_of_variances(problem: Problem, state: State, free: NDArray[np.intp]) -> Array:
    """Inverse expected information, variances at 0 included; 0 for what is known, (K, K)."""
    covariance = np.zeros((len(state.variances), len(state.variances)))
    if len(free):
        information = expect_information(problem, state, free)
        root = np.sqrt(np.diag(information))
        scaled = np.linalg.pinv(information / root[:, None] / root, hermitian=True)
        covariance[np.ix_(free, free)] = scaled / root[:, None] / root
    return covariance


def _unsureness(problem: Problem, state: State, columns: Array, b: Array, covariance: Array) -> tuple[Array, Array]:
    """For each estimate (m,): variance that comes from unsure variances, and the variance of its error variance."""
    part, K, m = problem.random, len(state.variances), b.shape[1]
    left = columns - to_columns(part, multiply(problem, b))
    moves = np.zeros((len(b), K, m))
    slopes = np.zeros((K, m))
    for k, component in enumerate(part.components):
        inside = np.zeros_like(left)
        inside[component.columns] = left[component.columns]
        moves[:, k] = problem.incidence @ to_levels(part, inside)
        slopes[k] = np.sum(inside**2, axis=0)
    for g in range(problem.n_groups):
        own = np.where(problem.groups == g, 1.0 / problem.weights, 0.0)[:, None] * b
        moves[:, problem.n_random + g] = -own
        slopes[problem.n_random + g] = np.sum(own * b, axis=0)
    pulled = project(problem, state, moves.reshape(len(b), K * m)).reshape(len(b), K, m)
    extra = np.einsum("jk,njm,nkm->m", covariance, moves, pulled, optimize=True)
    return extra, np.einsum("jk,jm,km->m", covariance, slopes, slopes)

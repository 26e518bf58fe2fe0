"""Are these fixed effects, and these differences between means, more than chance?

What tests stand on is laid in `foundations`, what is tested of a term in `hypotheses`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.special

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import plan_means
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.degrees_of_freedom import Contrasts, FTest, estimate_df, judge_adjusted, judge_together
from firstsilk.science.analysis.foundations import (
    Foundation,
    Standing,
    adjust_covariance,
    can_judge,
    lay_foundation,
    stand_on,
)
from firstsilk.science.analysis.heritability import mean_difference
from firstsilk.science.analysis.hypotheses import plan_hypotheses
from firstsilk.science.analysis.models import Array, Fit, Model

Way = Literal["satterthwaite", "kenward-roger"]

# Differences of all pairs are listed up to so many levels (300 pairs), else only their spread.
PAIRS_UP_TO = 25


@dataclass(frozen=True, slots=True)
class EffectTest:
    """The F test of one fixed term; `denominator_df` is inf where all variances are known."""

    term: str
    df: int
    denominator_df: float
    f: float
    p: float


@dataclass(frozen=True, slots=True)
class Difference:
    """The mean of `level_a` less that of `level_b`; `df` and the two-sided chance `p` where tests can be made."""

    level_a: str
    level_b: str
    value: float
    se: float
    df: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Differences:
    """Differences between the marginal means of one term.

    `se_average` is the root of the mean variance over all pairs; `se_min` and `se_max` are None where the covariance
    of so many means was not kept; `each` is empty where there are more than 300 pairs.
    """

    term: str
    pairs: int
    se_average: float
    se_min: float | None
    se_max: float | None
    each: tuple[Difference, ...]


def judge_fixed_terms(
    data: Mapping[str, Column], model: Model, fit: Fit, way: Way = "satterthwaite"
) -> tuple[EffectTest, ...]:
    """Test each fixed term by F with approximate denominator degrees of freedom.

    Parameters
    ----------
    data, model, fit
        What was fitted, and what came of it.
    way
        ``satterthwaite``, or ``kenward-roger`` with a covariance and an F that count that variances are estimated.

    Returns
    -------
    tuple of EffectTest
        One for each term but the intercept, in the order of the model. What is tested of a term: `plan_hypotheses`.

    Raises
    ------
    InputRefused
        If the model or its size is beyond these tests (`can_judge`).

    Notes
    -----
    The covariance of the variances is twice the inverse of the Hessian of -2 log-likelihood for Satterthwaite's way and
    the inverse of the expected information for Kenward and Roger's, as in the references. A variance at its bound of
    0 counts as known. Linear covariance patterns have no second derivatives, so that their term in R_ij is 0.

    References
    ----------
    Satterthwaite 1946; Fai & Cornelius 1996 J Stat Comput Simul 54:363; Kenward & Roger 1997 Biometrics 53:983.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    return _judge_terms(stand_on(data, model, fit), model, way)


def _judge_terms(standing: Standing, model: Model, way: Way) -> tuple[EffectTest, ...]:
    expected = way == "kenward-roger"
    ground = lay_foundation(standing, expected)
    wider = adjust_covariance(standing, ground) if expected else ground.covariance
    tests = []
    for hypothesis in plan_hypotheses(standing.plan.layout.terms, standing.plan.layout.records, model):
        L = hypothesis.combinations
        contrasts = ground.combine(L)
        found: FTest = judge_adjusted(contrasts, L @ wider @ L.T) if expected else judge_together(contrasts)
        tests.append(EffectTest(hypothesis.term, found.df, found.denominator_df, found.f, found.p))
    return tuple(tests)


def judge_contrast(
    data: Mapping[str, Column], model: Model, fit: Fit, term: str, weights: Mapping[str, float]
) -> Difference:
    """Test one combination of the marginal means of a term, by Satterthwaite's degrees of freedom.

    Parameters
    ----------
    data, model, fit
        What was fitted, and what came of it.
    term
        A fixed term of classes, its columns joined by ``:``.
    weights
        What each level is multiplied by, by name as in `Fit.means`; levels left out count 0.

    Returns
    -------
    Difference
        `value` the weighted sum, `level_a` the levels weighted above 0 and `level_b` those below, joined by ``+``.

    Raises
    ------
    InputRefused
        If there is no such term or level, or the model or its size is beyond these tests.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py
    """
    standing = stand_on(data, model, fit)
    ground = lay_foundation(standing)
    for name, levels, combinations in plan_means(standing.plan.layout.terms, standing.plan.layout.records):
        if name != term:
            continue
        absent = [level for level in weights if level not in levels]
        if absent:
            raise refuse("level_missing", f"The term {term!r} has no level {absent[0]!r}", level=absent[0])
        at = np.array([weights.get(level, 0.0) for level in levels])
        one = ground.combine((at @ combinations)[None, :])
        return _tell_single(
            "+".join(level for level, weight in weights.items() if weight > 0),
            "+".join(level for level, weight in weights.items() if weight < 0),
            one,
        )
    raise refuse("term_missing", f"There are no marginal means of {term!r}: it is no fixed term of classes", term=term)


def _tell_single(level_a: str, level_b: str, one: Contrasts) -> Difference:
    df = float(estimate_df(np.diag(one.covariance), one.slopes[:, 0, :], one.variance_covariance)[0])
    value, se = float(one.values[0]), math.sqrt(float(one.covariance[0, 0]))
    return Difference(level_a, level_b, value, se, df, _two_sided(value, se, df))


def _two_sided(value: float, se: float, df: float) -> float | None:
    if se <= 0:
        return None
    t = abs(value) / se
    return float(2.0 * (scipy.special.ndtr(-t) if math.isinf(df) else scipy.special.stdtr(df, -t)))


def find_differences(data: Mapping[str, Column], model: Model, fit: Fit) -> tuple[Differences, ...]:
    """Give the standard errors of differences between marginal means, term by term.

    Parameters
    ----------
    data, model, fit
        What was fitted, and what came of it.

    Returns
    -------
    tuple of Differences
        For each term with means; degrees of freedom (Satterthwaite) where tests can be made of the fit.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    return _tell_differences(fit, stand_on(data, model, fit) if can_judge(model, fit) else None)


def judge_fit(
    data: Mapping[str, Column], model: Model, fit: Fit, way: Way = "satterthwaite"
) -> tuple[tuple[EffectTest, ...] | None, tuple[Differences, ...]]:
    """Give the tests of all fixed terms (None where they cannot be made) and the differences between their means.

    As `judge_fixed_terms` and `find_differences` do, with the work that both need done once.

    Checked by
    ----------
    tests/science/test_fixed_tests.py
    """
    if not can_judge(model, fit):
        return None, _tell_differences(fit, None)
    standing = stand_on(data, model, fit)
    return _judge_terms(standing, model, way), _tell_differences(fit, standing)


def _tell_differences(fit: Fit, standing: Standing | None) -> tuple[Differences, ...]:
    ground, combinations = None, {}
    if standing is not None:
        ground = lay_foundation(standing)
        layout = standing.plan.layout
        combinations = {name: rows for name, _, rows in plan_means(layout.terms, layout.records)}
    told = []
    for term in dict.fromkeys(line.term for line in fit.means):
        lines = [line for line in fit.means if line.term == term]
        m = len(lines)
        if m < 2:
            continue
        spread = fit.mean_covariance.get(term)
        values = np.array([line.value for line in lines])
        names = [line.level for line in lines]
        if spread is None:
            told.append(Differences(term, m * (m - 1) // 2, math.sqrt(fit.difference_variance[term]), None, None, ()))
            continue
        told.append(_differences_of(term, names, values, spread, ground, combinations.get(term)))
    return tuple(told)


def _differences_of(
    term: str, names: list[str], values: Array, spread: Array, ground: Foundation | None, rows: Array | None
) -> Differences:
    m = len(names)
    a, b = np.triu_indices(m, 1)
    own = np.diag(spread)
    variances = np.maximum(own[a] + own[b] - 2.0 * spread[a, b], 0.0)
    errors = np.sqrt(variances)
    average = math.sqrt(max(mean_difference(float(np.trace(spread)), float(np.sum(spread)), m), 0.0))
    each: list[Difference] = []
    if m <= PAIRS_UP_TO:
        df: list[float | None] = [None] * len(a)
        if ground is not None and rows is not None:
            pairs = rows[a] - rows[b]
            slopes = np.array([np.sum((pull @ pairs.T) ** 2, axis=0) for pull in ground.pulls])
            df = list(estimate_df(variances, slopes.reshape(len(ground.pulls), len(a)), ground.variance_covariance))
        for i, j, se, freedom in zip(a.tolist(), b.tolist(), errors.tolist(), df, strict=True):
            value = float(values[i] - values[j])
            p = _two_sided(value, se, freedom) if freedom is not None else None
            each.append(Difference(names[i], names[j], value, se, None if freedom is None else float(freedom), p))
    return Differences(term, len(a), average, float(errors.min()), float(errors.max()), tuple(each))

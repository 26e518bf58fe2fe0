"""Are these fixed effects, and these differences between means, more than chance?

What tests stand on is laid in `foundations`, what is tested of a term in `hypotheses`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import scipy.special

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import plan_means
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.degrees_of_freedom import Contrasts, FTest, estimate_df, judge_adjusted, judge_together
from firstsilk.science.analysis.foundations import (
    Standing,
    adjust_covariance,
    can_judge,
    can_judge_large,
    lay_foundation,
    stand_on,
)
from firstsilk.science.analysis.hypotheses import Hypothesis, plan_hypotheses
from firstsilk.science.analysis.layouts import Layout
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
    the inverse of the expected information for Kenward and Roger's, as in the references. Beyond `can_judge` the
    average information stands for the Hessian, and there is Satterthwaite's way only. A variance at its bound of 0
    counts as known. Linear covariance patterns have no second derivatives, so that their term in R_ij is 0.

    References
    ----------
    Satterthwaite 1946; Fai & Cornelius 1996 J Stat Comput Simul 54:363; Kenward & Roger 1997 Biometrics 53:983.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    tests, _ = _judge(*_ground_of(data, model, fit, way), fit, model, way)
    return tests or ()


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
    layout, ground, _ = _ground_of(data, model, fit, "satterthwaite")
    for name, levels, combinations in plan_means(layout.terms, layout.records):
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
    return judge_fit(data, model, fit)[1]


def judge_fit(
    data: Mapping[str, Column], model: Model, fit: Fit, way: Way | None = "satterthwaite"
) -> tuple[tuple[EffectTest, ...] | None, tuple[Differences, ...]]:
    """Give the tests of all fixed terms (None where they cannot be made) and the differences between their means.

    As `judge_fixed_terms` and `find_differences` do, with the work that both need done once; without a way there are no
    tests, and differences have no degrees of freedom.

    Checked by
    ----------
    tests/science/test_fixed_tests.py
    """
    if way is None or not _is_judged(model, fit, way):
        return None, tuple(_differences_of(fit, term, None) for term in _terms_with_means(fit))
    return _judge(*_ground_of(data, model, fit, way), fit, model, way)


class _Ground(Protocol):
    """What combinations of the fixed coefficients are, dense or sparse."""

    def combine(self, combinations: Array) -> Contrasts: ...

    def combine_each(self, blocks: Sequence[Array]) -> list[Contrasts]: ...


def _is_judged(model: Model, fit: Fit, way: Way) -> bool:
    return can_judge(model, fit) or (way == "satterthwaite" and can_judge_large(model, fit))


def _ground_of(data: Mapping[str, Column], model: Model, fit: Fit, way: Way) -> tuple[Layout, _Ground, Standing | None]:
    """Layout and ground of a fit: dense where it can be (then with its standing), else sparse."""
    if can_judge(model, fit) or not _is_judged(model, fit, way):
        standing = stand_on(data, model, fit)
        return standing.plan.layout, lay_foundation(standing), standing
    from firstsilk.science.analysis.large_foundations import stand_on_large

    large = stand_on_large(data, model, fit)
    return large.layout, large, None


def _judge(
    layout: Layout, ground: _Ground, standing: Standing | None, fit: Fit, model: Model, way: Way
) -> tuple[tuple[EffectTest, ...], tuple[Differences, ...]]:
    hypotheses = plan_hypotheses(layout.terms, layout.records, model)
    means = {name: rows for name, levels, rows in plan_means(layout.terms, layout.records) if _are_paired(len(levels))}
    blocks = [one.combinations for one in hypotheses] + list(means.values())
    contrasts = ground.combine_each(blocks) if blocks else []
    differences = dict(zip(means, contrasts[len(hypotheses) :], strict=True))
    if way == "kenward-roger" and standing is not None:
        found = _judge_adjusted(standing, hypotheses)
    else:
        found = [judge_together(one) for one in contrasts[: len(hypotheses)]]
    tests = [
        EffectTest(one.term, test.df, test.denominator_df, test.f, test.p)
        for one, test in zip(hypotheses, found, strict=True)
    ]
    return tuple(tests), tuple(_differences_of(fit, term, differences.get(term)) for term in _terms_with_means(fit))


def _judge_adjusted(standing: Standing, hypotheses: Sequence[Hypothesis]) -> list[FTest]:
    ground = lay_foundation(standing, expected=True)
    wider = adjust_covariance(standing, ground)
    return [judge_adjusted(ground.combine(L), L @ wider @ L.T) for L in (one.combinations for one in hypotheses)]


def _are_paired(levels: int) -> bool:
    return 2 <= levels <= PAIRS_UP_TO


def _terms_with_means(fit: Fit) -> list[str]:
    """Terms with two means or more."""
    terms = [line.term for line in fit.means]
    return [term for term in dict.fromkeys(terms) if terms.count(term) > 1]


def _differences_of(fit: Fit, term: str, contrasts: Contrasts | None) -> Differences:
    """Differences between the means of a term; `contrasts` are these means with how their covariance moves."""
    lines = [line for line in fit.means if line.term == term]
    m, spread = len(lines), fit.mean_covariance.get(term)
    average = math.sqrt(max(fit.difference_variance[term], 0.0))
    if spread is None:
        return Differences(term, m * (m - 1) // 2, average, None, None, ())
    a, b = np.triu_indices(m, 1)
    own = np.diag(spread)
    variances = np.maximum(own[a] + own[b] - 2.0 * spread[a, b], 0.0)
    errors = np.sqrt(variances)
    each: list[Difference] = []
    if _are_paired(m):
        df: list[float | None] = [None] * len(a)
        if contrasts is not None:
            slopes = contrasts.slopes
            moved = slopes[:, a, a] + slopes[:, b, b] - slopes[:, a, b] - slopes[:, b, a]
            df = estimate_df(variances, moved, contrasts.variance_covariance).tolist()
        for one, two, se, freedom in zip(a.tolist(), b.tolist(), errors.tolist(), df, strict=True):
            value = lines[one].value - lines[two].value
            p = _two_sided(value, se, freedom) if freedom is not None else None
            each.append(Difference(lines[one].level, lines[two].level, value, se, freedom, p))
    return Differences(term, len(a), average, float(errors.min()), float(errors.max()), tuple(each))

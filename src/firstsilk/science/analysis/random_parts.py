"""Do the records ask for this random term, or for a variance of its own at each site? Two random parts compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.special

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.equations import solve_equations
from firstsilk.science.analysis.foundations import can_judge, expect_information
from firstsilk.science.analysis.mixed_models import fit_mixed_model, plan_fit
from firstsilk.science.analysis.mixtures import find_mixture_chance, weigh_mixture
from firstsilk.science.analysis.models import (
    Array,
    Fit,
    Model,
    RandomTerm,
    Relationship,
    Residual,
    SparseRelationship,
)

# So much may the larger model's log-likelihood lie below the smaller one's by rounding, relative to its size.
ROUNDING = 1e-7


@dataclass(frozen=True, slots=True)
class FittedModel:
    """A model and what came of it."""

    model: Model
    fit: Fit


@dataclass(frozen=True, slots=True)
class RandomComparison:
    """Whether the larger random part is asked for.

    `ratio` is twice the gain in REML log-likelihood; `on_bound` names the added variances, which are 0 in the smaller
    model; `interior` counts added parameters that are free in both directions. If the smaller model is true the ratio
    is a mixture of chi-squares: `weights` of interior, interior + 1, ... degrees of freedom, taken from the information
    on the variances or, where that is not at hand, as if they were independent (`weights_from`). `p` is its chance and
    `p_plain` the one that a plain chi-square with all degrees of freedom would give, which is too large.
    """

    smaller_log_likelihood: float
    larger_log_likelihood: float
    ratio: float
    on_bound: tuple[str, ...]
    interior: int
    weights: tuple[float, ...]
    weights_from: str
    p: float
    p_plain: float


@dataclass(frozen=True, slots=True)
class _Added:
    """What the larger model adds: new variances (term, level), how many are split off, terms that are split."""

    new: tuple[tuple[str, str], ...]
    interior: int
    split: frozenset[str]


def compare_models(data: Mapping[str, Column], smaller: Model, larger: Model) -> RandomComparison:
    """Fit two models that differ in their random parts only, and compare them as `compare_fits` does.

    Raises
    ------
    InputRefused
        As `compare_fits`, or if a fit cannot be made.

    Checked by
    ----------
    tests/science/test_random_parts.py
    """
    check_same_fixed(smaller, larger)
    one, two = (FittedModel(model, fit_mixed_model(data, model)) for model in (smaller, larger))
    return compare_fits(data, one, two)


def compare_fits(data: Mapping[str, Column], smaller: FittedModel, larger: FittedModel) -> RandomComparison:
    """Compare two fits whose models differ in their random parts only, the smaller inside the larger.

    Parameters
    ----------
    data
        The records that both were fitted to.
    smaller, larger
        The models and their fits.

    Returns
    -------
    RandomComparison
        The likelihood ratio and its chance if the smaller model is true.

    Raises
    ------
    InputRefused
        If fixed parts or records differ, the smaller model is not inside the larger, nothing is added, the chance is
        not known (factors, surfaces), or the larger model fits worse, which a top cannot.

    Notes
    -----
    A new variance is 0, on its bound, if the smaller model is true, so that a chi-square with all degrees of freedom
    is too careful. Variances split by a level and correlations are inside their range: plain degrees of freedom.
    Where a variance that is split is itself 0, the chance given is an upper limit. Variances of both models that
    are 0 are taken as known. The mixture is that of large numbers of levels; with few it is too careful (two crossed
    terms of 12 levels: 8 % of 1,500 trials without effects came below 10 %).

    References
    ----------
    Self & Liang 1987 J Am Stat Assoc 82:605; Stram & Lee 1994 Biometrics 50:1171; Morrell 1998 Biometrics 54:1560
    (REML).

    Checked by
    ----------
    tests/outside/test_random_parts_published.py, tests/science/test_random_parts.py
    """
    check_same_fixed(smaller.model, larger.model)
    fixed = [[(line.term, line.level) for line in one.fit.fixed] for one in (smaller, larger)]
    if (smaller.fit.n, smaller.fit.n_dropped) != (larger.fit.n, larger.fit.n_dropped) or fixed[0] != fixed[1]:
        raise refuse("records_differ", "The two fits rest on other records; fit both to the same ones")
    added = _find_added(smaller, larger)
    low, high = smaller.fit.reml_log_likelihood, larger.fit.reml_log_likelihood
    if high < low - ROUNDING * max(abs(low), 1.0):
        raise refuse(
            "larger_is_lower",
            f"The larger model's log-likelihood ({high:.6g}) is not its top: the smaller one's is higher ({low:.6g})",
        )
    weights, told = _weigh(data, smaller, larger, added)
    ratio = max(2.0 * (high - low), 0.0)
    return RandomComparison(
        low,
        high,
        ratio,
        tuple(f"{term} {level}".strip() for term, level in added.new),
        added.interior,
        tuple(weights.tolist()),
        told,
        find_mixture_chance(ratio, added.interior, weights),
        float(scipy.special.chdtrc(added.interior + len(added.new), ratio)),
    )


def check_same_fixed(smaller: Model, larger: Model) -> None:
    """Refuse two models whose REML likelihoods cannot be compared, before they are fitted.

    Raises
    ------
    InputRefused
        If response, fixed terms, coding, weights or numeric columns differ.

    Checked by
    ----------
    tests/science/test_random_parts.py
    """
    for what, one, two in (
        ("response", smaller.response, larger.response),
        ("fixed terms", [set(term) for term in smaller.fixed], [set(term) for term in larger.fixed]),
        ("sum_coded columns", set(smaller.sum_coded), set(larger.sum_coded)),
        ("weights", smaller.weights, larger.weights),
        ("numeric columns", set(smaller.numeric) & _columns(larger), set(larger.numeric) & _columns(smaller)),
    ):
        if one != two:
            raise refuse(
                "fixed_parts_differ",
                f"The two models differ in their {what}: REML likelihoods of different fixed parts cannot be compared",
                "Let only their random parts and residuals differ.",
            )


def _columns(model: Model) -> set[str]:
    return {name for term in model.fixed for name in term} | {name for t in model.random for name in t.columns}


def _not_inside(why: str) -> InputRefused:
    return refuse("not_nested", f"The smaller model is not a part of the larger: {why}")


def _find_added(smaller: FittedModel, larger: FittedModel) -> _Added:
    """What the larger model has that the smaller lacks.

    Raises
    ------
    InputRefused
        If the smaller is not inside the larger, nothing is added, or its chance is not known.
    """
    small = {term.name: term for term in smaller.model.random}
    large = {term.name: term for term in larger.model.random}
    if any(term.factors for term in [*small.values(), *large.values()]) and small != large:
        raise refuse("chance_not_known", "The chance of a gain by factors is not known")
    if smaller.model.surfaces != larger.model.surfaces:
        raise refuse("chance_not_known", "Surfaces bring fixed trends of their own: such models cannot be compared")
    absent = [name for name in small if name not in large]
    if absent:
        raise _not_inside(f"the larger has no term {absent[0]!r}")
    for name, term in large.items():
        if name not in small and term.variance is not None:
            raise _not_inside(f"the variance of {name!r} is known")
    split = {name for name, term in small.items() if _is_split(term, large[name])}
    new = [(line.term, line.level) for line in larger.fit.variances if line.term in large and line.term not in small]
    interior = 0
    more_new, more = _find_added_residual(smaller, larger)
    if more.split:
        split.add("residual")
    interior += more.interior
    interior += sum(len([v for v in larger.fit.variances if v.term == name]) - 1 for name in split)
    new += more_new
    if not new and not interior:
        raise refuse("nothing_added", "The larger model adds nothing to the smaller")
    return _Added(tuple(new), interior, frozenset(split))


def _is_split(small: RandomTerm, large: RandomTerm) -> bool:
    if small.variance != large.variance or not _same_relationship(small.relationship, large.relationship):
        raise _not_inside(f"the term {small.name!r} has another relationship or known variance")
    return _is_split_by(small.variance_by, large.variance_by, small.name)


def _is_split_by(small: str | None, large: str | None, name: str) -> bool:
    if small == large:
        return False
    if small is not None:
        raise _not_inside(f"the variance of {name!r} is by {small!r} in the smaller")
    return True


def _same_relationship(
    one: Relationship | SparseRelationship | None, two: Relationship | SparseRelationship | None
) -> bool:
    if one is two or one is None or two is None:
        return one is two
    if isinstance(one, Relationship) and isinstance(two, Relationship):
        return one.names == two.names and np.array_equal(one.matrix, two.matrix)
    if isinstance(one, SparseRelationship) and isinstance(two, SparseRelationship):
        return one.names == two.names and bool(abs(one.precision - two.precision).sum() == 0)
    return False


def _find_added_residual(smaller: FittedModel, larger: FittedModel) -> tuple[list[tuple[str, str]], _Added]:
    small, large = smaller.model.residual, larger.model.residual
    if small.variance != large.variance or not _same_known(small, large):
        raise _not_inside("the known parts of the residual differ")
    split = _is_split_by(small.variance_by, large.variance_by, "residual")
    if (small.grid, small.within, small.together) == (large.grid, large.within, large.together):
        correlations = 0
    elif small.grid is None and small.together is None:
        correlations = len(larger.fit.correlations)
        if large.nugget:
            raise refuse("chance_not_known", "Compare in two steps: first the correlated ground, then its nugget")
    else:
        raise _not_inside("the correlated ground differs")
    if small.nugget and not large.nugget:
        raise _not_inside("the larger has no nugget")
    new = []
    if large.nugget and not small.nugget:
        new = [(line.term, line.level) for line in larger.fit.variances if line.term == "nugget"]
    return new, _Added((), correlations, frozenset({"residual"} if split else ()))


def _same_known(small: Residual, large: Residual) -> bool:
    if small.covariance is None or large.covariance is None:
        return small.covariance is large.covariance
    return np.array_equal(small.covariance, large.covariance)


def _weigh(data: Mapping[str, Column], smaller: FittedModel, larger: FittedModel, added: _Added) -> tuple[Array, str]:
    """Weights of the mixture, and what they rest on."""
    k = len(added.new)
    if k <= 1:
        return weigh_mixture(np.eye(k)), "information"
    if not can_judge(larger.model, larger.fit):
        return weigh_mixture(np.eye(k)), "independence"
    plan = plan_fit(data, larger.model)
    names, known = plan.layout.variance_names, plan.layout.known
    found = {(line.term, line.level): line.value for line in smaller.fit.variances}
    null = np.array(
        [
            0.0 if name in added.new else found.get(name, found.get((name[0], ""), value))
            for name, value in zip(names, known.tolist(), strict=True)
        ]
    )
    on_bound = np.array([name in added.new for name in names])
    used = np.flatnonzero(np.isnan(known) & (on_bound | (null > 0)))
    information = expect_information(plan.problem, solve_equations(plan.problem, null), used)
    tested, rest = np.flatnonzero(on_bound[used]), np.flatnonzero(~on_bound[used])
    across = information[np.ix_(tested, rest)]
    taken_out = across @ np.linalg.solve(information[np.ix_(rest, rest)], across.T)
    return weigh_mixture(information[np.ix_(tested, tested)] - taken_out), "information"

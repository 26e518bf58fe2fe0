"""How do two traits of the same plots go together, by their genes and by what is left over?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual
from firstsilk.science.analysis.parameters import LOADING, RESIDUAL, TURNED, VARIANCE
from firstsilk.science.analysis.records import label_of

if TYPE_CHECKING:
    from firstsilk.science.analysis.large_models import LargeFit

# Names that no table has.
TRAIT, PLOT, VALUE = "trait (of two)", "plot (of two traits)", "value (of two traits)"


@dataclass(frozen=True, slots=True)
class TogetherLine:
    """Variances of both traits and their covariance and correlation, in one term (`residual`: within plots).

    Variances in squared units of each trait; `correlation_se` by the delta method. Correlation and error are None where
    a variance is 0; a correlation of exactly 1 or -1 has no error.
    """

    term: str
    variance_a: float
    variance_b: float
    covariance: float
    correlation: float | None
    correlation_se: float | None


@dataclass(frozen=True, slots=True)
class TwoTraits:
    """Two traits fitted together: how they go together in each random term and within plots, and the fit of both.

    `fit` speaks of both traits one under the other, each divided by its `scale`; terms carry the trait as last part.
    """

    trait_a: str
    trait_b: str
    lines: tuple[TogetherLine, ...]
    scale: tuple[float, float]
    n_plots: int
    n_both: int
    fit: Fit

    def line(self, term: str) -> TogetherLine:
        """The line of one term."""
        return next(one for one in self.lines if one.term == term)


def fit_two_traits(data: Mapping[str, Column], model: Model, traits: tuple[str, str]) -> TwoTraits:
    """Fit two traits of the same plots at once, with covariances between them in every random term and within plots.

    Parameters
    ----------
    data
        One record a plot: columns of equal length. A plot may lack one of the traits.
    model
        The model of each trait; its response is left aside. Class terms only in the random part.
    traits
        The two columns.

    Returns
    -------
    TwoTraits
        For each random term and for the residual both variances, the covariance and the correlation. The correlation of
        the lines' term is the genetic correlation.

    Raises
    ------
    InputRefused
        As `fit_mixed_model`; or the model has surfaces, a grid, weights, known or split variances, or numbers in its
        random part.

    Notes
    -----
    All fixed terms are fitted for each trait. Each random term has a covariance matrix of two by two between the
    traits, any positive (semi-)definite one; so has the residual of a plot. Traits are divided by their standard
    deviations while they are fitted.

    References
    ----------
    Henderson & Quaas 1976 J. Anim. Sci. 43:1188; Falconer & Mackay 1996 ch. 19.

    Checked by
    ----------
    tests/science/test_two_traits.py
    """
    from firstsilk.science.analysis.large_models import climb_large, tell_large
    from firstsilk.science.analysis.mixed_models import lay_out

    _check(model, traits)
    stacked, scale, counts = _stack(data, model, traits)
    both = _double(stacked, model)
    large = climb_large(lay_out(stacked, both), both)
    lines = [_term_line(large, term, name, scale) for term, name in zip(both.random, _names(model), strict=True)]
    lines.append(_residual_line(large, scale))
    return TwoTraits(*traits, tuple(lines), scale, *counts, tell_large(large))


def _names(model: Model) -> list[str]:
    return [term.name for term in model.random]


def _check(model: Model, traits: tuple[str, str]) -> None:
    residual = model.residual
    if traits[0] == traits[1]:
        raise refuse("trait_twice", f"Two different traits are needed, not {traits[0]!r} twice")
    plain = Residual()
    if model.surfaces or model.weights or residual != plain:
        raise refuse("two_traits_plain", "Two traits at once take no surface, weights, grid or variances by group")
    for term in model.random:
        if term.variance_by or term.factors or term.variance is not None:
            raise refuse("two_traits_plain", f"Two traits at once take plain random terms; {term.name!r} is not")
        if set(term.columns) & set(model.numeric):
            raise refuse("two_traits_plain", f"Two traits at once take class columns only; {term.name!r} has a number")
        if term.relationship and len(term.columns) > 1:
            raise refuse(
                "two_traits_plain", f"Two traits at once take a relationship of one column; {term.name!r} has more"
            )


def _stack(
    data: Mapping[str, Column], model: Model, traits: tuple[str, str]
) -> tuple[dict[str, list[object]], tuple[float, float], tuple[int, int]]:
    """One record under the other, each trait divided by its standard deviation; plots, and plots with both."""
    for name in traits:
        if name not in data:
            raise refuse("column_missing", f"The records have no column {name!r}", column=name)
    n = len(data[traits[0]])
    numbers = [_numbers(data[name], name) for name in traits]
    spread = [float(np.nanstd(own, ddof=1)) if np.sum(~np.isnan(own)) > 1 else 0.0 for own in numbers]
    for name, own in zip(traits, spread, strict=True):
        if own == 0.0:
            raise refuse("no_variation", f"Trait {name!r} does not vary")
    used = {name for term in model.fixed for name in term} | {name for term in model.random for name in term.columns}
    out: dict[str, list[object]] = {name: [*data[name], *data[name]] for name in used if name in data}
    # Numbered, so that the first stays the first whatever the names.
    out[TRAIT] = [f"{1 + k // n} {traits[k // n]}" for k in range(2 * n)]
    out[PLOT] = [*range(n), *range(n)]
    out[VALUE] = [float(value) for own, s in zip(numbers, spread, strict=True) for value in own / s]
    seen = ~np.isnan(np.array(numbers))
    return out, (spread[0], spread[1]), (int(np.sum(seen.any(axis=0))), int(np.sum(seen.all(axis=0))))


def _numbers(values: Column, name: str) -> Array:
    found = []
    for at, value in enumerate(values):
        try:
            found.append(math.nan if value is None or value == "" else float(str(value)))
        except (TypeError, ValueError):
            raise refuse("not_a_number", f"Column {name!r}, record {at + 1}: {value!r} is not a number") from None
    return np.array(found)


def _double(stacked: dict[str, list[object]], model: Model) -> Model:
    """The model of both traits; a random term of several columns becomes one column of its cells."""
    random = []
    for term in model.random:
        name = term.columns[0]
        if len(term.columns) > 1:
            name = term.name
            parts = [[label_of(value) for value in stacked[column]] for column in term.columns]
            stacked[name] = [":".join(cell) if all(cell) else None for cell in zip(*parts, strict=True)]
        random.append(RandomTerm((name, TRAIT), term.relationship, factors=1))
    fixed = ((TRAIT,), *((TRAIT, *term) for term in model.fixed))
    residual = Residual(variance_by=TRAIT, together=PLOT)
    genotype = model.genotype if model.genotype in stacked else None
    return replace(model, response=VALUE, fixed=fixed, random=tuple(random), residual=residual, genotype=genotype)


def _term_line(large: LargeFit, term: RandomTerm, name: str, scale: tuple[float, float]) -> TogetherLine:
    """What loadings l, m and the second trait's own variance v say: variances l^2, m^2 + v, covariance l m."""
    places = _places(large, term.name, (LOADING, LOADING, VARIANCE))
    values, covariance = _values(large, places)
    first, second, own = values.tolist()
    one, two = first**2, second**2 + own
    correlation = error = None
    if one > 0 and two > 0:
        correlation = math.copysign(1.0, first) * second / math.sqrt(two)
        root = math.copysign(1.0, first) / two**1.5
        error = _delta(np.array([0.0, own * root, -0.5 * second * root]), covariance) if own > 0 else None
    a, b = scale
    return TogetherLine(name, one * a * a, two * b * b, first * second * a * b, correlation, error)


def _residual_line(large: LargeFit, scale: tuple[float, float]) -> TogetherLine:
    places = _places(large, "residual", (RESIDUAL, RESIDUAL, TURNED))
    values, covariance = _values(large, places)
    one, two, turned = values.tolist()
    r = math.tanh(turned)
    error = _delta(np.array([0.0, 0.0, 1.0 - r * r]), covariance)
    a, b = scale
    return TogetherLine("residual", one * a * a, two * b * b, r * math.sqrt(one * two) * a * b, r, error)


def _places(large: LargeFit, term: str, kinds: Sequence[str]) -> list[int]:
    """Where a term's parameters stand: of each kind in turn, the last of those that are left."""
    parameters = large.problem.parameters
    own = [(k, one) for k, one in enumerate(parameters) if one.term == term and one.known != 0.0]
    found: list[int] = []
    for kind in kinds:
        found.append(next(k for k, one in own if one.kind == kind and k not in found))
    return found


def _values(large: LargeFit, places: list[int]) -> tuple[Array, Array]:
    top = large.top
    return top.state.values[places], np.nan_to_num(top.covariance[np.ix_(places, places)])


def _delta(slope: Array, covariance: Array) -> float:
    return math.sqrt(max(float(slope @ covariance @ slope), 0.0))

"""How do the lines of our fits read in the words of the reference values?

Those words are of general mixed-model libraries: "fixed" and the column's name with its level, "BLUP" with the
term's name, its level and what it multiplies.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from trial_tables import Columns

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm

Answers = dict[str, float]
Terms = tuple[tuple[str, ...], ...]


def fixed(*terms: str) -> Terms:
    return tuple(tuple(term.split(":")) for term in terms)


def random(*terms: str, by: Mapping[str, str] | None = None) -> tuple[RandomTerm, ...]:
    """Random terms from ``a:b`` texts; those named in `by` have a variance for each level of a column."""
    return tuple(RandomTerm(tuple(t.split(":")), variance_by=(by or {}).get(t)) for t in terms)


def with_column(data: Columns, name: str, *parts: str, between: str = " ") -> Columns:
    """The data with one more column, made of others."""
    rows = zip(*(data[part] for part in parts), strict=True)
    return {**data, name: [between.join(str(cell) for cell in row) for row in rows]}


def only(data: Columns, keep: Sequence[bool]) -> Columns:
    return {name: [v for v, k in zip(values, keep, strict=True) if k] for name, values in data.items()}


def coefficient(model: Model, term: str, level: str) -> str:
    """The name of a coefficient: each column with its level, numbers by their column alone."""
    if term == "intercept":
        return "(Intercept)"
    levels = iter(level.split(":"))
    return ":".join(name if name in model.numeric else name + next(levels) for name in term.split(":"))


def tell_fixed(fit: Fit, model: Model) -> Answers:
    told = {}
    for line in fit.fixed:
        name = coefficient(model, line.term, line.level)
        told |= {f"fixed {name}": line.estimate, f"SE fixed {name}": line.se}
    return told


def tell(data: Columns, model: Model, groups: Mapping[str, tuple[str, str]] | None = None) -> Answers:
    """All that lme4 prints of a fit; `groups` renames a term to its name there and what it multiplies."""
    fit = fit_mixed_model(data, model)
    told = {"logLik REML": fit.reml_log_likelihood, **tell_fixed(fit, model)}
    names = {term.name: (term.name, "(Intercept)") for term in model.random} | dict(groups or {})
    for line in fit.variances:
        group, times = names.get(line.term, ("Residual", ""))
        told[f"variance {group} {times}".strip()] = line.value
    for effect in fit.random:
        group, times = names[effect.term]
        told[f"BLUP {group} {effect.level} {times}"] = effect.value
    return told


def tell_means(fit: Fit, term: str, name: str = "fixed ", error: str = "SE fixed ", before: str = "") -> Answers:
    """Marginal means as the coefficients of a model without intercept."""
    told = {}
    for line in fit.means:
        if line.term == term:
            told |= {f"{name}{before}{line.level}": line.value, f"{error}{before}{line.level}": line.se}
    return told


def tell_first_means(data: Columns, model: Model, column: str) -> Answers:
    """Means at the first level of all else: the intercept, each level in turn put first."""
    told = {}
    for level in sorted({str(value) for value in data[column]}):
        first = [" " + str(v) if v != level else "!" + str(v) for v in data[column]]
        intercept = fit_mixed_model({**data, column: first}, model).fixed[0]
        told |= {f"fixed {column}{level}": intercept.estimate, f"SE fixed {column}{level}": intercept.se}
    return told


def pair_variances(covariance: Array) -> Array:
    """The variance of every difference between two levels."""
    pairs = np.triu_indices(len(covariance), 1)
    own = np.diag(covariance)
    return np.asarray((own[:, None] + own - 2 * covariance)[pairs])


def residual_of(data: Columns, response: str, terms: Terms) -> tuple[float, int]:
    """Residual sum of squares and degrees of freedom of a model of fixed terms."""
    fit = fit_mixed_model(data, Model(response, terms))
    df = fit.n - len(fit.fixed)
    return fit.variance("residual") * df, df


def tell_squares(data: Columns, response: str, *terms: str) -> Answers:
    """Sums of squares, and their degrees of freedom, of fixed terms entered one after the other."""
    told = {}
    before, df_before = residual_of(data, response, ())
    for k, term in enumerate(terms):
        after, df = residual_of(data, response, fixed(*terms[: k + 1]))
        told |= {f"SS {term}": before - after, f"df {term}": float(df_before - df)}
        before, df_before = after, df
    return told | {"SS Residuals": before, "df Residuals": float(df_before)}


def tell_spread(variance: float, prefix: str = "sigma") -> Answers:
    return {f"{prefix} (residual SD)": math.sqrt(variance), f"{prefix}^2": variance}

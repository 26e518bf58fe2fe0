"""How much of the difference between entries' results would be inherited by a new trial of the same kind?

Three answers: from the predictions' own errors (Cullis), from adjusted means (Piepho), and from variances alone
(entry mean).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import scipy.sparse.linalg

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.models import Array, Fit, Heritability, Model, RandomTerm, SparseRelationship
from firstsilk.science.analysis.records import Records

Fitter = Callable[[Mapping[str, Column], Model], Fit]


def estimate_heritability(
    data: Mapping[str, Column], model: Model, records: Records, fit: Fit, fit_again: Fitter
) -> Heritability:
    """Heritability of the model's genotype column, on the basis of an entry's result over all its records.

    Parameters
    ----------
    data, model, records
        What was fitted.
    fit
        Its result. The genotype is fixed or random in it; the other fit is made here.
    fit_again
        The fitting function.

    Returns
    -------
    Heritability
        Each is None where it has no meaning: the genotype is no main effect, its variance is 0, or the companion
        fit cannot be made.

    Notes
    -----
    cullis = 1 - vBLUP / (2 sg2), vBLUP the mean variance of a difference of BLUPs from their full error covariance
    (with a relationship, 2 sg2 becomes the mean variance of a difference before the data).
    piepho = sg2 / (sg2 + vBLUE/2), vBLUE the mean variance of a difference of adjusted means, entries fixed.
    entry_mean = sg2 / (sg2 + mean error variance of an entry's plain mean from its interactions and the residual).

    References
    ----------
    Cullis, Smith & Coombes 2006 JABES 11:381; Piepho & Mohring 2007 Genetics 177:1881.

    Checked by
    ----------
    tests/outside/test_fit_published.py
    """
    genotype = str(model.genotype)
    main = [term for term in model.random if term.columns == (genotype,)]
    if any(term.variance_by for term in main) or len(records.classes[genotype].levels) < 2:
        return Heritability(None, None, None)
    as_random: Fit | None = fit
    as_fixed: Fit | None = fit
    random_model = model
    if main:
        as_fixed = _try(fit_again, data, _with_fixed(model, genotype))
    elif (genotype,) in model.fixed:
        random_model = _with_random(model, genotype)
        as_random = _try(fit_again, data, random_model)
    else:
        return Heritability(None, None, None)
    if as_random is None or as_random.variance(genotype) <= 0:
        return Heritability(None, None, None)
    before = _prior_difference(random_model, records, genotype) * as_random.variance(genotype)
    cullis = 1.0 - as_random.difference_variance[genotype] / before
    piepho = None
    if as_fixed is not None:
        piepho = before / (before + as_fixed.difference_variance[genotype])
    error = _plain_mean_error(random_model, records, as_random, genotype)
    entry_mean = before / (before + 2.0 * error) if error is not None else None
    return Heritability(cullis, piepho, entry_mean)


def _try(fit_again: Fitter, data: Mapping[str, Column], model: Model) -> Fit | None:
    try:
        return fit_again(data, model)
    except InputRefused:
        return None


def _with_fixed(model: Model, genotype: str) -> Model:
    random = tuple(term for term in model.random if term.columns != (genotype,))
    return replace(model, fixed=(*model.fixed, (genotype,)), random=random)


def _with_random(model: Model, genotype: str) -> Model:

    fixed = tuple(term for term in model.fixed if term != (genotype,))
    return replace(model, fixed=fixed, random=(*model.random, RandomTerm((genotype,))))


def mean_difference(trace: float, total: float, m: int) -> float:
    """The mean variance of a difference of two of m, over all pairs, from trace and sum of their covariance."""
    return 2.0 * (trace / m - (total - trace) / (m * (m - 1)))


def _prior_difference(model: Model, records: Records, genotype: str) -> float:
    """Mean variance of a difference before the data, for variance 1 (2 for unrelated genotypes)."""
    related = next(term.relationship for term in model.random if term.columns == (genotype,))
    if related is None:
        return 2.0
    with_records = set(records.classes[genotype].levels)
    at = [k for k, name in enumerate(related.names) if name in with_records]
    if isinstance(related, SparseRelationship):
        own = related.to_level[at]
        summed = np.asarray(own.sum(axis=0), dtype=np.float64).ravel()
        solved = scipy.sparse.linalg.spsolve(related.precision.tocsc(), summed)
        return mean_difference(float(np.sum(related.diagonal[at])), float(summed @ solved), len(at))
    inside = np.asarray(related.matrix, dtype=np.float64)[np.ix_(at, at)]
    return mean_difference(float(np.trace(inside)), float(np.sum(inside)), len(at))


def _plain_mean_error(model: Model, records: Records, fit: Fit, genotype: str) -> float | None:
    """Mean over genotypes of the error variance of the plain mean: interactions with the genotype, and residual."""
    left = model.residual
    if left.covariance is not None or left.grid or left.together or model.surfaces:
        return None
    if any(term.factors for term in model.random):
        return None
    own = records.classes[genotype].codes
    counts = np.bincount(own)
    residual = _residual_of_records(model, records, fit)
    error = np.bincount(own, residual) / counts**2
    for term in model.random:
        others = [name for name in term.columns if name != genotype]
        if genotype not in term.columns or not others:
            continue
        if any(name in records.numbers for name in others):
            return None
        codes = np.column_stack([own, *(records.classes[name].codes for name in others)])
        _, cell = np.unique(codes, axis=0, return_inverse=True)
        cell = np.ravel(cell)
        sizes = np.bincount(cell)
        first = np.unique(cell, return_index=True)[1]
        variance = np.array([_variance_at(term, records, fit, int(at)) for at in first])
        error = error + np.bincount(own[first], variance * sizes.astype(np.float64) ** 2) / counts**2
    return float(np.mean(error))


def _variance_at(term: RandomTerm, records: Records, fit: Fit, at: int) -> float:
    if term.variance_by is None:
        return fit.variance(term.name)
    by = records.classes[term.variance_by]
    return fit.variance(term.name, by.levels[by.codes[at]])


def _residual_of_records(model: Model, records: Records, fit: Fit) -> Array:
    if model.residual.variance_by is None:
        return fit.variance("residual") / records.weights
    by = records.classes[model.residual.variance_by]
    values = np.array([fit.variance("residual", level) for level in by.levels])
    return np.asarray(values[by.codes] / records.weights, dtype=np.float64)

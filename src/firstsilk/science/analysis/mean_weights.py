"""How much does each adjusted mean of a trial weigh, where the covariance of all of them is left out?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import scipy.linalg
import scipy.sparse

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import build_design, plan_terms
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.hypotheses import centre_numbers
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.mixed_models import lay_out
from firstsilk.science.analysis.models import Array, Fit, Model

# Columns beside the genotype (blocks, replicates) that are worked densely.
MOST_BESIDE = 2_000


def invert_diagonal(covariance: Array) -> Array:
    """The diagonal of the inverse of a covariance, (m,).

    Raises
    ------
    InputRefused
        If the covariance is not positive definite.

    Checked by
    ----------
    tests/science/test_two_stages.py
    """
    try:
        lower = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:
        raise refuse("covariance_not_positive", "These means have no usable covariance") from None
    half = scipy.linalg.solve_triangular(lower, np.eye(len(lower)), lower=True)
    return np.asarray(np.sum(half * half, axis=0), dtype=np.float64)


def weigh_means(data: Mapping[str, Column], model: Model, fit: Fit) -> Array:
    """Weights of the means of a fixed genotype without their covariance: the diagonal of its inverse, (m,).

    Parameters
    ----------
    data, model, fit
        One trial, its model and its fit; `model.genotype` is a fixed main effect and in no other fixed term.

    Returns
    -------
    array
        In the order of the genotype's means.

    Raises
    ------
    InputRefused
        If the genotype interacts with a fixed term, a random term has a relationship, the residual has correlated
        ground, or there are more than 2,000 columns beside the genotype.

    Notes
    -----
    With G the records' genotypes, H the other columns (random ones scaled by their standard deviation, fixed ones
    summing to zero, numbers less their mean) and M = H'R^-1 H plus 1 for the random ones,
    V^-1 = G'R^-1 G - G'R^-1 H M^-1 H'R^-1 G.

    References
    ----------
    Smith, Cullis & Gilmour 2001 Aust NZ J Stat 43:129.

    Checked by
    ----------
    tests/science/test_two_stages.py
    """
    genotype = str(model.genotype)
    others = tuple(term for term in model.fixed if term != (genotype,))
    if any(genotype in term for term in others):
        raise refuse("genotype_interacts", f"{genotype!r} stands in another fixed term too; its means have no weights")
    plain = not (
        model.surfaces or model.residual.grid or model.residual.together or model.residual.covariance is not None
    )
    if not plain or any(term.relationship is not None or term.factors for term in model.random):
        raise refuse("weights_not_known", "Weights of so many means need plain random terms and a plain residual")
    layout = lay_out(data, model)
    variances = _variances(layout, fit)
    H, random = _columns_beside(layout, replace(model, fixed=others, genotype=None), variances)
    if H.shape[1] > MOST_BESIDE:
        raise refuse("too_large", f"{H.shape[1]} columns beside {genotype!r} are too many (up to {MOST_BESIDE})")
    precision = layout.records.weights / variances[len(layout.random.components) :][layout.groups]
    own = layout.records.classes[genotype]
    m = len(own.levels)
    S = scipy.sparse.csr_array((precision, (own.codes, np.arange(len(own.codes)))), shape=(m, len(own.codes))) @ H
    M = (H.T @ H.multiply(precision[:, None])).toarray()
    M[np.arange(random), np.arange(random)] += 1.0
    alone = np.bincount(own.codes, weights=precision, minlength=m)
    if not H.shape[1]:
        return np.asarray(alone, dtype=np.float64)
    dense = S.toarray()
    return np.asarray(alone - np.sum(dense.T * scipy.linalg.cho_solve(scipy.linalg.cho_factor(M), dense.T), axis=0))


def _variances(layout: Layout, fit: Fit) -> Array:
    found = {(line.term, line.level): line.value for line in fit.variances}
    return np.array(
        [found.get(name, known) for name, known in zip(layout.variance_names, layout.known.tolist(), strict=True)]
    )


def _columns_beside(layout: Layout, model: Model, variances: Array) -> tuple[scipy.sparse.csr_array, int]:
    """All columns but the genotype's: random ones (so many), then fixed ones without the intercept."""
    part, records = layout.random, layout.records
    scale = np.sqrt(variances[part.component_of_level]) if part.names else np.zeros(0)
    Z = part.incidence @ scipy.sparse.diags_array(scale) if part.names else part.incidence
    kept = scipy.sparse.csr_array(Z)[:, np.flatnonzero(scale > 0)]
    coded = replace(model, sum_coded=tuple(records.classes))
    centred = replace(records, numbers=centre_numbers(records.numbers, model))
    X = build_design(plan_terms(records, coded), centred)[:, 1:]
    return scipy.sparse.csr_array(scipy.sparse.hstack([kept, scipy.sparse.csr_array(X)])), kept.shape[1]

"""What is an untested line worth, told from its markers and the lines that were tested?

One mixed model, y = X b + u + e, with var(u) = s2u K over all lines and var(e) = s2e / weight. With K = Z Z'/k of the
marker doses this is the same as giving every marker a normal effect of variance s2u / k: worth and effects are two
views of one fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, lapack

from firstsilk.answers import refuse
from firstsilk.science.lineage.marker_relationship import Centred, Precision, centre_doses, mirror_lower
from firstsilk.science.lineage.markers import MarkerTable, walk_chunks
from firstsilk.science.lineage.variances import LARGEST_SHARE, estimate_variances

LEAST_TESTED = 5
"""Tested lines below which no variance is estimated: ours."""
WIDEST_WEIGHTS = 1e10
"""Ratio of weights beyond which double precision has few figures left for the lighter ones: ours."""
LARGEST_VALUE = 1e60
"""Beyond it squares leave the range of double precision on their way: ours, as for plots."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GenomicFit:
    """The fit of tested lines, and the worth of all lines told by it.

    `values` (n,) are deviations from the mean of the fixed part, `reliability` (n,) [0 to 1], for all lines in the
    order of the relationship. `effects` (q,) of the fixed part with `effects_se`; `tested` (m,) are the places of
    tested lines. `design` (m, q) is X; `weighted_rest` (m,) is V^-1 (y - X b), from which marker effects follow;
    `projection` (m, m) is P. `log_likelihood` is the reduced one with the (m-q)/2 ln 2 pi term, without +1/2 ln|X'X|.
    """

    genetic_variance: float
    residual_variance: float
    log_likelihood: float
    at_bound: bool
    effects: Numbers
    effects_se: Numbers
    values: Numbers
    reliability: Numbers
    tested: NDArray[np.intp]
    response: Numbers
    design: Numbers
    weighted_rest: Numbers
    projection: Numbers

    @property
    def genetic_share(self) -> float:
        """Share of the variance of a record with weight 1 that lines with a relationship of 1 to themselves explain."""
        return self.genetic_variance / (self.genetic_variance + self.residual_variance)


def fit_genomic_values(
    relationship: Numbers,
    tested: NDArray[np.intp],
    response: Numbers,
    design: Numbers | None = None,
    weights: Numbers | None = None,
    variances: tuple[float, float] | None = None,
) -> GenomicFit:
    """Fit tested lines and tell the worth of all lines, tested or not, with reliabilities.

    Parameters
    ----------
    relationship
        K (n, n) of all lines, symmetric.
    tested
        Places of the m tested lines in it, each once.
    response
        Their values (m,), in any unit.
    design
        X (m, q) of the fixed part; the mean alone if absent.
    weights
        Relative precision of each value (m,), above 0; 1 if absent.
    variances
        s2u and s2e if known; else estimated by reduced maximum likelihood.

    Raises
    ------
    InputRefused
        Fewer than 5 tested lines while variances are to be estimated; values that do not vary; columns of X that are
        not independent; weights or variances that are not above 0.

    Notes
    -----
    V = s2u K_tt + s2e W^-1; u = s2u K_.t V^-1 (y - X b); reliability 1 - PEV / (s2u K_ii) with the error of b counted,
    the variances taken as known; 0 where s2u is 0 or K_ii is 0.

    References
    ----------
    Henderson 1975, Biometrics 31:423; VanRaden 2008, J. Dairy Sci. 91:4414; Habier, Fernando & Dekkers 2007, Genetics
    177:2389 (the same predictions by markers).

    Checked by
    ----------
    tests/outside/test_markers_published.py; the engine of `science/analysis` and dense equations in
    tests/science/test_prediction.py
    """
    places = np.asarray(tested, dtype=np.intp)
    m = len(places)
    fixed, scale = _lay_out(m, design, weights)
    _check(response, fixed, scale, variances)
    # Records scaled by the root of their weight have an even residual.
    among = relationship[np.ix_(places, places)] * scale[:, None] * scale
    genetic, residual = variances or estimate_variances(among, fixed * scale[:, None], response * scale)
    # From here on the place of `among` holds the covariance, then its inverse: a copy less of the largest matrix.
    size = genetic * float(np.trace(among)) / m
    among *= genetic
    among.flat[:: m + 1] += residual
    inverse, log_size = _invert(among)
    log_size -= 2.0 * float(np.log(scale).sum())
    inverse *= scale[:, None] * scale
    spread = inverse @ fixed
    information = fixed.T @ spread
    of_effects = np.linalg.inv(information)
    effects = of_effects @ (spread.T @ response)
    rest = inverse @ (response - fixed @ effects)
    projection = inverse
    projection -= spread @ of_effects @ spread.T
    log_size += float(np.linalg.slogdet(information)[1]) + (m - fixed.shape[1]) * float(np.log(2.0 * np.pi))
    # The part of V and of I that the fixed part takes: diagonals of X A X' and of X A X' V^-1.
    taken = [np.einsum("ij,ij->i", fixed @ of_effects, part) for part in (fixed, spread)]
    told = _explain(relationship, places, genetic, residual / scale**2, projection, taken)
    return GenomicFit(
        genetic,
        residual,
        -0.5 * (float((response - fixed @ effects) @ rest) + log_size),
        _is_at_bound(size, residual),
        effects,
        np.sqrt(np.diag(of_effects)),
        genetic * (relationship[:, places] @ rest),
        _find_reliability(told, genetic * np.diag(relationship)),
        places,
        np.asarray(response, dtype=np.float64),
        fixed,
        rest,
        projection,
    )


def _lay_out(m: int, design: Numbers | None, weights: Numbers | None) -> tuple[Numbers, Numbers]:
    """The fixed part (m, q), and the roots of the weights (m,)."""
    fixed = np.ones((m, 1)) if design is None else np.asarray(design, dtype=np.float64)
    return fixed, np.ones(m) if weights is None else np.sqrt(np.asarray(weights, dtype=np.float64))


def _is_at_bound(genetic: float, residual: float) -> bool:
    return genetic == 0.0 or residual <= 1.01 * (1.0 - LARGEST_SHARE) * (genetic + residual)


def _invert(covariance: Numbers) -> tuple[Numbers, float]:
    """The inverse of a covariance, written in its place, and its log-determinant."""
    # Turned, a C-ordered symmetric matrix is the Fortran-ordered one that need not be copied.
    factor, wrong = lapack.dpotrf(covariance.T, lower=1, overwrite_a=1)
    if wrong:
        raise refuse(
            "lines_alike",
            "Tested lines are alike by their relationship and leave no residual, so their values cannot be told apart.",
            "Give a residual variance, or leave lines out that are the same.",
        )
    log_size = 2.0 * float(np.log(np.diag(factor)).sum())
    inverse, _ = lapack.dpotri(factor, lower=1, overwrite_c=1)
    mirror_lower(inverse)
    return inverse, log_size


def _explain(
    relationship: Numbers,
    tested: NDArray[np.intp],
    genetic: float,
    noise: Numbers,
    projection: Numbers,
    taken: list[Numbers],
) -> Numbers:
    """The variance of each line's predicted worth: the diagonal of s2u K_.t P K_t. s2u, shape (n,).

    Among tested lines s2u K = V - R, and V P V, V P R and R P R have diagonals that are known without a product of
    matrices; only for the others is one needed.
    """
    explained = np.empty(len(relationship))
    own = genetic * np.diag(relationship)[tested] + noise
    explained[tested] = own - taken[0] - 2.0 * noise * (1.0 - taken[1]) + noise**2 * np.diag(projection)
    others = np.setdiff1d(np.arange(len(relationship)), tested)
    shared = genetic * relationship[np.ix_(others, tested)]
    explained[others] = np.einsum("ij,ij->i", shared @ projection, shared)
    return explained


def _find_reliability(explained: Numbers, own: Numbers) -> Numbers:
    reliability = np.zeros_like(explained)
    np.divide(explained, own, out=reliability, where=own > 0.0)
    return np.clip(reliability, 0.0, 1.0)


def _check(response: Numbers, design: Numbers, scale: Numbers, variances: tuple[float, float] | None) -> None:
    if variances is None and len(response) < LEAST_TESTED:
        raise refuse(
            "too_few_tested",
            f"{len(response)} tested lines have markers; {LEAST_TESTED} are the least from which variances are told.",
            "Add tested lines, or check that both files name lines alike.",
        )
    if variances is not None and not (variances[0] >= 0.0 and variances[1] > 0.0):
        raise refuse("variances_odd", "The genetic variance is below 0, or the residual not above 0.", "Correct them.")
    if not bool((scale > 0.0).all()):
        raise refuse("weight_not_positive", "A weight is not above 0.", "Give weights above 0.")
    if float(scale.max() / scale.min()) ** 2 > WIDEST_WEIGHTS:
        told = f"The largest weight is more than {WIDEST_WEIGHTS:g} times the smallest."
        raise refuse("weights_far_apart", told, "Give weights nearer to each other, such as numbers of plots.")
    if float(np.abs(response).max()) > LARGEST_VALUE:
        raise refuse("value_too_large", f"A value is beyond {LARGEST_VALUE:g}.", "Check the unit.")
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise refuse("fixed_not_independent", "The fixed columns say the same thing twice.", "Leave one out.")
    if variances is None and np.ptp(response) == 0.0:
        raise refuse("values_alike", "All tested lines have the same value.", "Give values that differ.")


def find_marker_effects(
    table: MarkerTable, frequency: Numbers, divisor: float, fit: GenomicFit, share: float = 1.0
) -> Numbers:
    """The effect of one copy of the counted allele of each marker, shape (p,), in the unit of the response.

    Parameters
    ----------
    table
        Markers of all lines of the relationship, in its order.
    frequency, divisor
        As the relationship was centred (p,) and divided.
    fit
        What `fit_genomic_values` found with that relationship.
    share
        Share of the marker relationship in a blend with the pedigree [0 to 1].

    Notes
    -----
    s2u share Z_t' V^-1 (y - X b) / k. With share 1, Z times the effects gives the values of the lines.

    References
    ----------
    VanRaden 2008, J. Dairy Sci. 91:4414; Habier, Fernando & Dekkers 2007, Genetics 177:2389.

    Checked by
    ----------
    tests/outside/test_markers_published.py
    """
    effects = np.empty(len(table.markers))
    rest: Numbers = np.zeros(len(table.samples))
    rest[fit.tested] = fit.weighted_rest
    kind: Precision = np.dtype(np.float64) if table.doses.size < 2e7 else np.dtype(np.float32)
    turned: Centred = rest.astype(kind)
    for part in walk_chunks(len(effects)):
        effects[part] = turned @ centre_doses(table, part, frequency, kind)
    return effects * (fit.genetic_variance * share / divisor)


def score_lines(table: MarkerTable, frequency: Numbers, effects: Numbers) -> Numbers:
    """The worth of lines as the sum of their marker effects, shape (n,), from the mean of the fixed part.

    Checked by
    ----------
    tests/outside/test_markers_published.py
    """
    worth = np.zeros(len(table.samples))
    for part in walk_chunks(len(effects)):
        worth += centre_doses(table, part, frequency, np.dtype(np.float64)) @ effects[part]
    return worth


def predict_left_out(fit: GenomicFit, groups: NDArray[np.intp]) -> Numbers:
    """What each tested line would have been predicted to be, had its whole group not been tested, shape (m,).

    Parameters
    ----------
    fit
        The fit of all tested lines.
    groups
        The group of each tested line (m,), counted from 0.

    Returns
    -------
    ndarray
        Predicted values in the unit of the response, fixed part included; NaN for a group without which the fixed part
        could not be told.

    Notes
    -----
    Exact with the variances held: y_g - (P_gg)^-1 (P y)_g, the fixed part estimated anew. The variances were estimated
    with the group in, which matters little unless it is a large part of all.

    References
    ----------
    Gianola & Schoen 2016, G3 6:3107 (leaving out by the inverse); block form derived here, checked by refitting.

    Checked by
    ----------
    tests/science/test_prediction.py (each group refitted without it)
    """
    predicted = np.full(len(fit.response), np.nan)
    for group in np.unique(groups):
        at = np.flatnonzero(groups == group)
        if np.linalg.matrix_rank(fit.design[groups != group]) < fit.design.shape[1]:
            continue
        factor, wrong = lapack.dpotrf(fit.projection[np.ix_(at, at)], lower=1)
        if not wrong:
            predicted[at] = fit.response[at] - cho_solve((factor, True), fit.weighted_rest[at])
    return predicted

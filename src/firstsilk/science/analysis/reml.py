"""Which variances make the data most likely (REML), and how sure is that? The dense way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.climbing import (
    SETTLED,
    Hill,
    check_residual,
    climb,
    parameter_errors,
    refuse_confounded,
    steepest,
    vanished,
    variance_kinds,
)
from firstsilk.science.analysis.equations import Problem, State, cross_products, solve_equations, to_columns
from firstsilk.science.analysis.models import Array

# Stop when the next step promises less than this much log-likelihood.
PROMISE = 1e-15
FLAT = 1e-9
# A pattern of which less than this share is left past the fixed part is nothing. A residual's own share is the root of
# a difference of nearly equal numbers, so it is known to some 1e-8 only.
UNSEEN = 1e-9
UNSEEN_ERROR = 1e-6
# So many columns and fewer are climbed from several starts.
SMALL_PROBLEM = 300
# Rounding in a log-likelihood, relative to its size.
ROUNDING = 1e-13


@dataclass(frozen=True, slots=True)
class Top:
    """The top of the likelihood: its state, errors of the variances (nan where not estimated), how it was reached."""

    state: State
    errors: Array
    gradient: float
    converged: bool
    iterations: int


def maximise(problem: Problem, known: Array, names: Sequence[str]) -> Top:
    """Find the variances with the highest REML log-likelihood.

    Parameters
    ----------
    problem
        The data, arranged.
    known
        The known value of each variance, nan where it is to be estimated, (K,).
    names
        What to call each variance in a complaint.

    Returns
    -------
    Top
        The best state; variances that end at their bound are exactly 0.

    Raises
    ------
    InputRefused
        If some variances cannot be told apart from each other or from the fixed part, or a residual falls to 0.

    Notes
    -----
    `climbing.climb` from one start, and from more where few records carry many variances.
    """
    free = np.isnan(known)
    kinds = variance_kinds(free, problem.n_random)
    total = _check_identifiable(problem, free, names)
    at_one = cross_products(problem, problem.weights) if problem.n_groups == 1 else None
    start = _start(problem, known, free, total)
    hill = Hill(
        lambda variances: solve_equations(problem, variances, at_one),
        lambda state: state,
        kinds,
        total,
        PROMISE,
        ROUNDING,
    )
    best = climb(hill, start)
    check_residual(best.state.values, kinds, total, names)
    for ratio in _other_starts(problem, free):
        elsewhere = start.copy()
        elsewhere[: problem.n_random][free[: problem.n_random]] *= ratio
        other = climb(hill, elsewhere)
        higher = other.state.log_likelihood > best.state.log_likelihood + SETTLED
        if higher and not vanished(other.state.values, kinds, total):
            best = other
    state = best.state
    return Top(state, parameter_errors(state, kinds), steepest(state, kinds), best.converged, best.iterations)


def _other_starts(problem: Problem, free: NDArray[np.bool_]) -> tuple[float, ...]:
    """With many variances and few records the likelihood may have several tops: then start elsewhere too."""
    small = problem.random.width + problem.fixed.shape[1] <= SMALL_PROBLEM
    return (0.01, 100.0) if small and int(np.sum(free)) >= 4 else ()


def _start(problem: Problem, known: Array, free: NDArray[np.bool_], total: float) -> Array:
    """Half of the variance to the residual, the rest shared by the random terms."""
    start = np.where(free, total / 2.0, known)
    part = problem.random
    for k in np.flatnonzero(free):
        if k < problem.n_random:
            own = part.diagonal[part.component_of_level == k]
            start[k] = total / (2.0 * problem.n_random * max(float(np.mean(own)), 1e-8))
    return np.asarray(start, dtype=np.float64)


def _check_identifiable(problem: Problem, free: NDArray[np.bool_], names: Sequence[str]) -> float:
    """Refuse variances whose patterns, seen past the fixed part, are nothing or alike; give the response variance."""
    n, p = problem.fixed.shape
    if n <= p:
        told = f"{n} record{'s leave' if n > 1 else ' leaves'}"
        effects = f"{p} fixed effect{'s' if p > 1 else ''}"
        raise refuse("no_freedom", f"{told} nothing to estimate variances from beside {effects}")
    total: float = float(np.sum(problem.weights * problem.response**2)) / (n - p)
    size = float(np.max(np.abs(problem.response)))
    if free.any() and size <= 1e-12 * problem.magnitude:
        raise refuse("no_variation", "The fixed effects explain the response wholly; there is no variance to estimate")
    columns = _columns_of(problem)
    gram = _pattern_products(problem, columns)
    size_of = np.sqrt(np.maximum(np.diag(gram), 0.0))
    for k in np.flatnonzero(free).tolist():
        if size_of[k] <= (UNSEEN if k < problem.n_random else UNSEEN_ERROR) * _raw_size(problem, columns, k):
            raise refuse_confounded([names[k]], "cannot be told from the fixed terms")
    at = np.flatnonzero(free)
    if len(at) > 1:
        roots, directions = np.linalg.eigh(gram[np.ix_(at, at)] / size_of[at][:, None] / size_of[at])
        if roots[0] < FLAT:
            alike = [names[k] for k, part in zip(at.tolist(), directions[:, 0], strict=True) if abs(part) > 1e-3]
            raise refuse_confounded(alike, "cannot be told from each other")
    return float(total)


def _raw_size(problem: Problem, columns: Array, k: int) -> float:
    """The size of a variance's pattern before the fixed part is taken out."""
    if k >= problem.n_random:
        inside = problem.groups == k - problem.n_random
        return float(np.linalg.norm(1.0 / problem.weights[inside]))
    pattern = columns[:, problem.random.components[k].columns]
    return float(np.linalg.norm(pattern.T @ pattern))


def _columns_of(problem: Problem) -> Array:
    Z = problem.incidence
    dense = Z if isinstance(Z, np.ndarray) else Z.toarray()
    return to_columns(problem.random, np.ascontiguousarray(dense.T)).T


def _pattern_products(problem: Problem, columns: Array) -> Array:
    """tr(M V_j M V_k) for all pairs of variances, M projecting past the fixed part, (K, K)."""
    Q, part = problem.fixed, problem.random
    W = columns - Q @ (Q.T @ columns)
    inner = W.T @ W
    K = problem.n_random + problem.n_groups
    gram = np.zeros((K, K))
    inverse_weights = 1.0 / problem.weights
    masks = [np.where(problem.groups == g, inverse_weights, 0.0) for g in range(problem.n_groups)]
    for j, one in enumerate(part.components):
        for k, two in enumerate(part.components):
            gram[j, k] = float(np.sum(inner[one.columns, two.columns] ** 2))
        for g, mask in enumerate(masks):
            value = float(mask @ np.sum(W[:, one.columns] ** 2, axis=1))
            gram[j, problem.n_random + g] = gram[problem.n_random + g, j] = value
    leverage = np.sum(Q * Q, axis=1)
    inners = [Q.T @ (Q * mask[:, None]) for mask in masks]
    for g, mask in enumerate(masks):
        for h in range(problem.n_groups):
            value = float(np.sum(inners[g] * inners[h]))
            if g == h:
                value += float(np.sum(mask**2 * (1.0 - 2.0 * leverage)))
            gram[problem.n_random + g, problem.n_random + h] = value
    return gram

"""Which variances make the data most likely (REML) where levels are many, and how sure is that? The sparse way.

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.climbing import (
    Hill,
    Summit,
    check_residual,
    climb,
    refuse_confounded,
    steepest,
    variance_errors,
)
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.sparse_equations import LargeProblem, LargeState, find_slopes, solve_large

# Stop when the next step promises less than this much log-likelihood, for each record and at least.
PROMISE = 1e-17
LEAST_PROMISE = 1e-15
# Rounding in a log-likelihood, relative to its size: measured 4e-12 where it is 2.4e5.
ROUNDING = 1e-11
# Slopes at a variance of 0 are taken at this share of the response variance.
FLOOR = 1e-9
FLAT = 1e-9
# So many random vectors stand in for the patterns of variances when these are compared.
VECTORS = 4


@dataclass(frozen=True, slots=True)
class LargeTop:
    """The top of the likelihood: its state, errors of the variances (nan where not estimated), how it was reached."""

    state: LargeState
    errors: Array
    gradient: float
    converged: bool
    iterations: int


def maximise_large(problem: LargeProblem, known: Array, diagonal: Array, names: Sequence[str]) -> LargeTop:
    """Find the variances with the highest REML log-likelihood.

    Parameters
    ----------
    problem
        The data, arranged.
    known
        The known value of each variance, nan where it is to be estimated, (K,).
    diagonal
        Mean diagonal of the covariance pattern of each random term, (C,).
    names
        What to call each variance in a complaint.

    Returns
    -------
    LargeTop
        The best state; variances that end at their bound are exactly 0.

    Raises
    ------
    InputRefused
        If some variances cannot be told apart from each other or from the fixed part, or a residual falls to 0.

    Notes
    -----
    Climbed with 1e-9 of the response variance standing in for a variance of 0, so that its slope can be told; then
    once more with those that ended there at exactly 0.

    References
    ----------
    Gilmour, Thompson & Cullis 1995 Biometrics 51:1440; Johnson & Thompson 1995 J. Dairy Sci. 78:449.

    Checked by
    ----------
    tests/science/test_sparse_reml.py
    """
    free = np.isnan(known)
    total = check_identifiable(problem, free, names)
    spread = np.maximum(diagonal, 1e-8)
    floor = np.where(free[: problem.n_random], FLOOR * total / spread, 0.0)
    start = np.where(free, total / 2.0, known)
    shares = total / (2.0 * max(problem.n_random, 1) * spread)
    start[: problem.n_random] = np.where(free[: problem.n_random], shares, known[: problem.n_random])
    best = _climb(problem, start, free, total, floor)
    check_residual(best.state.variances, problem.n_random, free, total, names)
    state, gradient, iterations = best.state, steepest(best.state, free), best.iterations
    if np.any(state.variances[: problem.n_random][free[: problem.n_random]] == 0.0):
        held = free & (state.variances > 0)
        exact = _climb(problem, state.variances, held, total, None)
        state, iterations = exact.state, iterations + exact.iterations
        at_bound = free & (best.state.variances == 0)
        gradient = max(steepest(state, held), float(np.max(best.state.score[at_bound], initial=0.0)))
    return LargeTop(state, variance_errors(state, free), gradient, best.converged, iterations)


def _climb(
    problem: LargeProblem, start: Array, free: NDArray[np.bool_], total: float, floor: Array | None
) -> Summit[LargeState]:
    hill = Hill(
        lambda variances: solve_large(problem, variances, floor),
        lambda state: find_slopes(problem, state),
        problem.n_random,
        free,
        total,
        max(LEAST_PROMISE, PROMISE * len(problem.response)),
        ROUNDING,
    )
    return climb(hill, start)


def check_identifiable(problem: LargeProblem, free: NDArray[np.bool_], names: Sequence[str]) -> float:
    """Refuse variances whose patterns, seen past the fixed part, are nothing or alike; give the response variance.

    Notes
    -----
    Patterns M V_k M (M projecting past the fixed part) are compared by what they make of a few random vectors, the
    same in each run: patterns that are alike make the same of any vector.
    """
    n, p = problem.fixed.columns.shape
    if n <= p:
        raise refuse("no_freedom", f"{n} records leave nothing to estimate variances from beside {p} fixed effects")
    total = float(np.sum(problem.weights * problem.response**2)) / (n - p)
    size = float(np.max(np.abs(problem.response)))
    if free.any() and size <= 1e-12 * problem.magnitude:
        raise refuse("no_variation", "The fixed effects explain the response wholly; there is no variance to estimate")
    at = np.flatnonzero(free)
    plain = np.random.default_rng(1).normal(size=(n, VECTORS))
    past = problem.fixed.take_out(plain)
    made = {int(k): problem.fixed.take_out(_pattern(problem, int(k), past)).ravel() for k in at}
    for k in at.tolist():
        if float(np.linalg.norm(made[k])) <= 1e-9 * float(np.linalg.norm(_pattern(problem, k, plain))):
            raise refuse_confounded([names[k]], "cannot be told from the fixed terms")
    if len(at) > 1:
        unit = np.array([made[int(k)] / np.linalg.norm(made[int(k)]) for k in at])
        roots, directions = np.linalg.eigh(unit @ unit.T)
        if roots[0] < FLAT:
            alike = [names[k] for k, part in zip(at.tolist(), directions[:, 0], strict=True) if abs(part) > 1e-3]
            raise refuse_confounded(alike, "cannot be told from each other")
    return total


def _pattern(problem: LargeProblem, k: int, values: Array) -> Array:
    """What the covariance pattern of one variance makes of values (n, m)."""
    if k >= problem.n_random:
        inside = problem.groups == k - problem.n_random
        return np.where(inside, 1.0 / problem.weights, 0.0)[:, None] * values
    inside = problem.random.components[k]
    pulled = problem.pull(values)
    alone = np.zeros_like(pulled)
    alone[inside] = problem.random.covary(inside, pulled[inside])
    return problem.spread(alone)

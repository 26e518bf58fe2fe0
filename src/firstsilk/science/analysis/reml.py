"""Which variances make the data most likely (REML), and how sure is that?

Average-information steps on the variance scale, projected at 0 with an active set, damped when a step fails.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.equations import Problem, Products, State, cross_products, solve_equations, to_columns
from firstsilk.science.analysis.models import Array

MOST_ITERATIONS = 200
# Stop when the next step promises less than this much log-likelihood.
PROMISE = 1e-15
# Below this promise rounding may stop the climb; that is the top too.
SETTLED = 1e-9
# A promise that did not fall below this share of the last one is rounding.
SLOW = 0.98
# A residual variance is not let below this share of its former value in one step.
FALL = 0.1
LONGEST = 20.0
# A residual variance below this share of the response variance counts as 0.
NOTHING = 1e-7
FLAT = 1e-9
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
    A variance at 0 stays there while its score is not positive and is released when it is (Karush-Kuhn-Tucker).
    Each accepted step raises the log-likelihood; a refused one is shortened by Levenberg damping of the average
    information (Gilmour, Thompson & Cullis 1995).
    """
    free = np.isnan(known)
    total = _check_identifiable(problem, free, names)
    at_one = cross_products(problem, problem.weights) if problem.n_groups == 1 else None
    start = _start(problem, known, free, total)
    best = _climb(problem, at_one, start, free, total)
    _check_residual(problem, best.state.variances, free, total, names)
    for ratio in _other_starts(problem, free):
        elsewhere = start.copy()
        elsewhere[: problem.n_random][free[: problem.n_random]] *= ratio
        other = _climb(problem, at_one, elsewhere, free, total)
        higher = other.state.log_likelihood > best.state.log_likelihood + SETTLED
        if higher and not _vanished(problem, other.state.variances, free, total):
            best = other
    state = best.state
    return Top(state, _errors(state, free), _gradient(state, free), best.converged, best.iterations)


@dataclass(frozen=True, slots=True)
class _Summit:
    """Where one climb ended."""

    state: State
    converged: bool
    iterations: int


def _other_starts(problem: Problem, free: NDArray[np.bool_]) -> tuple[float, ...]:
    """With many variances and few records the likelihood may have several tops: then start elsewhere too."""
    small = problem.random.width + problem.fixed.shape[1] <= SMALL_PROBLEM
    return (0.01, 100.0) if small and int(np.sum(free)) >= 4 else ()


def _climb(problem: Problem, at_one: Products | None, start: Array, free: NDArray[np.bool_], total: float) -> _Summit:
    """Climb from one start to a top, or until a residual variance is gone."""
    state = solve_equations(problem, start, at_one)
    damping, before, last = 0.0, np.inf, None
    for iteration in range(MOST_ITERATIONS):
        direction = _direction(state, _movable(state, free), 0.0)
        promise = 0.5 * float(direction @ state.score)
        if promise < PROMISE or SETTLED > promise >= SLOW * before:
            return _Summit(state, True, iteration)
        stretch = _stretch(state, direction, last) if damping == 0.0 else 1.0
        found, damping = _rise(problem, at_one, state, free, damping, stretch)
        if found is None:
            return _Summit(state, promise < SETTLED, iteration)
        # Two plain steps one after the other show how fast the climb slows; after a stretched one, look anew.
        last = direction if stretch == 1.0 and damping == 0.0 else None
        state, before = found, promise
        if _vanished(problem, state.variances, free, total):
            return _Summit(state, False, iteration)
    return _Summit(state, not free.any(), MOST_ITERATIONS)


def _stretch(state: State, direction: Array, last: Array | None) -> float:
    """How much longer than the average-information step to go, since such steps shrink by a steady ratio."""
    if last is None:
        return 1.0
    size = float(last @ state.information @ last)
    ratio = float(direction @ state.information @ last) / size if size > 0 else 0.0
    return 1.0 / (1.0 - ratio) if 0.05 < abs(ratio) < 0.95 else 1.0


def _start(problem: Problem, known: Array, free: NDArray[np.bool_], total: float) -> Array:
    """Half of the variance to the residual, the rest shared by the random terms."""
    start = np.where(free, total / 2.0, known)
    part = problem.random
    for k in np.flatnonzero(free):
        if k < problem.n_random:
            own = part.diagonal[part.component_of_level == k]
            start[k] = total / (2.0 * problem.n_random * max(float(np.mean(own)), 1e-8))
    return np.asarray(start, dtype=np.float64)


def _rise(
    problem: Problem,
    at_one: Products | None,
    state: State,
    free: NDArray[np.bool_],
    damping: float,
    stretch: float,
) -> tuple[State | None, float]:
    """One accepted step and the next damping; None if no step, however short, leads up."""
    slack = ROUNDING * max(abs(state.log_likelihood), 1.0)
    for _ in range(40):
        found = solve_equations(problem, _step(problem, state, free, damping, stretch), at_one)
        if found.log_likelihood >= state.log_likelihood - slack:
            return found, damping / 10.0 if damping > 1e-6 else 0.0
        if stretch == 1.0:
            damping = max(damping * 10.0, 1e-3)
        stretch = 1.0
    return None, damping


def _movable(state: State, free: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return free & ((state.variances > 0) | (state.score > 0))


def _direction(state: State, moving: NDArray[np.bool_], damping: float) -> Array:
    direction = np.zeros(len(state.variances))
    while moving.any():
        at = np.flatnonzero(moving)
        information = state.information[np.ix_(at, at)]
        own = np.diag(information)
        # Where a residual group has no spread its information is nil: then no step is longer than LONGEST times.
        above = state.variances[at] > 0
        least = np.full(len(at), 1e-300)
        np.divide(np.abs(state.score[at]), LONGEST * state.variances[at], out=least, where=above)
        root = np.sqrt(np.maximum(np.maximum(own, least), 1e-300))
        scaled = information / root[:, None] / root
        scaled[np.diag_indices(len(at))] = 1.0 + damping
        # lstsq, since an average information may be singular where several variances are 0.
        step = np.linalg.lstsq(scaled, state.score[at] / root, rcond=1e-12)[0] / root
        stuck = (state.variances[at] == 0) & (step <= 0)
        if not stuck.any():
            direction[at] = step
            break
        moving = moving.copy()
        moving[at[stuck]] = False
    return direction


def _step(problem: Problem, state: State, free: NDArray[np.bool_], damping: float, stretch: float) -> Array:
    direction = stretch * _direction(state, _movable(state, free), damping)
    variances = np.maximum(state.variances + direction, 0.0)
    residual = slice(problem.n_random, None)
    variances[residual] = np.maximum(variances[residual], FALL * state.variances[residual])
    return variances


def _vanished(problem: Problem, variances: Array, free: NDArray[np.bool_], total: float) -> list[int]:
    """The residual variances that fell to 0."""
    residual = range(problem.n_random, len(variances))
    return [k for k in residual if free[k] and variances[k] < NOTHING * total]


def _check_residual(
    problem: Problem, variances: Array, free: NDArray[np.bool_], total: float, names: Sequence[str]
) -> None:
    for k in _vanished(problem, variances, free, total):
        raise refuse(
            "residual_zero",
            f"The variance of {names[k]} falls to 0: the model explains those records wholly",
            "Leave a term out, or give the residual one variance for all.",
            variance=names[k],
        )


def _errors(state: State, free: NDArray[np.bool_]) -> Array:
    errors = np.full(len(state.variances), np.nan)
    at = np.flatnonzero(free & (state.variances > 0) & (np.diag(state.information) > 0))
    if len(at):
        root = np.sqrt(np.diag(state.information)[at])
        scaled = state.information[np.ix_(at, at)] / root[:, None] / root
        errors[at] = np.sqrt(np.maximum(np.diag(np.linalg.pinv(scaled, hermitian=True)), 0.0)) / root
    return errors


def _gradient(state: State, free: NDArray[np.bool_]) -> float:
    slopes = np.where(state.variances > 0, np.abs(state.score * state.variances), np.maximum(state.score, 0.0))
    return float(np.max(slopes[free], initial=0.0))


def _check_identifiable(problem: Problem, free: NDArray[np.bool_], names: Sequence[str]) -> float:
    """Refuse variances whose patterns, seen past the fixed part, are nothing or alike; give the response variance."""
    n, p = problem.fixed.shape
    if n <= p:
        raise refuse("no_freedom", f"{n} records leave nothing to estimate variances from beside {p} fixed effects")
    total: float = float(np.sum(problem.weights * problem.response**2)) / (n - p)
    size = float(np.max(np.abs(problem.response)))
    if free.any() and size <= 1e-12 * problem.magnitude:
        raise refuse("no_variation", "The fixed effects explain the response wholly; there is no variance to estimate")
    columns = _columns_of(problem)
    gram = _pattern_products(problem, columns)
    size_of = np.sqrt(np.maximum(np.diag(gram), 0.0))
    for k in np.flatnonzero(free).tolist():
        if size_of[k] <= 1e-9 * _raw_size(problem, columns, k):
            raise _confounded([names[k]], "cannot be told from the fixed terms")
    at = np.flatnonzero(free)
    if len(at) > 1:
        roots, directions = np.linalg.eigh(gram[np.ix_(at, at)] / size_of[at][:, None] / size_of[at])
        if roots[0] < FLAT:
            alike = [names[k] for k, part in zip(at.tolist(), directions[:, 0], strict=True) if abs(part) > 1e-3]
            raise _confounded(alike, "cannot be told from each other")
    return float(total)


def _confounded(names: Sequence[str], why: str) -> InputRefused:
    return refuse(
        "variance_not_estimable",
        f"The variance of {' and '.join(names)} {why} in these records",
        "Leave one of the terms out.",
        terms=", ".join(names),
    )


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

"""Which parameters make the data most likely (REML) where levels are many, and how sure is that? The sparse way.

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstsilk.answers import refuse
from firstsilk.science.analysis.climbing import (
    SETTLED,
    Hill,
    Kinds,
    Summit,
    check_residual,
    climb,
    parameter_covariance,
    refuse_confounded,
    steepest,
    vanished,
)
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.parameters import (
    LOADING,
    RESIDUAL,
    TURNED,
    VARIANCE,
    WIGGLE,
    parameter_kinds,
    scale_uses,
)
from firstsilk.science.analysis.sparse_columns import Sparse
from firstsilk.science.analysis.sparse_equations import (
    LargeProblem,
    LargeState,
    change_response,
    find_slopes,
    solve_large,
)

# Stop when the next step promises less than this much log-likelihood, for each record and at least.
PROMISE = 1e-15
LEAST_PROMISE = 1e-15
# Rounding in a log-likelihood, relative to its size: measured 4e-12 where it is 2.4e5.
ROUNDING = 1e-11
# Slopes at a variance of 0 are taken at this share of the response variance; of wiggles at this.
FLOOR = 1e-9
WIGGLE_FLOOR = 1e-7
FLAT = 1e-9
# What a variance of wiggles is let off its bound to, of where it began.
LET_OFF = (0.1, 0.01)
# So many random vectors stand in for the patterns of variances when these are compared.
VECTORS = 4
# With so many records and more the climb begins at variances by moments, none below this share of the plain start.
MANY = 1_000
LEAST_START = 0.3


@dataclass(frozen=True, slots=True)
class LargeTop:
    """The top of the likelihood: its state, the covariance of the parameters (nan where none), the way there."""

    state: LargeState
    covariance: Array
    gradient: float
    converged: bool
    iterations: int


def maximise_large(
    problem: LargeProblem, starts: Sequence[Array], plain: Array, residual_may_vanish: bool = False
) -> LargeTop:
    """Find the parameters with the highest REML log-likelihood.

    Parameters
    ----------
    problem
        The data, arranged.
    starts
        Parameters to begin at, (K,) each; known ones have their value.
    plain
        Parameters of ordinary size, (K,), at which patterns are compared.
    residual_may_vanish
        Whether a residual variance that falls to 0 is no complaint.

    Returns
    -------
    LargeTop
        The best state; variances that end at their bound are exactly 0.

    Raises
    ------
    InputRefused
        If some parameters cannot be told apart from each other or from the fixed part, or a residual falls to 0.

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
    total = response_variance(problem)
    kinds = parameter_kinds(problem.parameters, total)
    traces = _check_identifiable(problem, plain, kinds)
    floor = _floors(problem, kinds, total)
    best = _climb(problem, _start_by_moments(problem, starts[0], kinds, traces), kinds, total, floor)
    for start in starts[1:]:
        best = _better(best, _climb(problem, start, kinds, total, floor), kinds, total)
    if len(starts) > 1:
        best = _try_bounds(problem, best, plain, kinds, total, floor)
    if not residual_may_vanish:
        check_residual(best.state.values, kinds, total, [one.told() for one in problem.parameters])
    state, gradient, iterations = best.state, steepest(best.state, kinds), best.iterations
    of_terms = np.array([one.kind == VARIANCE for one in problem.parameters], dtype=np.bool_)
    if np.any(state.values[of_terms & kinds.free] == 0.0):
        held = replace(kinds, free=kinds.free & (~of_terms | (state.values != 0)))
        exact = _climb(problem, state.values, held, total, np.where(of_terms, 0.0, floor))
        at_bound = kinds.free & of_terms & (best.state.values == 0)
        state, iterations = exact.state, iterations + exact.iterations
        gradient = max(steepest(state, held), float(np.max(best.state.score[at_bound], initial=0.0)))
    return LargeTop(state, parameter_covariance(state, kinds), gradient, best.converged, iterations)


def _better(one: Summit[LargeState], two: Summit[LargeState], kinds: Kinds, total: float) -> Summit[LargeState]:
    """The higher of two tops; one whose residual has vanished is no top."""
    if vanished(one.state.values, kinds, total):
        return two
    if vanished(two.state.values, kinds, total):
        return one
    return two if two.state.log_likelihood > one.state.log_likelihood + SETTLED else one


def _try_bounds(
    problem: LargeProblem, best: Summit[LargeState], start: Array, kinds: Kinds, total: float, floor: Array
) -> Summit[LargeState]:
    """Climb once more from each variance of wiggles that is at 0, let off it: a dip may hide a higher top."""
    for k, share in itertools.product(range(len(start)), LET_OFF):
        if problem.parameters[k].kind == WIGGLE and kinds.free[k] and best.state.values[k] == 0.0:
            elsewhere = best.state.values.copy()
            elsewhere[k] = share * start[k]
            best = _better(best, _climb(problem, elsewhere, kinds, total, floor), kinds, total)
    return best


def response_variance(problem: LargeProblem) -> float:
    """The variance of the response past the fixed part.

    Raises
    ------
    InputRefused
        If nothing is left beside the fixed effects.
    """
    n, p = problem.fixed.columns.shape
    if n <= p:
        told = f"{n} record{'s leave' if n > 1 else ' leaves'}"
        effects = f"{p} fixed effect{'s' if p > 1 else ''}"
        raise refuse("no_freedom", f"{told} nothing to estimate variances from beside {effects}")
    return float(np.sum(problem.weights * problem.response[problem.place] ** 2)) / (n - p)


def _floors(problem: LargeProblem, kinds: Kinds, total: float) -> Array:
    """What stands in for each variance of 0: a share of the response variance."""
    shares = {VARIANCE: FLOOR, WIGGLE: WIGGLE_FLOOR}
    floors = [shares.get(one.kind, 0.0) * total / one.unit for one in problem.parameters]
    return np.where(kinds.free, floors, 0.0)


def _climb(problem: LargeProblem, start: Array, kinds: Kinds, total: float, floor: Array) -> Summit[LargeState]:
    promise = max(LEAST_PROMISE, PROMISE * problem.n)
    hill = Hill(
        lambda values: solve_large(problem, values, floor),
        lambda state: find_slopes(problem, state),
        kinds,
        total,
        promise,
        ROUNDING,
        curved=any(one.kind in (TURNED, LOADING, WIGGLE) for one in problem.parameters),
    )
    return climb(hill, start)


def _check_identifiable(problem: LargeProblem, start: Array, kinds: Kinds) -> Array:
    """Refuse parameters whose patterns, seen past the fixed part, are nothing or alike; tr(M V_k M V_l) of the others.

    Notes
    -----
    Patterns M dV/dt M (M projecting past the fixed part) are compared by what they make of a few random vectors, the
    same in each run: patterns that are alike make the same of any vector. The traces are means over these vectors.
    """
    size = float(np.max(np.abs(problem.response)))
    free = kinds.free
    if free.any() and size <= 1e-12 * problem.magnitude:
        raise refuse("no_variation", "The fixed effects explain the response wholly; there is no variance to estimate")
    at = np.flatnonzero(free).tolist()
    names = [one.told() for one in problem.parameters]
    plain = np.random.default_rng(1).normal(size=(problem.n, VECTORS))
    of_past = _patterns(problem, start, problem.fixed.take_out(plain))
    of_plain = _patterns(problem, start, plain[:, :1])
    made = {k: problem.fixed.take_out(of_past[:, :, k].T).ravel() for k in at}
    for k in at:
        if float(np.linalg.norm(made[k])) <= 1e-9 * float(np.linalg.norm(of_plain[:, :, k])):
            raise refuse_confounded([names[k]], "cannot be told from the fixed terms")
    if not at:
        return np.zeros((0, 0))
    sizes = np.array([np.linalg.norm(made[k]) for k in at])
    unit = np.array([made[k] for k in at]).reshape(len(at), -1) / sizes[:, None]
    if len(at) > 1:
        roots, directions = np.linalg.eigh(unit @ unit.T)
        if roots[0] < FLAT:
            alike = [names[k] for k, part in zip(at, directions[:, 0], strict=True) if abs(part) > 1e-3]
            raise refuse_confounded(alike, "cannot be told from each other")
    return np.asarray((unit @ unit.T) * sizes[:, None] * sizes / VECTORS, dtype=np.float64)


def _start_by_moments(problem: LargeProblem, start: Array, kinds: Kinds, traces: Array) -> Array:
    """Variances whose quadratic forms y'M V_k M y have the mean that was seen, not below a small share of the start.

    References
    ----------
    Rao 1971 J. Multivar. Anal. 1:445, with all prior weight on the residual.
    """
    if problem.n < MANY or any(one.kind not in (VARIANCE, RESIDUAL) for one in problem.parameters):
        return start
    at = np.flatnonzero(kinds.free)
    if not len(at):
        return start
    response = problem.response[problem.place]
    forms = _patterns(problem, start, response[:, None])[0]
    seen = response @ forms
    found = start.copy()
    found[at] = np.maximum(np.linalg.solve(traces, seen[at]), LEAST_START * start[at])
    return found


def _patterns(problem: LargeProblem, values: Array, vectors: Array) -> Array:
    """dV / d(each parameter) times vectors (n, m): (m, n, K)."""
    scale, _ = scale_uses(problem.parameters, values)
    turned, counts = problem.turn_at(scale), [prior.count(values) for prior in problem.priors]
    back = Sparse(turned.T)
    found = []
    for vector in problem.on_rows(vectors).T:
        pulled = np.asarray(back @ (problem.from_rows @ vector))
        unit = np.zeros(problem.size)
        for prior in problem.priors:
            unit[prior.columns] = prior.covary(values, pulled[prior.columns][:, None])[:, 0]
        found.append(change_response(problem, values, turned, counts, unit, vector)[problem.place])
    return np.array(found)

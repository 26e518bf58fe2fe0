"""How does one climb to the top of a likelihood whose variances must not fall below 0?

Average-information steps, projected at 0 with an active set, damped when a step fails.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.models import Array

MOST_ITERATIONS = 200
# Below this promise rounding may stop the climb; that is the top too.
SETTLED = 1e-9
# A promise that did not fall below this share of the last one is rounding.
SLOW = 0.98
# A residual variance is not let below this share of its former value in one step.
FALL = 0.1
# Far from the top a plain step down overshoots: one of more than STEEP of a value, which is above SMALL of the response
# variance, is taken by ratio instead.
STEEP, SMALL = 0.3, 0.02
LONGEST = 20.0
# The damping of the first step where parameters work otherwise than in proportion.
CAREFUL = 0.1
# Curvature above this, relative to that of each parameter alone, is taken as it is.
LEAST_CURVATURE = 1e-10
# A residual variance below this share of the response variance counts as 0.
NOTHING = 1e-7


class Climbing(Protocol):
    """What a state must say to climb from it."""

    @property
    def values(self) -> Array:
        """The parameters: variances, and what else is estimated, (K,)."""

    @property
    def log_likelihood(self) -> float:
        """REML log-likelihood."""

    @property
    def score(self) -> Array:
        """Its slopes, (K,)."""

    @property
    def information(self) -> Array:
        """Average information, (K, K)."""


S = TypeVar("S", bound=Climbing)


@dataclass(frozen=True, slots=True)
class Kinds:
    """What each parameter is, all (K,): `free` to be estimated, `bounded` by 0 from below, a `residual` variance (which
    must not even reach 0), how far an unbounded one may `reach` in one step (inf for the others), and the `most` that
    it may be on either side of 0.
    """

    free: NDArray[np.bool_]
    bounded: NDArray[np.bool_]
    residual: NDArray[np.bool_]
    reach: Array
    most: Array

    def held(self, values: Array, score: Array) -> NDArray[np.bool_]:
        """Which stand at a bound and would leave it, going up along `score`."""
        down = self.bounded & (values <= 0) & (score <= 0)
        return down | ((np.abs(values) >= self.most) & (score * values > 0))


def variance_kinds(free: NDArray[np.bool_], n_random: int) -> Kinds:
    """Of variances only: random ones, then residual ones."""
    K = len(free)
    none = np.full(K, np.inf)
    return Kinds(free, np.ones(K, dtype=np.bool_), np.arange(K) >= n_random, none, none)


@dataclass(frozen=True, slots=True)
class Hill(Generic[S]):
    """What is climbed: how to stand at some parameters, how to look around there, and what counts as nothing.

    `stand` gives a state of which only the log-likelihood need be known; `look` adds slopes. `promise` is the gain in
    log-likelihood below which no step is taken, `rounding` what a log-likelihood is uncertain by, relative to its size.
    `curved` is where parameters work otherwise than in proportion (correlations, loadings, wiggles).
    """

    stand: Callable[[Array], S]
    look: Callable[[S], S]
    kinds: Kinds
    total: float
    promise: float
    rounding: float
    curved: bool = False


@dataclass(frozen=True, slots=True)
class Summit(Generic[S]):
    """Where one climb ended."""

    state: S
    converged: bool
    iterations: int


def climb(hill: Hill[S], start: Array) -> Summit[S]:
    """Climb from one start to a top, or until a residual variance is gone.

    Parameters
    ----------
    hill
        What is climbed.
    start
        Parameters to begin at, (K,).

    Returns
    -------
    Summit
        The last state, whether it is a top, and after how many steps.

    Notes
    -----
    A variance at 0 stays there while its score is not positive and is released when it is (Karush-Kuhn-Tucker).
    Each accepted step raises the log-likelihood; a refused one is shortened by Levenberg damping of the average
    information.

    References
    ----------
    Gilmour, Thompson & Cullis 1995 Biometrics 51:1440.

    Checked by
    ----------
    tests/science/test_fit_twin.py
    """
    state = hill.look(hill.stand(start))
    damping, before, last = CAREFUL if hill.curved else 0.0, np.inf, None
    bend = np.zeros((len(start), len(start))) if hill.curved else None
    for iteration in range(MOST_ITERATIONS):
        direction = _direction(state, hill.kinds, 0.0, bend)
        promise = 0.5 * float(direction @ state.score)
        if promise < hill.promise or SETTLED > promise >= SLOW * before:
            return Summit(state, True, iteration)
        stretch = _stretch(state, direction, last) if damping == 0.0 and bend is None else 1.0
        found, damping = _rise(hill, state, damping, stretch, bend, direction)
        if found is None or np.array_equal(found.values, state.values):
            return Summit(state, promise < SETTLED, iteration)
        # Two plain steps one after the other show how fast the climb slows; after a stretched one, look anew.
        last = direction if stretch == 1.0 and damping == 0.0 else None
        new = hill.look(found)
        if bend is not None and promise < 0.1:
            bend = _learn_bend(hill.kinds, bend, state, new)
        state, before = new, promise
        if vanished(state.values, hill.kinds, hill.total):
            return Summit(state, False, iteration)
    return Summit(state, not hill.kinds.free.any(), MOST_ITERATIONS)


def _learn_bend(kinds: Kinds, bend: Array, old: Climbing, new: Climbing) -> Array:
    """What the last step shows of the curvature beyond the average information, (K, K).

    Notes
    -----
    The average information leaves out how the covariance itself bends; a symmetric update of rank one makes it agree
    with the change of the score (Dennis, Gay & Welsch 1981 ACM Trans. Math. Softw. 7:348, for least squares).
    """
    at = np.flatnonzero(kinds.free & ~kinds.held(old.values, old.score) & ~kinds.held(new.values, new.score))
    step = (new.values - old.values)[at]
    inside = np.ix_(at, at)
    rest = -(new.score - old.score)[at] - (new.information[inside] + bend[inside]) @ step
    share = float(rest @ step)
    root = np.sqrt(np.maximum(np.diag(new.information)[at], 1e-300))
    if abs(share) <= 1e-6 * float(np.linalg.norm(rest / root)) * float(np.linalg.norm(step * root)):
        return bend
    learnt = bend.copy()
    learnt[inside] += np.outer(rest, rest) / share
    return learnt


def _stretch(state: Climbing, direction: Array, last: Array | None) -> float:
    """How much longer than the average-information step to go, since such steps shrink by a steady ratio."""
    if last is None:
        return 1.0
    size = float(last @ state.information @ last)
    ratio = float(direction @ state.information @ last) / size if size > 0 else 0.0
    return 1.0 / (1.0 - ratio) if 0.05 < abs(ratio) < 0.95 else 1.0


def _rise(
    hill: Hill[S], state: S, damping: float, stretch: float, bend: Array | None, plain: Array
) -> tuple[S | None, float]:
    """One accepted step and the next damping; None if no step, however short, leads up."""
    slack = hill.rounding * max(abs(state.log_likelihood), 1.0)
    for _ in range(40):
        direction = plain if damping == 0.0 else _direction(state, hill.kinds, damping, bend)
        found = hill.stand(_step(hill, state, stretch * direction))
        if found.log_likelihood >= state.log_likelihood - slack:
            return found, damping / 10.0 if damping > 1e-2 else 0.0
        if stretch == 1.0:
            damping = max(damping * 10.0, 1e-3)
        stretch = 1.0
    return None, damping


def _direction(state: Climbing, kinds: Kinds, damping: float, bend: Array | None) -> Array:
    direction = np.zeros(len(state.values))
    moving = kinds.free & ~kinds.held(state.values, state.score)
    # Where a residual group has no spread its information is nil: then no step is longer than LONGEST times.
    longest = np.where(kinds.bounded, LONGEST * state.values, kinds.reach)
    while moving.any():
        at = np.flatnonzero(moving)
        information = state.information[np.ix_(at, at)]
        own = np.diag(information)
        least = np.full(len(at), 1e-300)
        np.divide(np.abs(state.score[at]), longest[at], out=least, where=longest[at] > 0)
        root = np.sqrt(np.maximum(np.maximum(own, least), 1e-300))
        scaled = information / root[:, None] / root
        scaled[np.diag_indices(len(at))] = 1.0 + damping
        if bend is not None:
            scaled += bend[np.ix_(at, at)] / root[:, None] / root
        step = _solve_upwards(scaled, state.score[at] / root) / root
        whole = np.zeros(len(direction))
        whole[at] = step
        stuck = moving & kinds.held(state.values, whole)
        if not stuck.any():
            return whole
        moving = moving & ~stuck
    return direction


def _solve_upwards(curvature: Array, score: Array) -> Array:
    """A step that leads up: by the curvature where that is positive, by its size where it is not."""
    if np.linalg.eigvalsh(curvature)[0] > LEAST_CURVATURE:
        return np.asarray(np.linalg.solve(curvature, score), dtype=np.float64)
    # An average information may be singular where several variances are 0; learnt curvature may be negative.
    roots, directions = np.linalg.eigh(curvature)
    roots = np.where(roots < -LEAST_CURVATURE, -roots, roots)
    along = directions.T @ score
    taken = np.divide(along, roots, out=np.zeros_like(along), where=roots > 1e-12 * roots.max())
    return np.asarray(directions @ taken, dtype=np.float64)


def _step(hill: Hill[S], state: S, direction: Array) -> Array:
    """Where a step leads: not below bounds, and a steep fall of a variance by ratio, as on the scale of logarithms."""
    kinds = hill.kinds
    direction = np.where(kinds.bounded, direction, np.clip(direction, -kinds.reach, kinds.reach))
    values = state.values + direction
    values = np.where(kinds.bounded, np.maximum(values, 0.0), np.clip(values, -kinds.most, kinds.most))
    ratio = np.divide(direction, state.values, out=np.zeros_like(values), where=state.values > SMALL * hill.total)
    gentle = np.exp(np.clip(ratio, math.log(FALL), 0.0)) * state.values
    if hill.curved:
        values = np.where(kinds.bounded & (ratio < -STEEP), gentle, values)
    return np.where(kinds.residual, np.maximum(values, FALL * state.values), values)


def vanished(values: Array, kinds: Kinds, total: float) -> list[int]:
    """The residual variances that fell to 0."""
    return np.flatnonzero(kinds.residual & kinds.free & (values < NOTHING * total)).tolist()


def check_residual(values: Array, kinds: Kinds, total: float, names: Sequence[str]) -> None:
    """Refuse a fit whose residual fell to 0.

    Raises
    ------
    InputRefused
        Naming the variance.
    """
    for k in vanished(values, kinds, total):
        raise refuse(
            "residual_zero",
            f"The variance of {names[k]} falls to 0: the model explains those records wholly",
            "Leave a term out, or give the residual one variance for all.",
            variance=names[k],
        )


def parameter_covariance(state: Climbing, kinds: Kinds) -> Array:
    """The inverse average information of what was estimated, nan where nothing was, (K, K)."""
    found = np.full((len(state.values), len(state.values)), np.nan)
    inside = kinds.free & ~kinds.held(state.values, state.score) & (np.diag(state.information) > 0)
    inside &= ~kinds.bounded | (state.values > 0)
    at = np.flatnonzero(inside)
    if len(at):
        root = np.sqrt(np.diag(state.information)[at])
        scaled = state.information[np.ix_(at, at)] / root[:, None] / root
        found[np.ix_(at, at)] = np.linalg.pinv(scaled, hermitian=True) / root[:, None] / root
    return found


def parameter_errors(state: Climbing, kinds: Kinds) -> Array:
    """Standard errors from the inverse average information, nan where not estimated, (K,)."""
    return np.sqrt(np.maximum(np.diag(parameter_covariance(state, kinds)), 0.0))


def steepest(state: Climbing, kinds: Kinds) -> float:
    """The largest slope that is left, per unit of log variance (of another parameter: per unit of its reach)."""
    above = np.where(kinds.bounded, state.values, np.where(np.isfinite(kinds.reach), kinds.reach, 1.0))
    slopes = np.where(above > 0, np.abs(state.score * above), np.maximum(state.score, 0.0))
    slopes = np.where(kinds.held(state.values, state.score), 0.0, slopes)
    return float(np.max(slopes[kinds.free], initial=0.0))


def refuse_confounded(names: Sequence[str], why: str) -> InputRefused:
    """What to say of variances that these records cannot tell apart."""
    return refuse(
        "variance_not_estimable",
        f"The variance of {' and '.join(names)} {why} in these records",
        "Leave one of the terms out.",
        terms=", ".join(names),
    )

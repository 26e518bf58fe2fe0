"""How does one climb to the top of a likelihood whose variances must not fall below 0?

Average-information steps on the variance scale, projected at 0 with an active set, damped when a step fails.
"""

from __future__ import annotations

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
LONGEST = 20.0
# A residual variance below this share of the response variance counts as 0.
NOTHING = 1e-7


class Climbing(Protocol):
    """What a state must say to climb from it."""

    @property
    def variances(self) -> Array:
        """Random variances, then residual ones, (K,)."""

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
class Hill(Generic[S]):
    """What is climbed: how to stand at some variances, how to look around there, and what counts as nothing.

    `stand` gives a state of which only the log-likelihood need be known; `look` adds slopes. `promise` is the gain in
    log-likelihood below which no step is taken, `rounding` what a log-likelihood is uncertain by, relative to its size.
    """

    stand: Callable[[Array], S]
    look: Callable[[S], S]
    n_random: int
    free: NDArray[np.bool_]
    total: float
    promise: float
    rounding: float


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
        Variances to begin at, (K,).

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
    damping, before, last = 0.0, np.inf, None
    for iteration in range(MOST_ITERATIONS):
        direction = _direction(state, _movable(state, hill.free), 0.0)
        promise = 0.5 * float(direction @ state.score)
        if promise < hill.promise or SETTLED > promise >= SLOW * before:
            return Summit(state, True, iteration)
        stretch = _stretch(state, direction, last) if damping == 0.0 else 1.0
        found, damping = _rise(hill, state, damping, stretch)
        if found is None:
            return Summit(state, promise < SETTLED, iteration)
        # Two plain steps one after the other show how fast the climb slows; after a stretched one, look anew.
        last = direction if stretch == 1.0 and damping == 0.0 else None
        state, before = hill.look(found), promise
        if vanished(state.variances, hill.n_random, hill.free, hill.total):
            return Summit(state, False, iteration)
    return Summit(state, not hill.free.any(), MOST_ITERATIONS)


def _stretch(state: Climbing, direction: Array, last: Array | None) -> float:
    """How much longer than the average-information step to go, since such steps shrink by a steady ratio."""
    if last is None:
        return 1.0
    size = float(last @ state.information @ last)
    ratio = float(direction @ state.information @ last) / size if size > 0 else 0.0
    return 1.0 / (1.0 - ratio) if 0.05 < abs(ratio) < 0.95 else 1.0


def _rise(hill: Hill[S], state: S, damping: float, stretch: float) -> tuple[S | None, float]:
    """One accepted step and the next damping; None if no step, however short, leads up."""
    slack = hill.rounding * max(abs(state.log_likelihood), 1.0)
    for _ in range(40):
        found = hill.stand(_step(hill, state, damping, stretch))
        if found.log_likelihood >= state.log_likelihood - slack:
            return found, damping / 10.0 if damping > 1e-6 else 0.0
        if stretch == 1.0:
            damping = max(damping * 10.0, 1e-3)
        stretch = 1.0
    return None, damping


def _movable(state: Climbing, free: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return free & ((state.variances > 0) | (state.score > 0))


def _direction(state: Climbing, moving: NDArray[np.bool_], damping: float) -> Array:
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


def _step(hill: Hill[S], state: S, damping: float, stretch: float) -> Array:
    direction = stretch * _direction(state, _movable(state, hill.free), damping)
    variances = np.maximum(state.variances + direction, 0.0)
    residual = slice(hill.n_random, None)
    variances[residual] = np.maximum(variances[residual], FALL * state.variances[residual])
    return variances


def vanished(variances: Array, n_random: int, free: NDArray[np.bool_], total: float) -> list[int]:
    """The residual variances that fell to 0."""
    return [k for k in range(n_random, len(variances)) if free[k] and variances[k] < NOTHING * total]


def check_residual(
    variances: Array, n_random: int, free: NDArray[np.bool_], total: float, names: Sequence[str]
) -> None:
    """Refuse a fit whose residual fell to 0.

    Raises
    ------
    InputRefused
        Naming the variance.
    """
    for k in vanished(variances, n_random, free, total):
        raise refuse(
            "residual_zero",
            f"The variance of {names[k]} falls to 0: the model explains those records wholly",
            "Leave a term out, or give the residual one variance for all.",
            variance=names[k],
        )


def variance_errors(state: Climbing, free: NDArray[np.bool_]) -> Array:
    """Standard errors of the variances from the inverse average information, nan where not estimated, (K,)."""
    errors = np.full(len(state.variances), np.nan)
    at = np.flatnonzero(free & (state.variances > 0) & (np.diag(state.information) > 0))
    if len(at):
        root = np.sqrt(np.diag(state.information)[at])
        scaled = state.information[np.ix_(at, at)] / root[:, None] / root
        errors[at] = np.sqrt(np.maximum(np.diag(np.linalg.pinv(scaled, hermitian=True)), 0.0)) / root
    return errors


def steepest(state: Climbing, free: NDArray[np.bool_]) -> float:
    """The largest slope that is left, per unit of log variance."""
    slopes = np.where(state.variances > 0, np.abs(state.score * state.variances), np.maximum(state.score, 0.0))
    return float(np.max(slopes[free], initial=0.0))


def refuse_confounded(names: Sequence[str], why: str) -> InputRefused:
    """What to say of variances that these records cannot tell apart."""
    return refuse(
        "variance_not_estimable",
        f"The variance of {' and '.join(names)} {why} in these records",
        "Leave one of the terms out.",
        terms=", ".join(names),
    )

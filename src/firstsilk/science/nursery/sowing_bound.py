"""How good can any choice of sowing days be, at most?

Each cross lends its worth to its two parents, so that for every pair of patterns the two loans together are at least
the cross's worth. Then no choice is worth more than the sum over parents of their best pattern's loans. Shifting the
loans lowers this bound; rows a day are priced likewise. What the bound rules out need not be looked at again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstsilk.science.nursery.sowing_choice import FloatArray, IntArray, SowingProblem


@dataclass(frozen=True, slots=True)
class Bound:
    """A proven bound and what it rests on.

    Attributes
    ----------
    value
        No choice is worth more.
    standing
        For each parent, what each of its patterns is worth in loans less the price of its rows (patterns,).
    lent
        For each cross, loans to female (female patterns,) and male (male patterns,).
    """

    value: float
    standing: tuple[FloatArray, ...]
    lent: tuple[tuple[FloatArray, FloatArray], ...]


@dataclass(slots=True)
class _Loans:
    """Loans as they are shifted; `standing` is their sum by parent, less the price of rows."""

    problem: SowingProblem
    female: list[FloatArray]
    male: list[FloatArray]
    standing: list[FloatArray]
    price: FloatArray
    loads: list[FloatArray]


def bound_choice(problem: SowingProblem, sweeps: int = 200, reached: float = -np.inf, near: float = 1e-9) -> Bound:
    """Bound the worth of the best choice from above.

    Parameters
    ----------
    sweeps
        Most rounds over all crosses.
    reached
        The worth of a choice at hand; shifting stops when the bound is within `near` of it, or falls no further.

    Notes
    -----
    Block-coordinate descent on the dual of the linear relaxation (max-product linear programming: Globerson &
    Jaakkola 2007, NIPS 20), with subgradient steps for the prices of rows. The bound is recomputed from the loans
    alone, so it holds whatever the steps did.

    Checked by ``tests/properties/test_sowing_laws.py`` against trying every choice.
    """
    loans = _begin(problem)
    best = _measure(loans)
    last = best.value
    step = 0.5 * max(best.value, 1e-12) / max(1, len(problem.parents))
    for sweep in range(1, sweeps + 1):
        for mating in range(len(problem.matings)):
            _share_out(loans, mating)
        if problem.rows_per_day is not None:
            _price_rows(loans, step / sweep**0.5)
        found = _measure(loans)
        if found.value < best.value:
            best = found
        if best.value <= reached + near:
            break
        if sweep % 10 == 0:
            if problem.rows_per_day is None and last - best.value < 1e-7 * max(1.0, abs(last)):
                break
            last = best.value
    return best


def _begin(problem: SowingProblem) -> _Loans:
    standing = [np.zeros(len(parent.patterns)) for parent in problem.parents]
    female = [np.zeros(one.worth.shape[0]) for one in problem.matings]
    male = [one.worth.max(axis=0) for one in problem.matings]
    for one, lent in zip(problem.matings, male, strict=True):
        standing[one.male] += lent
    rows = problem.rows_per_day is not None
    loads = [problem.loads(at) for at in range(len(problem.parents))] if rows else []
    return _Loans(problem, female, male, standing, np.zeros(problem.n_days if rows else 0), loads)


def _share_out(loans: _Loans, mating: int) -> None:
    """Lend one cross's worth anew, half by half, so that both parents stand level."""
    one = loans.problem.matings[mating]
    without_female = loans.standing[one.female] - loans.female[mating]
    without_male = loans.standing[one.male] - loans.male[mating]
    if one.worth.size == 0:
        return
    female = 0.5 * ((one.worth + without_male[None, :]).max(axis=1) - without_female)
    male = (one.worth - female[:, None]).max(axis=0)
    loans.female[mating], loans.male[mating] = female, male
    loans.standing[one.female] = without_female + female
    loans.standing[one.male] = without_male + male


def _price_rows(loans: _Loans, step: float) -> None:
    """Raise the price of days on which the parents' best patterns put too many rows, lower that of days with room."""
    most = loans.problem.rows_per_day
    assert most is not None
    day = np.sum([load[int(np.argmax(stand))] for load, stand in zip(loans.loads, loans.standing, strict=True)], axis=0)
    price = np.maximum(0.0, loans.price + step * (day - most) / most)
    for at, load in enumerate(loans.loads):
        loans.standing[at] = loans.standing[at] - load @ (price - loans.price)
    loans.price = price


def _measure(loans: _Loans) -> Bound:
    """The bound, from female loans and prices alone: male loans are made just large enough."""
    problem = loans.problem
    standing = [np.zeros(len(parent.patterns)) for parent in problem.parents]
    lent = []
    for one, female in zip(problem.matings, loans.female, strict=True):
        male = (one.worth - female[:, None]).max(axis=0)
        lent.append((female.copy(), male))
        standing[one.female] += female
        standing[one.male] += male
    fixed = 0.0
    if problem.rows_per_day is not None:
        standing = [stand - load @ loans.price for stand, load in zip(standing, loans.loads, strict=True)]
        fixed = float(loans.price.sum() * problem.rows_per_day)
    value = fixed + float(sum(stand.max() for stand in standing))
    return Bound(value, tuple(standing), tuple(lent))


def keep_patterns(bound: Bound, reached: float) -> tuple[IntArray, ...]:
    """For each parent the patterns that a choice worth more than `reached` may still have, by position."""
    room = bound.value - reached
    return tuple(np.flatnonzero(stand.max() - stand <= room + 1e-9) for stand in bound.standing)


def count_slack(problem: SowingProblem, bound: Bound, mating: int) -> FloatArray:
    """By how much a choice with each pair of patterns of one cross stays below the bound, at least."""
    one = problem.matings[mating]
    female, male = bound.lent[mating]
    stand_f, stand_m = bound.standing[one.female], bound.standing[one.male]
    lost_f, lost_m = stand_f.max() - stand_f, stand_m.max() - stand_m
    slack: FloatArray = lost_f[:, None] + lost_m[None, :] + female[:, None] + male[None, :] - one.worth
    return slack


def decode_bound(bound: Bound) -> list[int]:
    """The pattern of each parent that stands best: a choice to start from."""
    return [int(np.argmax(stand)) for stand in bound.standing]

"""How many pollinations give so many kernels, or so many good ears, and with what assurance?

Three things are left to chance: whether a pollination gives a good ear, how many kernels that ear sets, and, where a
line has few notes of its own, what its success and set really are. All three are counted; nothing is drawn by dice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincc, betaln, gammaincc, gammaln
from scipy.stats import betabinom, binom

from firstsilk.answers import refuse
from firstsilk.science.nursery.counts import KERNELS_PER_EAR, SUCCESS_FRAC

KERNELS_CV = 0.45
"""Standard deviation of kernels per good ear of a line, as a share of their mean: common practice, no source."""
MOST_POLLINATIONS = 100_000
"""Beyond this a plan is no plan: more than a large station makes in a season (a choice of ours)."""
MOST_TABULATED, NODES = 600, 200
"""Tables longer than that are told at so many numbers (a choice of ours)."""
_ROUNDING = 1e-12  # tails are computed in floating point: 0.75 may come out a hair below


@dataclass(frozen=True, slots=True)
class EarRates:
    """What a pollination of a line gives.

    `success_frac` good ears per pollination (0 to 1], `kernels_per_ear` mean kernels of a good ear, `kernels_cv` their
    spread. `pollinations_behind` and `ears_behind` tell on how many pollinations and shelled ears the two means rest,
    those lent by the programme counted in; infinity: the means are known.
    """

    success_frac: float = SUCCESS_FRAC
    kernels_per_ear: float = KERNELS_PER_EAR
    kernels_cv: float = KERNELS_CV
    pollinations_behind: float = math.inf
    ears_behind: float = math.inf


def find_reach_chance(pollinations: int, rates: EarRates, ears: int = 0, kernels: int = 0) -> float:
    """The chance that so many pollinations give at least the ears and the kernels wanted.

    Parameters
    ----------
    pollinations
        Pollinations made [count].
    rates
        What a pollination of this line gives.
    ears, kernels
        Good ears and kernels wanted [count]; both must be reached. 0: not asked for.

    Returns
    -------
    float
        Chance [0 to 1].

    Raises
    ------
    InputRefused
        If a count is negative or a rate out of its range.

    Notes
    -----
    P = sum over j from `ears` to n of P(J = j) P(S_j >= kernels), n the pollinations.

    Good ears J: binomial (n, p), p the success. Where p rests on w pollinations only, p is itself uncertain,
    Beta (p w, (1 - p) w), and J beta-binomial. The pollinations until the m-th good ear are negative binomial; that
    sum is P(J >= m) here.

    Kernels S_j of j good ears: each gamma with mean k and coefficient of variation c, shape a = 1 / c^2; their sum
    gamma with shape j a. Where k rests on v ears only, the rate of that gamma is Gamma (a v + 1, v k), whose mean of
    the kernels is k, and S_j / (v k) is beta prime (j a, a v + 1): P(S_j >= N) = 1 - I_x(j a, a v + 1) with
    x = N / (N + v k), I the regularised incomplete beta function.

    Pollinations are taken as independent, given the rates. A storm, a bad day or a missed nick spoils many at once;
    then this is too few.

    References
    ----------
    Skellam 1948, Journal of the Royal Statistical Society B 10:257 (beta-binomial). Sums of gamma variables: any text
    of probability.

    Checked by
    ----------
    tests/outside/test_seed_published.py; drawing by dice in tests/science/test_pollinations.py
    """
    _check_rates(rates)
    if pollinations < 0 or ears < 0 or kernels < 0:
        raise refuse("count_negative", "a count of pollinations, ears or kernels is negative", "Give 0 or more.")
    good = np.arange(ears, pollinations + 1)
    if not good.size:
        return 0.0
    if math.isinf(rates.pollinations_behind):
        weight = binom.pmf(good, pollinations, rates.success_frac)
    elif rates.success_frac == 1.0:
        weight = (good == pollinations).astype(float)
    else:
        lent = rates.pollinations_behind
        weight = betabinom.pmf(good, pollinations, rates.success_frac * lent, (1 - rates.success_frac) * lent)
    return float(min(1.0, np.sum(weight * _reach_kernels(good, kernels, rates))))


def tabulate_reach(
    most: int, rates: EarRates, ears: int = 0, kernels: int = 0, in_hand: int = 0
) -> NDArray[np.float64]:
    """The chance of reaching what is wanted, for each number of pollinations up to a largest.

    Parameters
    ----------
    most
        Largest number of pollinations [count, 0 or more].
    rates, ears, kernels
        As `find_reach_chance`.
    in_hand
        Good ears that are there for certain, beside the pollinations, with kernels not counted yet [count].

    Returns
    -------
    numpy.ndarray
        (most + 1,): chance [0 to 1] with 0, 1, ... pollinations; it never falls.

    Raises
    ------
    InputRefused
        As `find_reach_chance`.

    Notes
    -----
    `find_reach_chance` for all numbers at once, with j + `in_hand` ears for j good ones. Beyond 600 pollinations it is
    told at 200 numbers, straight between them, and ears in hand count as pollinations.

    Checked by
    ----------
    tests/science/test_targets.py, against `find_reach_chance` number by number
    """
    _check_rates(rates)
    if min(most, ears, kernels, in_hand) < 0:
        raise refuse("count_negative", "a count of pollinations, ears or kernels is negative", "Give 0 or more.")
    if most > MOST_TABULATED:
        nodes = np.unique(np.linspace(0, most, NODES).astype(np.int64))
        chances = [find_reach_chance(int(one) + in_hand, rates, ears, kernels) for one in nodes]
        return np.asarray(np.maximum.accumulate(np.interp(np.arange(most + 1), nodes, chances)))
    tried = np.arange(most + 1, dtype=np.float64)[:, None]
    good = np.arange(max(0, ears - in_hand), most + 1)
    if not good.size:
        return np.zeros(most + 1)
    success = rates.success_frac
    if success == 1.0:
        weight = (tried == good[None, :]).astype(float)
    else:
        bad = np.maximum(tried - good[None, :], 0.0)
        log_ways = gammaln(tried + 1) - gammaln(good + 1.0)[None, :] - gammaln(bad + 1)
        if math.isinf(rates.pollinations_behind):
            log_each = good * math.log(success) + bad * math.log1p(-success)
        else:
            lent = rates.pollinations_behind
            of, off = success * lent, (1 - success) * lent
            log_each = betaln(good + of, bad + off) - betaln(of, off)
        weight = np.where(good[None, :] <= tried, np.exp(log_ways + log_each), 0.0)
    reached: NDArray[np.float64] = weight @ _reach_kernels(good + in_hand, kernels, rates)
    # Rounding must not make one pollination more look like a loss.
    return np.asarray(np.maximum.accumulate(np.minimum(1.0, reached)))


def plan_pollinations(rates: EarRates, ears: int = 0, kernels: int = 0, assurance: float = 0.95) -> int:
    """The fewest pollinations that give the ears and kernels wanted with this assurance.

    Parameters
    ----------
    rates, ears, kernels
        As `find_reach_chance`.
    assurance
        Chance wanted of reaching them [0 to 1, both ends out].

    Returns
    -------
    int
        Smallest n whose `find_reach_chance` is at least `assurance`; 0 if nothing is wanted.

    Raises
    ------
    InputRefused
        As `find_reach_chance`; if the assurance is no chance; if more than 100,000 pollinations would be needed.

    Notes
    -----
    The chance never falls with one pollination more, so the number is found by halving.

    Checked by
    ----------
    tests/outside/test_seed_published.py; counting up one by one in tests/science/test_pollinations.py
    """
    if not 0.0 < assurance < 1.0:
        raise refuse("chance_out_of_range", f"assurance {assurance} is not between 0 and 1", "Give 0.95 for 95 %.")

    def is_enough(pollinations: int) -> bool:
        return find_reach_chance(pollinations, rates, ears, kernels) >= assurance - _ROUNDING

    low, high = -1, max(1, math.ceil(expect_pollinations(rates, ears, kernels)))
    while high <= MOST_POLLINATIONS and not is_enough(high):
        low, high = high, high * 2
    if high > MOST_POLLINATIONS and not is_enough(MOST_POLLINATIONS):
        told = f"more than {MOST_POLLINATIONS:,} pollinations would be needed"
        raise refuse("pollinations_beyond_bound", told, "Ask for less, or for less assurance.")
    high = min(high, MOST_POLLINATIONS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return high


def expect_pollinations(rates: EarRates, ears: int = 0, kernels: int = 0) -> float:
    """The pollinations that give the ears and kernels wanted on average: half of the time they do not.

    Returns
    -------
    float
        The larger of ears / p and kernels / (p k) [count, not rounded].

    Raises
    ------
    InputRefused
        If a rate is out of its range.

    Checked by
    ----------
    tests/outside/test_seed_published.py
    """
    _check_rates(rates)
    return max(ears, kernels / rates.kernels_per_ear) / rates.success_frac


def _reach_kernels(good: np.ndarray, kernels: int, rates: EarRates) -> np.ndarray:
    """P(S_j >= kernels) for each number of good ears."""
    if kernels == 0:
        return np.ones(good.shape)
    reached = np.zeros(good.shape)
    some = good > 0
    shape = 1.0 / rates.kernels_cv**2
    if math.isinf(rates.ears_behind):
        reached[some] = gammaincc(good[some] * shape, kernels * shape / rates.kernels_per_ear)
    else:
        behind = rates.ears_behind * rates.kernels_per_ear
        reached[some] = betaincc(good[some] * shape, rates.ears_behind * shape + 1.0, kernels / (kernels + behind))
    return reached


def _check_rates(rates: EarRates) -> None:
    if not 0.0 < rates.success_frac <= 1.0:
        told = f"a success of {rates.success_frac:g} is not above 0 and up to 1"
        raise refuse("success_out_of_range", told, "Give good ears per pollination, 0.676 for 67.6 %.")
    for name, value in (("kernels_per_ear", rates.kernels_per_ear), ("kernels_cv", rates.kernels_cv)):
        if not 0.0 < value < math.inf:
            raise refuse("rate_not_positive", f"{name} of {value:g} is not above 0", "Give a number above 0.")
    if not (rates.pollinations_behind > 0 and rates.ears_behind > 0):
        raise refuse("nothing_behind", "the rates rest on no pollination or no ear", "Give more than 0, or infinity.")

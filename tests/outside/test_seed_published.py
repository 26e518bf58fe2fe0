"""Do germination intervals and numbers of pollinations agree with what was printed, and with a general library?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import betanbinom, betaprime, binomtest, nbinom

from firstsilk.science.seed.germination import EXACT, WILSON, find_germination_interval
from firstsilk.science.seed.pollinations import (
    EarRates,
    expect_pollinations,
    find_reach_chance,
    plan_pollinations,
)

# Newcombe 1998, Statistics in Medicine 17:857-872, table I: 95 % intervals, four decimals.
PRINTED = {
    (81, 263): {WILSON: (0.2553, 0.3662), EXACT: (0.2527, 0.3676)},
    (15, 148): {WILSON: (0.0624, 0.1605), EXACT: (0.0578, 0.1617)},
    (0, 20): {WILSON: (0.0000, 0.1611), EXACT: (0.0000, 0.1684)},
    (1, 29): {WILSON: (0.0061, 0.1718), EXACT: (0.0009, 0.1776)},
}


@pytest.mark.parametrize("counts", PRINTED)
@pytest.mark.parametrize("method", [WILSON, EXACT])
def test_intervals_are_as_printed(counts, method):
    grown, seeds = counts
    found = find_germination_interval(grown / seeds, seeds, method=method)
    assert found == pytest.approx(PRINTED[counts][method], abs=5.1e-5)


@pytest.mark.parametrize(("grown", "seeds"), [(0, 1), (1, 1), (57, 60), (60, 60), (188, 200), (379, 400), (400, 400)])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
@pytest.mark.parametrize("method", [WILSON, EXACT])
def test_intervals_are_those_of_a_general_library(grown, seeds, level, method):
    theirs = binomtest(grown, seeds).proportion_ci(level, method)
    found = find_germination_interval(grown / seeds, seeds, level, method)
    assert found == pytest.approx((theirs.low, theirs.high), abs=1e-10)


def test_exact_interval_when_none_or_all_grew_is_the_closed_form():
    # Clopper & Pearson 1934: 1 - (alpha/2)^(1/n).
    assert find_germination_interval(0, 50, 0.95, EXACT)[1] == pytest.approx(1 - 0.025 ** (1 / 50), rel=1e-12)
    assert find_germination_interval(1, 50, 0.95, EXACT)[0] == pytest.approx(0.025 ** (1 / 50), rel=1e-12)


# A planning table of the trade, from common practice: kernels wanted at 95 % assurance for a middling line (success
# 0.676, 146 kernels an ear; the success of Thayer & Down 1942), a good and a bad one. It was simulated, kernels per
# ear gamma with a coefficient of variation of 45 % (common practice, no source), with an unknown number of draws.
LINES = (EarRates(0.676, 146.0), EarRates(0.8, 200.0), EarRates(0.34, 60.0))
SIMULATED = {100: (4, 3, 15), 400: (8, 6, 35), 1000: (16, 10, 70), 2000: (28, 18, 127)}
ON_AVERAGE = {100: (None, 1, 5), 400: (5, 3, 20), 1000: (11, 7, 50), 2000: (21, 13, 99)}
"""The first is 1.01 ears and is given as 1, so it was not rounded up; it is left out."""
ERROR = 2 * math.sqrt(0.95 * 0.05 / 10_000)
"""Two standard errors of a chance of 95 % in ten thousand draws, the usual size of such a simulation."""


@pytest.mark.parametrize("kernels", SIMULATED)
@pytest.mark.parametrize("at", range(3))
def test_pollinations_for_kernels_are_those_simulated_within_the_error_of_the_simulation(kernels, at):
    rates, printed = LINES[at], SIMULATED[kernels][at]
    assert rates.kernels_cv == 0.45
    assert find_reach_chance(printed, rates, kernels=kernels) >= 0.95 - ERROR
    assert find_reach_chance(printed - 1, rates, kernels=kernels) < 0.95 + ERROR
    assert abs(plan_pollinations(rates, kernels=kernels) - printed) <= 1


def test_nine_of_the_twelve_simulated_counts_come_out_the_same():
    same = [plan_pollinations(r, kernels=n) == SIMULATED[n][at] for n in SIMULATED for at, r in enumerate(LINES)]
    assert sum(same) == 9


@pytest.mark.parametrize("kernels", ON_AVERAGE)
def test_pollinations_on_average_are_as_printed(kernels):
    for rates, printed in zip(LINES, ON_AVERAGE[kernels], strict=True):
        assert printed in (None, math.ceil(expect_pollinations(rates, kernels=kernels)))


def test_pollinations_for_good_ears_are_as_printed():
    # The same table: good ears at 95 %, success 0.676; binomial, worked out by hand.
    printed = {1: 3, 2: 5, 3: 7, 5: 11, 10: 20}
    assert {ears: plan_pollinations(LINES[0], ears=ears) for ears in printed} == printed


@pytest.mark.parametrize(("success", "ears"), [(0.676, 1), (0.34, 12), (0.83, 40)])
def test_pollinations_until_the_last_good_ear_are_negative_binomial(success, ears):
    # scipy counts the failures before it.
    assert plan_pollinations(EarRates(success), ears=ears) == ears + nbinom.ppf(0.95, ears, success)


@pytest.mark.parametrize(("success", "behind", "ears"), [(0.676, 20, 3), (0.34, 8, 5), (0.83, 200, 10)])
def test_pollinations_of_a_line_with_few_notes_are_beta_negative_binomial(success, behind, ears):
    # scipy counts the failures before the last good ear.
    failures = np.arange(20_000)
    likely = betanbinom.pmf(failures, ears, success * behind, (1 - success) * behind).cumsum()
    wanted = ears + int(np.argmax(likely >= 0.95))
    assert plan_pollinations(EarRates(success, pollinations_behind=behind), ears=ears) == wanted


@pytest.mark.parametrize(("ears", "behind"), [(1, 5), (6, 12), (40, 80)])
def test_kernels_of_a_line_with_few_notes_are_beta_prime(ears, behind):
    rates = EarRates(1.0, 120.0, ears_behind=behind)
    shape = 1 / 0.45**2
    theirs = betaprime.sf(100 * ears, ears * shape, behind * shape + 1, scale=behind * 120.0)
    assert find_reach_chance(ears, rates, kernels=100 * ears) == pytest.approx(theirs, rel=1e-9)

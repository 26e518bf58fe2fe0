"""How many pollinations give at least so many good ears? Against counts worked out outside the project.

Success of one pollination: 0.676 over 10,037 attempts, Thayer & Down 1942, Controlled pollination in corn (abstract);
the counts are binomial at 95 % assurance, worked out by hand in a planning table of the trade.
"""

from __future__ import annotations

from math import comb

import pytest

from firstsilk.science.nursery.counts import (
    KERNELS_PER_EAR,
    SUCCESS_FRAC,
    count_kernels,
    count_rows,
)
from firstsilk.science.seed.pollinations import EarRates, find_reach_chance, plan_pollinations

AT_95_PER_CENT = {1: 3, 2: 5, 3: 7, 5: 11, 10: 20}
"""Good ears wanted: pollinations needed, at a success of 0.676."""


@pytest.mark.parametrize(("ears", "pollinations"), AT_95_PER_CENT.items())
def test_pollinations_for_good_ears_are_as_published(ears, pollinations):
    assert SUCCESS_FRAC == 0.676
    assert plan_pollinations(EarRates(), ears) == pollinations


@pytest.mark.parametrize("ears", [1, 2, 3, 5, 10, 25])
@pytest.mark.parametrize("success", [0.34, 0.676, 0.83, 1.0])
@pytest.mark.parametrize("assurance", [0.5, 0.8, 0.95, 0.99])
def test_pollinations_are_the_fewest_that_a_plain_sum_of_binomials_allows(ears, success, assurance):
    def chance(tries):
        return sum(comb(tries, k) * success**k * (1 - success) ** (tries - k) for k in range(ears, tries + 1))

    found = plan_pollinations(EarRates(success), ears, assurance=assurance)
    assert chance(found) >= assurance
    assert found == ears or chance(found - 1) < assurance
    assert find_reach_chance(found, EarRates(success), ears) == pytest.approx(chance(found), rel=1e-12)


def test_expected_pollinations_for_seeds_are_as_published():
    # Planning table, expected column at p = .676, k = 146: 400 seeds 5, 1,000 seeds 11, 2,000 seeds 21; its 100 seeds
    # (1.01 ears) are given as 1, so it does not always round up, and is left out.
    assert [-(-seeds // (SUCCESS_FRAC * KERNELS_PER_EAR)) for seeds in (400, 1000, 2000)] == [5, 11, 21]


def test_kernels_for_plants_follow_the_guide_values():
    # Stanford 1988: germination 0.9 for one-year seed, over-plant 20 %, testers 50 %.
    assert count_kernels(18) == 24
    assert count_kernels(18, 0.9, 0.5) == 30
    assert count_kernels(18, 0.8, 0.2) == 27


def test_rows_hold_the_pollinations_on_their_usable_plants():
    assert [count_rows(n, 18, 0.5) for n in (1, 9, 10, 18, 19)] == [1, 1, 2, 2, 3]

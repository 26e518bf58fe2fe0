"""Are pollinations counted right, by dice and by counting up, and does little knowledge ask for more of them?"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.seed.pollinations import (
    EarRates,
    expect_pollinations,
    find_reach_chance,
    plan_pollinations,
)

FEW = EarRates(0.5, 90.0, 0.6, 12.0, 7.0)
DRAWS = 200_000


def _draw(rates: EarRates, pollinations: int, ears: int, kernels: int) -> float:
    """The share of draws that reach the target: lines first, then ears, then kernels of each ear."""
    dice = np.random.default_rng(11)
    shape = 1 / rates.kernels_cv**2
    success = np.full(DRAWS, rates.success_frac)
    mean = np.full(DRAWS, rates.kernels_per_ear)
    if math.isfinite(rates.pollinations_behind):
        lent = rates.pollinations_behind
        success = dice.beta(rates.success_frac * lent, (1 - rates.success_frac) * lent, DRAWS)
    if math.isfinite(rates.ears_behind):
        rate = dice.gamma(rates.ears_behind * shape + 1, 1 / (rates.ears_behind * rates.kernels_per_ear), DRAWS)
        mean = shape / rate
    grown = dice.random((pollinations, DRAWS)) < success
    set_kernels = dice.gamma(shape, 1 / shape, (pollinations, DRAWS)) * mean * grown
    return float(np.mean((grown.sum(axis=0) >= ears) & (set_kernels.sum(axis=0) >= kernels)))


@pytest.mark.parametrize(
    "rates",
    [
        EarRates(0.676, 146.0),
        EarRates(0.34, 60.0),
        FEW,
        EarRates(0.8, 200.0, 0.3, 30.0),
        EarRates(0.7, 50, 1, ears_behind=4),
    ],
)
@pytest.mark.parametrize(("pollinations", "ears", "kernels"), [(6, 0, 300), (9, 5, 0), (12, 6, 500)])
def test_chance_is_that_of_many_draws(rates, pollinations, ears, kernels):
    chance = find_reach_chance(pollinations, rates, ears, kernels)
    error = math.sqrt(max(chance * (1 - chance), 1e-4) / DRAWS)
    assert _draw(rates, pollinations, ears, kernels) == pytest.approx(chance, abs=4 * error)


@given(st.floats(0.2, 1.0), st.integers(0, 6), st.integers(0, 600), st.sampled_from([0.5, 0.9, 0.95]), st.booleans())
@settings(max_examples=60, deadline=None)
def test_number_is_the_fewest_when_counted_up_one_by_one(success, ears, kernels, assurance, is_known):
    rates = EarRates(success, 120.0) if is_known else EarRates(success, 120.0, 0.45, 25.0, 12.0)
    slow = 0
    while find_reach_chance(slow, rates, ears, kernels) < assurance - 1e-12:
        slow += 1
    assert plan_pollinations(rates, ears, kernels, assurance) == slow


@given(st.floats(0.05, 1.0), st.integers(0, 30), st.integers(0, 8), st.integers(0, 900), st.booleans())
def test_chance_never_falls_with_one_pollination_more_or_one_kernel_fewer(success, pollinations, ears, kernels, known):
    rates = EarRates(success, 120.0) if known else EarRates(success, 120.0, 0.45, 25.0, 12.0)
    chance = find_reach_chance(pollinations, rates, ears, kernels)
    assert 0 <= chance <= 1
    assert find_reach_chance(pollinations + 1, rates, ears, kernels) >= chance - 1e-12
    if kernels:
        assert find_reach_chance(pollinations, rates, ears, kernels - 1) >= chance - 1e-12


def test_little_knowledge_asks_for_more_pollinations_and_full_knowledge_for_as_many_as_known_rates():
    wanted = {"kernels": 1000}
    known = plan_pollinations(EarRates(0.6, 100.0), **wanted)
    by_notes = [plan_pollinations(EarRates(0.6, 100.0, 0.45, n, n), **wanted) for n in (10, 40, 200, 1e9)]
    assert by_notes == sorted(by_notes, reverse=True)
    assert by_notes[0] > known
    assert by_notes[-1] == known


def test_every_pollination_sure_then_as_many_as_ears():
    assert plan_pollinations(EarRates(1.0, 100.0, pollinations_behind=30.0), ears=7) == 7
    assert plan_pollinations(EarRates(1.0, 100.0), ears=7) == 7
    assert plan_pollinations(EarRates(0.5), assurance=0.99) == 0
    assert find_reach_chance(3, EarRates(0.9), ears=4) == 0.0
    assert expect_pollinations(EarRates(0.5, 100.0), ears=3, kernels=400) == 8.0


@pytest.mark.parametrize(
    ("question", "says"),
    [
        (lambda: plan_pollinations(EarRates(0.0), ears=1), "a success of 0 is not above 0"),
        (lambda: plan_pollinations(EarRates(1.2), ears=1), "a success of 1.2 is not above 0"),
        (lambda: plan_pollinations(EarRates(math.nan), ears=1), "a success of nan"),
        (lambda: plan_pollinations(EarRates(0.5, 0.0), kernels=1), "kernels_per_ear of 0 is not above 0"),
        (lambda: plan_pollinations(EarRates(0.5, 9.0, 0.0), kernels=1), "kernels_cv of 0 is not above 0"),
        (lambda: plan_pollinations(EarRates(pollinations_behind=0.0), ears=1), "rest on no pollination"),
        (lambda: plan_pollinations(EarRates(), ears=-1), "is negative"),
        (lambda: plan_pollinations(EarRates(), ears=1, assurance=1.0), "assurance 1.0 is not between"),
        (lambda: plan_pollinations(EarRates(1e-6), ears=9), "more than 100,000 pollinations"),
        (lambda: plan_pollinations(EarRates(0.01), ears=5000), "more than 100,000 pollinations"),
    ],
)
def test_question_when_without_meaning_then_refused(question, says):
    with pytest.raises(InputRefused, match=says):
        question()

"""Is a germination test judged as what it is, and does its interval behave?"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.seed.germination import EXACT, METHODS, find_germination_interval, judge_germination


@given(st.integers(0, 400), st.integers(1, 400), st.sampled_from(METHODS), st.sampled_from([0.8, 0.95, 0.99]))
def test_interval_holds_the_share_and_stays_between_0_and_1(grown, seeds, method, level):
    share = min(grown, seeds) / seeds
    low, high = find_germination_interval(share, seeds, level, method)
    assert 0 <= low <= share <= high <= 1
    mirrored = find_germination_interval(1 - share, seeds, level, method)
    assert mirrored == pytest.approx((1 - high, 1 - low), abs=1e-9)


@given(st.integers(1, 99), st.integers(2, 40), st.sampled_from(METHODS))
def test_more_seeds_of_the_same_share_tell_more(percent, times, method):
    few = find_germination_interval(percent / 100, 100, method=method)
    many = find_germination_interval(percent / 100, 100 * times, method=method)
    assert many[1] - many[0] < few[1] - few[0]


@pytest.mark.parametrize("true_share", [0.5, 0.8, 0.93])
def test_exact_interval_holds_the_truth_as_often_as_it_says(true_share):
    seeds = 60
    chance = 0.0
    for grown in range(seeds + 1):
        low, high = find_germination_interval(grown / seeds, seeds, method=EXACT)
        weight = math.comb(seeds, grown) * true_share**grown * (1 - true_share) ** (seeds - grown)
        chance += weight * (low <= true_share <= high)
    assert chance >= 0.95


def test_under_400_seeds_it_is_not_an_official_test():
    small, large, unknown = (judge_germination(0.95, seeds) for seeds in (399, 400, None))
    assert not small.is_official
    assert small.caution.startswith("Germination from 399 seeds: not an official test. The lot's own share may be 92 ")
    assert large.is_official
    assert large.caution == ""
    assert large.low_frac is not None
    assert unknown.low_frac is None
    assert "unknown number of seeds: not an official test" in unknown.caution


@pytest.mark.parametrize(
    ("question", "says"),
    [
        (lambda: find_germination_interval(1.2, 60), "Germination 1.2 is not in 0..1. Write 0.92 for 92 %."),
        (lambda: find_germination_interval(math.nan, 60), "is not in 0..1"),
        (lambda: find_germination_interval(0.9, 0), "a test of 0 seeds tells nothing"),
        (lambda: find_germination_interval(0.9, 60, 1.0), "level 1.0 is not between 0 and 1"),
        (lambda: find_germination_interval(0.9, 60, method="wald"), "there is no interval 'wald'"),
        (lambda: judge_germination(-0.1, None), "Germination -0.1 is not in 0..1."),
    ],
)
def test_question_when_without_meaning_then_refused(question, says):
    with pytest.raises(InputRefused, match=says):
        question()

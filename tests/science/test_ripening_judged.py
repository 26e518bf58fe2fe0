"""Over 300 invented years: do chances from sixteen of them come near the truth, and does the season tell more?"""

from __future__ import annotations

import pytest

from tests.soak.judge_ripening import judge_intervals, judge_moisture, judge_standing, lay_valley


@pytest.fixture(scope="module")
def valley():
    return lay_valley(2)


def test_interval_of_80_percent_holds_the_true_chance_about_as_often(valley):
    """Neighbouring windows share years, so the coverage itself is uncertain by some points."""
    for years, coverage, miss, truth in judge_intervals(valley[0]):
        assert 0.68 <= coverage <= 0.90, (years, coverage)
        # The standard deviation of a share of n independent years.
        assert miss == pytest.approx((truth * (1 - truth) / years) ** 0.5, rel=0.35)


def test_season_so_far_makes_the_chance_better_the_later_the_more(valley):
    judged = list(judge_standing(*valley))
    scores = [now for _, _, now, _, _ in judged]
    assert all(now < before for _, before, now, _, _ in judged)
    assert scores == sorted(scores, reverse=True)
    # What is said comes about as often, bin by bin.
    for _, _, _, _, bins in judged[:3]:
        assert all(abs(said - came) < 0.2 for said, came, n in bins if n >= 30)


def test_moisture_at_the_frost_from_sixteen_years_is_near_that_of_all(valley):
    assert judge_moisture(valley[0]) < 2.0

"""Do the shares, gains and dates of a cutoff come out as counted by hand?"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from firstsilk.science.flowering.cutoff import find_cutoffs, find_earlier_days, ripen_before_frost, weigh_cutoffs

DEMAND = [[10, 20, 30, 0], [0, 10, 20, 30], [0, 0, 40, 20]]


def test_each_day_tells_its_share_its_gain_and_the_chance_of_the_wanted_share():
    days = weigh_cutoffs(DEMAND, 2, done=40, total=100, wanted_frac=0.9)
    assert [one.day for one in days] == [2, 3, 4, 5]
    assert [one.share_p50 for one in days] == pytest.approx([0.4, 0.5, 0.8, 1.0])
    assert [one.share_p10 for one in days] == pytest.approx([0.4, 0.42, 0.72, 1.0])
    assert [one.gained for one in days] == pytest.approx([10 / 3, 10, 30, 50 / 3])
    assert [one.chance_frac for one in days] == pytest.approx([0, 0, 1 / 3, 1])
    assert all(np.isnan(one.ripe_frac) for one in days)
    assert find_cutoffs(days, 0.9) == (5, 5)
    assert find_cutoffs(days, 0.8) == (4, 5)


def test_a_share_that_no_day_gives_has_no_cutoff():
    days = weigh_cutoffs(DEMAND, 0, done=0, total=100, wanted_frac=0.9)
    assert find_cutoffs(days, 0.9) == (None, None)
    assert days[-1].share_p90 == pytest.approx(0.6)


def test_shares_never_fall_and_never_pass_one():
    demand = np.random.default_rng(2).gamma(2.0, 3.0, (50, 30))
    shares = [one.share_p50 for one in weigh_cutoffs(demand, 0, 5, 100, 0.5)]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_ripening_is_the_share_of_years_whose_frost_came_later():
    frosts = [date(2027, 9, 10), date(2028, 9, 20), date(2029, 9, 30), None]
    days = [date(2031, 7, 10), date(2031, 7, 24), date(2031, 8, 3), date(2031, 8, 20)]
    # 58 days later: 6, 20 (a frost on that day is not before it) and 30 September, 17 October.
    assert ripen_before_frost(days, frosts).tolist() == [1.0, 0.75, 0.5, 0.25]
    assert np.isnan(ripen_before_frost(days, [])).all()


def test_ripening_of_an_ear_of_june_is_not_later_than_that_of_one_of_july():
    frosts = [date(2029, 8, 20), date(2030, 9, 13), None]
    days = [date(2031, 6, 23), date(2031, 6, 30), date(2031, 7, 1), date(2031, 7, 20)]
    # 58 days later: 20 August, 27 August, 28 August, 16 September.
    assert ripen_before_frost(days, frosts).tolist() == pytest.approx([1, 2 / 3, 2 / 3, 1 / 3])


def test_ripening_in_the_south_compares_january_with_april():
    frosts = [date(2029, 4, 1), date(2030, 2, 20)]
    assert ripen_before_frost([date(2031, 1, 10), date(2030, 12, 20)], frosts).tolist() == [0.5, 1.0]


@pytest.mark.parametrize("wrong", [{"total": 0}, {"done": -1}, {"wanted_frac": 1.2}, {"demand": [1, 2]}])
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match="needed"):
        weigh_cutoffs(**{"demand": DEMAND, "first_day": 0, "done": 0, "total": 1, "wanted_frac": 0.9, **wrong})


def test_plants_up_to_a_day_are_earlier_by_as_much_as_many_drawn_plants_say():
    dice = np.random.default_rng(5)
    silk, weights = np.array([[2.0, 4.0], [9.0, 8.0], [np.nan, 3.0]]), np.array([3.0, 1.0, 2.0])
    last = [1.0, 4.0, 8.0, 30.0]
    means = []
    for at in (0, 1):
        own = np.repeat(silk[:, at], weights.astype(int) * 100_000)
        own = own[~np.isnan(own)] + 2.2 * dice.standard_normal(int((~np.isnan(own)).sum()))
        means.append([own.mean() - own[own <= day + 0.5].mean() for day in last])
    assert find_earlier_days(silk, weights, last) == pytest.approx(np.mean(means, axis=0), abs=0.02)


def test_where_nothing_silks_no_differential_is_told():
    assert np.isnan(find_earlier_days([[np.nan]], [1.0], [3.0])).all()
    assert np.isnan(find_earlier_days([[50.0]], [1.0], [3.0])).all()

"""Are the whole dates of a forecast those whose chances come nearest to what is asked?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.whole_dates import find_whole_dates

DRAWS = st.lists(st.integers(0, 20), min_size=1, max_size=60)


def find(days, **more):
    return find_whole_dates(np.array([days], dtype=np.float32), **more)[0].tolist()


def test_dates_are_those_with_chances_nearest_to_a_tenth():
    # 5 % on day 10, 15 % on 11, 60 % on 12, 12 % on 13, 8 % on 14.
    days = [10] * 5 + [11] * 15 + [12] * 60 + [13] * 12 + [14] * 8
    # Before day 11: 5 %, before 12: 20 %; after day 13: 8 %, after day 12: 20 %.
    assert find(days) == [11.0, 12.0, 13.0]
    # Where the next day comes nearer it is taken: before day 12 now 11 %, before 11 only 2 %.
    assert find([10] * 2 + [11] * 9 + [12] * 89)[0] == 12.0
    assert find([12] * 89 + [13] * 9 + [14] * 2)[2] == 12.0


def test_a_tie_goes_to_the_wider_span():
    assert find([10] * 5 + [11] * 10 + [12] * 70 + [13] * 10 + [14] * 5) == [11.0, 12.0, 13.0]
    # 20 % on the outer days: none or all of them, each a tenth off.
    assert find([10] * 20 + [11] * 60 + [12] * 20) == [10.0, 11.0, 12.0]


def test_one_day_and_one_draw_are_themselves():
    assert find([7]) == [7.0, 7.0, 7.0]
    assert find([7] * 200) == [7.0, 7.0, 7.0]


def test_never_is_the_latest_of_all_and_told_by_nan():
    never = float("nan")
    found = find([10] * 60 + [never] * 40)
    assert found[:2] == [10.0, 10.0]
    assert np.isnan(found[2])
    assert np.isnan(find([10] * 30 + [never] * 70)[1])
    assert np.isnan(find([never] * 9)).all()
    # A chance of 4 % of never is nearer to a tenth than one of 20 % of flowering after.
    assert find([10] * 80 + [11] * 16 + [never] * 4)[2] == 11.0


@given(DRAWS)
def test_dates_stand_in_order_among_the_days_drawn_and_move_with_them(days):
    low, middle, high = find(days)
    assert min(days) <= low <= middle <= high <= max(days)
    assert find([day + 5 for day in days]) == [low + 5, middle + 5, high + 5]
    assert find(list(reversed(days))) == [low, middle, high]


@given(DRAWS, st.data())
def test_a_row_with_each_draw_later_has_no_earlier_date(days, data):
    later = [day + data.draw(st.integers(0, 4)) for day in days]
    assert all(one <= other for one, other in zip(find(days), find(later), strict=True))


@given(DRAWS)
def test_the_middle_is_the_first_day_by_which_half_have_come(days):
    low, middle, high = find(days)
    median = next(day for day in sorted(days) if sum(one <= day for one in days) * 2 >= len(days))
    assert middle == min(max(median, low), high) or middle == median


@given(DRAWS)
def test_no_other_date_comes_nearer_on_either_side(days):
    drawn = np.array(days)
    low, _, high = find(days)
    for other in range(-1, 23):
        assert abs(np.mean(drawn < low) - 0.1) <= abs(np.mean(drawn < other) - 0.1) + 1e-9
        if other >= low:
            assert abs(np.mean(drawn > high) - 0.1) <= abs(np.mean(drawn > other) - 0.1) + 1e-9


@pytest.mark.parametrize("sd_days", [0.8, 1.2, 1.7, 2.5, 4.0])
def test_spans_hold_four_fifths_over_laws_of_any_place(sd_days):
    # Laws as a forecast has them: a normal law of an instant, told as a day, its place anywhere within the day.
    dice = np.random.default_rng(int(10 * sd_days))
    place = 40.0 + dice.random((4000, 1))
    drawn = np.ceil(place + sd_days * dice.standard_normal((4000, 200)))
    true = np.ceil(place[:, 0] + sd_days * dice.standard_normal(4000))
    found = find_whole_dates(drawn)
    held = np.mean((true >= found[:, 0]) & (true <= found[:, 2]))
    # 4,000 rows: one standard error is 0.6 %; a span of few days cannot hold just 80 % of each law.
    assert held == pytest.approx(0.8, abs=0.05 if sd_days < 1.5 else 0.03)

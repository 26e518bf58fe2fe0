"""Do workers, first days, capacity and lost hours come out as reckoned by hand?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.crew import (
    carry_over,
    count_workers,
    plan_crew,
    reckon_capacity,
    share_of_first_day,
    tell_shortfall,
)
from firstsilk.science.flowering.workable import count_lost_hours, expect_lost_hours


@pytest.mark.parametrize(
    ("demand", "workers"),
    [(0, 0), (0.001, 1), (83.9, 1), (84, 1), (84.00000001, 1), (84.01, 2), (840, 10), (840.0000001, 10), (3550, 43)],
)
def test_workers_are_rounded_up_but_not_by_the_last_digits_of_a_number(demand, workers):
    assert count_workers(demand, 15, 7, 0.8) == workers


def test_demand_without_an_hour_to_work_in_has_no_number_of_workers():
    assert count_workers(10, 15, 0, 0.8) is None
    assert count_workers(0, 15, 0, 0.8) == 0


@pytest.mark.parametrize(
    "wrong",
    [(-1, 15, 7, 0.8), (1, 0, 7, 0.8), (1, 15, -1, 0.8), (1, 15, 7, 0), (1, 15, 7, 1.1), (float("inf"), 1, 1, 1)],
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match="needed"):
        count_workers(*wrong)
    with pytest.raises(ValueError, match="needed"):
        plan_crew([1], [1], 15, 7, 0.8, beginner_speed=0)
    with pytest.raises(ValueError, match="us-20"):
        share_of_first_day("quarter", 0)


@given(st.floats(0, 1e6), st.floats(1, 100), st.floats(0.5, 12), st.floats(0.1, 1))
def test_so_many_workers_are_enough_and_one_fewer_is_not(demand, per_hour, hours, efficiency):
    workers = count_workers(demand, per_hour, hours, efficiency)
    one = per_hour * hours * efficiency
    assert workers * one >= demand - 2e-6 * one
    assert workers == 0 or (workers - 1) * one < demand


def test_the_slower_pace_holds_on_the_first_days_with_demand():
    days = plan_crew([0, 84, 84, 84], [84, 84, 84, 84], 15, 7, 0.8, 0.6, 2)
    # At 60 % of the pace one worker makes 50.4 a day.
    assert [day.workers_p50 for day in days] == [0, 2, 2, 1]
    assert [day.workers_p90 for day in days] == [2, 2, 2, 1]
    assert [day.hours for day in days] == [7, 7, 7, 7]
    assert days[1].notes == ("beginners at 60 % of the pace",)
    assert days[3].notes == ()


def test_shorter_first_days_are_apart_from_the_slower_pace():
    by_fifths = plan_crew([84] * 6, [84] * 6, 15, 7, 0.8, first_days="us-20")
    assert [day.hours for day in by_fifths] == pytest.approx([1.4, 2.8, 4.2, 5.6, 7, 7])
    assert [day.workers_p50 for day in by_fifths] == [5, 3, 2, 2, 1, 1]
    by_thirds = plan_crew([84] * 7, [84] * 7, 15, 6, 0.8, first_days="thirds")
    assert [day.hours for day in by_thirds] == pytest.approx([2, 2, 3, 3, 4, 4, 6])
    both = plan_crew([84], [84], 15, 7, 0.8, 0.6, 2, "us-20")
    # 84 / (15 x 0.6 x 1.4 x 0.8) = 8.33.
    assert both[0].workers_p50 == 9
    assert both[0].notes == ("beginners at 60 % of the pace", "first days: 20 % of the hours")


def test_a_day_nobody_can_work_is_no_working_day_and_says_so():
    days = plan_crew([84, 84], [90, 90], 15, 7, 0.8, 0.6, 1, lost_hours=[7, 3.5])
    assert (days[0].workers_p50, days[0].workers_p90, days[0].hours) == (None, None, 0)
    assert days[0].notes == ("7 h lost to rain or heat", "nobody can work; what falls due waits")
    # 84 / (9 x 3.5 x 0.8) = 3.33: the slower pace is still to come.
    assert days[1].workers_p50 == 4
    assert plan_crew([0], [0], 15, 7, 0.8)[0].notes == ("no demand",)


def test_capacity_counts_beginners_from_their_first_day_at_their_pace_and_hours():
    made = reckon_capacity(10, 5, [-1, 0, 1, 2, 4], 15, [7, 7, 7, 7, 3.5], 0.8)
    # One experienced worker makes 84 a day; a beginner 84 x 0.2 x 0.6, x 0.4 x 0.6, x 0.6, x 1.
    assert made == pytest.approx([840, 840 + 50.4, 840 + 100.8, 840 + 252, (840 + 420) / 2])


def test_shortfall_is_the_share_of_draws_above_capacity_and_what_they_lack_in_the_mean():
    chance, missing = tell_shortfall([[80, 10], [100, 10], [120, 10], [84, 10]], [84, 20])
    assert chance.tolist() == [0.5, 0.0]
    assert missing.tolist() == [(16 + 36) / 4, 0.0]


def test_what_waits_too_long_is_lost_and_the_oldest_goes_first():
    demand = [[100, 0, 0, 0], [10, 10, 10, 10]]
    assert carry_over(demand, [20, 20, 20, 20], keep_days=2).tolist() == [[40, 0, 0, 0], [0, 0, 0, 0]]
    assert carry_over(demand, [20, 20, 20, 20], keep_days=0)[0].tolist() == [80, 0, 0, 0]
    assert carry_over([[30, 30, 30]], [10, 10, 10], keep_days=1).tolist() == [[10, 20, 0]]
    assert carry_over(demand, [0, 0, 0, 0], keep_days=9).sum() == 0


def test_rain_takes_half_or_all_hours_and_heat_those_above_35():
    lost = count_lost_hours(7, [0.9, 1, 10, np.nan, 0], [10, 10, 10, 10, 18], [25, 25, 25, 25, 39])
    assert lost[:4].tolist() == [0, 3.5, 7, 0]
    # The curve of 18-39 is above 35 from 12:07 to past the end of the working day at 16:30; full hours count: from 13.
    assert lost[4] == 3.5
    assert count_lost_hours(7, [0], [np.nan], [np.nan]).tolist() == [0]


def test_hours_lost_are_those_of_the_day_or_the_usual_ones_of_its_season():
    past = [date(2030, 7, 10) + timedelta(days=at) for at in range(20)]
    known = [*past, date(2031, 7, 20)]
    lost = [*([0, 2] * 10), 7]
    days = [date(2031, 7, 20), date(2031, 7, 21), date(2031, 12, 1)]
    assert expect_lost_hours(days, known, lost).tolist() == pytest.approx([7, 1.0, 0], abs=0.15)

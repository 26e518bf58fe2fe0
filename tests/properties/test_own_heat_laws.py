"""Do the compiled sums of own heat find the same days as a slow, obvious loop, whatever the rows and the weather?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.climate.degree_days import DegreeDayLimits, count_gdd_capped
from firstsilk.science.climate.own_heat import NOT_REACHED, find_days_by_own_heat, find_days_by_shared_heat

ANY_C = st.one_of(st.floats(-40.0, 50.0), st.just(math.nan))
QUARTER_C = st.integers(-80, 180).map(lambda quarters: quarters / 4.0)
"""Temperatures whose sums have no rounding, so that two ways of adding them up must agree to the last digit."""


@st.composite
def nurseries(draw, temperature):
    """Minima and maxima (years, days), and lower, upper, sown, target (rows,)."""
    n_years, n_days, n_rows = draw(st.integers(1, 3)), draw(st.integers(1, 25)), draw(st.integers(0, 6))
    pair = st.tuples(temperature, temperature)
    days = draw(st.lists(pair, min_size=n_years * n_days, max_size=n_years * n_days))
    tmin = np.array([min(one) for one in days]).reshape(n_years, n_days)
    tmax = np.array([max(one) for one in days]).reshape(n_years, n_days)
    rows = [
        (
            draw(st.integers(0, 12)),
            draw(st.integers(13, 36)),
            draw(st.integers(-1, n_days - 1)),
            draw(st.one_of(st.integers(1, 400).map(lambda quarters: quarters / 4.0), st.floats(0.1, 300.0))),
        )
        for _ in range(n_rows)
    ]
    columns = [np.array([row[at] for row in rows], dtype=kind) for at, kind in enumerate((float, float, int, float))]
    return tmin, tmax, *columns


def add_up_slowly(tmin, tmax, lower, upper, sown, target):
    """Day by day, row by row: the day on which the total since the day after sowing is at the target."""
    answer = np.full((len(lower), len(tmin)), NOT_REACHED)
    for row in range(len(lower)):
        limits = DegreeDayLimits(lower[row], upper[row])
        for year in range(len(tmin)):
            total, day = 0.0, int(sown[row])
            while not total >= target[row] and day + 1 < tmin.shape[1]:
                day += 1
                total += float(count_gdd_capped(tmin[year, day], tmax[year, day], limits))
            if total >= target[row]:
                answer[row, year] = day
    return answer


@settings(deadline=None)
@given(nurseries(ANY_C))
def test_the_compiled_sum_finds_the_same_days_as_a_slow_loop(nursery):
    assert (find_days_by_own_heat(*nursery) == add_up_slowly(*nursery)).all()


@settings(deadline=None)
@given(nurseries(st.one_of(QUARTER_C, st.just(math.nan))))
def test_looking_up_a_shared_course_finds_the_same_days_as_each_rows_own_sum(nursery):
    tmin, tmax, _, _, sown, target = nursery
    quarters = np.ceil(target * 4.0) / 4.0
    n_rows = len(sown)
    own = find_days_by_own_heat(tmin, tmax, np.full(n_rows, 10.0), np.full(n_rows, 30.0), sown, quarters)
    units = count_gdd_capped(tmin, tmax, DegreeDayLimits(10.0, 30.0))
    assert (find_days_by_shared_heat(units, sown, quarters) == own).all()


@settings(deadline=None)
@given(nurseries(st.floats(-40.0, 50.0)), st.floats(0.0, 50.0))
def test_a_higher_target_is_never_reached_earlier_and_no_day_before_sowing(nursery, more):
    *weather_and_rows, target = nursery
    last = nursery[0].shape[1]
    first = find_days_by_own_heat(*weather_and_rows, target)
    later = find_days_by_own_heat(*weather_and_rows, target + more)
    assert (np.where(later < 0, last, later) >= np.where(first < 0, last, first)).all()
    assert ((first == NOT_REACHED) | (first > weather_and_rows[4][:, None])).all()


def test_a_total_reached_by_hand_is_reached_on_that_day() -> None:
    # 5 degree days a day from day 1 on (sown on day 0): 5, 10, 15; 15 is reached on day 3, 15.1 never.
    tmin, tmax = np.full((1, 4), 10.0), np.full((1, 4), 20.0)
    rows = [[10.0, 10.0], [30.0, 30.0], [0, 0], [15.0, 15.1]]
    assert find_days_by_own_heat(tmin, tmax, *rows).tolist() == [[3], [-1]]
    assert find_days_by_shared_heat(np.full((1, 4), 5.0), rows[2], rows[3]).tolist() == [[3], [-1]]


BAD = {
    "tmin has the shape": ([[1.0]], [[1.0, 2.0]], [10.0], [30.0], [0], [5.0]),
    "must have the shape": ([1.0], [1.0], [10.0], [30.0], [0], [5.0]),
    "one number for each row": ([[1.0]], [[1.0]], [10.0, 9.0], [30.0], [0], [5.0]),
    "above its upper": ([[1.0]], [[1.0]], [31.0], [30.0], [0], [5.0]),
    "above 0": ([[1.0]], [[1.0]], [10.0], [30.0], [0], [0.0]),
    "finite number": ([[1.0]], [[1.0]], [10.0], [30.0], [0], [math.nan]),
    "outside -1 to 0": ([[1.0]], [[1.0]], [10.0], [30.0], [1], [5.0]),
    "whole day number": ([[1.0]], [[1.0]], [10.0], [30.0], [0.5], [5.0]),
}


@pytest.mark.parametrize("told", BAD)
def test_rows_and_weather_that_do_not_fit_are_refused_in_words(told):
    with pytest.raises(ValueError, match=told):
        find_days_by_own_heat(*BAD[told])


def test_units_below_zero_cannot_be_looked_up() -> None:
    with pytest.raises(ValueError, match="negative heat units"):
        find_days_by_shared_heat([[1.0, -0.5]], [0], [1.0])

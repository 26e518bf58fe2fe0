"""Are faults in a daily series found, and holes filled, as a person would do it by hand?"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from firstsilk.science.climate.weather import check_days, fill_missing_days, find_missing_days

NAN = float("nan")


def may(*days: int) -> list[date]:
    return [date(2031, 5, day) for day in days]


def test_good_days_have_no_fault_and_a_missing_temperature_is_none():
    assert check_days(may(1, 2, 3), [1.0, NAN, 3.0], [9.0, 9.0, NAN]) == ()


def test_each_kind_of_fault_is_found_where_it_is():
    faults = check_days(may(1, 2, 1, 3), [12.0, -95.0, 1.0, 1.0], [10.0, 9.0, 9.0, 86.0])
    assert [(fault.code, fault.index, fault.value, fault.field) for fault in faults] == [
        ("crossed", 0, 12.0, "tmin"),
        ("implausible", 1, -95.0, "tmin"),
        ("day_twice", 2, None, ""),
        ("implausible", 3, 86.0, "tmax"),
    ]


def test_missing_days_are_those_absent_or_with_a_temperature_missing():
    missing = find_missing_days(may(5, 1, 2, 6), [1.0, 1.0, NAN, 1.0], [9.0, 9.0, 9.0, NAN], *may(1, 6))
    assert missing == tuple(may(2, 3, 4, 6))


def test_a_hole_of_three_days_is_filled_in_equal_steps():
    filled = fill_missing_days(may(1, 5), [2.0, 10.0], [10.0, 18.0])
    assert filled.days == tuple(may(1, 2, 3, 4, 5))
    assert filled.tmin.tolist() == [2.0, 4.0, 6.0, 8.0, 10.0]
    assert filled.tmax.tolist() == [10.0, 12.0, 14.0, 16.0, 18.0]
    assert filled.filled == tuple(may(2, 3, 4))


def test_a_hole_at_either_end_stays_a_hole():
    filled = fill_missing_days(may(1, 2, 3, 4), [NAN, 2.0, 3.0, NAN], [9.0, 9.0, 9.0, 9.0])
    assert np.isnan(filled.tmin).tolist() == [True, False, False, True]
    assert filled.filled == ()


def test_filling_a_day_that_is_there_twice_is_refused():
    with pytest.raises(ValueError, match="none twice"):
        fill_missing_days(may(1, 1), [1.0, 1.0], [2.0, 2.0])

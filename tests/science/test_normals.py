"""Are past years lined up date by date, and their quantiles those that a person would find?"""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.climate.normals import build_heat_normals, sum_by_year


def whole_year(year: int, units: float) -> list[tuple[date, float]]:
    days = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    return [(date(year, 1, 1) + timedelta(days=step), units) for step in range(days)]


def split(pairs):
    return [day for day, _ in pairs], [units for _, units in pairs]


def test_running_totals_start_at_the_start_date_of_each_year():
    days, units = split([*whole_year(2031, 2.0), *whole_year(2033, 3.0)])
    years, dates, totals = sum_by_year(days, units, (5, 1), (5, 4))
    assert years == (2031, 2033)
    assert dates == ((5, 1), (5, 2), (5, 3), (5, 4))
    assert totals.tolist() == [[2.0, 4.0, 6.0, 8.0], [3.0, 6.0, 9.0, 12.0]]


def test_29_february_is_in_the_total_from_1_march_on_and_has_no_row():
    days, units = split([*whole_year(2031, 1.0), *whole_year(2032, 1.0)])
    _, dates, totals = sum_by_year(days, units, (2, 27), (3, 2))
    assert dates == ((2, 27), (2, 28), (3, 1), (3, 2))
    assert totals.tolist() == [[1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 4.0, 5.0]]


def test_a_southern_season_runs_over_new_year():
    days, units = split([*whole_year(2030, 1.0), *whole_year(2031, 1.0)])
    years, dates, totals = sum_by_year(days, units, (12, 30), (1, 2))
    assert dates == ((12, 30), (12, 31), (1, 1), (1, 2))
    assert years == (2030, 2031)
    assert totals[0].tolist() == [1.0, 2.0, 3.0, 4.0]
    assert np.isnan(totals[1, 2:]).all()


def test_a_year_stops_counting_at_its_first_unknown_day():
    days, units = split([*whole_year(2031, 1.0), *whole_year(2032, 1.0)])
    units[days.index(date(2032, 5, 3))] = math.nan
    normals = build_heat_normals(days, units, (5, 1), (5, 4))
    assert normals.years.tolist() == [2, 2, 1, 1]
    assert normals.totals[1].tolist() == [1.0, 2.0, 3.0, 4.0]


def test_normals_are_the_quantiles_of_the_years_on_each_date():
    pairs = [pair for step in range(11) for pair in whole_year(2031 + step, float(step))]
    normals = build_heat_normals(*split(pairs), (5, 1), (5, 31))
    # Eleven years gaining 0 to 10 a day: the 10 % point is the second lowest, the 90 % point the second highest.
    expected = np.outer([1.0, 5.0, 9.0], np.arange(1, 32))
    assert normals.totals == pytest.approx(expected)
    assert normals.levels == (0.1, 0.5, 0.9)
    assert set(normals.years.tolist()) == {11}


def test_dates_that_no_year_knows_have_no_normal():
    normals = build_heat_normals([date(2031, 5, 1)], [10.0], (5, 1), (5, 3))
    assert normals.years.tolist() == [1, 0, 0]
    assert normals.totals[1, 0] == 10.0
    assert np.isnan(normals.totals[:, 1:]).all()

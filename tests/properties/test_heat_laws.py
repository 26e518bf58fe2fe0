"""Which laws hold for heat units, filled days and frost dates, whatever the weather?"""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.climate import frost, heat, weather

TEMPERATURE = st.floats(-60.0, 55.0, allow_nan=False)
DAY = st.tuples(TEMPERATURE, TEMPERATURE).map(sorted)
DAYS = st.lists(DAY, min_size=1, max_size=40)
START = date(2031, 4, 1)


def columns(days):
    return np.array([low for low, _ in days]), np.array([high for _, high in days])


@given(DAYS)
def test_fahrenheit_degree_days_are_1_8_times_celsius_degree_days(days):
    low, high = columns(days)
    assert heat.heat_units(low, high, "gdd_f") == pytest.approx(1.8 * heat.heat_units(low, high, "gdd_c"), abs=1e-9)


@given(DAYS)
def test_capped_degree_days_lie_between_0_and_20_and_chu_are_never_negative(days):
    low, high = columns(days)
    degree_days = heat.heat_units(low, high, "gdd_c")
    assert (degree_days >= 0.0).all()
    assert (degree_days <= 20.0).all()
    assert (heat.heat_units(low, high, "chu") >= 0.0).all()


@given(DAYS)
def test_flooring_never_lowers_chu_and_a_warmer_night_base_never_raises_them(days):
    low, high = columns(days)
    floored = heat.count_chu(low, high)
    assert (floored >= heat.count_chu(low, high, heat.CHU_UNFLOORED) - 1e-9).all()
    assert (heat.count_chu(low, high, heat.CHU_NIGHT_4_44) <= floored + 1e-9).all()


@given(DAY, st.floats(0.0, 10.0))
def test_a_warmer_day_never_brings_fewer_degree_days(day, warmer):
    for limits in (heat.GDD_C, heat.DegreeDayLimits(8.0, 27.0)):
        for count in (heat.count_gdd_capped, heat.count_gdd_mean_clamped, heat.count_gdd_sine, heat.count_gdd_triangle):
            less, more = count(day[0], day[1], limits), count(day[0] + warmer, day[1] + warmer, limits)
            assert more >= less - 1e-9


@given(DAYS)
def test_temperatures_survive_the_way_to_fahrenheit_and_back(days):
    low, _ = columns(days)
    assert heat.convert_f_to_c(heat.convert_c_to_f(low)) == pytest.approx(low, abs=1e-9)


@given(DAYS)
def test_a_file_in_fahrenheit_brings_the_same_heat_as_in_celsius(days):
    low, high = columns(days)
    for scale in heat.SCALES:
        in_f = heat.heat_units(heat.convert_c_to_f(low), heat.convert_c_to_f(high), scale, "f")
        assert in_f == pytest.approx(heat.heat_units(low, high, scale), abs=1e-6)


@given(DAY, st.sampled_from([heat.GDD_C, heat.DegreeDayLimits(5.0, 25.0)]))
def test_the_sine_formula_agrees_with_adding_up_many_moments_of_the_day(day, limits):
    low, high = day
    turn = (np.arange(20_000) + 0.5) / 20_000 * 2.0 * np.pi
    curve = (low + high) / 2.0 + (high - low) / 2.0 * np.sin(turn)
    slow = (np.clip(curve, limits.lower, limits.upper) - limits.lower).mean()
    assert heat.count_gdd_sine(low, high, limits) == pytest.approx(slow, abs=1e-4)


@given(DAY, st.sampled_from([heat.GDD_C, heat.DegreeDayLimits(5.0, 25.0)]))
def test_the_triangle_formula_agrees_with_adding_up_many_moments_of_the_day(day, limits):
    low, high = day
    curve = low + (high - low) * (np.arange(20_000) + 0.5) / 20_000
    slow = (np.clip(curve, limits.lower, limits.upper) - limits.lower).mean()
    assert heat.count_gdd_triangle(low, high, limits) == pytest.approx(slow, abs=1e-4)


@given(DAYS, st.integers(0, 39), st.sampled_from(heat.SCALES))
def test_a_missing_temperature_gives_a_missing_unit_and_touches_no_other_day(days, index, scale):
    low, high = columns(days)
    whole = heat.heat_units(low, high, scale)
    holed = low.copy()
    holed[index % len(days)] = np.nan
    units = heat.heat_units(holed, high, scale)
    assert math.isnan(units[index % len(days)])
    assert np.delete(units, index % len(days)) == pytest.approx(np.delete(whole, index % len(days)))


@given(DAYS, st.data())
def test_filling_leaves_given_values_alone_and_stays_between_its_neighbours(days, data):
    low, high = columns(days)
    dates = [START + timedelta(days=step) for step in range(len(days))]
    kept = data.draw(st.lists(st.sampled_from(range(len(days))), min_size=1, unique=True))
    filled = weather.fill_missing_days([dates[at] for at in kept], low[kept], high[kept])
    where = {day: at for at, day in enumerate(filled.days)}
    assert filled.days == tuple(dates[min(kept) : max(kept) + 1])
    for at in kept:
        assert filled.tmin[where[dates[at]]] == low[at]
        assert filled.tmax[where[dates[at]]] == high[at]
    assert set(filled.filled) == set(filled.days) - {dates[at] for at in kept}
    assert (filled.tmin >= low[kept].min() - 1e-9).all()
    assert (filled.tmax <= high[kept].max() + 1e-9).all()
    assert (filled.tmin <= filled.tmax + 1e-9).all()


DATES_OF_FROST = st.lists(st.integers(190, 350), min_size=1, max_size=30).map(tuple)


@given(DATES_OF_FROST, st.floats(0.01, 0.98), st.floats(0.001, 0.5), st.sampled_from([5, 6, 7]))
def test_a_higher_chance_never_gives_an_earlier_autumn_or_a_later_spring_date(days, chance, step, quantile):
    years = tuple(range(2001, 2001 + len(days)))
    higher = min(chance + step, 0.99)
    for event, sign in (("first_autumn", 1.0), ("last_spring", -1.0)):
        frosts = frost.FrostYears(event, years, years, days, ())
        for method in frost.METHODS:
            early = frost.estimate_frost_day(frosts, chance, method, quantile)
            late = frost.estimate_frost_day(frosts, higher, method, quantile)
            if early is not None and late is not None:
                assert sign * (late - early) >= -1e-9


@given(DATES_OF_FROST, st.floats(0.01, 0.99), st.sampled_from([5, 6, 7]))
def test_a_percentile_lies_within_the_dates_seen(days, chance, quantile):
    years = tuple(range(2001, 2001 + len(days)))
    ours = frost.estimate_frost_day(frost.FrostYears("first_autumn", years, years, days, ()), chance, quantile=quantile)
    assert ours is not None
    assert min(days) - 1e-9 <= ours <= max(days) + 1e-9


@given(DATES_OF_FROST, st.integers(0, 5), st.floats(0.01, 0.99))
def test_years_without_frost_push_the_mixed_date_later_and_none_is_the_normal_date(days, extra, chance):
    years = tuple(range(2001, 2001 + len(days)))
    every = frost.FrostYears("first_autumn", years, years, days, ())
    more = frost.FrostYears("first_autumn", tuple(range(2001, 2001 + len(days) + extra)), years, days, ())
    normal = frost.estimate_frost_day(every, chance, "normal")
    mixed = frost.estimate_frost_day(more, chance, "mixed")
    if normal is None or mixed is None:
        return
    if extra == 0:
        assert mixed == pytest.approx(normal)
    assert mixed >= normal - 1e-9


@given(st.dates(date(1900, 1, 1), date(2100, 12, 31)))
def test_the_day_of_a_common_year_names_its_own_date(day):
    number = frost.day_of_common_year(day)
    assert 1 <= number <= 365
    named = frost.name_day_of_year(float(number))
    assert named == ("02-28" if (day.month, day.day) == (2, 29) else day.strftime("%m-%d"))

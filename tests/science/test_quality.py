"""Is each kind of fault found where it was planted, said by its place and value, and clean weather left alone?"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from vega_datasets import data

from firstsilk.invented.weather import simulate_weather
from firstsilk.science.climate.doubts import make_series, measure_fineness, measure_steps
from firstsilk.science.climate.levels import fit_level
from firstsilk.science.climate.quality import check_quality, count_stuck_days

LATITUDE = 49.0


@pytest.fixture
def years():
    """Ten clean years of the invented valley: days, minima, maxima, rain; a copy to spoil."""
    world = simulate_weather(3, 2011, 2020)
    return world.days, world.tmin_c[0].copy(), world.tmax_c[0].copy(), world.rain_mm[0].copy()


def look(days, low, high, rain=None, judged=None, latitude=LATITUDE):
    which = np.ones(len(days), dtype=bool) if judged is None else judged
    return check_quality(make_series(days, low, high, rain), which, latitude)


def at(days, year, month, day):
    return days.index(date(year, month, day))


def test_clean_weather_is_not_doubted(years):
    assert look(*years) == ()


def test_a_spike_is_told_with_what_is_beside_it(years):
    days, low, high, rain = years
    place = at(days, 2015, 6, 10)
    high[place] += 20.0
    (doubt,) = look(*years)
    assert (doubt.kind, doubt.first, doubt.last, doubt.column) == ("spike", place, place, "tmax")
    assert doubt.value == high[place]
    assert doubt.usual == pytest.approx((high[place - 1] + high[place + 1]) / 2)
    assert rain[place] >= 0
    assert low[place] <= high[place]


def test_a_spike_on_the_last_day_needs_to_be_larger(years):
    _, _, high, _ = years
    high[-1] = high[-2] + 25.0
    assert [one.kind for one in look(*years)] == ["spike"]


def test_a_sensor_that_stands_still_is_told_once(years):
    days, low, high, _ = years
    place = at(days, 2016, 7, 3)
    low[place : place + 6] = low[place]
    high[place : place + 6] = np.maximum(high[place : place + 6], low[place])
    (doubt,) = look(*years)
    assert (doubt.kind, doubt.first, doubt.last, doubt.column) == ("stuck", place, place + 5, "tmin")


def test_a_block_copied_from_last_year_is_told_with_its_first_place(years):
    days, low, high, rain = years
    place, like = at(days, 2017, 5, 1), at(days, 2016, 5, 1)
    for one in (low, high, rain):
        one[place : place + 10] = one[like : like + 10]
    (doubt,) = look(*years)
    assert (doubt.kind, doubt.first, doubt.last, doubt.like) == ("repeated_block", place, place + 9, like)


def test_a_line_copied_onto_the_next_day_is_told_by_its_rain(years):
    days, low, high, rain = years
    place = at(days, 2018, 6, 14)
    low[place], high[place], rain[place] = low[place - 1], high[place - 1], 7.3
    rain[place - 1] = 7.3
    (doubt,) = look(*years)
    assert (doubt.kind, doubt.first, doubt.like) == ("copied_day", place, place - 1)


@pytest.mark.parametrize(
    ("kind", "spoil"),
    [
        ("fahrenheit", lambda value: value * 1.8 + 32.0),
        ("celsius", lambda value: (value - 32.0) / 1.8),
        ("tenths", lambda value: np.round(value * 10.0)),
    ],
)
def test_a_month_in_another_unit(years, kind, spoil):
    days, low, high, _ = years
    first, last = at(days, 2016, 4, 1), at(days, 2016, 4, 30)
    for one in (low, high):
        one[first : last + 1] = spoil(one[first : last + 1])
    doubt = next(one for one in look(*years) if one.kind == kind)
    assert abs(doubt.first - first) <= 2
    assert abs(doubt.last - last) <= 2
    assert {one.kind for one in look(*years)} <= {kind, "spike"}


@pytest.mark.parametrize(
    ("kind", "spoil"),
    [
        ("fahrenheit", lambda value: value * 1.8 + 32.0),
        ("celsius", lambda value: (value - 32.0) / 1.8),
        ("tenths", lambda value: np.round(value * 10.0)),
    ],
)
def test_one_whole_year_in_another_unit_and_nothing_known_before(years, kind, spoil):
    days, low, high, rain = (one[-365:] for one in years)
    found = look(days, spoil(low), spoil(high), rain)
    told = [one for one in found if one.kind == kind]
    assert told
    assert sum(one.n_places for one in told) > 100
    # Without a latitude and without other years there is nothing to tell it by.
    assert not [one for one in look(days, spoil(low), spoil(high), rain, latitude=None) if one.kind == "celsius"]


def test_other_dates(years):
    days, low, high, rain = years
    first, last = at(days, 2019, 5, 1), at(days, 2019, 7, 31)
    for one in (low, high, rain):
        one[first : last + 1] = np.roll(one, 90)[first : last + 1] + 0.05
    judged = np.zeros(len(days), dtype=bool)
    judged[first : last + 1] = True
    found = look(*years, judged=judged)
    shift = next(one for one in found if one.kind == "date_shift")
    assert (shift.first, shift.last) == (first, last)
    assert shift.shift_days == pytest.approx(-90, abs=12)


def test_the_other_hemisphere(years):
    days, low, high, rain = (one[-365:] for one in years)
    assert [one.kind for one in look(days, low, high, rain, latitude=-LATITUDE)] == ["season_turned"]
    assert look(days, low, high, rain, latitude=3.0) == ()


def test_only_judged_days_are_told(years):
    days, _, high, _ = years
    high[at(days, 2013, 6, 1)] += 25.0
    judged = np.array([day.year == 2020 for day in days])
    assert look(*years, judged=judged) == ()
    assert look(*years, judged=np.zeros(len(days), dtype=bool)) == ()


def test_a_single_day_is_set_against_the_days_before_it(years):
    days, _, high, _ = years
    high[-1] = high[-2] + 25.0
    judged = np.zeros(len(days), dtype=bool)
    judged[-1] = True
    (doubt,) = look(*years, judged=judged)
    assert (doubt.kind, doubt.first) == ("spike", len(days) - 1)


def test_few_days_and_holes_are_taken(years):
    days, low, high, rain = years
    assert look(days[:1], low[:1], high[:1], rain[:1]) == ()
    assert look(days[:2], low[:2], high[:2], rain[:2]) == ()
    low[5] = np.nan
    kept = [place for place in range(len(days)) if place % 50]
    assert look([days[place] for place in kept], low[kept], high[kept], rain[kept]) == ()


def test_days_out_of_order_are_refused():
    with pytest.raises(ValueError, match="in order"):
        make_series([date(2031, 5, 2), date(2031, 5, 1)], [1.0, 1.0], [2.0, 2.0])


def test_fineness_of_readings():
    rng = np.random.default_rng(1)
    values = rng.normal(10.0, 8.0, 400)
    assert measure_fineness(np.round(values)) == 1.0
    assert measure_fineness(np.round(values * 2) / 2) == 0.5
    assert measure_fineness(np.round(values, 1)) == 0.1
    assert measure_fineness((np.round(values * 1.8 + 32.0) - 32.0) / 1.8) == 5 / 9
    assert measure_fineness(np.round((np.round(values * 1.8 + 32.0) - 32.0) / 1.8, 1)) == 5 / 9
    assert measure_fineness(values) == 0.05


def test_days_that_stand_still_by_chance_are_counted_as_in_the_formula():
    """1 + ln 36525 / -ln(fineness / (step sqrt(2 pi))), by hand: 1 + 10.506 / 4.138 and 1 + 10.506 / 1.835."""
    assert count_stuck_days(0.1, 2.5) == 4
    assert count_stuck_days(1.0, 2.5) == 7
    assert count_stuck_days(0.1, 2.5, columns=2) == 3


def test_the_spread_is_that_of_the_steps(years):
    days, low, high, rain = years
    spread = measure_steps(make_series(days, low, high, rain))
    july = np.array([day.month == 7 for day in days])
    near = np.array([day.month in (6, 7, 8) for day in days])[1:]
    assert np.median(spread[july, 0]) == pytest.approx(np.abs(np.diff(low))[near].std() * 1.25, rel=0.35)


def test_the_level_of_the_site_is_found_beside_a_spoiled_season(years):
    days, low, high, rain = years
    clean = fit_level(make_series(days, low, high, rain))
    low[400:520] = low[400:520] * 1.8 + 32.0
    high[400:520] = high[400:520] * 1.8 + 32.0
    spoiled = fit_level(make_series(days, low, high, rain))
    assert np.abs(clean[0] - spoiled[0]).max() < 0.6
    assert fit_level(make_series(days[:200], low[:200], high[:200])) is None


def test_real_weather_of_seattle_is_not_doubted():
    """Four years of daily summaries of NOAA (vega-datasets), in tenths from whole degrees Fahrenheit."""
    frame = data.seattle_weather()
    days = [one.date() for one in frame["date"]]
    columns = (frame[name].to_numpy() for name in ("temp_min", "temp_max", "precipitation"))
    assert look(days, *columns, latitude=47.4) == ()

"""Is a season's heat lined up with past years whatever the calendar, the hemisphere and the holes do?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.climate.heat import heat_units
from firstsilk.science.flowering.season_heat import RAIN_DAYS, SPAN_DAYS, build_season_heat, other_scale

FIRST, TODAY = date(2031, 5, 12), date(2031, 7, 10)


def days_between(start: date, end: date) -> list[date]:
    return [start + timedelta(days=at) for at in range((end - start).days + 1)]


def temperatures(days):
    """Each day's own, so that a day in the wrong place shows: minimum 5 to 12, maximum 18 to 29 by date."""
    place = np.array([day.toordinal() for day in days])
    return 5.0 + (place * 7 % 70) / 10.0, 18.0 + (place * 13 % 110) / 10.0


def build(days, first=FIRST, today=TODAY, scale="chu", **more):
    low, high = temperatures(days)
    return build_season_heat(days, low, high, first, today, scale, **more)


def units(days, scale="chu"):
    return heat_units(*temperatures(days), scale)


ALL = days_between(date(2015, 1, 1), date(2031, 12, 31))


@pytest.mark.parametrize("scale", ["chu", "gdd_c", "gdd_f"])
def test_season_and_past_years_stand_on_the_same_calendar_day(scale):
    heat = build(ALL, scale=scale)
    assert heat.years == tuple(range(2015, 2031))
    assert heat.n_generated == 0
    assert heat.so_far.shape == (2, (TODAY - FIRST).days + 1)
    assert heat.so_far[0] == pytest.approx(units(days_between(FIRST, TODAY), scale))
    for at, year in enumerate(heat.years):
        same = days_between(date(year, 5, 12), date(year, 5, 12) + timedelta(days=SPAN_DAYS - 1))
        assert heat.past[0, at] == pytest.approx(units(same, scale)[:SPAN_DAYS])
        assert heat.past[1, at] == pytest.approx(units(same, other_scale(scale))[:SPAN_DAYS])
        assert heat.ahead[0, at] == pytest.approx(heat.past[0, at, heat.so_far.shape[1] :])
    assert heat.members().shape == (2, 16, SPAN_DAYS)
    assert heat.normal[0] == pytest.approx(heat.past[0].mean(axis=0))
    assert heat.day(TODAY) == heat.so_far.shape[1] - 1


def test_days_in_any_order_and_days_after_today_change_nothing():
    turned = list(reversed(ALL))
    one, other = build(ALL), build(turned)
    cut = build([day for day in ALL if day <= TODAY])
    for each in (other, cut):
        assert np.array_equal(each.so_far, one.so_far)
        assert np.array_equal(each.past, one.past)


def test_a_season_that_begins_on_a_leap_day_meets_the_28th():
    heat = build(ALL, first=date(2028, 2, 29), today=date(2028, 6, 1))
    at = heat.years.index(2027)
    assert heat.past[0, at, 0] == pytest.approx(units([date(2027, 2, 28)])[0])
    # A leap day within the span is one day like others.
    spring = build(ALL, first=date(2031, 2, 20), today=date(2031, 6, 1))
    leap = spring.years.index(2028)
    assert spring.past[0, leap, 9] == pytest.approx(units([date(2028, 2, 29)])[0])


def test_a_southern_season_runs_over_new_year():
    days = days_between(date(2010, 7, 1), date(2031, 1, 20))
    heat = build(days, first=date(2030, 10, 20), today=date(2031, 1, 20))
    assert heat.years == tuple(range(2010, 2030))
    assert heat.so_far[0] == pytest.approx(units(days_between(date(2030, 10, 20), date(2031, 1, 20))))
    same = days_between(date(2016, 10, 20), date(2016, 10, 20) + timedelta(days=SPAN_DAYS - 1))
    assert heat.past[0, heat.years.index(2016)] == pytest.approx(units(same))


def test_one_past_year_is_enough_and_stands_alone():
    days = days_between(date(2030, 1, 1), TODAY)
    heat = build(days)
    assert heat.years == (2030,)
    assert heat.n_generated == 0
    assert heat.ahead.shape[1] == 1


def test_few_years_are_filled_up_with_generated_ones_and_many_are_not():
    days = days_between(date(2026, 1, 1), TODAY)
    heat = build(days, rain_mm=np.tile([0.0, 3.0, 0.0], len(days))[: len(days)])
    assert heat.years == tuple(range(2026, 2031))
    assert heat.n_generated == 25
    assert heat.ahead.shape[1] == 30
    own = heat.past[0].mean()
    assert heat.members()[0, 5:].mean() == pytest.approx(own, rel=0.1)
    again = build(days, rain_mm=np.tile([0.0, 3.0, 0.0], len(days))[: len(days)])
    assert np.array_equal(again.ahead, heat.ahead)
    # Past years are those that were; generated ones are no part of the normal.
    assert heat.past.shape[1] == 5


@pytest.mark.parametrize("gone", [date(2031, 6, 3), date(2031, 5, 12)])
def test_a_hole_in_the_season_is_named(gone):
    with pytest.raises(ValueError, match=f"the weather of {gone} is missing"):
        build([day for day in ALL if day != gone])


def test_a_day_without_a_temperature_is_a_hole():
    low, high = temperatures(ALL)
    high[ALL.index(date(2031, 6, 3))] = np.nan
    with pytest.raises(ValueError, match="2031-06-03"):
        build_season_heat(ALL, low, high, FIRST, TODAY, "chu")


def test_a_past_year_with_a_hole_is_left_out():
    heat = build([day for day in ALL if day != date(2022, 7, 20)])
    assert 2022 not in heat.years
    assert len(heat.years) == 15
    # Before the season begins a hole does no harm.
    assert 2022 in build([day for day in ALL if day != date(2022, 3, 1)]).years


def test_weather_that_stops_in_june_this_year_goes_on_by_past_years():
    heat = build([day for day in ALL if day <= date(2031, 6, 15)])
    assert heat.so_far.shape[1] == (date(2031, 6, 15) - FIRST).days + 1
    assert heat.members().shape[2] == SPAN_DAYS
    at = heat.years.index(2020)
    wanted = days_between(date(2020, 6, 16), date(2020, 5, 12) + timedelta(days=SPAN_DAYS - 1))
    assert heat.ahead[0, at] == pytest.approx(units(wanted))


def test_past_years_that_stop_in_june_are_left_out_or_refused():
    def before_july(day: date, years: range) -> bool:
        return day.year not in years or day < date(day.year, 6, 20)

    some = build([day for day in ALL if before_july(day, range(2018, 2021))])
    assert not {2018, 2019, 2020} & set(some.years)
    with pytest.raises(ValueError, match="no past year"):
        build([day for day in ALL if before_july(day, range(2000, 2031))])
    with pytest.raises(ValueError, match="no past year"):
        build([day for day in ALL if day.year == 2031])


def test_past_years_that_end_with_september_shorten_the_span():
    heat = build([day for day in ALL if day.month <= 9])
    assert heat.members().shape[2] == (date(2030, 9, 30) - date(2030, 5, 12)).days + 1
    assert len(heat.years) == 16


def test_a_season_that_has_run_its_span_has_nothing_ahead():
    heat = build(days_between(date(2015, 1, 1), date(2032, 6, 1)), today=date(2032, 6, 1))
    assert heat.so_far.shape[1] == SPAN_DAYS
    assert heat.ahead.shape == (2, 16, 0)
    # A hole after the span is no hole of this season.
    late = [day for day in days_between(date(2015, 1, 1), date(2032, 6, 1)) if day != date(2032, 3, 1)]
    assert np.array_equal(build(late, today=date(2032, 6, 1)).so_far, heat.so_far)
    # Past years end with September, this one runs on.
    short = build([day for day in ALL if day.month <= 9 or day.year == 2031], today=date(2031, 11, 1))
    assert short.so_far.shape[1] == (date(2031, 11, 1) - FIRST).days + 1
    assert short.ahead.shape[2] == 0


def test_a_forecast_begins_every_member():
    told = (np.array([9.0, 10.0, 11.0]), np.array([21.0, 22.0, 23.0]))
    heat = build(ALL, ahead_c=told)
    wanted = heat_units(*told, "chu")
    assert (np.abs(heat.ahead[0, :, :3] - wanted) < 1e-12).all()
    assert heat.ahead[0, :, 3:] == pytest.approx(build(ALL).ahead[0, :, 3:])


def test_rain_is_a_share_of_what_past_years_had_and_drought_is_its_lack():
    rain = np.array([0.0 if day >= date(2031, 6, 1) else 3.0 for day in ALL])
    heat = build(ALL, rain_mm=rain)
    assert heat.rain_share[: (date(2031, 5, 31) - FIRST).days + 1] == pytest.approx(1.0)
    # Thirty days without: nothing is left; half of them: half.
    assert heat.rain_share[heat.day(date(2031, 6, 30))] == pytest.approx(0.0)
    assert heat.rain_share[heat.day(date(2031, 6, 15))] == pytest.approx((RAIN_DAYS - 15) / RAIN_DAYS)
    assert heat.find_dryness(heat.day(date(2031, 7, 20))) == 1.0
    # Flowering more than three weeks off, or no rain told: nobody can say.
    assert heat.find_dryness(heat.day(date(2031, 8, 15))) == 0.0
    assert build(ALL).find_dryness(heat.day(date(2031, 7, 20))) == 0.0
    assert build(ALL, rain_mm=np.full(len(ALL), 3.0)).find_dryness(60.0) == 0.0


def test_rain_with_a_hole_is_not_told_for_a_month():
    rain = np.full(len(ALL), 2.0)
    rain[ALL.index(date(2031, 6, 20))] = np.nan
    heat = build(ALL, rain_mm=rain)
    assert np.isnan(heat.rain_share[heat.day(date(2031, 7, 5))])
    assert heat.find_dryness(heat.day(date(2031, 7, 5))) == 0.0


def test_the_pace_is_that_of_a_normal_day_at_flowering():
    heat = build(ALL)
    normal = heat.normal[0]
    total = np.cumsum(normal[8:])
    day = 8 + int(np.searchsorted(total, 1300.0))
    assert heat.find_pace(7, 1300.0) == pytest.approx(normal[day - 10 : day + 11].mean())
    assert heat.find_pace(0, 1e9) > 0.0

"""Does the season stand against past years as it should, are frosts told, and does weather come in whole or not at all?

Minima are 10 °C and maxima 10 + 2k, so that a day brings k degree days in the scale gdd_c: totals can be said by heart.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.work.climate.arrivals import add_weather, add_weather_of_sites
from firstsilk.work.climate.frosts import read_frost_chances
from firstsilk.work.climate.season import read_season_heat
from firstsilk.work.climate.sent import DayReading
from firstsilk.work.climate.sites import list_sites, read_site
from firstsilk.work.occasion import Occasion

pytestmark = pytest.mark.django_db

PAST = range(2021, 2031)
"""Ten past years; the k of year 2020 + k is k."""
K_THIS_YEAR = 6


@pytest.fixture
def home() -> Site:
    station = Station.objects.create(code="esker", name="Eskerholm", latitude=50.0, scale="gdd_c")
    return Site.objects.create(
        station=station, code="home", name="Home fields", latitude=50.0, longitude=0.0, is_home=True
    )


def occasion(day: date) -> Occasion:
    return Occasion("esker", day, datetime(2031, 7, 1, 9, tzinfo=UTC), "tests")


def grow_days(site: Site, first: date, last: date, k: float, frosts: frozenset[date] = frozenset(), **more: object):
    days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    WeatherDay.objects.bulk_create(
        WeatherDay(
            station=site.station,
            site=site,
            date=day,
            tmin_c=-3.0 if day in frosts else 10.0,
            tmax_c=10.0 + 2 * k,
            **more,
        )
        for day in days
    )


def grow_past(site: Site) -> None:
    """Ten years of k degree days a day; first autumn frost on 10 + k September, last spring frost on k May."""
    for year in PAST:
        k = year - 2020
        frosts = frozenset({date(year, 9, 10 + k), date(year, 10, 20), date(year, 4, 2), date(year, 5, k)})
        grow_days(site, date(year, 1, 1), date(year, 12, 31), k, frosts)


def test_a_season_when_set_against_ten_years_is_ahead_by_units_and_days(home):
    grow_past(home)
    grow_days(home, date(2031, 1, 1), date(2031, 7, 9), K_THIS_YEAR)
    heat = read_season_heat(occasion(date(2031, 7, 9)))
    n = 70  # 1 May to 9 July, both counted
    assert heat.course.starts == date(2031, 5, 1)
    assert heat.course.total == pytest.approx(K_THIS_YEAR * n)
    now = heat.course.now
    assert (now.low, now.middle, now.high) == pytest.approx((1.9 * n, 5.5 * n, 9.1 * n))
    assert heat.against.ahead_units == pytest.approx(0.5 * n)
    # The middle year reaches 6 n after 6/5.5 n days.
    assert heat.against.ahead_days == pytest.approx(n * 6 / 5.5 - n)
    assert (heat.against.years_below, heat.against.n_years) == (5, 10)
    assert heat.against.recent_daily == pytest.approx(6.0)
    assert heat.against.recent_middle == pytest.approx(5.5)
    assert "about 6 days ahead" in " ".join(heat.sentences)


def test_a_season_when_days_after_today_are_in_the_books_does_not_look_at_them(home):
    grow_past(home)
    grow_days(home, date(2031, 1, 1), date(2031, 12, 31), K_THIS_YEAR)
    heat = read_season_heat(occasion(date(2031, 7, 9)))
    assert heat.course.counted_to == date(2031, 7, 9)
    assert heat.last_reading == date(2031, 7, 9)
    assert heat.years == tuple(PAST)


def test_whole_past_seasons_when_summed_end_the_day_before_the_frost(home):
    grow_past(home)
    heat = read_season_heat(occasion(date(2030, 12, 1)))
    # 2030: k = 10, frost on 20 September; 1 May to 19 September are 142 days.
    assert heat.course.frost_on == date(2030, 9, 20)
    assert heat.course.counted_to == date(2030, 9, 19)
    assert heat.course.total == pytest.approx(10 * 142)
    assert heat.against.n_seasons == 9
    # The middle of nine: 2025, k = 5, 137 days.
    assert heat.against.past_seasons[1] == pytest.approx(5 * 137)


def test_a_season_when_the_last_reading_is_three_days_old_says_so(home):
    grow_past(home)
    grow_days(home, date(2031, 4, 1), date(2031, 7, 6), K_THIS_YEAR)
    heat = read_season_heat(occasion(date(2031, 7, 9)))
    assert heat.reading_age_days == 3
    assert heat.is_stale
    assert "the last reading is 3 days old (6 Jul 2031)" in heat.basis.missing


def test_a_short_hole_when_met_is_filled_and_named_and_a_long_one_stops_the_total(home):
    grow_days(home, date(2031, 4, 20), date(2031, 5, 31), 4)
    grow_days(home, date(2031, 6, 3), date(2031, 6, 20), 4)
    grow_days(home, date(2031, 6, 30), date(2031, 7, 9), 4)
    heat = read_season_heat(occasion(date(2031, 7, 9)))
    assert heat.course.filled_days == (date(2031, 6, 1), date(2031, 6, 2))
    assert heat.course.counted_to == date(2031, 6, 20)
    assert heat.course.stopped_by == (date(2031, 6, 21), date(2031, 6, 29))
    assert heat.course.total == pytest.approx(4 * 51)
    told = heat.basis.as_text()
    assert "filled: 2 days (2031-06-01, 2031-06-02)" in told
    assert "2031-06-21 to 2031-06-29 are missing" in told


def test_forecast_days_when_counted_are_named(home):
    grow_days(home, date(2031, 5, 1), date(2031, 5, 10), 4)
    grow_days(home, date(2031, 5, 11), date(2031, 5, 12), 4, origin="forecast")
    heat = read_season_heat(occasion(date(2031, 5, 12)))
    assert heat.course.forecast_days == (date(2031, 5, 11), date(2031, 5, 12))
    assert heat.last_reading == date(2031, 5, 10)
    assert "forecast: 2 days" in heat.basis.as_text()


def test_a_site_in_the_south_counts_from_november_across_the_year(home):
    south = Site.objects.create(station=home.station, code="far", name="Far South", latitude=-35.0, longitude=0.0)
    grow_days(south, date(2029, 7, 1), date(2031, 1, 9), 3)
    heat = read_season_heat(occasion(date(2031, 1, 9)), "far")
    assert heat.course.starts == date(2030, 11, 1)
    assert heat.course.total == pytest.approx(3 * 70)
    assert heat.against.ahead_units == pytest.approx(0.0)
    assert heat.years == (2029,)


def test_a_season_before_the_first_of_may_is_the_last_one(home):
    grow_past(home)
    assert read_season_heat(occasion(date(2030, 3, 1))).course.starts == date(2029, 5, 1)


def test_a_start_of_ones_own_when_asked_for_is_counted_from_and_nonsense_is_refused(home):
    grow_days(home, date(2031, 5, 1), date(2031, 5, 20), 4)
    assert read_season_heat(occasion(date(2031, 5, 20)), start="05-18").course.total == pytest.approx(12)
    with pytest.raises(InputRefused, match="no day to count from"):
        read_season_heat(occasion(date(2031, 5, 20)), start="spring")


def test_a_site_without_weather_says_so_and_counts_nothing(home):
    heat = read_season_heat(occasion(date(2031, 7, 9)))
    assert heat.course.counted_to is None
    assert heat.against.ahead_units is None
    assert "there is no weather of this site in the books" in heat.basis.missing
    frosts = read_frost_chances(occasion(date(2031, 7, 9)))
    assert [date_.day for one in frosts.events for date_ in one.dates] == [None] * 6


def test_frosts_when_read_give_dates_by_percentile_and_this_years_so_far(home):
    grow_past(home)
    grow_days(home, date(2031, 1, 1), date(2031, 9, 13), 6, frozenset({date(2031, 4, 20), date(2031, 9, 12)}))
    frosts = read_frost_chances(occasion(date(2031, 9, 13)))
    autumn, spring = frosts.event("first_autumn"), frosts.event("last_spring")
    # Type 7 over 11 to 20 September: 11.9, 15.5, 19.1; halves go to the later day.
    assert [one.day for one in autumn.dates] == [date(2031, 9, 12), date(2031, 9, 16), date(2031, 9, 19)]
    # A last spring frost on or after the date: 9.1, 5.5 and 1.9 May.
    assert [one.day for one in spring.dates] == [date(2031, 5, 9), date(2031, 5, 6), date(2031, 5, 2)]
    assert autumn.years == spring.years == tuple(PAST)
    assert (autumn.this_date, autumn.decided) == (date(2031, 9, 12), True)
    assert (spring.this_date, spring.decided) == (date(2031, 4, 20), True)


def test_sites_when_listed_tell_how_far_their_weather_reaches(home):
    grow_days(home, date(2031, 6, 1), date(2031, 6, 10), 4)
    grow_days(home, date(2031, 6, 14), date(2031, 6, 20), 4)
    Site.objects.create(station=home.station, code="bare", name="Bare Hill", latitude=50.0, longitude=0.0)
    sites = list_sites(occasion(date(2031, 6, 22)))
    first, bare = sites.sites
    assert (first.code, first.n_days, first.n_missing, first.reading_age_days) == ("home", 17, 3, 2)
    assert (bare.last_day, bare.n_missing) == (None, 0)
    assert sites.basis.missing == ("no weather yet for Bare Hill",)
    page = read_site(occasion(date(2031, 6, 22)), "home")
    assert page.holes == ((date(2031, 6, 11), date(2031, 6, 13)),)


def reading(day: int, low: float | None = 10.0, high: float | None = 18.0, rain: float | None = None) -> DayReading:
    return DayReading(date(2031, 6, day), low, high, rain)


def test_days_when_sent_twice_are_recognised_the_second_time(home):
    on = occasion(date(2031, 6, 30))
    assert add_weather(on, "home", [reading(1), reading(2)], "w.csv").n_added == 2
    again = add_weather(on, "home", [reading(1), reading(2), reading(3)], "w.csv")
    assert (again.n_added, again.n_known) == (1, 2)
    assert WeatherDay.objects.count() == 3


def test_another_value_for_a_measured_day_stops_the_whole_file(home):
    on = occasion(date(2031, 6, 30))
    add_weather(on, "home", [reading(1)], "w.csv")
    with pytest.raises(InputRefused) as no:
        add_weather(on, "home", [reading(2), reading(1, high=18.1)], "w.csv")
    (finding,) = no.value.findings
    assert (finding.code, finding.place.column, finding.value) == ("day_differs", "tmax_c", "18.1")
    assert "18" in finding.message
    assert WeatherDay.objects.count() == 1


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ([reading(1), reading(1)], "day_twice"),
        ([reading(1, 19.0, 18.0)], "crossed"),
        ([reading(1, -120.0)], "implausible"),
        ([DayReading(date(2032, 6, 1), 10.0, 18.0)], "day_ahead"),
        ([reading(1, rain=-1.0)], "negative_rain"),
    ],
)
def test_an_impossible_day_when_sent_stops_everything(home, sent, code):
    with pytest.raises(InputRefused) as no:
        add_weather(occasion(date(2031, 6, 30)), "home", [reading(20), *sent], "w.csv")
    assert [finding.code for finding in no.value.findings] == [code]
    assert not WeatherDay.objects.exists()


def test_a_measured_day_when_sent_takes_the_place_of_a_forecast_and_rain_completes_a_day(home):
    on = occasion(date(2031, 6, 30))
    grow_days(home, date(2031, 6, 1), date(2031, 6, 1), 9, origin="forecast")
    grow_days(home, date(2031, 6, 2), date(2031, 6, 2), 4)
    added = add_weather(on, "home", [reading(1), reading(2, rain=3.5), reading(3, low=None)], "w.csv")
    assert (added.n_added, added.n_measured, added.n_completed, added.n_empty) == (0, 1, 1, 1)
    first, second = WeatherDay.objects.order_by("date")
    assert (first.tmax_c, first.origin, second.rain_mm) == (18.0, "measured", 3.5)


def test_a_hole_beside_the_new_days_when_left_is_warned_of(home):
    on = occasion(date(2031, 6, 30))
    grow_days(home, date(2031, 5, 1), date(2031, 5, 29), 4)
    added = add_weather(on, "home", [reading(1), reading(3)], "w.csv")
    assert [finding.stops for finding in added.findings] == [False, False]
    assert "2031-05-30 to 2031-05-31" in added.findings[0].message
    assert "2031-06-02" in added.findings[1].message


def test_days_of_two_sites_when_one_is_bad_change_neither(home):
    Site.objects.create(station=home.station, code="tarn", name="Tarn End", latitude=50.0, longitude=0.0)
    on = occasion(date(2031, 6, 30))
    with pytest.raises(InputRefused):
        add_weather_of_sites(on, {"home": [reading(1)], "tarn": [reading(1, 30.0)]}, "w.csv")
    with pytest.raises(InputRefused, match="no site 'nowhere'"):
        add_weather_of_sites(on, {"home": [reading(1)], "nowhere": [reading(1)]}, "w.csv")
    assert not WeatherDay.objects.exists()


def test_a_station_in_another_book_when_it_has_weather_is_not_counted(home):
    other = Station.objects.create(code="other", name="Other", latitude=50.0, scale="gdd_c")
    elsewhere = Site.objects.create(station=other, code="home", name="H", latitude=50.0, longitude=0.0, is_home=True)
    grow_days(elsewhere, date(2031, 5, 1), date(2031, 5, 20), 9)
    grow_days(home, date(2031, 5, 1), date(2031, 5, 10), 4)
    on = occasion(date(2031, 5, 20))
    assert read_season_heat(on).course.total == pytest.approx(40)
    assert read_season_heat(replace(on, station="other")).course.total == pytest.approx(180)


def test_a_forecast_goes_on_from_the_last_day_counted_and_is_told_apart(home):
    grow_past(home)
    grow_days(home, date(2031, 5, 1), date(2031, 6, 9), 6)
    grow_days(home, date(2031, 6, 11), date(2031, 6, 15), 4, origin="forecast")
    heat = read_season_heat(occasion(date(2031, 6, 10)))
    assert (heat.course.total, heat.course.counted_to) == (pytest.approx(240), date(2031, 6, 9))
    # 10 June has no reading yet: it is bridged, as any short hole of a total.
    assert heat.ahead[0] == (date(2031, 6, 10), pytest.approx(245))
    assert heat.ahead[-1] == (date(2031, 6, 15), pytest.approx(265))
    assert "Forecast, not measured: 25 GDD (°C) more by 15 June, 265 in all." in heat.sentences
    assert heat.reading_age_days == 1


def test_a_frost_that_was_only_forecast_has_not_come(home):
    grow_past(home)
    grow_days(home, date(2031, 5, 1), date(2031, 9, 1), 6)
    day = date(2031, 9, 2)
    grow_days(home, day, day, 4, frosts=frozenset({day}), origin="forecast")
    autumn = read_frost_chances(occasion(date(2031, 9, 3))).event("first_autumn")
    assert autumn.this_year == ()


def test_a_past_year_that_was_only_forecast_is_none(home):
    grow_past(home)
    WeatherDay.objects.filter(date__year=2030).update(origin="forecast")
    grow_days(home, date(2031, 5, 1), date(2031, 6, 9), 6)
    heat = read_season_heat(occasion(date(2031, 6, 9)))
    assert 2030 not in heat.years
    assert len(heat.years) == 9

"""Does weather come in with its doubts told, its holes filled only when asked, and its forecasts marked?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from firstsilk.answers import InputRefused
from firstsilk.invented.weather import simulate_weather
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.work.climate.arrivals import add_weather
from firstsilk.work.climate.forecasts import add_forecast, read_forecast_ahead
from firstsilk.work.climate.sent import DayReading
from firstsilk.work.climate.series import heat_by_year, read_daily_heat
from firstsilk.work.climate.sites import list_sites
from firstsilk.work.occasion import Occasion

pytestmark = pytest.mark.django_db

ON = Occasion("esker", date(2031, 6, 30), datetime(2031, 6, 30, 9, tzinfo=UTC), "tests")
# One of the worlds in which no clean day happens to be doubted (in about one of six there is one).
WORLD = simulate_weather(5, 2027, 2031)


@pytest.fixture
def home() -> Site:
    station = Station.objects.create(code="esker", name="Eskerholm", latitude=49.0, scale="chu")
    return Site.objects.create(
        station=station, code="home", name="Home fields", latitude=49.0, longitude=0.0, is_home=True
    )


def real_days(first: date, last: date, change=lambda value: value) -> list[DayReading]:
    """Days of the invented valley, their temperatures changed."""
    told = []
    for step in range((last - first).days + 1):
        day = first + timedelta(days=step)
        low, high, rain = WORLD.at("eskerholm", day)
        told.append(DayReading(day, round(change(low), 2), round(change(high), 2), rain))
    return told


def codes(no: InputRefused) -> list[str]:
    return [finding.code for finding in no.findings]


def test_clean_years_come_in_without_a_doubt(home):
    added = add_weather(ON, "home", real_days(date(2027, 1, 1), date(2031, 6, 29)), "w.csv")
    assert (added.n_added, added.findings) == (1641, ())


def test_a_spike_warns_and_is_taken(home):
    add_weather(ON, "home", real_days(date(2027, 1, 1), date(2031, 5, 31)), "w.csv")
    days = real_days(date(2031, 6, 1), date(2031, 6, 29))
    days[10] = replace(days[10], tmax_c=days[10].tmax_c + 22.0)
    added = add_weather(ON, "home", days, "w.csv")
    (finding,) = added.findings
    assert (finding.code, finding.stops, finding.place.column) == ("spike", False, "tmax_c")
    assert finding.value == f"{days[10].tmax_c:.1f}"
    assert "2031-06-11 stands far from the days beside it" in finding.message
    assert added.n_added == 29


def test_one_new_day_is_set_against_the_books(home):
    add_weather(ON, "home", real_days(date(2027, 1, 1), date(2031, 6, 28)), "w.csv")
    (last,) = real_days(date(2031, 6, 29), date(2031, 6, 29))
    added = add_weather(ON, "home", [replace(last, tmin_c=last.tmin_c - 25.0)], "w.csv")
    assert [finding.code for finding in added.findings] == ["spike"]


@pytest.mark.parametrize(
    ("change", "code"),
    [(lambda value: value * 1.8 + 32.0, "fahrenheit"), (lambda value: (value - 32.0) / 1.8, "celsius")],
)
def test_days_in_another_unit_stop_until_a_person_keeps_them(home, change, code):
    add_weather(ON, "home", real_days(date(2027, 1, 1), date(2030, 12, 31)), "w.csv")
    spoiled = real_days(date(2031, 3, 1), date(2031, 4, 5), change)
    with pytest.raises(InputRefused) as no:
        add_weather(ON, "home", spoiled, "w.csv")
    assert code in codes(no.value)
    told = next(finding for finding in no.value.findings if finding.code == code)
    assert told.stops
    assert "2031-03" in told.message
    assert "say to keep doubts" in told.repair
    assert not WeatherDay.objects.filter(date__year=2031).exists()
    added = add_weather(ON, "home", spoiled, "w.csv", keep_doubts=True)
    assert added.n_added == 36
    assert code in [finding.code for finding in added.findings]
    assert not any(finding.stops for finding in added.findings)


def test_a_year_copied_onto_the_next_stops(home):
    add_weather(ON, "home", real_days(date(2029, 1, 1), date(2029, 12, 31)), "w.csv")
    copied = [replace(one, day=one.day.replace(year=2030)) for one in real_days(date(2029, 1, 1), date(2029, 12, 31))]
    with pytest.raises(InputRefused) as no:
        add_weather(ON, "home", copied, "w.csv")
    (finding,) = [one for one in no.value.findings if one.stops]
    assert finding.code == "repeated_block"
    assert "365 days, 2030-01-01 to 2030-12-31, are the same as those from 2029-01-01 on" in finding.message


def test_northern_weather_at_a_southern_site_stops(home):
    Site.objects.filter(code="home").update(latitude=-37.0)
    with pytest.raises(InputRefused) as no:
        add_weather(ON, "home", real_days(date(2030, 1, 1), date(2030, 12, 31)), "w.csv")
    assert codes(no.value) == ["season_turned"]


def test_southern_weather_at_a_southern_site_comes_in(home):
    Site.objects.filter(code="home").update(latitude=-37.0)
    half = timedelta(days=182)
    days = [replace(one, day=one.day + half) for one in real_days(date(2029, 1, 1), date(2030, 6, 30))]
    assert add_weather(ON, "home", days, "w.csv").findings == ()


def test_29_february_comes_in_and_a_frost_free_site_is_not_doubted(home):
    days = real_days(date(2028, 1, 1), date(2028, 12, 31), lambda value: 22.0 + (value - 5.0) / 5.0)
    Site.objects.filter(code="home").update(latitude=9.0)
    added = add_weather(ON, "home", days, "w.csv")
    assert added.n_added == 366
    assert added.findings == ()
    assert WeatherDay.objects.filter(date=date(2028, 2, 29)).exists()


def test_holes_are_filled_only_when_that_is_asked_for_and_then_marked(home):
    days = real_days(date(2031, 6, 1), date(2031, 6, 29))
    short, long = {date(2031, 6, day) for day in (4, 5)}, {date(2031, 6, day) for day in range(12, 19)}
    kept = [one for one in days if one.day not in short | long]
    added = add_weather(ON, "home", kept, "w.csv")
    assert (added.n_filled, WeatherDay.objects.count()) == (0, 20)
    assert [one.code for one in added.findings] == ["day_missing", "day_missing"]
    again = add_weather(ON, "home", kept, "w.csv", fill=True)
    assert (again.n_known, again.n_filled) == (20, 2)
    filled = WeatherDay.objects.filter(origin="filled").order_by("date")
    assert {one.date for one in filled} == short
    before, after = days[2], days[5]
    assert filled[0].tmin_c == pytest.approx(before.tmin_c + (after.tmin_c - before.tmin_c) / 3, abs=0.006)
    assert filled[0].rain_mm is None
    assert [one.message for one in again.findings] == ["2031-06-12 to 2031-06-18 are missing at Home fields"]
    assert "2 filled in short holes, as asked" in again.as_text()
    # The measured day takes the place of the filled one when it comes.
    late = add_weather(ON, "home", [days[3]], "w.csv")
    assert (late.n_measured, WeatherDay.objects.get(date=date(2031, 6, 4)).origin) == (1, "measured")


def forecast_days(first: date, count: int) -> list[DayReading]:
    return [DayReading(first + timedelta(days=step), 11.0 + step / 10, 24.0, 0.0) for step in range(count)]


def test_days_ahead_come_in_only_as_a_forecast(home):
    ahead = forecast_days(date(2031, 7, 1), 7)
    with pytest.raises(InputRefused, match="has not come yet"):
        add_weather(ON, "home", ahead, "w.csv")
    (told,) = add_forecast(ON, {"home": ahead}, "f.csv")
    assert told.as_text() == "Home fields: 7 days of forecast (2031-07-01 to 2031-07-07)."
    assert set(WeatherDay.objects.values_list("origin", flat=True)) == {"forecast"}
    ahead_now = read_forecast_ahead(home.station, home, ON.today)
    assert (len(ahead_now.days), ahead_now.tmax_c[0]) == (7, 24.0)
    (site,) = list_sites(ON).sites
    assert (site.n_days, site.n_forecast_ahead, site.reading_age_days) == (0, 7, None)


def test_a_newer_forecast_takes_the_place_of_the_older_and_measured_days_of_both(home):
    add_forecast(ON, {"home": forecast_days(date(2031, 7, 1), 10)}, "f.csv")
    next_day = replace(ON, today=date(2031, 7, 1))
    (told,) = add_forecast(next_day, {"home": forecast_days(date(2031, 7, 1), 4)}, "f.csv")
    assert (told.n_days, told.n_replaced, told.n_passed) == (3, 9, 1)
    assert WeatherDay.objects.count() == 4
    later = replace(ON, today=date(2031, 7, 3))
    added = add_weather(later, "home", real_days(date(2031, 7, 1), date(2031, 7, 2)), "w.csv")
    assert (added.n_added, added.n_measured) == (0, 2)
    assert WeatherDay.objects.filter(origin="forecast").count() == 2


@pytest.mark.parametrize(
    ("days", "code"),
    [
        (forecast_days(date(2031, 7, 1), 17), "day_far_ahead"),
        ([*forecast_days(date(2031, 7, 1), 1), *forecast_days(date(2031, 7, 1), 1)], "day_twice"),
        ([DayReading(date(2031, 7, 1), 25.0, 24.0)], "crossed"),
        ([DayReading(date(2031, 7, 1), None, 24.0)], "no_temperature"),
    ],
)
def test_a_forecast_that_cannot_be_is_refused_whole(home, days, code):
    with pytest.raises(InputRefused) as no:
        add_forecast(ON, {"home": days}, "f.csv")
    assert codes(no.value) == [code]
    assert not WeatherDay.objects.exists()


def test_a_forecast_of_days_gone_by_is_refused(home):
    with pytest.raises(InputRefused, match="no day after 2031-06-30"):
        add_forecast(ON, {"home": forecast_days(date(2031, 6, 20), 5)}, "f.csv")


def test_a_day_that_was_measured_is_not_forecast_on_an_earlier_day(home):
    add_weather(ON, "home", real_days(date(2031, 6, 20), date(2031, 6, 26)), "w.csv")
    earlier = replace(ON, today=date(2031, 6, 24))
    (told,) = add_forecast(earlier, {"home": forecast_days(date(2031, 6, 25), 4)}, "f.csv")
    assert (told.n_days, told.n_passed) == (2, 2)
    assert WeatherDay.objects.get(date=date(2031, 6, 26)).origin == "measured"


def test_a_gap_ends_the_forecast(home):
    days = forecast_days(date(2031, 7, 1), 9)
    add_forecast(ON, {"home": [one for one in days if one.day != date(2031, 7, 4)]}, "f.csv")
    assert read_forecast_ahead(home.station, home, ON.today).days[-1] == date(2031, 7, 3)
    assert read_forecast_ahead(home.station, home, date(2031, 6, 28)).days == ()


def test_a_forecast_that_was_never_measured_is_no_past_year(home):
    add_weather(ON, "home", real_days(date(2029, 1, 1), date(2030, 12, 31)), "w.csv")
    WeatherDay.objects.filter(date=date(2030, 7, 1)).update(origin="forecast")
    heat = read_daily_heat(home.station, home, ON.today)
    assert heat_by_year(heat, (5, 1), 100, before_year=2031)[0] == (2029,)

"""Do hours come in whole or not at all, and does a day need all 24 of them?"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Site, Station, WeatherDay, WeatherHour
from firstsilk.work.climate.hours import add_hours
from firstsilk.work.climate.sent import HourReading
from firstsilk.work.occasion import Occasion

pytestmark = pytest.mark.django_db

ON = Occasion("esker", date(2031, 6, 30), datetime(2031, 6, 30, 9, tzinfo=UTC), "tests")


@pytest.fixture(autouse=True)
def home() -> Site:
    station = Station.objects.create(code="esker", name="Eskerholm", latitude=49.0, scale="chu")
    return Site.objects.create(
        station=station, code="home", name="Home fields", latitude=49.0, longitude=0.0, is_home=True
    )


def hours_of(day: int, hours=range(24), rain: float | None = 0.5) -> list[HourReading]:
    return [HourReading(date(2031, 6, day), hour, 8.0 + hour / 2, 90.0 - hour, rain) for hour in hours]


def test_a_whole_day_of_hours_makes_a_day():
    (added,) = add_hours(ON, {"home": hours_of(10)}, "h.csv")
    assert added.as_text() == "Home fields: 24 hours added, 1 day made of them."
    day = WeatherDay.objects.get()
    assert (day.tmin_c, day.tmax_c, day.rain_mm, day.origin) == (8.0, 19.5, 12.0, "measured")
    hour = WeatherHour.objects.get(hour=6)
    assert (hour.temp_c, hour.rh_pct, hour.rain_mm) == (11.0, 84.0, 0.5)


def test_a_day_with_an_hour_missing_is_named_and_made_when_it_comes():
    (added,) = add_hours(ON, {"": hours_of(10, range(23))}, "h.csv")
    assert added.days is None
    (finding,) = added.findings
    assert (finding.code, finding.stops) == ("day_not_whole", False)
    assert "2031-06-10 has 23 of 24 hours at Home fields" in finding.message
    assert not WeatherDay.objects.exists()
    (again,) = add_hours(ON, {"": hours_of(10, [23])}, "h.csv")
    assert (again.n_added, again.findings) == (1, ())
    assert WeatherDay.objects.get().tmin_c == 8.0


def test_the_same_hours_twice_are_recognised_and_other_values_stop():
    add_hours(ON, {"": hours_of(10)}, "h.csv")
    (again,) = add_hours(ON, {"": hours_of(10)}, "h.csv")
    assert (again.n_added, again.n_known, again.days) == (0, 24, None)
    with pytest.raises(InputRefused) as no:
        add_hours(ON, {"": [*hours_of(11), HourReading(date(2031, 6, 10), 3, 30.0)]}, "h.csv")
    (finding,) = no.value.findings
    assert (finding.code, finding.value) == ("hour_differs", "30")
    assert "2031-06-10 03:00" in finding.message
    assert WeatherHour.objects.count() == 24


def test_several_readings_in_an_hour_become_their_mean_and_keep_their_extremes():
    quarter = [HourReading(date(2031, 6, 10), 14, temp, 50.0, 0.2) for temp in (20.0, 24.0, 22.0, 22.0)]
    add_hours(ON, {"": [*hours_of(10, [hour for hour in range(24) if hour != 14]), *quarter]}, "h.csv")
    hour = WeatherHour.objects.get(hour=14)
    assert (hour.temp_c, hour.rain_mm) == (22.0, 0.8)
    assert WeatherDay.objects.get().tmax_c == 24.0


def test_a_day_that_was_read_already_stays(home):
    WeatherDay.objects.create(station=home.station, site=home, date=date(2031, 6, 10), tmin_c=7.1, tmax_c=20.4)
    (added,) = add_hours(ON, {"": hours_of(10)}, "h.csv")
    assert (added.n_added, added.days) == (24, None)
    assert WeatherDay.objects.get().tmax_c == 20.4


def test_an_hour_without_a_temperature_is_passed_over_and_rain_that_is_not_whole_is_not_known():
    hours = hours_of(10)
    hours[5] = HourReading(date(2031, 6, 10), 5, 10.5, 80.0, None)
    (added,) = add_hours(ON, {"": [*hours, HourReading(date(2031, 6, 11), 0, None)]}, "h.csv")
    assert added.n_empty == 1
    assert WeatherDay.objects.get().rain_mm is None


def test_an_hour_that_has_not_come_stops_everything():
    with pytest.raises(InputRefused, match="has not come yet"):
        add_hours(ON, {"": [*hours_of(10), HourReading(date(2031, 7, 1), 0, 10.0)]}, "h.csv")
    assert not WeatherHour.objects.exists()
    with pytest.raises(InputRefused, match="no hour to add"):
        add_hours(ON, {"": []}, "h.csv")


def test_many_hours_take_few_queries(django_assert_max_num_queries):
    many = [reading for day in range(1, 30) for reading in hours_of(day)]
    with django_assert_max_num_queries(25):
        add_hours(ON, {"": many}, "h.csv", keep_doubts=True)
    assert WeatherDay.objects.count() == 29

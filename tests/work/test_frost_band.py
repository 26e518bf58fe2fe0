"""Has each frost date of a station its band, the same each time, and none where the years do not tell?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.records.models import Site, WeatherDay
from firstsilk.work.climate.frosts import read_frost_chances
from tests.factories import make_station, occasion


def store(site, year, frost):
    first = date(year, 1, 1)
    days = [first + timedelta(days=step) for step in range((date(year + 1, 1, 1) - first).days)]
    WeatherDay.objects.bulk_create(
        WeatherDay(station=site.station, site=site, date=day, tmin_c=-3.0 if day == frost else 6.0, tmax_c=15.0)
        for day in days
    )


@pytest.fixture
def site(db):
    return Site.objects.get(station=make_station())


def test_band_lies_about_its_date_and_is_the_same_each_time(site):
    for year in range(2019, 2031):
        store(site, year, date(year, 9, 10) + timedelta(days=(year * 7) % 12))
    told = read_frost_chances(occasion(date(2031, 5, 1)))
    autumn = told.event("first_autumn")
    for one in autumn.dates:
        assert one.low <= one.day <= one.high
        assert one.low.year == one.high.year == 2031
    assert autumn.dates[1].low < autumn.dates[1].high
    assert told == read_frost_chances(occasion(date(2031, 5, 1)))
    # No spring frost at all: no date and no band.
    assert {(one.day, one.low, one.high) for one in told.event("last_spring").dates} == {(None, None, None)}


def test_one_year_has_a_date_and_no_band(site):
    store(site, 2030, date(2030, 9, 12))
    middle = read_frost_chances(occasion(date(2031, 5, 1))).event("first_autumn").dates[1]
    assert (middle.day, middle.low, middle.high) == (date(2031, 9, 12), None, None)

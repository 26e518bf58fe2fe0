"""Do the days that can be worked rest on the site's own rain, and is rain counted once where a crew is set?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.records.models import Site, WeatherDay
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
from firstsilk.work.flowering.workable_days import find_hands, read_workable_days
from tests.factories import make_season, make_station, make_weather, occasion

pytestmark = pytest.mark.django_db
DAY = date(2031, 7, 22)
DAYS = [DAY + timedelta(days=at) for at in range(5)]


def _station(first_year):
    station = make_station()
    make_weather(station, first_year, DAY)
    WeatherDay.objects.all().update(rain_mm=0.0)
    return station, Site.objects.get()


def _rain(site, day, rain_mm, origin="measured"):
    told = {"tmin_c": 12.0, "tmax_c": 25.0, "rain_mm": rain_mm, "origin": origin}
    WeatherDay.objects.update_or_create(station=site.station, site=site, date=day, defaults=told)


def test_rain_of_past_years_and_of_the_days_themselves_is_read():
    station, site = _station(2027)
    _rain(site, date(2028, 7, 23), 30.0)
    _rain(site, date(2029, 7, 24), 2.0)
    _rain(site, DAY, 12.0)
    _rain(site, DAYS[1], 0.0, "forecast")
    _rain(site, DAYS[2], 40.0)  # measured later: on this day nobody knew it
    told = read_workable_days(station, site, DAYS)
    assert told.own[:2].tolist() == [1.0, 0.0]
    assert np.isnan(told.own[2:]).all()
    assert told.past.tolist() == [[0.0] * 5, [0.0, 1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.5, 0.0, 0.0], [0.0] * 5]
    assert told.says == (
        "By the rain of 4 past years 92 % of these days can be worked. 2 days are known by measured or forecast rain."
    )


def test_with_too_few_years_the_usual_share_stands_in_and_is_told():
    station, site = _station(2029)
    told = read_workable_days(station, site, DAYS)
    assert told.past.shape == (0, 5)
    assert "75 % of days are taken to be workable (common practice, no source)" in told.says


def test_days_over_the_turn_of_the_year_are_of_one_winter():
    station, site = _station(2027)
    days = [date(2030, 12, 30) + timedelta(days=at) for at in range(4)]
    _rain(site, date(2029, 1, 1), 30.0)
    told = read_workable_days(station, site, days)
    assert told.past[1:].tolist() == [[0.0] * 4, [0.0, 0.0, 1.0, 0.0], [0.0] * 4]
    assert np.isnan(told.past[0]).tolist() == [True, True, False, False]


def test_the_crew_makes_on_the_average_what_it_makes_with_usual_rain_counted_once():
    station, _ = _station(2029)
    season = make_season(station)
    set_crew(occasion(DAY), "2031", CrewFacts(5, 0, None, 8.0, 10.0, 0.8))
    hands = find_hands(station, season, DAY, np.array([1.0, 0.9, 0.8, 0.5]))
    assert hands == pytest.approx([320.0, 320.0 / 0.9, 400.0, 400.0])
    assert (hands * [1.0, 0.9, 0.8, 0.5])[:3] == pytest.approx([320.0] * 3)

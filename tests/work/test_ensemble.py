"""Do past years of a site, and generated ones where those are few, become an ensemble that says which is which?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.invented.weather import simulate_weather
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.science.climate.heat import heat_units
from firstsilk.work.climate.ensemble import read_ensemble_heat
from firstsilk.work.climate.generated import generate_site_years
from firstsilk.work.occasion import Occasion

pytestmark = pytest.mark.django_db

ON = Occasion("esker", date(2031, 6, 10), datetime(2031, 6, 10, 9, tzinfo=UTC), "tests")
START = date(2031, 6, 11)


@pytest.fixture
def home() -> Site:
    station = Station.objects.create(code="esker", name="Eskerholm", latitude=50.0, scale="chu")
    return Site.objects.create(
        station=station, code="home", name="Home fields", latitude=50.0, longitude=0.0, is_home=True
    )


def keep_days(site: Site, first: date, last: date, without: frozenset[date] = frozenset(), origin: str = "measured"):
    world = simulate_weather(5, first.year, last.year)
    spans = [(day, *world.at("eskerholm", day)) for day in world.days if first <= day <= last and day not in without]
    WeatherDay.objects.bulk_create(
        WeatherDay(station=site.station, site=site, date=day, tmin_c=low, tmax_c=high, rain_mm=rain, origin=origin)
        for day, low, high, rain in spans
    )


def test_many_own_years_need_no_others(home):
    keep_days(home, date(2017, 1, 1), ON.today)
    heat = read_ensemble_heat(ON, "home", START, 100)
    assert heat.labels == tuple(str(year) for year in range(2017, 2031))
    assert (heat.n_own, heat.n_generated) == (14, 0)
    assert heat.units.shape == heat.tmin_c.shape == (14, 100)
    one = WeatherDay.objects.get(date=date(2020, 6, 12))
    assert heat.units[3, 1] == heat_units(np.array([one.tmin_c]), np.array([one.tmax_c]), "chu")[0]
    assert heat.days[0] == START
    assert len(heat.days) == 100
    assert heat.basis.as_text() == "Rests on 14 own years, 0 generated years. Nothing was missing."


def test_few_own_years_are_filled_up_and_it_is_said(home):
    keep_days(home, date(2027, 1, 1), ON.today)
    heat = read_ensemble_heat(ON, "", START, 100)
    assert (heat.n_own, heat.n_generated) == (4, 26)
    assert heat.labels[:5] == ("2027", "2028", "2029", "2030", "generated 1")
    assert "filled up by 26 years that were generated, not measured" in heat.basis.as_text()
    own, made = heat.units[:4].sum(axis=1), heat.units[4:].sum(axis=1)
    assert made.mean() == pytest.approx(own.mean(), rel=0.08)
    assert 0.02 < made.std() / made.mean() < 0.15
    again = read_ensemble_heat(ON, "", START, 100)
    assert np.array_equal(heat.units, again.units)
    assert not np.array_equal(heat.units, read_ensemble_heat(ON, "", START, 100, seed=2).units)


def test_weather_that_stops_in_june_of_its_only_year(home):
    keep_days(home, date(2030, 1, 1), date(2030, 6, 20))
    short = read_ensemble_heat(ON, "", date(2031, 4, 1), 60)
    assert (short.n_own, short.n_generated) == (1, 29)
    with pytest.raises(InputRefused, match="does not tell 100 days from 11 June on: the site has too few days"):
        read_ensemble_heat(ON, "", START, 100)


def test_no_weather_at_all_is_refused(home):
    with pytest.raises(InputRefused, match="0 days are known"):
        read_ensemble_heat(ON, "", START, 100)
    with pytest.raises(InputRefused, match="Ask for 1 to 365 days"):
        read_ensemble_heat(ON, "", START, 366)


def test_short_holes_are_filled_and_counted_long_ones_cost_the_year(home):
    short = frozenset(date(2028, 7, day) for day in (3, 4))
    long = frozenset(date(2029, 7, 1) + timedelta(days=step) for step in range(6))
    keep_days(home, date(2027, 1, 1), ON.today, without=short | long)
    heat = read_ensemble_heat(ON, "", START, 100)
    assert heat.labels[:3] == ("2027", "2028", "2030")
    assert "2 days in the own years are filled, not measured" in heat.basis.as_text()


def test_forecast_days_are_no_past_year(home):
    keep_days(home, date(2027, 1, 1), date(2029, 12, 31))
    keep_days(home, date(2030, 1, 1), date(2030, 12, 31), origin="forecast")
    keep_days(home, date(2031, 1, 1), ON.today)
    assert read_ensemble_heat(ON, "", START, 100).labels[:4] == ("2027", "2028", "2029", "generated 1")


def test_a_southern_summer_goes_over_new_year(home):
    keep_days(home, date(2017, 1, 1), ON.today)
    heat = read_ensemble_heat(replace(ON, today=date(2030, 12, 1)), "", date(2030, 11, 1), 120)
    # The summer of 2029 ends in February 2030 and is whole before this one starts.
    assert heat.labels == tuple(str(year) for year in range(2017, 2030))


def test_a_start_on_29_february(home):
    keep_days(home, date(2017, 1, 1), date(2032, 2, 28))
    heat = read_ensemble_heat(replace(ON, today=date(2032, 2, 28)), "", date(2032, 2, 29), 30)
    assert heat.n_own == 15
    first = WeatherDay.objects.get(date=date(2019, 2, 28))
    assert heat.tmin_c[2, 0] == first.tmin_c


def test_few_queries(home, django_assert_num_queries):
    keep_days(home, date(2027, 1, 1), ON.today)
    with django_assert_num_queries(4):
        read_ensemble_heat(ON, "home", START, 100)


def test_a_forecast_draws_the_members_towards_it_and_lets_go(home):
    keep_days(home, date(2017, 1, 1), ON.today)
    plain = read_ensemble_heat(ON, "", START, 40)
    WeatherDay.objects.bulk_create(
        WeatherDay(
            station=home.station,
            site=home,
            date=START + timedelta(days=step),
            tmin_c=20.0,
            tmax_c=33.0,
            origin="forecast",
        )
        for step in range(16)
    )
    told = read_ensemble_heat(ON, "", START, 40)
    assert (told.n_forecast, told.basis.used[-1]) == (16, ("days of forecast", 16))
    assert np.array_equal(told.units[:, 16:], plain.units[:, 16:])
    # 0.95 of the way on the first day, a sixteenth of that on the last, and the spread that is left: sqrt(1 - r^2).
    mean = plain.tmax_c.mean(axis=0)
    assert told.tmax_c[:, 0].mean() == pytest.approx(0.95 * 33.0 + 0.05 * mean[0])
    assert told.tmax_c[:, 15].mean() == pytest.approx(mean[15] + 0.95 / 16 * (33.0 - mean[15]))
    assert told.tmax_c[:, 0].std() == pytest.approx(np.sqrt(1 - 0.95**2) * plain.tmax_c[:, 0].std())
    assert (told.tmin_c <= told.tmax_c).all()


def test_years_of_a_site_are_generated_from_its_own(home):
    keep_days(home, date(2027, 1, 1), ON.today)
    made = generate_site_years(ON, "", 20, 3)
    low, high, rain = made.tables
    assert low.shape == high.shape == rain.shape == (20, 365)
    assert (made.month_days[0], made.month_days[58], made.month_days[59]) == ("01-01", "02-28", "03-01")
    assert "calendar years" in made.basis.as_text()
    ahead = generate_site_years(ON, "", 20, 3, from_today=True)
    assert ahead.month_days[0] == "06-11"
    with pytest.raises(InputRefused, match="no reading of the last 30 days"):
        generate_site_years(replace(ON, today=date(2031, 8, 1)), "", 20, 3, from_today=True)


def test_no_years_are_generated_from_a_few_days(home):
    keep_days(home, date(2031, 5, 1), ON.today)
    with pytest.raises(InputRefused, match="41 days are known; a weather generator needs 150"):
        generate_site_years(ON, "", 5, 1)

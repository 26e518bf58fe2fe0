"""Is the invented valley as cool, and as frosty, as it is said to be?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.invented.weather import (
    DEMO_YEAR,
    FIRST_YEAR,
    InventedWeather,
    find_day_of_units,
    find_killing_frost,
    simulate_weather,
    sum_season_chu,
)
from firstsilk.science.climate.frost import estimate_frost_day, find_frosts
from firstsilk.science.climate.heat import heat_units
from firstsilk.science.climate.weather import check_days, find_missing_days

HOME = "eskerholm"
LONG_RUN_YEARS = 150
SEPTEMBER_10, SEPTEMBER_20 = 253, 263
APRIL_25, MAY_20 = 115, 140


@pytest.fixture(scope="module")
def weather() -> InventedWeather:
    return simulate_weather(1)


@pytest.fixture(scope="module")
def long_run() -> InventedWeather:
    return simulate_weather(7, FIRST_YEAR, FIRST_YEAR + LONG_RUN_YEARS - 1)


def _seasons(weather: InventedWeather, site: str) -> list[float]:
    return [sum_season_chu(weather, site, year) for year in range(weather.days[0].year, weather.days[-1].year + 1)]


def test_weather_when_the_seed_is_the_same_then_it_is_the_same(weather: InventedWeather) -> None:
    again = simulate_weather(1)
    for name in ("tmin_c", "tmax_c", "rain_mm"):
        assert np.array_equal(getattr(weather, name), getattr(again, name))
    assert not np.array_equal(weather.tmin_c, simulate_weather(2).tmin_c)


def test_weather_when_run_for_more_years_then_the_first_years_are_unchanged(weather: InventedWeather) -> None:
    longer = simulate_weather(1, last_year=DEMO_YEAR + 2)
    assert longer.days[: len(weather.days)] == weather.days
    assert np.array_equal(longer.tmax_c[:, : len(weather.days)], weather.tmax_c)
    assert np.array_equal(longer.rain_mm[:, : len(weather.days)], weather.rain_mm)


def test_weather_when_checked_as_a_stations_then_nothing_is_wrong(weather: InventedWeather) -> None:
    assert (weather.days[0], weather.days[-1]) == (date(FIRST_YEAR, 1, 1), date(DEMO_YEAR, 12, 31))
    for tmin_c, tmax_c in zip(weather.tmin_c, weather.tmax_c, strict=True):
        assert check_days(weather.days, tmin_c, tmax_c) == ()
        assert find_missing_days(weather.days, tmin_c, tmax_c, weather.days[0], weather.days[-1]) == ()
    assert (weather.rain_mm >= 0).all()


def test_season_when_summed_over_the_long_run_then_it_has_about_2400_chu(long_run: InventedWeather) -> None:
    # The yearly sums have a standard deviation near 200, so the mean of 150 years is known to about 17.
    assert np.mean(_seasons(long_run, HOME)) == pytest.approx(2400, abs=50)


def test_season_when_summed_at_the_demo_station_then_it_has_about_2400_chu(weather: InventedWeather) -> None:
    assert np.mean(_seasons(weather, HOME)) == pytest.approx(2400, abs=100)


@pytest.mark.parametrize("which", ["weather", "long_run"])
def test_killing_frost_when_sought_then_its_median_is_in_mid_september(
    which: str, request: pytest.FixtureRequest
) -> None:
    weather: InventedWeather = request.getfixturevalue(which)
    median = estimate_frost_day(find_frosts(weather.days, weather.tmin_c[0], "first_autumn"), 0.5)
    assert median is not None
    assert SEPTEMBER_10 <= median <= SEPTEMBER_20


@pytest.mark.parametrize("which", ["weather", "long_run"])
def test_last_spring_frost_when_sought_then_it_leaves_time_to_sow(which: str, request: pytest.FixtureRequest) -> None:
    weather: InventedWeather = request.getfixturevalue(which)
    median = estimate_frost_day(find_frosts(weather.days, weather.tmin_c[0], "last_spring"), 0.5)
    assert median is not None
    assert APRIL_25 <= median <= MAY_20


def test_sites_when_compared_then_they_differ_by_some_tens_of_chu(long_run: InventedWeather) -> None:
    home = np.mean(_seasons(long_run, HOME))
    differences = [abs(np.mean(_seasons(long_run, site)) - home) for site in long_run.sites if site != HOME]
    assert all(5 < difference < 100 for difference in differences)
    assert max(differences) > 20


def test_sites_when_compared_by_day_then_their_weather_goes_together(weather: InventedWeather) -> None:
    summer = np.array([5 <= day.month <= 9 for day in weather.days])
    for values in (weather.tmin_c, weather.tmax_c):
        together = np.corrcoef(values[:, summer])
        assert (together > 0.8).all()
        assert (together[~np.eye(len(values), dtype=bool)] < 0.995).all()


def test_killing_frost_when_found_for_a_year_then_it_is_the_day_that_the_frost_science_finds(
    weather: InventedWeather,
) -> None:
    frosts = find_frosts(weather.days, weather.tmin_c[0], "first_autumn")
    for year, at in zip(frosts.years_with_event, frosts.day_of_year, strict=True):
        assert find_killing_frost(weather, HOME, year) == date(year, 1, 1) + timedelta(days=at - 1 + (year % 4 == 0))


def test_day_of_units_when_found_then_it_agrees_with_counting_day_by_day(weather: InventedWeather) -> None:
    for sown in (date(2029, 5, 14), date(2030, 5, 24)):
        units, day = 0.0, sown
        while units < 1300.0:
            day += timedelta(days=1)
            tmin_c, tmax_c, _ = weather.at(HOME, day)
            units += float(heat_units(tmin_c, tmax_c, "chu"))
        assert find_day_of_units(weather, HOME, sown, 1300.0) == day


def test_day_of_units_when_the_frost_is_first_then_there_is_none(weather: InventedWeather) -> None:
    assert find_day_of_units(weather, HOME, date(2030, 5, 14), 4000.0) is None

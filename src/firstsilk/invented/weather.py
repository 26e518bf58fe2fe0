"""What weather did the invented valley have, day by day, at the home station and the trial sites?

A seasonal mean, a year's own warmth, weather that lasts for some days (first-order autoregressive), wet days that are
dull by day and mild by night, cold air that pools on dry autumn nights, and what is peculiar to a site. Calibrated, not
fitted: the constants below were set so that the valley has about 2,400 corn heat units from 1 May to the first -2 °C,
which comes in mid-September.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from firstsilk.invented.dice import roll
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.climate.heat import count_chu

FloatArray = NDArray[np.float64]

FIRST_YEAR = 2015
DEMO_YEAR = 2031

# All constants of the climate are ours, set by trial so that the test of the valley's heat and frost holds.
YEAR_MEAN_C = 3.1
SEASON_HALF_RANGE_C = 16.0
WARMEST_DAY = 197
YEAR_WARMTH_SD_C = 0.6
SPELL_LAG_ONE = 0.72
SPELL_SUMMER_SD_C = 2.7
SPELL_WINTER_SD_C = 4.2
SITE_SPELL_SD_C = 0.7
DAY_RANGE_C = 13.5
DAY_RANGE_SD_C = 2.2
DRY_WIDENS_C = 1.6
WET_NARROWS_C = 3.6
LEAST_RANGE_C = 1.5
POOL_C = 4.0
POOL_DAY = 268
POOL_SPREAD_DAYS = 20.0
WET_SHARE = 0.33
WET_LAG_ONE = 0.35
WET_SITE_SHARE = 0.25
RAIN_MEAN_MM = 6.2
RAIN_SHAPE = 0.75


@dataclass(frozen=True, slots=True)
class InventedSite:
    """A place in the invented valley. The coordinates lie in the open sea, so that they are nobody's farm."""

    code: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float
    home: bool
    warmer_c: float
    wider_c: float
    yield_kg_ha: float


SITES = (
    InventedSite("eskerholm", "Eskerholm, home station", 49.02, -40.31, 212.0, True, 0.0, 0.0, 0.0),
    InventedSite("kettle", "Low Kettle", 48.91, -40.12, 188.0, False, 0.25, 0.0, 500.0),
    InventedSite("drumlin", "Drumlin End", 49.14, -40.52, 236.0, False, -0.2, -0.3, -250.0),
    InventedSite("moraine", "Moraine Gate", 49.05, -40.75, 251.0, False, -0.1, 0.3, -450.0),
)
"""`warmer_c` and `wider_c` shift the daily mean and range, `yield_kg_ha` the mean yield, against the home site."""


@dataclass(frozen=True, slots=True)
class InventedWeather:
    """Daily weather of all sites.

    `days` (days,); `tmin_c`, `tmax_c` [°C] and `rain_mm` [mm] (sites, days) in the order of `sites`.
    """

    sites: tuple[str, ...]
    days: tuple[date, ...]
    tmin_c: FloatArray
    tmax_c: FloatArray
    rain_mm: FloatArray

    def at(self, site: str, day: date) -> tuple[float, float, float]:
        """Minimum, maximum [°C] and rain [mm] of one day at one site."""
        where, when = self.sites.index(site), self.position(day)
        return float(self.tmin_c[where, when]), float(self.tmax_c[where, when]), float(self.rain_mm[where, when])

    def position(self, day: date) -> int:
        """Where a day stands in the arrays; ValueError if it is not there."""
        position = (day - self.days[0]).days
        if not 0 <= position < len(self.days):
            raise ValueError(f"the invented weather runs from {self.days[0]} to {self.days[-1]}, without {day}")
        return position

    def daily_chu(self, site: str) -> FloatArray:
        """Corn heat units of each day at a site [CHU] (days,)."""
        where = self.sites.index(site)
        return count_chu(self.tmin_c[where], self.tmax_c[where])


def simulate_weather(
    seed: int, first_year: int = FIRST_YEAR, last_year: int = DEMO_YEAR, sites: Sequence[InventedSite] = SITES
) -> InventedWeather:
    """Simulate daily weather for whole years.

    Parameters
    ----------
    seed
        The world's seed.
    first_year, last_year
        Both included. A longer run begins with the same days as a shorter one.
    sites
        The places, home first.

    Returns
    -------
    InventedWeather
        Temperatures and rain to a tenth.

    Notes
    -----
    Checked by ``tests/work/test_invented_weather.py``.
    """
    years = range(first_year, last_year + 1)
    start, end = date(first_year, 1, 1), date(last_year, 12, 31)
    days = tuple(start + timedelta(days=step) for step in range((end - start).days + 1))
    wave = np.cos(2.0 * np.pi * (_days_of_year(years) - WARMEST_DAY) / 365.25)
    warmth = np.concatenate([np.full(_length(y), roll(seed, "year", y).normal(0.0, YEAR_WARMTH_SD_C)) for y in years])
    spell_sd = SPELL_WINTER_SD_C + (SPELL_SUMMER_SD_C - SPELL_WINTER_SD_C) * (1.0 + wave) / 2.0
    shared = (
        YEAR_MEAN_C + SEASON_HALF_RANGE_C * wave + warmth + spell_sd * _lasting(seed, "spell", years, SPELL_LAG_ONE)
    )
    lows, highs, rains = zip(*(_simulate_site(seed, site, years, shared) for site in sites), strict=True)
    return InventedWeather(tuple(site.code for site in sites), days, np.array(lows), np.array(highs), np.array(rains))


def _length(year: int) -> int:
    return (date(year + 1, 1, 1) - date(year, 1, 1)).days


def _days_of_year(years: range) -> FloatArray:
    return np.concatenate([np.arange(1.0, _length(year) + 1.0) for year in years])


def _noise(seed: int, word: str, years: range) -> FloatArray:
    return np.concatenate([roll(seed, word, year).normal(size=_length(year)) for year in years])


def _lasting(seed: int, word: str, years: range, lag_one: float) -> FloatArray:
    """First-order autoregressive noise of unit variance, run through the years without a break."""
    noise = _noise(seed, word, years)
    noise[1:] *= np.sqrt(1.0 - lag_one**2)
    return np.asarray(lfilter([1.0], [1.0, -lag_one], noise), dtype=np.float64)


def _simulate_site(
    seed: int, site: InventedSite, years: range, shared: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    own = SITE_SPELL_SD_C * _lasting(seed, f"spell {site.code}", years, SPELL_LAG_ONE)
    mean = shared + site.warmer_c + own
    pool = POOL_C * np.exp(-(((_days_of_year(years) - POOL_DAY) / POOL_SPREAD_DAYS) ** 2) / 2.0)
    wetness = np.sqrt(1.0 - WET_SITE_SHARE) * _lasting(seed, "wet", years, WET_LAG_ONE)
    wetness = wetness + np.sqrt(WET_SITE_SHARE) * _noise(seed, f"wet {site.code}", years)
    wet = wetness > _wet_threshold()
    width = DAY_RANGE_C + site.wider_c + np.where(wet, -WET_NARROWS_C, DRY_WIDENS_C)
    width = np.maximum(width + DAY_RANGE_SD_C * _noise(seed, f"range {site.code}", years), LEAST_RANGE_C)
    amounts = np.concatenate(
        [roll(seed, "rain", site.code, y).gamma(RAIN_SHAPE, RAIN_MEAN_MM / RAIN_SHAPE, _length(y)) for y in years]
    )
    rain: FloatArray = np.where(wet, np.maximum(amounts, 0.1), 0.0).astype(np.float64)
    low = mean - width / 2.0 - np.where(wet, 0.0, pool)
    return np.round(low, 1), np.round(mean + width / 2.0, 1), np.round(rain, 1)


def _wet_threshold() -> float:
    """The standard normal quantile above which a day is wet."""
    return NormalDist().inv_cdf(1.0 - WET_SHARE)


def find_killing_frost(weather: InventedWeather, site: str, year: int, threshold_c: float = KILLING_FROST_C) -> date:
    """The first day from 1 July on whose minimum is at or below the threshold."""
    where, at = weather.sites.index(site), weather.position(date(year, 7, 1))
    frosty = weather.tmin_c[where, at : weather.position(date(year, 12, 31)) + 1] <= threshold_c
    if not frosty.any():
        raise ValueError(f"the invented year {year} has no frost at {site}")
    return weather.days[at + int(np.argmax(frosty))]


def sum_season_chu(weather: InventedWeather, site: str, year: int) -> float:
    """Corn heat units from 1 May to the day before the first -2 °C of the autumn [CHU]."""
    start, end = weather.position(date(year, 5, 1)), weather.position(find_killing_frost(weather, site, year))
    return float(weather.daily_chu(site)[start:end].sum())


def find_day_of_units(weather: InventedWeather, site: str, sown_on: date, units_chu: float) -> date | None:
    """The day on which the units since sowing are reached, counted from the day after; None if frost is first.

    Notes
    -----
    Growth ends with the killing frost of the year of sowing.
    """
    start = weather.position(sown_on) + 1
    end = weather.position(find_killing_frost(weather, site, sown_on.year))
    running = np.cumsum(weather.daily_chu(site)[start:end])
    at = int(np.searchsorted(running, units_chu))
    return weather.days[start + at] if at < running.size else None

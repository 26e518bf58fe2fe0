"""When does the killing frost come at a site, with which chance, and has it come this year?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from firstsilk.records.models import Site
from firstsilk.science.climate.frost import (
    EVENTS,
    KILLING_FROST_C,
    FrostEvent,
    FrostYears,
    estimate_frost_day,
    find_frosts,
    name_day_of_year,
)
from firstsilk.science.climate.frost_spread import spread_frost_day
from firstsilk.work.climate.readings import Readings, read_readings
from firstsilk.work.climate.season import FEW_YEARS
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

CHANCES = (0.1, 0.5, 0.9)
SPREAD_DRAWS, SPREAD_SEED = 1000, 1
"""Draws of the years behind each band, and their seed: the same page twice is the same. Our own choice."""


@dataclass(frozen=True, slots=True)
class FrostDate:
    """A chance, and the date of this year that goes with it; None where the years do not tell.

    `low` and `high` are the 80 % band of the date: where it lies when the years are drawn again and again.
    """

    chance: float
    day: date | None
    low: date | None = None
    high: date | None = None


@dataclass(frozen=True, slots=True)
class FrostChance:
    """First autumn or last spring frost: dates by chance, the years behind them, and this year's frosts so far.

    `seen` are the dates in past years, laid on this year, by year; `this_year` the days of this year's half at or
    below the threshold. `decided` is True once this year's date can no longer change.
    """

    event: FrostEvent
    dates: tuple[FrostDate, ...]
    years: tuple[int, ...]
    years_with_event: tuple[int, ...]
    thin_years: tuple[int, ...]
    seen: tuple[tuple[int, date], ...]
    this_year: tuple[date, ...]
    decided: bool

    @property
    def this_date(self) -> date | None:
        """This year's date so far: the first frost of the autumn, the latest of the spring."""
        if not self.this_year:
            return None
        return min(self.this_year) if self.event == "first_autumn" else max(self.this_year)


@dataclass(frozen=True, slots=True)
class FrostChances:
    """Both frosts at a site. The dates are of the calendar year of `today`; that year is not among the years.

    The bands rest on `resamples` draws of the years with seed `SPREAD_SEED`.
    """

    site: str
    site_name: str
    today: date
    threshold_c: float
    events: tuple[FrostChance, ...]
    basis: Basis
    resamples: int = SPREAD_DRAWS

    def event(self, name: FrostEvent) -> FrostChance:
        """One of the two."""
        return next(one for one in self.events if one.event == name)


def read_frost_chances(on: Occasion, site: str = "") -> FrostChances:
    """First autumn and last spring frost of -2 °C at 10, 50 and 90 %, by percentile over past years.

    Notes
    -----
    The chance is that the first autumn frost comes on or before the date, the last spring frost on or after it;
    quantile type 7 over the years that had the event. Each date has its band of resampled years.
    Checked by tests/work/test_climate_work.py and tests/work/test_frost_band.py.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    given = read_readings(station, place, on.today)
    events = tuple(_read_event(given, event, on.today, place) for event in EVENTS)
    n_this = sum(1 for day in given.days if day.year == on.today.year)
    used = (("days of past years", len(given.days) - n_this), ("days of this year", n_this))
    return FrostChances(
        place.code, place.name, on.today, KILLING_FROST_C, events, Basis(used, tuple(_tell_missing(given, events)))
    )


def _read_event(given: Readings, event: FrostEvent, today: date, place: Site) -> FrostChance:
    south = place.latitude < 0
    # A frost that was only forecast is no frost that came.
    given = given.without_forecast()
    past = given.without_year(today.year)
    frosts = find_frosts(past.days, past.tmin_c, event, KILLING_FROST_C, south)
    second_half = (event == "first_autumn") != south
    this_year = tuple(
        day
        for day, minimum in zip(given.days, given.tmin_c.tolist(), strict=True)
        if day.year == today.year and (day.month >= 7) == second_half and minimum <= KILLING_FROST_C
    )
    half_over = not second_half and today.month >= 7
    return FrostChance(
        event=event,
        dates=tuple(_date_with_band(frosts, chance, today.year) for chance in CHANCES),
        years=frosts.years,
        years_with_event=frosts.years_with_event,
        thin_years=frosts.thin_years,
        seen=tuple(
            (year, _lay_on(float(at), today.year))
            for year, at in zip(frosts.years_with_event, frosts.day_of_year, strict=True)
        ),
        this_year=this_year,
        decided=bool(this_year) if event == "first_autumn" else half_over,
    )


def _date_with_band(frosts: FrostYears, chance: float, year: int) -> FrostDate:
    at = estimate_frost_day(frosts, chance)
    band = spread_frost_day(frosts, chance, resamples=SPREAD_DRAWS, dice=np.random.default_rng(SPREAD_SEED))
    ends = (None, None) if band is None else (band.low, band.high)
    day, low, high = (None if one is None else _lay_on(one, year) for one in (at, *ends))
    return FrostDate(chance, day, low, high)


def _lay_on(day_of_year: float, year: int) -> date:
    """The date of a day of the common year in this year."""
    named = name_day_of_year(day_of_year)
    assert named is not None
    return date.fromisoformat(f"{year}-{named}")


def _tell_missing(given: Readings, events: tuple[FrostChance, ...]) -> list[str]:
    told = []
    if not given.days:
        told.append("there is no weather of this site in the books")
    guessed = int(np.sum([origin != "measured" for origin in given.origins])) if given.days else 0
    if guessed:
        told.append(f"{guessed} of the days are filled or forecast, not measured")
    for one in events:
        name = one.event.replace("_", " ")
        if 0 < len(one.years) < FEW_YEARS:
            told.append(f"only {len(one.years)} past years for the {name} frost, so the outer tenths are uncertain")
        if one.thin_years:
            years = ", ".join(str(year) for year in one.thin_years[:4])
            more = f" and {len(one.thin_years) - 4} more" if len(one.thin_years) > 4 else ""
            told.append(f"many days are unknown for the {name} frost in {years}{more}")
    return told

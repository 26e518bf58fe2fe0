"""Which past seasons of a site can be counted through, and how could this one go on?

A past season is sown on the same month and day as this one. This season goes on as each of them did, from the day after
the last reading: its own days first, then that year's, lined up by days after sowing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Season as SeasonRecord
from firstsilk.records.models import Site, Station, WeatherDay
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.climate.heat import Scale, heat_units
from firstsilk.science.flowering.ripe_years import Season, Seasons, lay_on_year, lay_out_seasons
from firstsilk.work.climate.readings import Readings, fill_short_holes

USUAL_SOWN_NORTH, USUAL_SOWN_SOUTH = (5, 12), (11, 12)
"""Sowing day where the season of the books names none. Our own choice."""


@dataclass(frozen=True, slots=True)
class SiteDays:
    """The days of one site with short holes filled: `days` (n,), `units` (n,) [scale], `tmin_c` (n,), their origins."""

    site: Site
    scale: Scale
    days: tuple[date, ...]
    units: NDArray[np.float64]
    tmin_c: NDArray[np.float64]
    n_filled: int

    @property
    def south(self) -> bool:
        """Whether the site lies in the south."""
        return bool(self.site.latitude < 0)


@dataclass(frozen=True, slots=True)
class ThisSeason:
    """How far this season is: `units` since sowing up to and with `counted_to`, None before the first day counted.

    `frost_on` is its killing frost, if it has come; that day is not counted. `hole` is the first day that is missing
    between sowing and today, at which the count stands still.
    """

    sown: date
    counted_to: date | None
    units: float
    frost_on: date | None
    hole: date | None


def read_site_days(station: Station, sites: Iterable[Site], up_to: date) -> tuple[SiteDays, ...]:
    """The days of some sites up to a day, in one look at the books."""
    found: dict[int, list[tuple[date, float, float, str]]] = {}
    wanted = list(sites)
    rows = WeatherDay.objects.filter(station=station, site__in=wanted, date__lte=up_to).order_by("date")
    for site, day, low, high, origin in rows.values_list("site", "date", "tmin_c", "tmax_c", "origin"):
        found.setdefault(site, []).append((day, low, high, origin))
    scale: Scale = station.scale  # type: ignore[assignment]
    return tuple(_as_days(site, scale, found.get(site.pk, [])) for site in wanted)


def _as_days(site: Site, scale: Scale, rows: list[tuple[date, float, float, str]]) -> SiteDays:
    if not rows:
        return SiteDays(site, scale, (), np.zeros(0), np.zeros(0), 0)
    days, low, high, origins = zip(*rows, strict=True)
    dry = np.full(len(days), np.nan)
    given = Readings(tuple(days), np.array(low), np.array(high), dry, tuple(origins)).without_forecast()
    whole, _ = fill_short_holes(given)
    units = heat_units(whole.tmin_c, whole.tmax_c, scale)
    n_filled = sum(origin != "measured" for origin in whole.origins)
    return SiteDays(site, scale, whole.days, units, whole.tmin_c, n_filled)


def find_sowing(station: Station, site: Site, today: date, asked: tuple[int, int] | None) -> date:
    """The sowing day of the season that runs, or comes next: as asked, as the season in the books says, or as usual."""
    south = site.latitude < 0
    year = today.year - 1 if south and today.month < 7 else today.year
    if asked is None:
        planned = (
            SeasonRecord.objects.filter(station=station, year=year, sow_from__isnull=False).order_by("name").first()
        )
        if planned is not None and planned.sow_from is not None:
            return planned.sow_from
    return lay_on_year(year, asked or (USUAL_SOWN_SOUTH if south else USUAL_SOWN_NORTH))


def lay_out_past(days: SiteDays, sown: date, moved_days: int = 0) -> Seasons:
    """The seasons before the one sown on `sown`, sown on its month and day, or some days earlier or later."""
    on = sown + timedelta(days=moved_days)
    before = sum(day <= sown for day in days.days) if days.days else 0
    return lay_out_seasons(
        days.days[:before], days.units[:before], days.tmin_c[:before], (on.month, on.day), KILLING_FROST_C, days.south
    )


def read_this_season(days: SiteDays, sown: date, today: date) -> ThisSeason:
    """How far the season is, as of today."""
    at = {day: place for place, day in enumerate(days.days)}
    total, counted_to = 0.0, None
    half = _first_of_half(sown, days.south)
    for step in range(1, (today - sown).days + 1):
        day = sown + timedelta(days=step)
        place = at.get(day)
        if place is None:
            later = days.days[-1] if days.days else sown
            return ThisSeason(sown, counted_to, total, None, day if day < later else None)
        if day >= half and days.tmin_c[place] <= KILLING_FROST_C:
            return ThisSeason(sown, counted_to, total, day, None)
        total, counted_to = total + float(days.units[place]), day
    return ThisSeason(sown, counted_to, total, None, None)


def _first_of_half(sown: date, south: bool) -> date:
    if not south:
        return date(sown.year, 7, 1)
    return date(sown.year + (1 if sown.month >= 7 else 0), 1, 1)


def go_on_as_past(days: SiteDays, past: Iterable[Season], now: ThisSeason) -> tuple[Season, ...]:
    """This season gone on as each past one did; only this season itself once its frost has come.

    Notes
    -----
    A past year's frosts up to the last reading are passed over, since this season has seen those days itself.
    """
    at = {day: place for place, day in enumerate(days.days)}
    if now.counted_to is None:
        return tuple(past)
    last = now.frost_on or now.counted_to
    own = [now.sown + timedelta(days=step) for step in range(1, (last - now.sown).days + 1)]
    places = [at[day] for day in own]
    if now.frost_on is not None:
        return _lay_one(days, own, places, now.sown)
    seasons: list[Season] = []
    for one in past:
        step, more = len(own) + 1, []
        while (place := at.get(one.sown + timedelta(days=step))) is not None and step < 366:
            more.append(place)
            step += 1
        whole = [now.sown + timedelta(days=at_step) for at_step in range(1, len(places) + len(more) + 1)]
        seasons += _lay_one(days, whole, places + more, now.sown)
    return tuple(seasons)


def _lay_one(days: SiteDays, dates: list[date], places: list[int], sown: date) -> tuple[Season, ...]:
    at = np.array(places, dtype=np.intp)
    month_day = (sown.month, sown.day)
    laid = lay_out_seasons(dates, days.units[at], days.tmin_c[at], month_day, KILLING_FROST_C, days.south)
    return laid.seasons[:1]

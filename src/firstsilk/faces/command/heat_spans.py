"""Which stretch of each site's days is counted, and where are its holes?"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from firstsilk.answers import Finding, Place, stop_if_any

if TYPE_CHECKING:
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.climate.season_rules import Season
    from firstsilk.science.climate.weather import FilledDays


HOURS_COLUMN = "time"
"""The column of hours; a file of days has a date instead."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days of one site that are counted together: the site, its days one after the other, the season they are of."""

    site: SiteWeather
    span: FilledDays
    season: Season | None = None


def cut_stretches(read: Weather, first: date | None, last: date | None, fill: bool) -> list[Stretch]:
    """Cut each site's days to the span, holes filled if wanted; every hole that stays is refused, all at once."""
    findings: list[Finding] = []
    stretches = []
    for site in read.sites:
        span = cut_span(site, first or site.days[0], last or site.days[-1], fill)
        findings += check_span(read, site, span, fill)
        stretches.append(Stretch(site, span))
    stop_if_any(findings)
    return stretches


def check_span(read: Weather, site: SiteWeather, span: FilledDays, fill: bool) -> list[Finding]:
    """What stops a span from being counted: holes, and temperatures crossed by filling."""
    return [*find_holes(read, site, span, fill), *find_crossed(read, site, span)]


def cut_span(site: SiteWeather, first: date, last: date, fill: bool) -> FilledDays:
    """The days from first to last, one after the other; NaN where nothing is known."""
    import numpy as np

    from firstsilk.science.climate.weather import FilledDays, fill_missing_days

    if fill:
        whole = fill_missing_days(site.days, site.tmin, site.tmax)
    else:
        whole = FilledDays(site.days, site.tmin, site.tmax, ())
    where = {day: index for index, day in enumerate(whole.days)}
    days = tuple(first + timedelta(days=step) for step in range((last - first).days + 1))
    tmin = np.array([whole.tmin[where[day]] if day in where else np.nan for day in days])
    tmax = np.array([whole.tmax[where[day]] if day in where else np.nan for day in days])
    return FilledDays(days, tmin, tmax, tuple(day for day in whole.filled if first <= day <= last))


def find_holes(read: Weather, site: SiteWeather, span: FilledDays, fill: bool) -> list[Finding]:
    """One finding for each run of missing days."""
    from firstsilk.science.climate.weather import find_missing_days

    at_site = f" at site {site.site}" if site.site else ""
    if not span.days:
        return [Finding("span_empty", f"the span holds no day{at_site}", Place(read.file), repair="Check --from, --to")]
    missing = find_missing_days(span.days, span.tmin, span.tmax, span.days[0], span.days[-1])
    repair = "Add each missing day with both temperatures, or use --gaps interpolate"
    if read.columns.date == HOURS_COLUMN:
        repair = "Add the hours of each missing day"
    elif fill:
        repair = "No day is known on one side, so no line can be drawn; add the days, or change --from or --to"
    findings = []
    for start, end in _runs(missing):
        told = f"the day {start} is missing" if start == end else f"the days {start} to {end} are missing"
        place, after = _place_of_hole(read, site, start)
        findings.append(Finding("day_missing", told + after + at_site, place, repair=repair))
    return findings


def _place_of_hole(read: Weather, site: SiteWeather, day: date) -> tuple[Place, str]:
    """The line with an empty temperature, or the line of the day before a day that is not there."""
    before = bisect_right(site.days, day) - 1
    line = site.lines[before] if before >= 0 else None
    if before >= 0 and site.days[before] == day:
        column = read.columns.tmin if math.isnan(site.tmin[before]) else read.columns.tmax
        return Place(read.file, line, column), ", a temperature is empty"
    return Place(read.file, line, read.columns.date), " after this line" if before >= 0 else ""


def _runs(days: Iterable[date]) -> list[tuple[date, date]]:
    runs: list[tuple[date, date]] = []
    for day in days:
        if runs and (day - runs[-1][1]).days == 1:
            runs[-1] = (runs[-1][0], day)
        else:
            runs.append((day, day))
    return runs


def find_crossed(read: Weather, site: SiteWeather, span: FilledDays) -> list[Finding]:
    """A day of which one temperature was given and the other filled can come out crossed; that is refused too."""
    line_of = dict(zip(site.days, site.lines, strict=True))
    return [
        Finding(
            "filled_crossed",
            f"the line drawn across a missing temperature puts the minimum above the maximum on {day}",
            Place(read.file, line_of.get(day), read.columns.tmin),
            repair="Write the missing temperature, or empty both so that the whole day is filled",
        )
        for day, low, high in zip(span.days, span.tmin.tolist(), span.tmax.tolist(), strict=True)
        if low > high
    ]

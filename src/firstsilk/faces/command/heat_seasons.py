"""Which days of a weather file lie in its seasons, by a published rule, year by year?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from firstsilk.answers import Finding, refuse, stop_if_any
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.heat_spans import Stretch, check_span, cut_span

if TYPE_CHECKING:
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.climate.normal_means import NormalMeans
    from firstsilk.science.climate.season_rules import Season, SeasonRule
    from firstsilk.science.climate.weather import FilledDays

FEW_YEARS = 10
"""A long-term mean of fewer years is said to be of few. Our own choice; official normals rest on 30."""


PAUSE_DAYS = 30
"""So many days without a reading are a winter's pause and not a hole to be mended. Our own choice."""


@dataclass(frozen=True, slots=True)
class SeasonAsked:
    """The rule, whether dates are southern, and a start that takes the place of the rule's own."""

    rule: SeasonRule
    south: bool
    start: tuple[int, int] | None


def cut_seasons(read: Weather, asked: SeasonAsked, fill: bool) -> list[Stretch]:
    """Every season of every site in the file, each from its start to its end or to the last day of the file.

    Raises
    ------
    InputRefused
        Naming every day that is missing between a season's start, or where it is looked for, and its end; or if no
        season starts in the file.
    """
    from firstsilk.science.climate.season_rules import find_start_window

    findings: list[Finding] = []
    stretches: list[Stretch] = []
    for site in read.sites:
        whole = cut_span(site, site.days[0], site.days[-1], fill)
        low, high = _in_c(whole, read.unit)
        normals = _find_normals(read, site, whole, asked.rule, (low + high) / 2.0)
        for year in range(site.days[0].year - 1, site.days[-1].year + 1):
            season = _find_season(read, site, asked, year, (whole.days, low, high, normals))
            if season is None:
                continue
            # A day missing where the start was looked for could hide another start.
            first, latest = find_start_window(asked.rule, year, asked.south, asked.start)
            season, last = _close(read, site, season, whole, latest)
            findings += check_span(read, site, cut_span(site, first, last, fill), fill)
            if season.starts is not None:
                stretches.append(Stretch(site, cut_span(site, season.starts, last, fill), season))
    stop_if_any(findings)
    if not stretches:
        yes_if = "Give a file that holds the start of a season, or another --season or --season-start."
        raise refuse("no_season", f"{read.file}: no season starts in this file by the rule {asked.rule.name}.", yes_if)
    return stretches


def _find_season(
    read: Weather, site: SiteWeather, asked: SeasonAsked, year: int, course: tuple[object, ...]
) -> Season | None:
    """The season of a year; None, said on standard error where it is odd, if it is not in the file."""
    from firstsilk.science.climate.season_rules import find_season, find_start_window

    first, latest = find_start_window(asked.rule, year, asked.south, asked.start)
    at_site = f" at site {site.site}" if site.site else ""
    if first > site.days[-1]:
        return None
    season = find_season(asked.rule, year, *course, asked.south, asked.start)
    if first < site.days[0]:
        if (season.ends or (season.starts and site.days[-1]) or latest) >= site.days[0]:
            begins = f"the file begins on {site.days[0]}, after {first}"
            say(f"{read.file}: the season {year}{at_site} is left out: {begins}.")
        return None
    if season.starts is None:
        told = "has not started" if site.days[-1] < latest else "has no start"
        say(f"{read.file}: the season {year}{at_site} {told} by the rule {asked.rule.name}.")
    return season


def _close(read: Weather, site: SiteWeather, season: Season, whole: FilledDays, latest: date) -> tuple[Season, date]:
    """The season as far as this year's readings go, and its last day: a file may hold summers only."""
    import numpy as np

    end = site.days[-1]
    if season.starts is None:
        return season, min(latest, end)
    at = (season.starts - whole.days[0]).days
    known = np.flatnonzero(~np.isnan(whole.tmin[at:] + whole.tmax[at:]))
    pauses = np.flatnonzero(np.diff(known) > PAUSE_DAYS)
    pause = whole.days[at + int(known[pauses[0]])] if pauses.size else end
    if season.ends is not None and season.ends <= pause:
        return season, season.ends
    at_site = f" at site {site.site}" if site.site else ""
    say(f"{read.file}: the season {season.year}{at_site} is open: its readings end on {pause} before it does.")
    return replace(season, ends=None, ended_by=""), pause


def _find_normals(
    read: Weather, site: SiteWeather, whole: FilledDays, rule: SeasonRule, mean_c: object
) -> NormalMeans | None:
    from firstsilk.science.climate.normal_means import find_normal_means

    if not rule.needs_normals:
        return None
    normals = find_normal_means(whole.days, mean_c)
    if normals.n_years < FEW_YEARS:
        at_site = f" at site {site.site}" if site.site else ""
        years = "1 year" if normals.n_years == 1 else f"{normals.n_years} years"
        say(f"{read.file}: the long-term mean{at_site} rests on {years} only.")
    return normals


def _in_c(whole: FilledDays, unit: str) -> tuple[object, object]:
    from firstsilk.science.climate.temperatures import convert_f_to_c

    # Rounded, so that 28.4 °F is -2 °C and meets a frost of -2.
    if unit == "f":
        return convert_f_to_c(whole.tmin).round(9), convert_f_to_c(whole.tmax).round(9)
    return whole.tmin, whole.tmax

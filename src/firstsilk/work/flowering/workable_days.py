"""On which of the days ahead can be worked, as the site's own weather tells, and what can the crew make on them?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Season, Site, Station, WeatherDay
from firstsilk.science.flowering.crew import BEGINNER_DAYS, EFFICIENCY_FRAC, reckon_capacity
from firstsilk.science.flowering.stakes import WORKABLE_FRAC
from firstsilk.science.flowering.workable import find_lost_chance
from firstsilk.work.climate.frosts import read_frost_chances
from firstsilk.work.flowering.crew import FIRST_DAYS_RULE, choose_pace, read_speed
from firstsilk.work.flowering.crew_plan import read_crew_plan
from firstsilk.work.occasion import Occasion

LEAST_YEARS = 3
"""Fewer past years with rain than that tell nothing of a date (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class WorkableDays:
    """Chances that days ahead are lost to rain: `own` (days,) by their own weather, NaN where it is not known; `past`
    (years, days) on the same dates of past years, no years where too few are known."""

    own: NDArray[np.float64]
    past: NDArray[np.float64]

    @property
    def says(self) -> str:
        """What the days rest on, in a sentence."""
        n_own = int(np.isfinite(self.own).sum())
        known = f" {n_own} day{' is' if n_own == 1 else 's are'} known by measured or forecast rain." if n_own else ""
        if len(self.past):
            share = 100.0 * (1.0 - float(np.nanmean(self.past)))
            return f"By the rain of {len(self.past)} past years {share:.0f} % of these days can be worked.{known}"
        usual = f"{100.0 * WORKABLE_FRAC:.0f} % of days are taken to be workable (common practice, no source)"
        return f"The books hold no {LEAST_YEARS} past years of rain on these dates: {usual}.{known}"


def read_workable_days(station: Station, site: Site, days: Sequence[date]) -> WorkableDays:
    """What the site's readings tell of days from today on; the first of `days` is today."""
    today = days[0]
    dates = {(day.month, day.day) for day in days}
    found = WeatherDay.objects.filter(station=station, site=site, date__lte=days[-1], rain_mm__isnull=False)
    found = found.filter(date__month__in={month for month, _ in dates})
    own = np.full(len(days), np.nan)
    years: dict[int, NDArray[np.float64]] = {}
    place = {(day.month, day.day): at for at, day in enumerate(days)}
    at_day = {day: at for at, day in enumerate(days)}
    for day, rain, origin in found.order_by("date").values_list("date", "rain_mm", "origin"):
        if day == today or (day > today and origin == "forecast"):
            own[at_day[day]] = rain
        elif day < today and origin != "forecast" and (day.month, day.day) in place:
            at = place[day.month, day.day]
            # Days of next January belong to the autumn before them.
            year = day.year - (days[at].year - today.year)
            if year < today.year:
                years.setdefault(year, np.full(len(days), np.nan))[at] = rain
    told = [rain for _, rain in sorted(years.items()) if np.isfinite(rain).any()]
    past = np.array(told) if len(told) >= LEAST_YEARS else np.zeros((0, len(days)))
    return WorkableDays(find_lost_chance(own), find_lost_chance(past))


def close_days(
    on: Occasion,
    season: Season,
    dates: Sequence[date],
    end_on: date | None,
    workable: NDArray[np.bool_],
    dice: np.random.Generator,
) -> NDArray[np.bool_]:
    """(draws, days): dry enough to work, before a past year's killing frost, and not past the cutoff."""
    n_draws, n_days = workable.shape
    if end_on is not None:
        workable = workable & np.array([one <= end_on for one in dates])
    chances = read_frost_chances(on, season.site.code)
    autumn = next((one for one in chances.events if one.event == "first_autumn"), None)
    if autumn is None or not autumn.years:
        return workable
    frosts = [_days_to(seen, on.today) for _, seen in autumn.seen]
    frosts += [n_days] * (len(autumn.years) - len(autumn.seen))
    drawn = dice.choice(np.array(frosts), n_draws)
    # A past year's frost before today did not come this year.
    return np.asarray(workable & ((np.arange(n_days)[None, :] < drawn[:, None]) | (drawn[:, None] <= 0)))


def _days_to(frost: date, today: date) -> int:
    """Days from today to the date of a past frost in this year's autumn, or the winter after it."""
    year = today.year + (1 if today.month >= 7 and frost.month < 7 else 0)
    day = min(frost.day, 28) if frost.month == 2 else frost.day
    return (date(year, frost.month, day) - today).days


def find_hands(
    station: Station, season: Season, today: date, workable_frac: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Pollinations that the crew can make on each day, if it can be worked; infinity where no crew is set.

    The share of the hours worked holds the usual rain already: where a day is lost to it in a part of the draws, the
    crew makes so many more in the others that the mean stays what the crew page tells.
    """
    n_days = len(workable_frac)
    plan = read_crew_plan(station, season)
    if plan is None or plan.workers + plan.beginners == 0:
        return np.full(n_days, np.inf)
    speed = read_speed(station, today)
    per_hour, _ = choose_pace(plan, speed)
    starts = plan.beginners_from or today
    worked = np.minimum(1.0, (plan.efficiency_frac or EFFICIENCY_FRAC) / np.maximum(workable_frac, 1e-9))
    whole = reckon_capacity(
        plan.workers,
        plan.beginners,
        [(today - starts).days + at for at in range(n_days)],
        per_hour,
        [plan.hours_a_day] * n_days,
        1.0,
        speed.beginner_speed,
        BEGINNER_DAYS,
        FIRST_DAYS_RULE,
    )
    return np.asarray(whole * worked)

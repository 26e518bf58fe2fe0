"""How has the season's heat run so far, how has it run in past years, and how may it go on?

Day 0 is the first day handed in. Past years are lined up on the calendar; a year counts if no day of it is missing
from there to the end of the span. Where few years are whole, generated ones fill the ensemble up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.dates import find_same_date
from firstsilk.science.climate.generated import generate_days, number_in_year
from firstsilk.science.climate.generator import fit_generator
from firstsilk.science.climate.heat import Scale, heat_units

FloatArray = NDArray[np.float64]

SPAN_DAYS = 240
"""Days looked at from the first sowing: no row is waited for longer."""
LEAST_DAYS = 60
"""A past year with fewer days in a row from the first sowing on tells nothing of flowering."""
FEW_YEARS, FILLED_TO, LEAST_TO_FIT = 12, 30, 3
"""With fewer whole years than the first, and at least the last, generated years fill the ensemble up. Ours."""
RAIN_DAYS = 30
DRY_BELOW = 0.7
"""Rain of the last 30 days under this share of what past years had counts as dry, 0 as wholly dry. Ours."""
PACE_DAYS = 21


@dataclass(frozen=True, slots=True)
class SeasonHeat:
    """The season's daily heat in its scale and in another common one: the first axis of each array is (this, other).

    Attributes
    ----------
    first, scale
        Day 0, and the scale.
    so_far
        (2, days) up to the last reading; no days if day 0 is after it.
    ahead
        (2, members, days) from then to the end of the span; no days once the season has run its span.
    past
        (2, years, days) of whole past years from the same calendar day to the end of the span.
    years, n_generated
        The past years; how many members were generated: they come after the years.
    rain_share
        Rain of the `RAIN_DAYS` up to each day of the season so far, as a share of what past years had by then
        (days,); empty if rain is not told.
    """

    first: date
    scale: Scale
    so_far: FloatArray
    ahead: FloatArray
    past: FloatArray
    years: tuple[int, ...]
    n_generated: int
    rain_share: FloatArray

    @property
    def normal(self) -> FloatArray:
        """The mean of past years (2, days)."""
        return np.asarray(self.past.mean(axis=1))

    @property
    def span_days(self) -> int:
        """Days that past years tell: a row must be sown, and flower, within them."""
        return int(self.past.shape[2])

    def members(self) -> FloatArray:
        """Each member's whole season (2, members, days)."""
        begun = np.repeat(self.so_far[:, None, :], self.ahead.shape[1], axis=1)
        return np.concatenate([begun, self.ahead], axis=2)

    def day(self, at: date) -> int:
        """The number of a date."""
        return (at - self.first).days

    def find_pace(self, sown: int, units: float) -> float:
        """Units of a normal day about the day on which a row sown on a day reaches its units."""
        normal = self.normal[0]
        total = np.cumsum(normal[sown + 1 :])
        middle = sown + 1 + min(int(np.searchsorted(total, units)), len(total) - 1)
        return max(float(normal[max(middle - PACE_DAYS // 2, 0) : middle + PACE_DAYS // 2 + 1].mean()), 1e-6)

    def find_dryness(self, expected: float) -> float:
        """How dry the month before flowering is, from 0 to 1, once it is within three weeks; 0 before, or unknown."""
        if not len(self.rain_share) or expected - (self.so_far.shape[1] - 1) > PACE_DAYS:
            return 0.0
        share = float(self.rain_share[int(np.clip(expected, 0, len(self.rain_share) - 1))])
        return 0.0 if np.isnan(share) else float(np.clip((DRY_BELOW - share) / DRY_BELOW, 0.0, 1.0))


def other_scale(scale: Scale) -> Scale:
    """The other common scale that is listened to beside one."""
    return "gdd_c" if scale == "chu" else "chu"


def build_season_heat(
    days: Sequence[date],
    tmin_c: ArrayLike,
    tmax_c: ArrayLike,
    first: date,
    today: date,
    scale: Scale,
    rain_mm: ArrayLike | None = None,
    ahead_c: tuple[FloatArray, FloatArray] | None = None,
    seed: int = 1,
) -> SeasonHeat:
    """Line up a site's weather for a forecast.

    Parameters
    ----------
    days, tmin_c, tmax_c, rain_mm
        Daily weather [°C, mm] (days,), any order, no day twice; days after `today` are not used.
    first
        Day 0: the first sowing, or a day before it.
    today
        The day of the forecast.
    scale
        Of the units.
    ahead_c
        Minima and maxima of a weather forecast from the day after the last reading on; every member begins with them.
    seed
        Of generated years.

    Returns
    -------
    SeasonHeat

    Raises
    ------
    ValueError
        Naming the first day missing in the season so far, or that no past year is whole.

    Notes
    -----
    The span ends where four in five of the past years end, at most `SPAN_DAYS` after the first day; where this season
    has run longer than that already, nothing is ahead of it. Checked by
    ``tests/science/test_season_heat.py``.
    """
    at = {day: place for place, day in enumerate(days) if day <= today}
    low, high = np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)
    at = {day: place for day, place in at.items() if not (np.isnan(low[place]) or np.isnan(high[place]))}
    here = _run(at, first)
    end = first + timedelta(days=SPAN_DAYS)
    is_ahead = bool(at) and max(at) < first
    if (not here and not is_ahead) or any(first + timedelta(days=len(here)) <= day < end for day in at):
        gap = first + timedelta(days=len(here))
        raise ValueError(f"the weather of {gap} is missing" + ("" if here else ", on which the season begins"))
    runs = {year: _run(at, find_same_date(first, year)) for year in range(min(at).year - 1, first.year)}
    runs = {year: run for year, run in runs.items() if len(run) >= LEAST_DAYS}
    span = _find_span([len(run) for run in runs.values()])
    runs = {year: run[:span] for year, run in runs.items() if len(run) >= span}
    if not runs:
        raise ValueError("no past year has weather from the first sowing to the end of the season")
    places = np.array([runs[year] for year in sorted(runs)])
    past = _count_both(low[places], high[places], scale)
    made = _generate(days, (low, high, rain_mm), today, first, span, len(runs), seed)
    whole = past if made is None else np.concatenate([past, _count_both(*made, scale)], axis=1)
    ahead = whole[:, :, len(here) :].copy()
    if ahead_c is not None:
        told = _count_both(ahead_c[0], ahead_c[1], scale)[:, : ahead.shape[2]]
        ahead[:, :, : told.shape[1]] = told[:, None, :]
    return SeasonHeat(
        first,
        scale,
        _count_both(low[here], high[here], scale),
        ahead,
        past,
        tuple(sorted(runs)),
        0 if made is None else len(made[0]),
        _share_rain(rain_mm, at, first, len(here), sorted(runs)),
    )


def _run(at: dict[date, int], start: date) -> list[int]:
    """Places of the days in a row from a date on, of `SPAN_DAYS` at most."""
    found: list[int] = []
    for step in range(SPAN_DAYS):
        place = at.get(start + timedelta(days=step))
        if place is None:
            break
        found.append(place)
    return found


def _find_span(lengths: Sequence[int]) -> int:
    """The longest span that four in five of the years have."""
    ordered = sorted(lengths, reverse=True)
    return ordered[max(int(np.ceil(0.8 * len(ordered))) - 1, 0)] if ordered else 0


def _count_both(tmin_c: FloatArray, tmax_c: FloatArray, scale: Scale) -> FloatArray:
    return np.stack([heat_units(tmin_c, tmax_c, each) for each in (scale, other_scale(scale))])


def _generate(
    days: Sequence[date],
    weather: tuple[FloatArray, FloatArray, ArrayLike | None],
    today: date,
    first: date,
    span: int,
    n_own: int,
    seed: int,
) -> tuple[FloatArray, FloatArray] | None:
    if not LEAST_TO_FIT <= n_own < FEW_YEARS:
        return None
    used = np.array([day <= today for day in days])
    low, high, rain = weather
    kept = [day for day, use in zip(days, used, strict=True) if use]
    try:
        fit = fit_generator(kept, low[used], high[used], None if rain is None else np.asarray(rain)[used], seed=seed)
    except ValueError:
        return None
    made = generate_days(fit, FILLED_TO - n_own, int(number_in_year([first])[0]), span, seed)
    return made.tmin_c, made.tmax_c


def _share_rain(
    rain_mm: ArrayLike | None, at: dict[date, int], first: date, n_days: int, years: Sequence[int]
) -> FloatArray:
    if rain_mm is None:
        return np.zeros(0)
    rain = np.asarray(rain_mm, dtype=np.float64)
    sums = [_sum_rain(rain, at, first, n_days)] + [_sum_rain(rain, at, find_same_date(first, y), n_days) for y in years]
    past = np.array(sums[1:])
    known = ~np.isnan(past)
    mean = np.where(known, past, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.asarray(np.divide(sums[0], mean, out=np.full(n_days, np.nan), where=mean > 0.0))


def _sum_rain(rain: FloatArray, at: dict[date, int], first: date, n_days: int) -> FloatArray:
    """Rain of the days up to each day; NaN where a day of them is not told."""
    start = first - timedelta(days=RAIN_DAYS - 1)
    each = np.array(
        [
            rain[place] if (place := at.get(start + timedelta(days=step))) is not None else np.nan
            for step in range(n_days + RAIN_DAYS - 1)
        ]
    )
    total = np.concatenate([[0.0], np.cumsum(each)])
    return np.asarray(total[RAIN_DAYS:] - total[:-RAIN_DAYS])

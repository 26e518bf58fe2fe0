"""On which date is a first autumn or last spring frost to be expected, with which chance?

A frost is a daily minimum at or below the threshold. A calendar year is cut in two halves, 1 January to 30 June and
1 July to 31 December. In the north the first autumn frost is looked for in the second half and the last spring frost
in the first; in the south the halves are swapped. Day of year is that of a common year: 1 March is 60 in every year,
and 29 February counts as 28 February, day 59.

A year counts for an event if its half holds at least one known minimum. Thin halves are named, not dropped.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

FrostEvent = Literal["first_autumn", "last_spring"]
FrostMethod = Literal["percentile", "normal", "mixed"]
QuantileType = Literal[5, 6, 7]
EVENTS: tuple[FrostEvent, ...] = get_args(FrostEvent)
METHODS: tuple[FrostMethod, ...] = get_args(FrostMethod)

KILLING_FROST_C = -2.0
"""Daily minimum that ends the crop. OMAFRA 2017; Ontario Corn Committee. (28 °F, -2.2 °C, a few minutes: NCH-57.
-3 °C: Saskatchewan. 0 °C can kill leaves: OMAFRA 2017.)"""
FULL_HALF_DAYS = 170
"""A half with fewer known days is named as thin (a half has 181 to 184); our choice."""

_QUANTILE_RULES: dict[QuantileType, Literal["hazen", "weibull", "linear"]] = {5: "hazen", 6: "weibull", 7: "linear"}
_COMMON_YEAR = 2001
_YEAR_DAYS = 365


@dataclass(frozen=True, slots=True)
class FrostYears:
    """What the years say about one event.

    `years` are those that count, `day_of_year` (years with event,) the days on which it came, `thin_years` those
    whose half has many unknown days.
    """

    event: FrostEvent
    years: tuple[int, ...]
    years_with_event: tuple[int, ...]
    day_of_year: tuple[int, ...]
    thin_years: tuple[int, ...]


def day_of_common_year(day: date) -> int:
    """Give the day of year of a common year: 1 to 365; 29 February counts as 28 February.

    Checked by ``tests/faces/test_frost_door.py`` and ``tests/properties/test_heat_laws.py``.
    """
    if (day.month, day.day) == (2, 29):
        return 59
    return day.replace(year=_COMMON_YEAR).timetuple().tm_yday


def name_day_of_year(day_of_year: float) -> str | None:
    """Name the nearest date (``MM-DD``) of a common year; halves go to the later day; None outside 1 to 365."""
    nearest = math.floor(day_of_year + 0.5)
    if not 1 <= nearest <= _YEAR_DAYS:
        return None
    return (date(_COMMON_YEAR, 1, 1) + timedelta(days=nearest - 1)).strftime("%m-%d")


def find_frosts(
    days: Sequence[date],
    tmin_c: ArrayLike,
    event: FrostEvent,
    threshold_c: float = KILLING_FROST_C,
    south: bool = False,
) -> FrostYears:
    """Find the first autumn or last spring frost of each year.

    Parameters
    ----------
    days
        Dates (days,), any order, none twice.
    tmin_c
        Daily minima [°C] (days,); NaN is unknown.
    event
        ``first_autumn`` or ``last_spring``.
    threshold_c
        A minimum at or below this is a frost [°C].
    south
        True swaps the halves of the year.

    Returns
    -------
    FrostYears
        The years that count and the day of year of the event in those that have one.

    Notes
    -----
    First autumn frost: the earliest frost day in its half; last spring frost: the latest in its half.

    References
    ----------
    NOAA NCEI, Climatography of the United States no. 20.

    Checked by ``tests/faces/test_weather_doors_on_real_years.py`` against a plain twin on four years of records.
    """
    minima = np.asarray(tmin_c, dtype=np.float64)
    second_half = (event == "first_autumn") != south
    known: dict[int, int] = {}
    found: dict[int, int] = {}
    pick = min if event == "first_autumn" else max
    for day, minimum in zip(days, minima.tolist(), strict=True):
        if math.isnan(minimum) or (day.month >= 7) != second_half:
            continue
        known[day.year] = known.get(day.year, 0) + 1
        if minimum <= threshold_c:
            at = day_of_common_year(day)
            found[day.year] = pick(found.get(day.year, at), at)
    with_event = tuple(sorted(found))
    return FrostYears(
        event=event,
        years=tuple(sorted(known)),
        years_with_event=with_event,
        day_of_year=tuple(found[year] for year in with_event),
        thin_years=tuple(sorted(year for year, count in known.items() if count < FULL_HALF_DAYS)),
    )


def _below(probability: float, event: FrostEvent) -> float:
    """The share of dates at or before the answer: the chance itself in autumn, its complement in spring."""
    return probability if event == "first_autumn" else 1.0 - probability


def estimate_frost_day(
    frosts: FrostYears, probability: float, method: FrostMethod = "percentile", quantile: QuantileType = 7
) -> float | None:
    """Estimate the day of year by which a first autumn frost comes with a given chance (last spring: from which).

    Parameters
    ----------
    frosts
        What the years say.
    probability
        Chance, above 0 and below 1: first autumn frost on or before the day, last spring frost on or after it.
    method
        ``percentile``: quantile over the years with event only. ``normal``: mean and n-1 standard deviation of
        those years. ``mixed``: the same, with the share of years that have the event.
    quantile
        Quantile rule of `percentile`: 5 (Hazen), 6 (Weibull), 7 (linear).

    Returns
    -------
    float or None
        Day of a common year, not rounded; None where it does not exist: no year with event, fewer than two for
        `normal` and `mixed`, `mixed` with ``probability`` at or above the share of years with event, or a day
        outside the year.

    Raises
    ------
    ValueError
        If the probability is not between 0 and 1, or method or quantile rule is unknown.

    Notes
    -----
    `mixed`: with q the share of years with event, ``chance(day) = q F(day)``, so the day is ``F^-1(p / q)``
    (last spring: ``F^-1(1 - p / q)``). With ten years the choice of quantile rule moves the 10 % date by days.

    References
    ----------
    Hyndman & Fan 1996 (types 5, 6, 7; from memory); Thom & Shaw 1958 (normal; from memory); NOAA NCEI,
    Climatography of the United States no. 20 (mixed).

    Checked by ``tests/outside/test_agronomy.py`` (frost_date_normal, frost_date_mixed, frost_pctl_type7,
    frost_pctl_weibull, frost_pctl_hazen).
    """
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a probability lies between 0 and 1, not {probability}")
    if method not in METHODS or quantile not in _QUANTILE_RULES:
        raise ValueError(f"unknown method {method!r} or quantile rule {quantile!r}")
    days = np.asarray(frosts.day_of_year, dtype=np.float64)
    if method == "percentile":
        return _within_year(quantile_of(days, _below(probability, frosts.event), quantile)) if days.size else None
    if days.size < 2:
        return None
    if method == "mixed":
        share = len(frosts.years_with_event) / len(frosts.years)
        return _within_year(mixed_frost_day(float(days.mean()), _sd(days), probability, share, frosts.event))
    return _within_year(normal_frost_day(float(days.mean()), _sd(days), probability, frosts.event))


def _sd(days: NDArray[np.float64]) -> float:
    return float(days.std(ddof=1))


def _within_year(day_of_year: float | None) -> float | None:
    return day_of_year if day_of_year is not None and name_day_of_year(day_of_year) is not None else None


def quantile_of(values: ArrayLike, share: float, quantile: QuantileType = 7) -> float:
    """Give the sample quantile of (n,) values by rule 5 (Hazen), 6 (Weibull) or 7 (linear).

    Checked by ``tests/outside/test_agronomy.py`` (frost_pctl_type7, frost_pctl_weibull, frost_pctl_hazen).
    """
    return float(np.quantile(np.asarray(values, dtype=np.float64), share, method=_QUANTILE_RULES[quantile]))


def normal_frost_day(mean_day: float, sd_days: float, probability: float, event: FrostEvent = "first_autumn") -> float:
    """Give the day of year at a chance under a normal law: ``mean + z sd``.

    Checked by ``tests/outside/test_agronomy.py`` (frost_date_normal).
    """
    return mean_day + NormalDist().inv_cdf(_below(probability, event)) * sd_days


def mixed_frost_day(
    mean_day: float, sd_days: float, probability: float, share: float, event: FrostEvent = "first_autumn"
) -> float | None:
    """Give the day of year at a chance when only a share of years has the event; None if chance >= share.

    Checked by ``tests/outside/test_agronomy.py`` (frost_date_mixed).
    """
    if probability >= share:
        return None
    return normal_frost_day(mean_day, sd_days, probability / share, event)


def frost_chance_before(mean_day: float, sd_days: float, day_of_year: float) -> float:
    """Give the chance that the first autumn frost comes before a day of year, under a normal law.

    Checked by ``tests/outside/test_agronomy.py`` (frost_prob_before).
    """
    return NormalDist(mean_day, sd_days).cdf(day_of_year)

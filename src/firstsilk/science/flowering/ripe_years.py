"""In how many years would a hybrid have been ripe before the killing frost?

A season is sown on one month and day of each year; counting starts on the day after. Its frost is the first day from
1 July (south: 1 January) whose minimum is at or below the threshold, and its data end on 31 December (south: 30 June).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.frost import day_of_common_year

FloatArray = NDArray[np.float64]

LIGHT_FROST_C = 0.0
"""Daily minimum that can kill leaves. OMAFRA 2017."""
KNOWN_UNTIL_NORTH, KNOWN_UNTIL_SOUTH = (9, 30), (3, 31)
"""A year without a frost counts if its days are known at least up to here, three months into the half in which the
frost is looked for. Our choice."""
ROUNDING = 1e-9
"""Units that a sum may lack for its last digits alone."""
Why = Literal["starts_late", "hole", "ends_early"]


@dataclass(frozen=True, slots=True)
class Season:
    """One season of one site.

    `days` (n,) are the days after sowing without a hole, up to the end of what is known; `totals` (n,) the running
    heat units. `frost_at` and `light_at` are positions of the first killing and the first light frost in them.
    """

    sown: date
    days: tuple[date, ...]
    totals: FloatArray
    frost_at: int | None
    light_at: int | None

    @property
    def frost(self) -> date | None:
        """The day of the killing frost."""
        return None if self.frost_at is None else self.days[self.frost_at]

    def total_before(self, at: int | None) -> float:
        """Units up to the day before a position, that day not counted; NaN for None."""
        if at is None:
            return math.nan
        return float(self.totals[at - 1]) if at else 0.0

    def total_on(self, month: int, day: int) -> float:
        """Units up to and with the first such date after sowing; NaN if it is not known."""
        found = next((at for at, one in enumerate(self.days) if (one.month, one.day) == (month, day)), None)
        return math.nan if found is None else float(self.totals[found])


@dataclass(frozen=True, slots=True)
class Seasons:
    """The seasons that count, and the year of sowing and reason of each that does not."""

    seasons: tuple[Season, ...]
    left_out: tuple[tuple[int, Why], ...]


def lay_out_seasons(
    days: Sequence[date],
    units: ArrayLike,
    tmin_c: ArrayLike,
    sown: tuple[int, int],
    killing_c: float,
    south: bool = False,
) -> Seasons:
    """Lay out the season of each year at one site.

    Parameters
    ----------
    days
        Dates (days,) in order, none twice.
    units
        Heat units of one scale (days,); NaN is unknown.
    tmin_c
        Daily minima [°C] (days,).
    sown
        Month and day of sowing; 29 February is 28 February in other years.
    killing_c
        A minimum at or below this is the killing frost [°C].
    south
        True for southern latitudes.

    Returns
    -------
    Seasons
        A year counts if every day from the day after sowing to the frost is known; without a frost, every day up to
        its last known one, at least to 30 September (south: 31 March). A year in which the weather begins after the
        sowing is named as well; one without a day of weather between sowing and the end of its season is no year.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    daily, minima = np.asarray(units, dtype=np.float64), np.asarray(tmin_c, dtype=np.float64)
    at = {day: place for place, day in enumerate(days)}
    kept, left_out = [], []
    for year in range(days[0].year, days[-1].year + 1) if days else ():
        first = lay_on_year(year, sown)
        end = _find_half(first, south)[1]
        if not first < days[-1] or days[0] > end or first >= end:
            continue
        late = days[0] > first + timedelta(days=1)
        season = "starts_late" if late else _lay_out(first, at, daily, minima, killing_c, south)
        if isinstance(season, Season):
            kept.append(season)
        else:
            left_out.append((year, season))
    return Seasons(tuple(kept), tuple(left_out))


def lay_on_year(year: int, month_day: tuple[int, int]) -> date:
    """Give the date of a month and day in a year; 29 February is 28 February in a common year.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    try:
        return date(year, *month_day)
    except ValueError:
        return date(year, 2, 28)


def _find_half(sown: date, south: bool) -> tuple[date, date]:
    """First and last day on which the killing frost of a season is looked for."""
    year = sown.year + (1 if south and sown.month >= 7 else 0)
    return (date(year, 1, 1), date(year, 6, 30)) if south else (date(year, 7, 1), date(year, 12, 31))


def _lay_out(
    sown: date, at: dict[date, int], daily: FloatArray, minima: FloatArray, killing_c: float, south: bool
) -> Season | Why:
    half, end = _find_half(sown, south)
    days: list[date] = []
    totals: list[float] = []
    total, light_at = 0.0, None
    for step in range(1, (end - sown).days + 1):
        day = sown + timedelta(days=step)
        place = at.get(day)
        frosty = place is not None and day >= half and minima[place] <= killing_c
        if place is None or (math.isnan(daily[place]) and not frosty):
            return _stop(sown, day, end, days, totals, light_at, at, daily, south)
        # The frost day itself is counted for nothing but the drying after it, so its units may be unknown.
        total += 0.0 if math.isnan(daily[place]) else float(daily[place])
        days.append(day)
        totals.append(total)
        if day >= half and light_at is None and minima[place] <= LIGHT_FROST_C:
            light_at = len(days) - 1
        if frosty:
            return _after_frost(sown, days, totals, light_at, end, at, daily)
    return Season(sown, tuple(days), np.array(totals), None, light_at)


def _after_frost(
    sown: date,
    days: list[date],
    totals: list[float],
    light_at: int | None,
    end: date,
    at: dict[date, int],
    daily: FloatArray,
) -> Season:
    """The season whose frost is the last of `days`; grain dries on afterwards, as far as the days are known."""
    frost_at = len(days) - 1
    day = days[-1] + timedelta(days=1)
    while day <= end and day in at and not math.isnan(daily[at[day]]):
        totals.append(totals[-1] + float(daily[at[day]]))
        days.append(day)
        day += timedelta(days=1)
    # A killing frost above 0 °C, if somebody asks for one, kills leaves too.
    return Season(sown, tuple(days), np.array(totals), frost_at, frost_at if light_at is None else light_at)


def _stop(
    sown: date,
    missing: date,
    end: date,
    days: list[date],
    totals: list[float],
    light_at: int | None,
    at: dict[date, int],
    daily: FloatArray,
    south: bool,
) -> Season | Why:
    """A day is not known before any frost came: the data end here, or there is a hole."""
    later = (day for day in at if missing < day <= end and not math.isnan(daily[at[day]]))
    if next(later, None) is not None:
        return "hole"
    least = date(end.year, *(KNOWN_UNTIL_SOUTH if south else KNOWN_UNTIL_NORTH))
    if not days or days[-1] < least:
        return "ends_early"
    return Season(sown, tuple(days), np.array(totals), None, light_at)


@dataclass(frozen=True, slots=True)
class RipeYears:
    """What the seasons say of some hybrids.

    `black_layer_at` (seasons, hybrids) is the position of the black layer day in the season's days, -1 if not reached;
    `ripe` (seasons, hybrids) whether it lies before the frost; `units_at_frost` (seasons,) those up to the day before
    it, NaN without a frost; `units_at_light` the same for the first light frost.
    """

    seasons: tuple[Season, ...]
    black_layer_at: NDArray[np.int64]
    ripe: NDArray[np.bool_]
    units_at_frost: FloatArray
    units_at_light: FloatArray


def ripen_in_seasons(seasons: Sequence[Season], to_black_layer: ArrayLike) -> RipeYears:
    """Find each hybrid's black layer in each season, and whether the killing frost was later.

    Parameters
    ----------
    seasons
        The seasons that count.
    to_black_layer
        Heat units from sowing to black layer (hybrids,), in the scale of the seasons.

    Notes
    -----
    The black layer day is the first on which the running total reaches the need. Ripe is a black layer day strictly
    before the frost day; in a year without frost, one reached in that year's data.

    Checked by ``tests/science/test_ripe_years.py`` against a plain twin.
    """
    needs = np.asarray(to_black_layer, dtype=np.float64)
    reached = np.full((len(seasons), needs.size), -1, dtype=np.int64)
    ripe = np.zeros((len(seasons), needs.size), dtype=np.bool_)
    for row, season in enumerate(seasons):
        found = np.searchsorted(season.totals, needs - ROUNDING, side="left")
        inside = found < len(season.days)
        reached[row] = np.where(inside, found, -1)
        ripe[row] = inside if season.frost_at is None else inside & (found < season.frost_at)
    return RipeYears(
        tuple(seasons),
        reached,
        ripe,
        np.array([season.total_before(season.frost_at) for season in seasons], dtype=np.float64),
        np.array([season.total_before(season.light_at) for season in seasons], dtype=np.float64),
    )


def median_black_layer(ripe: RipeYears, hybrid: int) -> float | None:
    """Give the median black layer date of a hybrid, in days of a common year from 1 January of the year of sowing.

    Returns
    -------
    float or None
        A year in which it is not reached is later than all others, so the median may not exist. In the south it may
        be above 365: the next year.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    if not ripe.seasons:
        return None
    places = ripe.black_layer_at[:, hybrid].tolist()
    days = [
        math.inf if at < 0 else _day_from_sowing_year(season.days[at], season.sown)
        for at, season in zip(places, ripe.seasons, strict=True)
    ]
    return median_or_none(days)


def _day_from_sowing_year(day: date, sown: date) -> int:
    return day_of_common_year(day) + 365 * (day.year - sown.year)


def date_of_day(day: float | None, year: int) -> date | None:
    """Give the date of a day of the common year counted from 1 January of `year`; halves go to the later day.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    if day is None:
        return None
    whole = math.floor(day + 0.5)
    common = date(2001, 1, 1) + timedelta(days=(whole - 1) % 365)
    return common.replace(year=year + (whole - 1) // 365)


def median_or_none(values: Sequence[float]) -> float | None:
    """Give the median of values of which some may be infinite; None if there are none, or it is not finite."""
    ordered = sorted(values)
    if not ordered:
        return None
    middle = (ordered[(len(ordered) - 1) // 2], ordered[len(ordered) // 2])
    return (middle[0] + middle[1]) / 2.0 if all(math.isfinite(one) for one in middle) else None

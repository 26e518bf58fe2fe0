"""How good is the flowering forecast in the frozen worlds, against a plain heat-unit sum and an oracle?

``make soak`` judges two hundred seasons of each world by it (prove_forecast.py here), ``make test`` a few
(tests/science/test_forecast_worlds.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.invented.flowering_worlds import FORECAST_YEAR, UNITS_A_DAY, FloweringWorld, WorldSeason, simulate_season
from firstsilk.science.climate.chu import count_chu
from firstsilk.science.flowering.forecast import FloweringForecast
from firstsilk.science.flowering.line_records import LinesKnown, find_mixed_frac
from firstsilk.science.flowering.season_forecast import NotedRows, forecast_lines
from firstsilk.science.flowering.season_heat import build_season_heat
from firstsilk.science.flowering.spreads import SPREADS, Spreads
from firstsilk.science.flowering.whole_dates import find_whole_dates

START = date(FORECAST_YEAR, 5, 1)
HORIZON = 184
LEAD_DAYS = 10
HALF_DAY_CHU = UNITS_A_DAY / 2.0
"""Records count to the end of the day on which silk was seen; it came on that day, on average half a day before. The
books' own records take the middle as well (work/flowering/line_history.py); forecast and plain sum both get it here."""
STEP_DAYS = 3


@dataclass(frozen=True, slots=True)
class Judged:
    """Forecasts of silk ten days ahead, by row: what came, low, middle, high, the plain sum's day and the oracle's."""

    truth: NDArray[np.float64]
    found: NDArray[np.float64]
    plain: NDArray[np.float64]
    oracle: NDArray[np.float64]

    @property
    def coverage(self) -> float:
        """Share of rows whose silk came within the span."""
        return float(np.mean((self.truth >= self.found[:, 0]) & (self.truth <= self.found[:, 2])))

    def miss(self, which: NDArray[np.float64]) -> float:
        """Mean distance in days."""
        return float(np.mean(np.abs(which - self.truth)))

    @property
    def gap_closed(self) -> float:
        """Share of the plain sum's surplus over the oracle that the forecast takes away."""
        plain, oracle, ours = self.miss(self.plain), self.miss(self.oracle), self.miss(self.found[:, 1])
        return (plain - ours) / (plain - oracle)


def judge_world(world: FloweringWorld, seeds: Sequence[int], organ: int = 0, spreads: Spreads = SPREADS) -> Judged:
    """Judge one organ (0 silk, 1 shed) over seasons of a world, ten days before it comes."""
    return join_judged([judge_season(simulate_season(world, seed), spreads)[organ] for seed in seeds])


def join_judged(parts: Sequence[Judged]) -> Judged:
    """Rows of several seasons together."""
    return Judged(*(np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(Judged)))


def read_known(season: WorldSeason) -> tuple[LinesKnown, dict[str, int]]:
    """The lines of a season as a station would know them."""
    at = {name: place for place, name in enumerate(season.lines)}
    lines = list(season.lines.values())
    seasons = sorted({year for line in lines for year, _, _ in line.records})
    told = [(at[line.name], seasons.index(y), silk, shed) for line in lines for y, silk, shed in line.records]
    mother = np.array([at.get(line.mother, -1) for line in lines], dtype=np.intp)
    method = [line.method for line in lines]
    selfings = np.array([3 if line.method == "self" else 0 for line in lines], dtype=np.intp)
    known = LinesKnown(
        mother,
        np.array([at.get(line.father, -1) for line in lines], dtype=np.intp),
        method,
        selfings,
        find_mixed_frac(mother, method, selfings),
        np.array([one[0] for one in told], dtype=np.intp),
        np.array([one[1] for one in told], dtype=np.intp),
        np.array([one[2:] for one in told], dtype=np.float64) - HALF_DAY_CHU,
        np.ones(len(told)),
        len(seasons),
        np.zeros(0),
    )
    return known, at


def members_from(season: WorldSeason, daily: NDArray[np.float64], today: date) -> NDArray[np.float64]:
    """Past years' days after today, to the end of the horizon (years, days)."""
    end = START + timedelta(days=HORIZON)
    place = {day: k for k, day in enumerate(season.days)}
    years = range(season.days[0].year, FORECAST_YEAR)
    first = (today + timedelta(days=1)).timetuple()
    n = (end - today).days
    starts = [place[date(year, first.tm_mon, first.tm_mday)] for year in years]
    return np.array([daily[k : k + n] for k in starts])


def forecast_season(
    season: WorldSeason, today: date, spreads: Spreads = SPREADS, draws: int = 200
) -> FloweringForecast:
    """The forecast that a station would make on a day. Days count from `START`."""
    known, at = read_known(season)
    years = tuple(sorted({year for line in season.lines.values() for year, _, _ in line.records}))
    heat = build_season_heat(
        season.days, season.tmin_c, season.tmax_c, START, today, "chu", season.rain_mm, seed=season.seed
    )
    not_yet, seen = _read_looks(season, today)
    rows = NotedRows(
        np.array([at[row.line] for row in season.rows], dtype=np.intp),
        np.array([(row.sown_on - START).days for row in season.rows], dtype=np.intp),
        np.array([row.crowding for row in season.rows]),
        not_yet,
        seen,
    )
    mean = known.record_units.mean(axis=0)
    return forecast_lines(heat, rows, known, years, mean, spreads, draws, season.seed).forecast


def _read_looks(season: WorldSeason, today: date) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    at = {row.name: place for place, row in enumerate(season.rows)}
    not_yet = np.full((len(at), 2), -1, dtype=np.intp)
    seen = np.full((len(at), 2), -1, dtype=np.intp)
    for look in season.looks:
        if look.day > today:
            continue
        day, row = (look.day - START).days, at[look.row]
        for organ, saw in enumerate((look.silk, look.shed)):
            if saw is True:
                seen[row, organ] = day
            elif saw is False:
                not_yet[row, organ] = max(day, int(not_yet[row, organ]))
    return not_yet, seen


def judge_season(season: WorldSeason, spreads: Spreads = SPREADS, step_days: int = STEP_DAYS) -> tuple[Judged, Judged]:
    """Judge silk and shed of one season; forecasts are made every few days, so that the lead is that much longer."""
    true = [[day and (day - START).days for day in (row.silk_on, row.shed_on)] for row in season.rows]
    truth = np.array(true, dtype=np.float64)
    target = truth - LEAD_DAYS
    found, plain, oracle = np.full((*truth.shape, 3), np.nan), truth * np.nan, truth * np.nan
    for at in range(int(np.nanmin(target)), int(np.nanmax(target)) + 1, step_days):
        due = (target >= at) & (target < at + step_days)
        if not due.any():
            continue
        today = START + timedelta(days=at)
        told = forecast_season(season, today, spreads)
        for organ, draws in enumerate((told.silk, told.shed)):
            rows = np.flatnonzero(due[:, organ])
            if len(rows):
                found[rows, organ] = find_whole_dates(draws[rows])
                plain[rows, organ] = _tell_plainly(season, today, organ)[rows]
                oracle[rows, organ] = _tell_by_oracle(season, today, organ)[rows]
    known = ~np.isnan(found).any(axis=2) & ~np.isnan(plain) & ~np.isnan(oracle)
    silk, shed = (
        Judged(truth[kept, organ], found[kept, organ], plain[kept, organ], oracle[kept, organ])
        for organ, kept in enumerate(known.T)
    )
    return silk, shed


def _tell_plainly(season: WorldSeason, today: date, organ: int) -> NDArray[np.float64]:
    """The heat-unit sum as it is done by hand: the line's mean, its parents', or all lines'; a normal year ahead."""
    chu = count_chu(season.tmin_c, season.tmax_c)
    units = {
        name: float(np.mean([one[1 + organ] for one in line.records])) - HALF_DAY_CHU
        for name, line in season.lines.items()
        if line.records
    }
    middle = float(np.mean(list(units.values())))

    def need(name: str, deep: int = 4) -> float:
        if name in units:
            return units[name]
        line = season.lines[name]
        above = [one for one in (line.mother, line.father) if one]
        return float(np.mean([need(one, deep - 1) for one in above])) if above and deep else middle

    return _reach(season, chu, today, [need(row.line) for row in season.rows], mean_year=True)


def _tell_by_oracle(season: WorldSeason, today: date, organ: int) -> NDArray[np.float64]:
    """The same with the line's true units on the plants' own clock, and the middle of all past years ahead."""
    lines = season.lines
    true = [(lines[row.line].silk_chu, lines[row.line].shed_chu)[organ] * season.true_per_chu for row in season.rows]
    return _reach(season, season.true_daily, today, true, mean_year=False)


def _reach(
    season: WorldSeason, daily: NDArray[np.float64], today: date, needs: Sequence[float], mean_year: bool
) -> NDArray[np.float64]:
    place = (START - season.days[0]).days
    so_far = daily[place : place + (today - START).days + 1]
    ahead = members_from(season, daily, today)
    ahead = ahead.mean(axis=0, keepdims=True) if mean_year else ahead
    sown = np.array([(row.sown_on - START).days for row in season.rows])
    days = []
    for member in ahead:
        running = np.cumsum(np.concatenate([so_far, member]))
        days.append(np.searchsorted(running, np.asarray(needs) + running[sown]))
    return np.asarray(np.median(days, axis=0))

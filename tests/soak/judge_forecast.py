"""How good is the flowering forecast in the frozen worlds, against a plain heat-unit sum and an oracle?

Run with ``make soak`` over a hundred seasons of each world; a few seasons of each run in ``make test``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.invented.flowering_worlds import FORECAST_YEAR, FloweringWorld, WorldSeason, simulate_season
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
    parts = [_judge_season(simulate_season(world, seed), organ, spreads) for seed in seeds]
    return Judged(*(np.concatenate([part[at] for part in parts]) for at in range(4)))  # type: ignore[arg-type]


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
        np.array([one[2:] for one in told], dtype=np.float64),
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


def _judge_season(season: WorldSeason, organ: int, spreads: Spreads) -> tuple[NDArray[np.float64], ...]:
    rows = season.rows
    true = [(row.silk_on, row.shed_on)[organ] for row in rows]
    truth = np.array([(day - START).days if day else np.nan for day in true], dtype=np.float64)
    target = truth - LEAD_DAYS
    first, last = int(np.nanmin(target)), int(np.nanmax(target))
    found, plain, oracle = np.full((len(rows), 3), np.nan), truth * np.nan, truth * np.nan
    for at in range(first, last + 1, STEP_DAYS):
        today = START + timedelta(days=at)
        due = np.flatnonzero((target >= at) & (target < at + STEP_DAYS))
        if not len(due):
            continue
        told = forecast_season(season, today, spreads)
        draws = (told.silk, told.shed)[organ]
        found[due] = find_whole_dates(draws[due])
        plain[due] = _tell_plainly(season, today, organ)[due]
        oracle[due] = _tell_by_oracle(season, today, organ)[due]
    known = ~np.isnan(found).any(axis=1) & ~np.isnan(plain) & ~np.isnan(oracle)
    return truth[known], found[known], plain[known], oracle[known]


def _tell_plainly(season: WorldSeason, today: date, organ: int) -> NDArray[np.float64]:
    """The heat-unit sum as it is done by hand: the line's mean, its parents', or all lines'; a normal year ahead."""
    chu = count_chu(season.tmin_c, season.tmax_c)
    units = {
        name: float(np.mean([one[1 + organ] for one in line.records]))
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
    found = np.full(len(needs), np.nan)
    for at, (row, need) in enumerate(zip(season.rows, needs, strict=True)):
        days = []
        for member in ahead:
            running = np.cumsum(np.concatenate([so_far, member])[(row.sown_on - START).days + 1 :])
            days.append((row.sown_on - START).days + 1 + int(np.searchsorted(running, need)))
        found[at] = float(np.median(days))
    return found

"""How many pollinations will each coming day of a season ask for, with what spread, and how many were made so far?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Season, Station
from firstsilk.science.flowering.day import SILK_LASTS_DAYS
from firstsilk.science.flowering.demand import PLANT_SD_DAYS, quantile_demand, spread_demand
from firstsilk.science.flowering.rows import find_undone
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.day import find_killing_frost
from firstsilk.work.flowering.forecast import SeasonForecast, read_forecast
from firstsilk.work.flowering.rows import RowFacts, read_season_rows
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

FloatArray = NDArray[np.float64]

FURTHEST_DAYS = 200
"""Demand is followed this far ahead and no further."""
TAIL_DAYS = 8
"""Days after the last row's half silk that still hold a pollination (a choice of ours)."""
SEEN_SHARE = 0.005
"""A day counts as one of demand from this share of the largest day's middle on, at its high end (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class SeasonDemand:
    """The pollinations of a season by day.

    Attributes
    ----------
    season, today, cutoff_on
        Its name, the day it is seen from, and the set cutoff.
    days
        (days,): from today on.
    draws
        (draws, days): pollinations still to be made, joint draws; without those after the cutoff unless asked for.
    p10, p50, p90
        (days,): of the draws, day by day.
    made
        Pollinations made so far, by day, from the notes.
    wanted, standing, n_rows, n_unknown
        Pollinations wanted on all rows, those that stand, rows on which any are wanted, and those of them on which some
        are still to be made and no draw has a silk day: not sown yet, or nothing is known of their line.
    rows, all_rows
        Those rows, and every row of the season.
    silk
        (rows, draws): days after today of half silk of each of them.
    killed_on
        Day of the killing frost, if it came.
    why_unknown
        Why there is no forecast at all, in a sentence; empty if there is one.
    basis
        What it rests on.
    forecast
        The forecast behind it; None where there is none.
    """

    season: str
    today: date
    cutoff_on: date | None
    days: tuple[date, ...]
    draws: FloatArray
    p10: FloatArray
    p50: FloatArray
    p90: FloatArray
    made: tuple[tuple[date, int], ...]
    wanted: int
    standing: int
    n_rows: int
    n_unknown: int
    rows: tuple[RowFacts, ...]
    all_rows: tuple[RowFacts, ...]
    silk: FloatArray
    killed_on: date | None
    why_unknown: str
    basis: Basis
    forecast: SeasonForecast | None

    def sum_over(self, n_days: int) -> tuple[float, float, float]:
        """Pollinations of the next days together: low, middle, high of the draws."""
        total = self.draws[:, :n_days].sum(axis=1)
        low, middle, high = np.quantile(total, (0.1, 0.5, 0.9)) if len(total) else (0.0, 0.0, 0.0)
        return float(low), float(middle), float(high)

    @property
    def span(self) -> tuple[int, int]:
        """Places of the first and last day with demand worth a line; the second is one further."""
        least = max(0.5, SEEN_SHARE * float(self.p50.max(initial=0.0)))
        busy = np.flatnonzero(self.p90 >= least)
        return (int(busy[0]), int(busy[-1]) + 1) if len(busy) else (0, 0)


def read_season_demand(on: Occasion, season: str = "", to_cutoff: bool = True) -> SeasonDemand:
    """Pollinations by day from the occasion's day on, spread as the forecast's draws are.

    Notes
    -----
    Rows are spread over days as their plants silk, less what stands on them; silks that came out in the last
    `SILK_LASTS_DAYS` days and wait count today. After the set cutoff, and after a killing frost, nothing is asked for.
    Not considered: whether a male sheds, rain, who is there.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    facts, told = read_season_rows(on, station, book)
    rows = tuple(row for row in facts if row.wanted and row.purpose in ("self", "female"))
    forecast, why = _read_forecast(on, book)
    silk = _find_silk(forecast, rows)
    ahead = _look_ahead(silk)
    killed = find_killing_frost(station, book, facts, on.today)
    draws = spread_rows(rows, silk, ahead, _last_day(book, on.today, to_cutoff, killed))
    p10, p50, p90 = quantile_demand(draws)
    open_rows = np.array([row.wanted > row.state.ears_standing for row in rows], dtype=bool)
    unknown = int((open_rows & np.isnan(silk).all(axis=1)).sum())
    return SeasonDemand(
        season=book.name,
        today=on.today,
        cutoff_on=book.cutoff_on,
        days=tuple(on.today + timedelta(days=at) for at in range(ahead)),
        draws=draws,
        p10=p10,
        p50=p50,
        p90=p90,
        made=count_made(station, [row.tag for row in facts], on.today),
        wanted=sum(row.wanted for row in rows),
        standing=sum(min(row.wanted, row.state.ears_standing) for row in rows),
        n_rows=len(rows),
        n_unknown=unknown,
        rows=rows,
        all_rows=facts,
        silk=silk,
        killed_on=killed,
        why_unknown=why,
        basis=_add_missing(told if forecast is None else forecast.basis, unknown, why),
        forecast=forecast,
    )


def _read_forecast(on: Occasion, season: Season) -> tuple[SeasonForecast | None, str]:
    """The season's forecast; else why there is none."""
    try:
        return read_forecast(on, season.name), ""
    except InputRefused as no:
        return None, str(no)


def _find_silk(forecast: SeasonForecast | None, rows: Sequence[RowFacts]) -> FloatArray:
    """(rows, draws) days after today of half silk; NaN where nothing tells."""
    if forecast is None or not forecast.rows:
        return np.full((len(rows), 1), np.nan)
    place = {row.number: at for at, row in enumerate(forecast.rows)}
    silk = np.full((len(rows), forecast.silk.shape[1]), np.nan)
    known = [row.number in place for row in rows]
    if any(known):
        silk[known] = forecast.silk[[place[row.number] for row in rows if row.number in place]]
    return silk


def _add_missing(basis: Basis, unknown: int, why: str) -> Basis:
    if not unknown:
        return basis
    told = f"silk days of {unknown} row{'s' if unknown > 1 else ''} that want pollinations, which are not counted"
    return Basis(basis.used, (*basis.missing, f"{told}: {why.rstrip('.')}" if why else told))


def spread_rows(rows: Sequence[RowFacts], silk: FloatArray, n_days: int, cutoff: int | None) -> FloatArray:
    """(draws, days) pollinations still wanted on these rows, from today on."""
    return spread_demand(
        silk,
        [row.wanted for row in rows],
        0,
        n_days,
        PLANT_SD_DAYS,
        done=[row.state.ears_standing for row in rows],
        cutoff=cutoff,
        waiting_days=SILK_LASTS_DAYS,
    )


def _look_ahead(silk: FloatArray) -> int:
    """Days from today to the last that may ask for anything; at least a week."""
    reached = silk[np.isfinite(silk)]
    last = float(np.quantile(reached, 0.999)) if len(reached) else 0.0
    return int(min(FURTHEST_DAYS, max(7, np.ceil(last) + TAIL_DAYS)))


def _last_day(season: Season, today: date, to_cutoff: bool, killed: date | None) -> int | None:
    """The last day with demand [days after today]: none after a frost that killed, else the cutoff if asked for."""
    if killed is not None:
        return -1
    if not to_cutoff or season.cutoff_on is None:
        return None
    return max(-1, (season.cutoff_on - today).days)


def count_made(station: Station, tags: Sequence[str], up_to: date) -> tuple[tuple[date, int], ...]:
    """Pollinations that stand in the notes about these rows, by day."""
    every = NoteRecord.objects.filter(station=station, practice=False, taken_on__lte=up_to)
    undone = find_undone(as_note(one) for one in every.filter(replaces__isnull=False))
    wanted = set(tags)
    made: dict[date, int] = {}
    for uuid, tag, day, value in every.filter(kind="pollinated").values_list("uuid", "tag", "taken_on", "value"):
        if tag in wanted and str(uuid) not in undone and value.isdecimal():
            made[day] = made.get(day, 0) + int(value)
    return tuple(sorted(made.items()))

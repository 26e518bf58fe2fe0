"""Which rows are to be sown today, which later, and what was not sown as planned?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from firstsilk.work.flowering.rows import RowFacts, read_season_rows
from firstsilk.work.nursery.sow import count_unsettled
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station


@dataclass(frozen=True, slots=True)
class SowingList:
    """The sowing of a season: rows due by today, days still to come with their rows and kernels, what went otherwise.

    `unsettled` rows are noted as sown and their seed is not booked yet.
    """

    season: str
    due: tuple[RowFacts, ...]
    later: tuple[tuple[date, int, int], ...]
    otherwise: tuple[RowFacts, ...]
    sown: int
    total: int
    unsettled: int
    kernels_due: int
    basis: Basis


def read_sowing(on: Occasion, season: str = "") -> SowingList:
    """How far the sowing of a season is on the occasion's day."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows, basis = read_season_rows(on, station, book)
    waiting = [row for row in rows if row.state.sown_on is None and not row.state.misplanted and row.sow_on]
    due = tuple(row for row in waiting if row.sow_on is not None and row.sow_on <= on.today)
    count: Counter[date] = Counter()
    kernels: Counter[date] = Counter()
    for row in waiting:
        if row.sow_on is not None and row.sow_on > on.today:
            count[row.sow_on] += 1
            kernels[row.sow_on] += row.kernels
    return SowingList(
        season=book.name,
        due=due,
        later=tuple((day, count[day], kernels[day]) for day in sorted(count)),
        otherwise=tuple(row for row in rows if row.state.misplanted),
        sown=sum(1 for row in rows if row.state.sown_on),
        total=len(rows),
        unsettled=count_unsettled(station, book, {row.tag: row.state for row in rows}, on.today),
        kernels_due=sum(row.kernels for row in due),
        basis=basis,
    )

"""Which last day does each range, family or row need for itself, and what does ending earlier select for earliness?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.records.models import Line, Station
from firstsilk.science.flowering.cutoff import find_cutoffs, find_earlier_days, weigh_cutoffs
from firstsilk.science.flowering.nicking import silk_shed_interval_days
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.season_demand import SeasonDemand, spread_rows
from firstsilk.work.lineage.ancestry import read_family
from firstsilk.work.lineage.marker_claims import find_origin
from firstsilk.work.standing import read_kept

FloatArray = NDArray[np.float64]

GROUPINGS = ("range", "family", "row")
MOST_GROUPS = 300
"""Groups that are told; a page of more is of no use."""


@dataclass(frozen=True, slots=True)
class GroupCutoff:
    """The last day that one range, family or row needs for its own share, and what the season's day gives it.

    Attributes
    ----------
    name, tag
        Range, cross or row; the row's tag if it is one row.
    rows, wanted, standing
        Rows, pollinations wanted on them, and those that stand.
    middle, sure
        First last day that gives the wanted share in the middle of draws, and the first that is sure to.
    share
        Share of its pollinations possible by the season's day, middle of draws; None where no day is set or found.
    left
        Pollinations that are not possible any more if that day is the last, mean of draws.
    next_adds
        Pollinations that one day more would add, mean of draws.
    earlier_days
        By how many days the plants that silk up to that day are earlier than all of the group; None where none do.
    asi
        Silk after shed, middle over rows and draws [days]; None where it is not known.
    """

    name: str
    tag: str
    rows: int
    wanted: int
    standing: int
    middle: date | None
    sure: date | None
    share: float | None
    left: float | None
    next_adds: float | None
    earlier_days: float | None
    asi: float | None


def cut_groups(
    station: Station, demand: SeasonDemand, wanted_frac: float, by: str, until: date | None
) -> tuple[GroupCutoff, ...]:
    """Each group with the last day it needs, and what it gets by the season's day.

    Parameters
    ----------
    demand
        The season's demand without a cutoff.
    wanted_frac
        Share of a group's pollinations that is wanted.
    by
        ``range``, ``family`` (the cross behind a row's line) or ``row``.
    until
        The season's last day: as set, or as found.
    """
    if by not in GROUPINGS:
        raise refuse("grouping_unknown", f"Rows cannot be grouped by {by!r}.", f"Choose of {', '.join(GROUPINGS)}.")
    asi = find_asi(demand)
    places: dict[tuple[int, str], list[int]] = {}
    for at, name in enumerate(_name_groups(station, demand, by)):
        places.setdefault(name, []).append(at)
    return tuple(
        _cut(demand, wanted_frac, name, demand.rows[at[0]].tag if by == "row" else "", at, until, asi)
        for (_, name), at in sorted(places.items())[:MOST_GROUPS]
    )


def _name_groups(station: Station, demand: SeasonDemand, by: str) -> list[tuple[int, str]]:
    """For each row its group's place in order and name."""
    if by == "range":
        return [(row.field_row, f"range {row.field_row}") for row in demand.rows]
    if by == "row":
        return [(row.number, f"row {row.number}, {row.line}") for row in demand.rows]
    of_line = _find_families(station, demand)
    return [(0, of_line[row.line]) if of_line[row.line] else (1, "no cross known") for row in demand.rows]


def _find_families(station: Station, demand: SeasonDemand) -> dict[str, str]:
    """The cross behind each line; empty where the books do not tell."""
    names = {row.line for row in demand.rows}
    lines = dict(Line.objects.filter(station=station, name__in=names).values_list("name", "pk"))
    books = read_family(station, lines.values(), read_kept(station, demand.today))
    found = {}
    for name, number in lines.items():
        origin = find_origin(books[number], books)
        if origin.mother is None or origin.father is None:
            found[name] = ""
        else:
            found[name] = f"{books[origin.mother].name}/{books[origin.father].name}"
    return found


def find_asi(demand: SeasonDemand) -> FloatArray:
    """(rows,): silk after shed of each row that wants pollinations, as noted or middle of draws [days]; NaN unknown."""
    found = np.full(len(demand.rows), np.nan)
    place = {} if demand.forecast is None else {row.number: at for at, row in enumerate(demand.forecast.rows)}
    for at, row in enumerate(demand.rows):
        if row.state.silk_on is not None and row.state.shed_on is not None:
            found[at] = silk_shed_interval_days(row.state.silk_on.toordinal(), row.state.shed_on.toordinal())
        elif demand.forecast is not None and row.number in place:
            apart = demand.forecast.silk[place[row.number]] - demand.forecast.shed[place[row.number]]
            known = apart[np.isfinite(apart)]
            found[at] = float(np.median(known)) if len(known) else np.nan
    return found


def keep_short_asi(demand: SeasonDemand, most_asi_days: float) -> tuple[SeasonDemand, int]:
    """The demand without the rows whose silk comes too long after shed, and how many those are; unknown ones stay."""
    asi = find_asi(demand)
    kept = [at for at in range(len(demand.rows)) if not asi[at] > most_asi_days]
    rows = tuple(demand.rows[at] for at in kept)
    silk = demand.silk[kept]
    left = replace(
        demand,
        rows=rows,
        silk=silk,
        draws=spread_rows(rows, silk, len(demand.days), None if demand.killed_on is None else -1),
        wanted=sum(row.wanted for row in rows),
        standing=sum(min(row.wanted, row.state.ears_standing) for row in rows),
    )
    return left, len(demand.rows) - len(kept)


def find_earlier(demand: SeasonDemand, places: Sequence[int], days: Sequence[int]) -> list[float | None]:
    """The selection differential of these rows by each last day [days after today]; None where none has silked."""
    weights = [demand.rows[at].wanted for at in places]
    told = find_earlier_days(demand.silk[list(places)], weights, list(days))
    return [None if np.isnan(one) else float(one) for one in told]


def _cut(
    demand: SeasonDemand,
    wanted_frac: float,
    name: str,
    tag: str,
    places: list[int],
    until: date | None,
    asi: FloatArray,
) -> GroupCutoff:
    rows: list[RowFacts] = [demand.rows[at] for at in places]
    wanted = sum(row.wanted for row in rows)
    standing = sum(min(row.wanted, row.state.ears_standing) for row in rows)
    draws = spread_rows(rows, demand.silk[places], len(demand.days), None)
    days = weigh_cutoffs(draws, 0, standing, wanted, wanted_frac)
    middle, sure = (
        None if day is None else demand.today + timedelta(days=day) for day in find_cutoffs(days, wanted_frac)
    )
    known = asi[places][np.isfinite(asi[places])]
    at = None if until is None else (until - demand.today).days
    in_reach = at is not None and 0 <= at < len(days)
    after = [one.gained for one in days[at + 1 :]] if at is not None and in_reach else []
    return GroupCutoff(
        name=name,
        tag=tag,
        rows=len(rows),
        wanted=wanted,
        standing=standing,
        middle=middle,
        sure=sure,
        share=days[at].share_p50 if at is not None and in_reach else None,
        left=float(sum(after)) if in_reach else None,
        next_adds=(after[0] if after else 0.0) if in_reach else None,
        earlier_days=find_earlier(demand, places, [at])[0] if at is not None else None,
        asi=float(np.median(known)) if len(known) else None,
    )

"""When should pollinating end, what does each more day gain, and will what it gains ripen?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.records.models import Season
from firstsilk.science.flowering.cutoff import CutoffDay, find_cutoffs, ripen_before_frost, weigh_cutoffs
from firstsilk.science.flowering.day import RIPE_AFTER_DAYS
from firstsilk.work.climate.frosts import read_frost_chances
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.season_demand import SeasonDemand, read_season_demand, spread_rows
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

WANTED_FRAC = 0.95
"""Share of the season's pollinations that a cutoff is asked for (a choice of ours)."""
SMALLEST_GAIN = 0.25
"""Days that gain less than this, before the first and after the last that gain more, are not listed."""


@dataclass(frozen=True, slots=True)
class LastDay:
    """One possible last day of pollinating, and what it gives (see `CutoffDay`)."""

    date: date
    share_p10: float
    share_p50: float
    share_p90: float
    gained: float
    chance_frac: float
    ripe_frac: float | None


@dataclass(frozen=True, slots=True)
class GroupCutoff:
    """The last day that one range of rows needs for its own share: in the middle of draws, and to be sure."""

    field_row: int
    rows: int
    wanted: int
    standing: int
    middle: date | None
    sure: date | None


@dataclass(frozen=True, slots=True)
class SeasonCutoff:
    """What a season's last day of pollinating may be.

    `middle` is the first last day that gives the wanted share in the middle of draws, `sure` the first that is sure to
    give it; None where no day does. `set_day` is the day that stands in the books, as one of the listed days where it
    is among them. `never` is the share of pollinations on rows that never silk, on average.
    """

    season: str
    today: date
    wanted_frac: float
    wanted: int
    standing: int
    cutoff_on: date | None
    middle: date | None
    sure: date | None
    days: tuple[LastDay, ...]
    set_day: LastDay | None
    never_frac: float
    frost_years: int
    groups: tuple[GroupCutoff, ...]
    sentences: tuple[str, ...]
    basis: Basis


def read_cutoff(
    on: Occasion, season: str = "", wanted_frac: float = WANTED_FRAC, by_range: bool = False
) -> SeasonCutoff:
    """The day by which the wanted share of pollinations will have been possible, and what each more day gains.

    Notes
    -----
    Ripening: an ear is taken to reach black layer `RIPE_AFTER_DAYS` days after pollination, and past years' killing
    frosts at the site tell the chance that it does. Hands, males and rain are not considered: what is possible is not
    yet done.
    """
    book = get_season(get_station(on.station), season, on.today)
    demand = read_season_demand(on, book.name, to_cutoff=False)
    if not 0 < wanted_frac <= 1:
        raise refuse("share_wrong", f"A share of {wanted_frac:g} cannot be wanted.", "Give one above 0, up to 1.")
    frosts = _read_frosts(on, book)
    days: tuple[CutoffDay, ...] = ()
    if demand.wanted:
        ripe = ripen_before_frost(demand.days, frosts)
        days = weigh_cutoffs(demand.draws, 0, demand.standing, demand.wanted, wanted_frac, ripe)
    middle, sure = (_day_of(on.today, day) for day in find_cutoffs(days, wanted_frac))
    listed = tuple(_last_day(on.today, one) for one in days)
    shown = _trim(listed)
    set_day = next((one for one in listed if one.date == book.cutoff_on), None)
    never = 1.0 - listed[-1].share_p50 if listed else 0.0
    return SeasonCutoff(
        season=book.name,
        today=on.today,
        wanted_frac=wanted_frac,
        wanted=demand.wanted,
        standing=demand.standing,
        cutoff_on=book.cutoff_on,
        middle=middle,
        sure=sure,
        days=shown,
        set_day=set_day,
        never_frac=max(0.0, never),
        frost_years=len(frosts),
        groups=_by_range(on.today, demand, wanted_frac) if by_range and demand.wanted else (),
        sentences=tuple(_say(demand, wanted_frac, middle, sure, set_day, book.cutoff_on, listed)),
        basis=demand.basis,
    )


def _read_frosts(on: Occasion, season: Season) -> list[date | None]:
    """The killing frost of each past year at the season's site; None for a year without."""
    chances = read_frost_chances(on, season.site.code)
    autumn = next((one for one in chances.events if one.event == "first_autumn"), None)
    if autumn is None:
        return []
    seen: list[date | None] = [day for _, day in autumn.seen]
    return seen + [None] * (len(autumn.years) - len(autumn.years_with_event))


def _day_of(today: date, day: int | None) -> date | None:
    return None if day is None else today + timedelta(days=day)


def _last_day(today: date, one: CutoffDay) -> LastDay:
    ripe = None if np.isnan(one.ripe_frac) else one.ripe_frac
    day = today + timedelta(days=one.day)
    return LastDay(day, one.share_p10, one.share_p50, one.share_p90, one.gained, one.chance_frac, ripe)


def _trim(days: Sequence[LastDay]) -> tuple[LastDay, ...]:
    """The days between the first and the last that gain something."""
    gain = [at for at, one in enumerate(days) if one.gained >= SMALLEST_GAIN]
    return tuple(days[gain[0] : gain[-1] + 1]) if gain else ()


def _by_range(today: date, demand: SeasonDemand, wanted_frac: float) -> tuple[GroupCutoff, ...]:
    """The cutoff that each range of rows would need for itself."""
    ranges: dict[int, list[int]] = {}
    for at, row in enumerate(demand.rows):
        ranges.setdefault(row.field_row, []).append(at)
    return tuple(_range(today, demand, wanted_frac, field_row, places) for field_row, places in sorted(ranges.items()))


def _range(today: date, demand: SeasonDemand, wanted_frac: float, field_row: int, places: list[int]) -> GroupCutoff:
    rows: list[RowFacts] = [demand.rows[at] for at in places]
    silk: NDArray[np.float64] = demand.silk[places]
    wanted = sum(row.wanted for row in rows)
    standing = sum(min(row.wanted, row.state.ears_standing) for row in rows)
    draws = spread_rows(rows, silk, len(demand.days), None)
    days = weigh_cutoffs(draws, 0, standing, wanted, wanted_frac)
    middle, sure = (_day_of(today, day) for day in find_cutoffs(days, wanted_frac))
    return GroupCutoff(field_row, len(rows), wanted, standing, middle, sure)


def _say(
    demand: SeasonDemand,
    wanted_frac: float,
    middle: date | None,
    sure: date | None,
    set_day: LastDay | None,
    cutoff_on: date | None,
    days: Sequence[LastDay],
) -> list[str]:
    if not days:
        return ["No row of this season wants pollinations yet."]
    if demand.killed_on is not None:
        return [f"A frost killed the plants on {demand.killed_on.day} {demand.killed_on:%B}: no day adds anything."]
    share = f"{100 * wanted_frac:.0f} %"
    if demand.standing >= wanted_frac * demand.wanted:
        return [f"{share} of the {demand.wanted:,} pollinations are made already."]
    said = []
    if demand.why_unknown:
        return [f"Nothing tells yet when the rows silk. {demand.why_unknown}"]
    if middle is None:
        said.append(f"On no day will {share} have been possible: {days[-1].share_p50:.0%} at most.".replace("%", " %"))
    elif sure is None:
        said.append(f"{share} will have been possible by {middle.day} {middle:%B}, and no day is sure of it.")
    else:
        said.append(f"{share} will have been possible by {middle.day} {middle:%B}; to be sure, {sure.day} {sure:%B}.")
    if cutoff_on is None:
        said.append("No cutoff is set.")
    elif cutoff_on < demand.today:
        said.append(f"The cutoff of {cutoff_on.day} {cutoff_on:%B} is past.")
    elif set_day is not None:
        low, mid, high = (f"{100 * one:.0f}" for one in (set_day.share_p10, set_day.share_p50, set_day.share_p90))
        said.append(f"The cutoff set, {cutoff_on.day} {cutoff_on:%B}, gives {mid} % ({low} to {high}).")
        after = sum(one.gained for one in days if one.date > cutoff_on)
        if after >= 0.5:
            said.append(f"About {after:,.0f} pollinations would still be possible after it.")
    else:
        said.append(f"The cutoff set, {cutoff_on.day} {cutoff_on:%B}, lies after every day that asks for anything.")
    late = next((one for one in _trim(days) if one.ripe_frac is not None and one.ripe_frac < 0.5), None)
    if late is not None:
        said.append(
            f"An ear pollinated from {late.date.day} {late.date:%B} on is more likely than not caught by the killing "
            f"frost before black layer ({RIPE_AFTER_DAYS} days)."
        )
    return said


def set_cutoff(on: Occasion, season: str, day: date | None) -> date | None:
    """Set the last day of pollinating of a season, or take it away.

    Raises
    ------
    InputRefused
        If the day lies in no year of the season.
    """
    book = get_season(get_station(on.station), season, on.today)
    if day is not None and not book.year <= day.year <= book.year + 1:
        raise refuse("cutoff_far_off", f"{day} lies outside season {book.name}.", f"Give a day of {book.year}.")
    book.cutoff_on = day
    book.save(update_fields=["cutoff_on"])
    return day

"""When should pollinating end, what does each more day gain, and will what it gains ripen?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from firstsilk.answers import refuse
from firstsilk.records.models import Season
from firstsilk.science.flowering.cutoff import CutoffDay, find_cutoffs, ripen_before_frost, weigh_cutoffs
from firstsilk.science.flowering.day import RIPE_AFTER_DAYS
from firstsilk.work.climate.frosts import read_frost_chances
from firstsilk.work.flowering.cutoff_groups import GroupCutoff, cut_groups, find_earlier, keep_short_asi
from firstsilk.work.flowering.season_demand import SeasonDemand, read_season_demand
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

WANTED_FRAC = 0.95
"""Share of the season's pollinations that a cutoff is asked for (a choice of ours)."""
SMALLEST_GAIN = 0.25
"""Days that gain less than this, before the first and after the last that gain more, are not listed."""


@dataclass(frozen=True, slots=True)
class LastDay:
    """One possible last day of pollinating, and what it gives (see `CutoffDay`).

    `earlier_days` is the selection differential: by how much the plants that silk up to then are earlier than all.
    """

    date: date
    share_p10: float
    share_p50: float
    share_p90: float
    gained: float
    chance_frac: float
    ripe_frac: float | None
    earlier_days: float | None


@dataclass(frozen=True, slots=True)
class SeasonCutoff:
    """What a season's last day of pollinating may be.

    `middle` is the first last day that gives the wanted share in the middle of draws, `sure` the first that is sure to
    give it; None where no day does. `set_day` is the day that stands in the books, as one of the listed days where it
    is among them; `until` is the day that groups are told by: as set where it is among them, else `middle`.
    `n_left_out` are rows left out for silk too long after shed. `never_frac` is the share of pollinations on rows that
    never silk, on average.
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
    until: date | None
    n_left_out: int
    groups: tuple[GroupCutoff, ...]
    sentences: tuple[str, ...]
    basis: Basis


def read_cutoff(
    on: Occasion,
    season: str = "",
    wanted_frac: float = WANTED_FRAC,
    by: str = "",
    most_asi_days: float | None = None,
) -> SeasonCutoff:
    """The day by which the wanted share of pollinations will have been possible, and what each more day gains.

    Parameters
    ----------
    on, season
        The occasion and the season.
    wanted_frac
        Share of the pollinations that is wanted.
    by
        What to tell besides: each ``range``, ``family`` or ``row``; nothing if empty.
    most_asi_days
        Rows whose silk comes more days after shed are left out; None: all count.

    Notes
    -----
    Ripening: an ear is taken to reach black layer `RIPE_AFTER_DAYS` days after pollination, and past years' killing
    frosts at the site tell the chance that it does. Hands, males and rain are not considered: what is possible is not
    yet done.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    demand = read_season_demand(on, book.name, to_cutoff=False)
    n_left_out = 0
    if most_asi_days is not None:
        demand, n_left_out = keep_short_asi(demand, most_asi_days)
    frosts = _read_frosts(on, book)
    days = _weigh_days(demand, wanted_frac, frosts)
    middle, sure = (_day_of(on.today, day) for day in find_cutoffs(days, wanted_frac))
    earlier = find_earlier(demand, range(len(demand.rows)), [one.day for one in days]) if days else []
    listed = tuple(_last_day(on.today, one, gain) for one, gain in zip(days, earlier, strict=True))
    set_day = next((one for one in listed if one.date == book.cutoff_on), None)
    until = book.cutoff_on if set_day is not None else middle
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
        days=_trim(listed),
        set_day=set_day,
        never_frac=max(0.0, never),
        frost_years=len(frosts),
        until=until,
        n_left_out=n_left_out,
        groups=cut_groups(station, demand, wanted_frac, by, until) if by and demand.wanted else (),
        sentences=(
            *_say(demand, wanted_frac, middle, sure, set_day, book.cutoff_on, listed),
            *_say_left_out(n_left_out, most_asi_days),
        ),
        basis=demand.basis,
    )


def _weigh_days(demand: SeasonDemand, wanted_frac: float, frosts: Sequence[date | None]) -> tuple[CutoffDay, ...]:
    """What each last day gives; none where nothing is wanted."""
    if not 0 < wanted_frac <= 1:
        raise refuse("share_wrong", f"A share of {wanted_frac:g} cannot be wanted.", "Give one above 0, up to 1.")
    if not demand.wanted:
        return ()
    ripe = ripen_before_frost(demand.days, frosts)
    return weigh_cutoffs(demand.draws, 0, demand.standing, demand.wanted, wanted_frac, ripe)


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


def _last_day(today: date, one: CutoffDay, earlier: float | None) -> LastDay:
    ripe = None if np.isnan(one.ripe_frac) else one.ripe_frac
    day = today + timedelta(days=one.day)
    return LastDay(day, one.share_p10, one.share_p50, one.share_p90, one.gained, one.chance_frac, ripe, earlier)


def _trim(days: Sequence[LastDay]) -> tuple[LastDay, ...]:
    """The days between the first and the last that gain something."""
    gain = [at for at, one in enumerate(days) if one.gained >= SMALLEST_GAIN]
    return tuple(days[gain[0] : gain[-1] + 1]) if gain else ()


def _say_left_out(count: int, most_asi_days: float | None) -> list[str]:
    if not count:
        return []
    rows = f"{count} rows whose silk comes" if count > 1 else "One row whose silk comes"
    return [f"{rows} more than {most_asi_days:g} days after shed {'are' if count > 1 else 'is'} left out."]


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
        if set_day.earlier_days is not None and set_day.earlier_days >= 0.05:
            said.append(f"Plants that silk by then are {set_day.earlier_days:.1f} days earlier than all, on average.")
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

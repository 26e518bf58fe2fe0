"""What must be bought for the season, what is used, and what does the next week take?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from firstsilk.records.models import Season
from firstsilk.science.flowering.supplies import Supply, SupplyNeed, count_supplies, find_order_day
from firstsilk.science.nursery.counts import count_rows
from firstsilk.work.flowering.crew import CrewNeed, weigh_crew
from firstsilk.work.flowering.season_demand import SeasonDemand, read_season_demand
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import targets_on

WEEK_DAYS = 7
PEAK_SHARE = 0.089
"""Share of a season's pollinations on its largest day where no forecast tells it: dates that spread by 4.5 days (common
practice, no source)."""


@dataclass(frozen=True, slots=True)
class SupplyList:
    """Supplies of a season as seen from a day. `order_by` is the day by which bags are ordered, None before any row is
    planned; `sentences` say how things stand."""

    season: str
    today: date
    supplies: tuple[Supply, ...]
    order_by: date | None
    pollinations: int
    standing: int
    week: tuple[float, float, float]
    sentences: tuple[str, ...]
    basis: Basis


def read_supplies(on: Occasion, season: str = "") -> SupplyList:
    """Bags, clips, tags and the rest: for the season, used so far by the notes, still to be had, and for the week.

    Notes
    -----
    Rates are practice from memory. Middling: what the plan wants; high: the same at the high rate. What lies in the
    store is not known here: take it off yourself.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    demand = read_season_demand(on, book.name)
    drafts = count_drafts(on, book)
    crew = weigh_crew(on, station, book, demand)
    used = {
        "shoot_bags": sum(row.state.shoot_bags for row in demand.rows),
        "tassel_bags": sum(row.state.tassel_bags for row in demand.all_rows),
        "pollinations": sum(row.state.ears_pollinated for row in demand.rows),
        "ears_picked": sum(row.state.ears_picked for row in demand.rows),
    }
    week = demand.sum_over(WEEK_DAYS)
    supplies = count_supplies(_season_need(demand, drafts, crew), _week_need(week, crew), used)
    order_by = _order_day(book, demand) if demand.wanted + drafts[0] else None
    return SupplyList(
        book.name,
        on.today,
        supplies,
        order_by,
        demand.wanted + round(drafts[0]),
        demand.standing,
        week,
        tuple(_say(demand, round(drafts[0]), order_by, week)),
        demand.basis,
    )


def count_drafts(on: Occasion, season: Season) -> tuple[float, float, float]:
    """What the draft targets of a season will ask for: pollinations, good ears, rows."""
    station = season.station
    drafts = list(targets_on(station, on.today).filter(season=season, state="draft").select_related("female"))
    rates = read_line_rates(station, {one.female.name for one in drafts}, on.today)
    attempts = good = rows = 0.0
    for one in drafts:
        rate = rates[one.female.name]
        ears = rate.ears_for(one.ears_wanted, one.kernels_wanted)
        need = rate.pollinations_for(one.ears_wanted, one.kernels_wanted)
        attempts, good, rows = attempts + need, good + ears, rows + count_rows(need)
    return attempts, good, rows


def _season_need(demand: SeasonDemand, drafts: tuple[float, float, float], crew: CrewNeed) -> SupplyNeed:
    made = [count for _, count in demand.made]
    wanted = max(demand.wanted, sum(made)) + drafts[0]
    peaks = demand.draws.max(axis=1) if demand.draws.size else np.zeros(1)
    middle, high = (float(np.quantile(peaks, share)) for share in (0.5, 0.9))
    if not made and high == 0:
        middle = high = PEAK_SHARE * wanted
    largest = float(max(made, default=0))
    hands = _hands(crew)
    weeks = _weeks(demand)
    good = sum(row.wanted * row.ear_rates.success_frac for row in demand.rows) + drafts[1]
    n_rows = len(demand.all_rows) + drafts[2]
    return SupplyNeed(
        (wanted, wanted),
        (max(middle, largest), max(high, largest)),
        (n_rows, n_rows),
        (good, wanted),
        hands,
        (hands[0] * weeks, hands[1] * weeks),
    )


def _week_need(week: tuple[float, float, float], crew: CrewNeed) -> SupplyNeed:
    hands = _hands(crew) if week[2] >= 0.5 else (0.0, 0.0)
    return SupplyNeed((week[1], week[2]), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0), hands, hands)


def _hands(crew: CrewNeed) -> tuple[float, float]:
    """People in the field: those set, else those that the largest day asks for."""
    if crew.plan is not None and crew.plan.workers + crew.plan.beginners:
        count = float(crew.plan.workers + crew.plan.beginners)
        return count, count
    middle = max((day.workers_p50 or 0 for day in crew.days), default=0)
    high = max((day.workers_p90 or 0 for day in crew.days), default=0)
    return float(middle), float(max(middle, high))


def _weeks(demand: SeasonDemand) -> int:
    """Weeks in which pollinating goes on, those gone by included."""
    first, end = demand.span
    days = [demand.days[at] for at in (first, end - 1)] if end else []
    days += [day for day, _ in demand.made]
    return -(-((max(days) - min(days)).days + 1) // 7) if days else 0


def _order_day(season: Season, demand: SeasonDemand) -> date:
    first, end = demand.span
    if demand.made:
        return find_order_day(demand.made[0][0])
    if end:
        return find_order_day(demand.days[first])
    south = season.site.latitude < 0
    return find_order_day(date(season.year, 1, 15) if south else date(season.year, 7, 15))


def _say(demand: SeasonDemand, drafts: int, order_by: date | None, week: tuple[float, float, float]) -> list[str]:
    said = []
    if drafts:
        said.append(f"{drafts:,} of the pollinations belong to targets that have no rows yet.")
    if order_by is not None and not demand.made:
        day = f"{order_by.day} {order_by:%B}"
        if demand.today <= order_by:
            said.append(f"Order shoot and tassel bags by {day}: lead times are months.")
        else:
            said.append(f"Bags are ordered by {day}, which is past: count what is in the store now.")
    if week[2] >= 0.5:
        said.append(
            f"The next {WEEK_DAYS} days ask for {week[1]:,.0f} pollinations ({week[0]:,.0f} to {week[2]:,.0f})."
        )
    else:
        said.append(f"The next {WEEK_DAYS} days ask for no pollination.")
    return said

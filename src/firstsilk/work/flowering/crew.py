"""Who is needed in the field on which day, who is there, and on which days are hands short?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Season, Station, WeatherDay
from firstsilk.science.flowering.crew import (
    BEGINNER_DAYS,
    EFFICIENCY_FRAC,
    HANDS_A_LEADER,
    HOURS_A_DAY,
    KEEPS_DAYS,
    carry_over,
    count_workers,
    reckon_capacity,
    tell_shortfall,
)
from firstsilk.science.flowering.rows import find_undone
from firstsilk.science.flowering.speed import Speed, TimedNote, gather_worker_days, measure_speed
from firstsilk.science.flowering.workable import WET_DAY_MM, count_lost_hours
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.crew_plan import CrewFacts, read_crew_plan
from firstsilk.work.flowering.season_demand import SeasonDemand, read_season_demand
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

FIRST_DAYS_RULE = "us-20"
"""The stricter of the published rules for new workers in heat: beginners are planned with it."""
PACE_YEARS = 3
"""Notes of so many years tell the crew's pace."""
LEAST_DEMAND = 0.5
NEAR_DAYS = 7
"""Past years' days this near to a date tell how often it is wet (a choice of ours)."""
AT_WORK = ("silk", "silk_not_yet", "shed", "shed_not_yet", "shoot_bagged", "tassel_bagged", "pollinated", "spoiled")
"""Kinds of note that are taken while pollinating goes on: their times tell who was in the field how long."""


@dataclass(frozen=True, slots=True)
class CrewDay:
    """One coming day: pollinations asked for, workers that takes (None where nobody can work), what the crew can make,
    how likely that is too little and by how much, hours, and what is known of rain and heat.

    `wet_frac` is the share of past years' days near this date with 1 mm of rain or more, None without past years;
    `lost_hours` are those that this day's own weather takes, None where it is not known yet.
    """

    date: date
    p10: float
    p50: float
    p90: float
    workers_p50: int | None
    workers_p90: int | None
    crew_makes: float | None
    hands: float | None
    short_frac: float | None
    missing: float | None
    hours: float
    lost_hours: float | None
    wet_frac: float | None
    note: str


@dataclass(frozen=True, slots=True)
class CrewNeed:
    """What the season asks of its crew. `lost` is what the crew set would never get round to, on average, since silks
    wait only so long; None without a crew."""

    season: str
    today: date
    cutoff_on: date | None
    plan: CrewFacts | None
    speed: Speed
    per_hour: float
    per_hour_from: str
    efficiency_frac: float
    days: tuple[CrewDay, ...]
    made: tuple[tuple[date, int], ...]
    wanted: int
    standing: int
    ahead: tuple[float, float, float]
    lost: float | None
    sentences: tuple[str, ...]
    basis: Basis

    @property
    def peak(self) -> CrewDay | None:
        """The day that asks for most at middling demand."""
        return max(self.days, key=lambda one: one.p50, default=None)


def read_crew(on: Occasion, season: str = "") -> CrewNeed:
    """Workers needed by day with spread, against the crew that is set.

    Notes
    -----
    Pace: the plan's, else the station's own from its notes shrunk towards the published rate. The plan's efficiency, or
    0.8, stands for rain, dew and walking on the average; a day whose own weather is known loses its own hours besides.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    return weigh_crew(on, station, book, read_season_demand(on, book.name))


def weigh_crew(on: Occasion, station: Station, book: Season, demand: SeasonDemand) -> CrewNeed:
    """As `read_crew`, for whoever has the demand at hand."""
    plan = read_crew_plan(station, book)
    speed = read_speed(station, on.today)
    per_hour, said = choose_pace(plan, speed)
    efficiency = plan.efficiency_frac if plan and plan.efficiency_frac else EFFICIENCY_FRAC
    days, lost = _weigh_days(station, book, demand, plan, speed, per_hour * efficiency)
    return CrewNeed(
        season=book.name,
        today=on.today,
        cutoff_on=book.cutoff_on,
        plan=plan,
        speed=speed,
        per_hour=per_hour,
        per_hour_from=said,
        efficiency_frac=efficiency,
        days=days,
        made=demand.made,
        wanted=demand.wanted,
        standing=demand.standing,
        ahead=demand.sum_over(len(demand.days)),
        lost=lost,
        sentences=tuple(_say(demand, days, plan, lost)),
        basis=demand.basis,
    )


def choose_pace(plan: CrewFacts | None, speed: Speed) -> tuple[float, str]:
    """Pollinations of one worker in an hour, and where that number comes from."""
    if plan is not None and plan.per_hour:
        return plan.per_hour, "as set for this season"
    if not speed.n_days:
        return speed.per_hour, "published: 3.92 minutes a pollination, all steps (Thayer & Down 1942)"
    own = f"{speed.n_days} worker-day{'s' if speed.n_days > 1 else ''}"
    return speed.per_hour, f"from {own} in your notes ({speed.own_per_hour:.0f} an hour) and the published 15.3"


@dataclass(frozen=True, slots=True)
class _Hands:
    """What the crew can make on each day, how likely that is too little and by how much, and what is lost at last."""

    makes: NDArray[np.float64]
    short_frac: NDArray[np.float64]
    missing: NDArray[np.float64]
    lost: float


def _weigh_hands(
    demand: SeasonDemand, plan: CrewFacts | None, speed: Speed, left: Sequence[float], one_hour: float
) -> _Hands | None:
    """The crew against the demand of the first days; `left` are their hours, `one_hour` what one makes in an hour."""
    if plan is None or plan.workers + plan.beginners == 0 or not left:
        return None
    starts = plan.beginners_from or demand.today
    # What fell due on the last day with demand waits a few days more.
    hours = [*left, *[plan.hours_a_day] * KEEPS_DAYS]
    since = [(demand.today - starts).days + at for at in range(len(hours))]
    makes = reckon_capacity(
        plan.workers,
        plan.beginners,
        since,
        one_hour,
        hours,
        1.0,
        speed.beginner_speed,
        BEGINNER_DAYS,
        FIRST_DAYS_RULE,
    )
    draws = np.zeros((len(demand.draws), len(hours)))
    draws[:, : len(left)] = demand.draws[:, : len(left)]
    short, missing = tell_shortfall(draws, makes, LEAST_DEMAND)
    return _Hands(makes, short, missing, float(carry_over(draws, makes, KEEPS_DAYS).sum(axis=1).mean()))


def _weigh_days(
    station: Station, season: Season, demand: SeasonDemand, plan: CrewFacts | None, speed: Speed, one_hour: float
) -> tuple[tuple[CrewDay, ...], float | None]:
    """The days with demand, and what would be lost for want of hands over all of them."""
    first, end = demand.span
    hours = plan.hours_a_day if plan else HOURS_A_DAY
    wet, lost_hours = _read_rain(station, season, demand.days[:end], hours)
    left = [hours - (gone or 0.0) for gone in lost_hours]
    hands = _weigh_hands(demand, plan, speed, left, one_hour)
    told = tuple(
        _tell_day(demand, at, hands, one_hour, hours, left[at], lost_hours[at], wet[at], plan)
        for at in range(first, end)
    )
    return told, None if hands is None else hands.lost


def _tell_day(
    demand: SeasonDemand,
    at: int,
    hands: _Hands | None,
    one_hour: float,
    hours: float,
    left: float,
    lost_hours: float | None,
    wet_frac: float | None,
    plan: CrewFacts | None,
) -> CrewDay:
    # Less than half a pollination is a day on which nobody need come.
    workers = [
        count_workers(float(of[at]) if of[at] >= LEAST_DEMAND else 0.0, one_hour, left, 1.0)
        for of in (demand.p50, demand.p90)
    ]
    return CrewDay(
        date=demand.days[at],
        p10=float(demand.p10[at]),
        p50=float(demand.p50[at]),
        p90=float(demand.p90[at]),
        workers_p50=workers[0],
        workers_p90=workers[1],
        crew_makes=None if hands is None else float(hands.makes[at]),
        hands=None if hands is None else float(hands.makes[at]) / (one_hour * hours),
        short_frac=None if hands is None else float(hands.short_frac[at]),
        missing=None if hands is None else float(hands.missing[at]),
        hours=left,
        lost_hours=lost_hours,
        wet_frac=wet_frac,
        note=_note(plan, demand.days[at], lost_hours, left),
    )


def _note(plan: CrewFacts | None, day: date, lost: float | None, left: float) -> str:
    said = []
    if lost:
        said.append("too wet to work" if left <= 0 else f"{lost:.3g} h lost to rain or heat")
    if plan is not None and plan.beginners and plan.beginners_from is not None:
        nth = (day - plan.beginners_from).days
        if 0 <= nth < 4:
            said.append(f"beginners' day {nth + 1}: {20 * (nth + 1)} % of the hours")
    return "; ".join(said)


def _read_rain(
    station: Station, season: Season, days: Sequence[date], hours: float
) -> tuple[list[float | None], list[float | None]]:
    """For each day from today on: how often its date is wet in past years, and the hours that its own weather takes, as
    measured today or forecast."""
    if not days:
        return [], []
    months = {(day + timedelta(days=step)).month for day in days for step in (-NEAR_DAYS, NEAR_DAYS)}
    found = WeatherDay.objects.filter(station=station, site=season.site, date__lte=days[-1], date__month__in=months)
    rows = list(found.values_list("date", "tmin_c", "tmax_c", "rain_mm", "origin"))
    own = {row[0]: row for row in rows if row[0] == days[0] or (row[0] > days[0] and row[4] == "forecast")}
    past = [(row[0].timetuple().tm_yday, row[3]) for row in rows if row[0].year < days[0].year and row[3] is not None]
    place = np.array([one[0] for one in past], dtype=np.int64)
    is_wet = np.array([one[1] >= WET_DAY_MM for one in past], dtype=np.float64)
    wet: list[float | None] = []
    lost: list[float | None] = []
    for day in days:
        apart = np.abs(place - day.timetuple().tm_yday)
        near = np.minimum(apart, 365 - apart) <= NEAR_DAYS
        wet.append(float(is_wet[near].mean()) if near.any() else None)
        if day not in own:
            lost.append(None)
            continue
        _, low, high, rain, _ = own[day]
        lost.append(float(count_lost_hours(hours, [math.nan if rain is None else rain], [low], [high])[0]))
    return wet, lost


def _say_nothing(demand: SeasonDemand) -> str:
    """Why no day ahead asks for pollinations."""
    if not demand.wanted:
        return "No row of this season wants pollinations yet."
    if demand.standing >= demand.wanted:
        return "All pollinations wanted are made."
    if demand.killed_on is not None:
        return f"A frost killed the plants on {demand.killed_on.day} {demand.killed_on:%B}: no more is asked for."
    if demand.n_unknown:
        why = demand.why_unknown or "Their lines' heat units are not known."
        return f"Rows that want pollinations: {demand.n_unknown}; nothing tells yet when they silk. {why}"
    return "No day ahead asks for pollinations."


def _say(demand: SeasonDemand, days: Sequence[CrewDay], plan: CrewFacts | None, lost: float | None) -> Iterator[str]:
    if not days:
        yield _say_nothing(demand)
        return
    today = next((one for one in days if one.date == demand.today), None)
    if today is not None and today.p90 >= 0.5:
        yield f"Today asks for {_spread(today)}: {_hands(today)}."
    peak = max(days, key=lambda one: one.p50)
    if today is None or peak.date != today.date:
        yield f"The peak is about {peak.date.day} {peak.date:%B} with {_spread(peak)}: {_hands(peak)}."
    if plan is None or days[0].crew_makes is None:
        yield "No crew is set for this season: set who can work, and days on which hands are short show here."
    else:
        yield from _say_crew(demand, days, plan, lost)


def _say_crew(demand: SeasonDemand, days: Sequence[CrewDay], plan: CrewFacts, lost: float | None) -> Iterator[str]:
    short = [one for one in days if (one.short_frac or 0) >= 0.5]
    if short:
        worst = max(short, key=lambda one: one.missing or 0)
        yield (
            f"Hands are more likely short than not on {len(short)} day{'s' if len(short) > 1 else ''}, worst on "
            f"{worst.date.day} {worst.date:%B} by about {worst.missing or 0:,.0f} pollinations."
        )
    else:
        yield "On every day the crew is more likely enough than not."
    if lost is not None and lost >= LEAST_DEMAND:
        ahead = demand.sum_over(len(demand.days))[1]
        yield (
            f"What falls due can wait {KEEPS_DAYS} days; about {lost:,.0f} of {ahead:,.0f} pollinations ahead would "
            "never be made for want of hands."
        )
    elif lost is not None and short:
        yield f"What falls due can wait {KEEPS_DAYS} days, and in them the crew makes up for it."
    if plan.beginners:
        leaders = math.ceil(plan.beginners / HANDS_A_LEADER[1])
        want = f"{plan.beginners} beginners want" if plan.beginners > 1 else "A beginner wants"
        yield (
            f"{want} {leaders} leader{'s' if leaders > 1 else ''}: one for {HANDS_A_LEADER[0]} to {HANDS_A_LEADER[1]} "
            "(common practice, no source)."
        )


def _spread(day: CrewDay) -> str:
    return f"{day.p50:,.0f} pollinations ({day.p10:,.0f} to {day.p90:,.0f})"


def _hands(day: CrewDay) -> str:
    if day.workers_p50 is None:
        return "too wet or hot to work"
    more = f", up to {day.workers_p90}" if day.workers_p90 and day.workers_p90 > day.workers_p50 else ""
    return f"{day.workers_p50} worker{'s' if day.workers_p50 != 1 else ''}{more}"


def read_speed(station: Station, up_to: date) -> Speed:
    """The crew's pace as phones' notes of the last years tell it.

    Notes
    -----
    Only notes of phones count: those of desk and paper carry the time of keying.
    """
    since = date(up_to.year - PACE_YEARS, 1, 1)
    every = NoteRecord.objects.filter(station=station, practice=False, taken_on__gte=since, taken_on__lte=up_to)
    undone = find_undone(as_note(one) for one in every.filter(replaces__isnull=False))
    found = every.filter(source="phone", kind__in=AT_WORK).exclude(worker="")
    columns = ("uuid", "worker", "taken_on", "taken_local", "kind", "value")
    timed = (
        TimedNote(worker, day, _minute(local), int(value) if kind == "pollinated" and value.isdecimal() else 0)
        for uuid, worker, day, local, kind, value in found.values_list(*columns)
        if str(uuid) not in undone
    )
    return measure_speed(gather_worker_days(timed))


def _minute(local: str) -> float:
    """Minute of the day of ``2031-07-21T10:05:30``."""
    return int(local[11:13]) * 60 + int(local[14:16]) + float(local[17:19]) / 60

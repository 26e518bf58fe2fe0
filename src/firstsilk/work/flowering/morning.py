"""How does the season stand this morning: heat, flowering, hands, crosses, frost, and what moved lately?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from firstsilk.answers import InputRefused
from firstsilk.records.models import Season
from firstsilk.work.climate.freshness import STALE_DAYS
from firstsilk.work.climate.ripe_told import RipeningGroups
from firstsilk.work.climate.ripening import read_ripening_groups
from firstsilk.work.climate.season import SeasonHeat, read_season_heat
from firstsilk.work.flowering.crew import CrewNeed, weigh_crew
from firstsilk.work.flowering.crosses_ahead import CrossAhead, judge_crosses
from firstsilk.work.flowering.forecast import RowForecast, SeasonForecast, read_forecast
from firstsilk.work.flowering.morning_told import Told, tell_morning
from firstsilk.work.flowering.season_demand import SeasonDemand, read_season_demand
from firstsilk.work.flowering.wave import EARS, MALES, PurposeShare, Wave, build_wave, share_by_purpose
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

STAGES = ("no rows", "planned", "sown", "flowering", "over", "killed")
NOT_CONSIDERED = (
    "hail, flooding, spraying and what animals take",
    "rain on the days of pollination",
    "frost before flowering",
    "a male row's pollen running short for many females",
)


@dataclass(frozen=True, slots=True)
class Moved:
    """What is new since a day: how the forecast moved and what was noted after it.

    `silk_days` is by how much later the rows still to silk are expected on the average, None where that cannot be told;
    `n_rows` how many rows that are; `units_a_day` and `usual_a_day` the heat of the days read since then.
    """

    since: date
    silk_days: float | None
    n_rows: int
    silk: int
    shed: int
    pollinations: int
    units_a_day: float | None
    usual_a_day: float | None
    days_read: int


@dataclass(frozen=True, slots=True)
class Morning:
    """The season as of a day.

    Attributes
    ----------
    season, site, today, closed_on
        Its name and site; the day it is seen from; that day again where the season is over and was looked back at from
        a later year, else None.
    stage
        One of `STAGES`.
    heat, ripening
        Heat against past years and the chance of ripening, at the season's site.
    wave, males
        Silk of the rows that bear ears, shed of the male rows; None without a forecast.
    purposes
        How far the rows of each purpose are.
    need
        Hands by day against the crew.
    crosses
        Who meets, those at risk first.
    moved
        What is new; None where there is nothing to compare with.
    why_no_forecast
        Why there is no forecast, in a sentence; empty if there is one.
    told
        The morning in sentences, each with the part of the page it belongs to.
    """

    season: str
    site: str
    today: date
    closed_on: date | None
    stage: str
    heat: SeasonHeat
    ripening: RipeningGroups
    wave: Wave | None
    males: Wave | None
    purposes: tuple[PurposeShare, ...]
    need: CrewNeed
    crosses: tuple[CrossAhead, ...]
    moved: Moved | None
    last_reading: date | None
    rows: tuple[RowForecast, ...]
    later_days: tuple[tuple[float, float], tuple[float, float]] | None
    why_no_forecast: str
    told: tuple[Told, ...]
    not_considered: tuple[str, ...]
    basis: Basis

    @property
    def at_risk(self) -> tuple[CrossAhead, ...]:
        """Crosses that may fail."""
        return tuple(one for one in self.crosses if one.at_risk)

    @property
    def reading_age_days(self) -> int | None:
        """Days since the last reading; None if there is none."""
        return None if self.last_reading is None else (self.today - self.last_reading).days

    @property
    def is_stale(self) -> bool:
        """Whether the weather is old, or there is none."""
        return self.reading_age_days is None or self.reading_age_days > STALE_DAYS

    @property
    def sentences(self) -> tuple[str, ...]:
        """All sentences, in order."""
        return tuple(one.text for one in self.told)


def read_morning(on: Occasion, season: str = "") -> Morning:
    """The season as a breeder looks at it in the morning.

    Parameters
    ----------
    on
        The occasion; what came after its `today` does not count.
    season
        The season's name; this year's if empty. One of an earlier year is seen as of its end.

    Raises
    ------
    InputRefused
        If there is no such season.

    Notes
    -----
    One forecast as of today and one as of a day before, for what moved; all else is made from the first. The number of
    queries does not grow with rows. Checked by ``tests/work/test_morning.py``.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    closed = _find_end(book)
    past = closed < on.today
    on = replace(on, today=closed) if past else on
    heat = read_season_heat(on, book.site.code)
    ripening = read_ripening_groups(on, book.site.code)
    demand = read_season_demand(on, book.name)
    need = weigh_crew(on, station, book, demand)
    forecast = demand.forecast
    silk, shed = (None, None) if forecast is None else (build_wave(forecast), build_wave(forecast, "shed", MALES))
    crosses = judge_crosses(demand.all_rows, forecast, on.today, _first(book.cutoff_on, demand.killed_on))
    stage = _find_stage(demand, book, on.today)
    moved = _find_moved(on, book, demand, heat) if stage in ("sown", "flowering") and not past else None
    return Morning(
        season=book.name,
        site=book.site.name,
        today=on.today,
        closed_on=closed if past else None,
        stage=stage,
        heat=heat,
        ripening=ripening,
        wave=silk,
        males=shed,
        purposes=() if forecast is None else share_by_purpose(forecast),
        need=need,
        crosses=crosses,
        moved=moved,
        last_reading=heat.last_reading,
        rows=() if forecast is None else forecast.rows,
        later_days=None if forecast is None else forecast.later_days,
        why_no_forecast=demand.why_unknown,
        told=tuple(tell_morning(stage, on.today, demand, heat, ripening, silk, shed, need, crosses, moved)),
        not_considered=NOT_CONSIDERED,
        basis=demand.basis,
    )


def _find_end(season: Season) -> date:
    """The last day on which anything of a season is looked at."""
    return date(season.year + 1, 6, 30) if season.site.latitude < 0 else date(season.year, 12, 31)


def _first(*days: date | None) -> date | None:
    return min((day for day in days if day is not None), default=None)


def _find_stage(demand: SeasonDemand, season: Season, today: date) -> str:
    rows = [row for row in demand.all_rows if row.purpose != "filler"]
    if not rows:
        return "no rows"
    if demand.killed_on is not None:
        return "killed"
    if season.cutoff_on is not None and today > season.cutoff_on:
        return "over"
    if demand.wanted and demand.standing >= demand.wanted:
        return "over"
    if any(row.state.silk_on or row.state.shed_on for row in rows):
        return "flowering"
    return "sown" if any(row.state.sown_on for row in rows) else "planned"


def _find_moved(on: Occasion, season: Season, demand: SeasonDemand, heat: SeasonHeat) -> Moved:
    """What is new since the day before; one day further back where the reading of the day itself is not in yet."""
    age = heat.reading_age_days
    since = on.today - timedelta(days=2 if age == 1 else 1)
    sown = [row for row in demand.all_rows if row.state.sown_on is not None]
    later, n_rows = _find_shift(on, season, demand.forecast, since)
    units, usual, n_days = _find_heat(heat, since)
    return Moved(
        since=since,
        silk_days=later,
        n_rows=n_rows,
        silk=sum(1 for row in sown if row.state.silk_on is not None and row.state.silk_on > since),
        shed=sum(1 for row in sown if row.state.shed_on is not None and row.state.shed_on > since),
        pollinations=sum(count for day, count in demand.made if day > since),
        units_a_day=units,
        usual_a_day=usual,
        days_read=n_days,
    )


def _find_shift(on: Occasion, season: Season, now: SeasonForecast | None, since: date) -> tuple[float | None, int]:
    """By how many days later the rows without a silk note are expected than they were, and how many rows."""
    if now is None:
        return None, 0
    try:
        before = read_forecast(replace(on, today=since), season.name)
    except InputRefused:
        return None, 0
    place = {row.number: at for at, row in enumerate(before.rows)}
    pairs = [
        (at, place[row.number])
        for at, row in enumerate(now.rows)
        if row.purpose in EARS and row.silk_on is None and row.number in place
    ]
    if not pairs:
        return None, 0
    ours, theirs = now.silk[[one for one, _ in pairs]], before.silk[[one for _, one in pairs]]
    known = np.isfinite(ours).all(axis=1) & np.isfinite(theirs).all(axis=1)
    if not known.any():
        return None, 0
    moved = ours[known].mean(axis=1) - theirs[known].mean(axis=1) + (on.today - since).days
    return float(moved.mean()), int(known.sum())


def _find_heat(heat: SeasonHeat, since: date) -> tuple[float | None, float | None, int]:
    """Units a day read since a day, what is usual on those days, and how many days they are."""
    to = heat.course.counted_to
    points = {point.day: point for point in heat.course.points}
    start, end = points.get(since), None if to is None else points.get(to)
    if start is None or end is None or to is None or to <= since or start.total is None or end.total is None:
        return None, None, 0
    days = (to - since).days
    usual = None
    if start.middle is not None and end.middle is not None:
        usual = (end.middle - start.middle) / days
    return (end.total - start.total) / days, usual, days

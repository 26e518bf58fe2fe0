"""Who can work in a season, and how long?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import CrewPlan, Season, Station
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station


@dataclass(frozen=True, slots=True)
class CrewFacts:
    """The crew as it is set for a season. `workers` know the work, `beginners` are new from `beginners_from` on;
    `per_hour` and `efficiency_frac` are None where the station's pace and the published share hold."""

    workers: int
    beginners: int
    beginners_from: date | None
    hours_a_day: float
    per_hour: float | None
    efficiency_frac: float | None


def read_crew_of(on: Occasion, season: str = "") -> CrewFacts | None:
    """The crew set for a season, by its name; None if there is none."""
    station = get_station(on.station)
    return read_crew_plan(station, get_season(station, season, on.today))


def read_crew_plan(station: Station, season: Season) -> CrewFacts | None:
    """The crew set for a season; None if there is none."""
    found = CrewPlan.objects.filter(station=station, season=season).first()
    if found is None:
        return None
    return CrewFacts(
        found.workers,
        found.beginners,
        found.beginners_from,
        found.hours_a_day,
        found.per_hour,
        found.efficiency_frac,
    )


MOST_WORKERS = 2000


def set_crew(on: Occasion, season: str, crew: CrewFacts) -> CrewFacts:
    """Write down who can work in a season; what was set before is replaced.

    Raises
    ------
    InputRefused
        If a number cannot be.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    _check_crew(crew, book)
    values = {
        "workers": crew.workers,
        "beginners": crew.beginners,
        "beginners_from": crew.beginners_from,
        "hours_a_day": crew.hours_a_day,
        "per_hour": crew.per_hour,
        "efficiency_frac": crew.efficiency_frac,
        "set_by": on.who[:150],
        "set_at": on.now,
    }
    with transaction.atomic():
        CrewPlan.objects.update_or_create(station=station, season=book, defaults=values)
    return crew


def _check_crew(crew: CrewFacts, season: Season) -> None:
    for name, count in (("workers", crew.workers), ("beginners", crew.beginners)):
        if not 0 <= count <= MOST_WORKERS:
            raise refuse("crew_count", f"{count} {name} cannot be.", f"Give a number from 0 to {MOST_WORKERS}.")
    if not 0 < crew.hours_a_day <= 16:
        raise refuse("crew_hours", f"{crew.hours_a_day:g} hours a day cannot be.", "Give hours above 0, up to 16.")
    if crew.per_hour is not None and not 0 < crew.per_hour <= 500:
        raise refuse("crew_rate", f"{crew.per_hour:g} pollinations an hour cannot be.", "Give 1 to 500, or nothing.")
    if crew.efficiency_frac is not None and not 0 < crew.efficiency_frac <= 1:
        raise refuse("crew_efficiency", f"A share of {crew.efficiency_frac:g} worked cannot be.", "Give 0.1 to 1.")
    if crew.beginners_from is not None and abs(crew.beginners_from.year - season.year) > 1:
        raise refuse("crew_from", f"{crew.beginners_from} lies far from season {season.name}.", "Check the year.")

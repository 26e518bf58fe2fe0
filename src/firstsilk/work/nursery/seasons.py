"""Which seasons are there, and how far is each?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q

from firstsilk.records.models import Season
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import seasons_on


@dataclass(frozen=True, slots=True)
class SeasonFacts:
    """One season: where it grows, its first sowing day and cutoff, how many rows and draft targets."""

    name: str
    year: int
    site: str
    sow_from: date | None
    cutoff_on: date | None
    rows: int
    drafts: int


def list_seasons(on: Occasion) -> tuple[SeasonFacts, ...]:
    """All seasons of the station, newest first."""
    drafts = Count("targets", filter=Q(targets__state="draft"), distinct=True)
    found = (
        seasons_on(get_station(on.station), on.today)
        .select_related("site")
        .annotate(n_rows=Count("rows", distinct=True), n_drafts=drafts)
        .order_by("-year", "-name")
    )
    return tuple(
        SeasonFacts(one.name, one.year, one.site.name, one.sow_from, one.cutoff_on, one.n_rows, one.n_drafts)
        for one in found
    )


def read_season_name(on: Occasion, name: str = "") -> str:
    """The season of this name; without a name the one of the day, else the latest; empty if there is none at all."""
    station = get_station(on.station)
    if not name and not Season.objects.filter(station=station).exists():
        return ""
    return get_season(station, name, on.today).name

"""Has anything changed since a page of the day was made? A light question, asked again and again."""

from __future__ import annotations

from hashlib import sha256

from django.db.models import Count, Max, Q

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Row, Season, Target, WeatherDay
from firstsilk.work.flowering.clock import find_moment
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station


def read_day_mark(on: Occasion, season: str) -> str:
    """A short mark that changes with the notes, the plan, the cutoff, the weather, and rows that open or are shut.

    Notes
    -----
    Five questions, none of which grows with the notes. Checked by tests/work/test_teams.py.
    """
    station = get_station(on.station)
    book = Season.objects.filter(station=station, name=season).values_list("pk", "cutoff_on", Max("sprays__pk")).first()
    newest = NoteRecord.objects.filter(station=station).aggregate(at=Max("position"))["at"]
    rows = Row.objects.filter(station=station, season__name=season)
    told = rows.aggregate(
        n=Count("pk"), shut=Count("pk", filter=Q(no_entry_until__gt=find_moment(on, station))), at=Max("no_entry_until")
    )
    wanted = Target.objects.filter(station=station, season__name=season).aggregate(n=Count("pk"), at=Max("pk"))
    weather = WeatherDay.objects.filter(station=station).aggregate(at=Max("pk"))["at"]
    said = repr((on.today, book, newest, sorted(told.items()), sorted(wanted.items()), weather))
    return sha256(said.encode()).hexdigest()[:16]

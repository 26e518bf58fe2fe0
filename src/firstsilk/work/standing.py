"""What was there on a day? Rows, promises, targets, trials and lines as the books stood.

Movements, notes, verdicts and results carry their day. A row or a trial carries none of its own: it came with the
promise of its seed, and a line of a harvest came with its lot. What was brought from outside was always there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, QuerySet

from firstsilk.records.models import Line, LineMerge, Movement, Reservation, Row, Season, Station, Target, Trial


def end_of_day(station: Station, day: date) -> datetime:
    """The instant at which a day ends at the station."""
    tomorrow = day + timedelta(days=1)
    return datetime(tomorrow.year, tomorrow.month, tomorrow.day, tzinfo=ZoneInfo(station.time_zone))


def promises_on(station: Station, day: date) -> QuerySet[Reservation]:
    """The promises that stood on a day: made by then and not released."""
    return Reservation.objects.filter(station=station, reserved_on__lte=day).exclude(released_on__lte=day)


def rows_on(station: Station, day: date) -> QuerySet[Row]:
    """Rows without those that were planned after the day."""
    later = Reservation.objects.filter(row=OuterRef("pk"), reserved_on__gt=day)
    return Row.objects.filter(station=station).exclude(Exists(later))


def targets_on(station: Station, day: date) -> QuerySet[Target]:
    """Targets without those that were asked for after the day."""
    return Target.objects.filter(station=station).exclude(asked_on__gt=day)


def trials_on(station: Station, day: date) -> QuerySet[Trial]:
    """Trials without those that were laid out after the day."""
    later = Reservation.objects.filter(trial=OuterRef("pk"), reserved_on__gt=day)
    return Trial.objects.filter(station=station).exclude(Exists(later))


def seasons_on(station: Station, day: date) -> QuerySet[Season]:
    """Seasons without those for which nothing had been asked by the day, though something was later."""
    later = Target.objects.filter(season=OuterRef("pk"), asked_on__gt=day)
    sooner = Target.objects.filter(season=OuterRef("pk")).exclude(asked_on__gt=day)
    rows = rows_on(station, day).filter(season=OuterRef("pk"))
    return Season.objects.filter(station=station).exclude(Exists(later) & ~Exists(sooner) & ~Exists(rows))


def lines_on(station: Station, day: date) -> QuerySet[Line]:
    """Lines without those whose first seed was harvested here after the day."""
    moves = Movement.objects.filter(lot__line=OuterRef("pk"), kernels__gt=0)
    later = moves.filter(reason="harvested", moved_on__gt=day)
    sooner = moves.filter(moved_on__lte=day)
    brought = moves.exclude(reason="harvested")
    return Line.objects.filter(station=station).exclude(Exists(later) & ~Exists(sooner) & ~Exists(brought))


def merges_on(station: Station, day: date | None = None) -> QuerySet[LineMerge]:
    """The merges of records that stood on a day: made by then and not undone; those that stand if no day is given."""
    merges = LineMerge.objects.filter(station=station)
    if day is None:
        return merges.filter(undone_on__isnull=True)
    return merges.filter(merged_on__lte=day).exclude(undone_on__lte=day)


def read_kept(station: Station, day: date | None = None) -> dict[int, int]:
    """For each record of a line merged away by a day, the number of the record that stands for both."""
    into = dict(merges_on(station, day).order_by("merged_on", "pk").values_list("gone", "kept"))
    kept = {}
    for gone, at in into.items():
        seen = {gone}
        while at in into and at not in seen:
            seen.add(at)
            at = into[at]
        kept[gone] = at
    return kept


def read_standing(station: Station, day: date | None = None) -> dict[int, Line]:
    """For each record merged away by a day, by number, the line that stands for it.

    What is counted by line goes through this, so that the facts of both records count for the line kept.
    """
    kept = read_kept(station, day)
    lines = Line.objects.in_bulk(set(kept.values())) if kept else {}
    return {gone: lines[to] for gone, to in kept.items()}


def read_kept_names(station: Station, day: date | None = None) -> dict[str, str]:
    """For the name of each record merged away by a day, the name of the line that stands for it."""
    standing = read_standing(station, day)
    names = Line.objects.filter(pk__in=standing).values_list("pk", "name") if standing else ()
    return {name: standing[pk].name for pk, name in names}


@dataclass(frozen=True, slots=True)
class MergedAway:
    """Why nothing new is asked of a record: the line it was found to be, and a sentence and repair that say so."""

    kept: str
    told: str
    repair: str


def find_merged_away(station: Station, day: date, lines: Iterable[Line]) -> dict[int, MergedAway]:
    """Those of these records that were merged into another line by a day, by number."""
    kept = read_kept(station, day)
    gone = {line.pk: line for line in lines if line.pk in kept}
    names = dict(Line.objects.filter(pk__in={kept[pk] for pk in gone}).values_list("pk", "name")) if gone else {}
    return {
        pk: MergedAway(
            names[kept[pk]], f"{line.name} was found to be one line with {names[kept[pk]]}", f"Name {names[kept[pk]]}"
        )
        for pk, line in gone.items()
    }

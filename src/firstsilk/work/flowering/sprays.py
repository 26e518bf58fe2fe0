"""What was sprayed, until when does nobody go in, and who was noted there all the same?

An entry is never changed. What was posted wrongly is set right by another entry on the same spraying, with its reason;
the newest entry of a spraying counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from firstsilk.answers import Finding, refuse
from firstsilk.records.models import Note, Row, Season, Spray, Station
from firstsilk.science.flowering.rows import find_undone
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.clock import find_moment, read_local
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

LONGEST_HOURS = 60 * 24
"""A longer interval than 60 days is a slip of the keyboard (a choice of ours)."""
DAYS_AHEAD = 7
"""A spraying is posted at most so many days before it happens (a choice of ours)."""
DAYS_BACK = 370
LONGEST_PRODUCT, LONGEST_REASON = 80, 200
AWAY = ("sown", "shelled", "crated", "dried", "weighed", "taken", "discarded")
"""Kinds of note that do not say that anybody stood in the row at that minute."""


@dataclass(frozen=True, slots=True)
class Spraying:
    """One spraying as its newest entry tells it; times by the station's clock.

    `entries` are all of it, oldest first, as (posted at, by whom, no entry until, reason). `ended_by` is the reason of
    the newest where it is not the first. `number` is that of the first entry and names the spraying.
    """

    number: int
    product: str
    first_row: int
    last_row: int
    sprayed_at: datetime
    no_entry_until: datetime
    posted_by: str
    runs: bool
    ended_by: str
    entries: tuple[tuple[datetime, str, datetime, str], ...]


@dataclass(frozen=True, slots=True)
class SprayList:
    """All sprayings of a season, newest first, and notes from rows inside an interval, as findings for the leader."""

    season: str
    time_zone: str
    sprayings: tuple[Spraying, ...]
    n_shut: int
    inside: tuple[Finding, ...]
    basis: Basis


def post_spray(
    on: Occasion, season: str, product: str, rows: tuple[int, int], sprayed_at: datetime, hours: float
) -> Spraying:
    """Post a spraying: nobody goes into its rows until the interval on the label is over.

    Parameters
    ----------
    on, season
        The occasion, and the season's name.
    product
        In words, as on the label.
    rows
        First and last row, both sprayed.
    sprayed_at
        When spraying ended, by the station's clock, without a time zone.
    hours
        The label's interval [h].

    Raises
    ------
    InputRefused
        If a value cannot be, or no row of the season lies there.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    product = " ".join(product.split())
    _check(on, book, product, rows, sprayed_at, hours)
    began = read_local(sprayed_at, station.time_zone)
    with transaction.atomic():
        if Spray.objects.filter(season=book, product=product, sprayed_at=began, first_row=rows[0], last_row=rows[1]):
            raise refuse(
                "spray_posted",
                f"This spraying of rows {rows[0]} to {rows[1]} is posted already.",
                "Change its end with a reason.",
            )
        made = Spray.objects.create(
            station=station,
            season=book,
            product=product,
            sprayed_at=began,
            no_entry_until=began + timedelta(hours=hours),
            first_row=rows[0],
            last_row=rows[1],
            posted_by=on.who[:150],
            posted_at=on.now,
        )
        _shut_rows(book, rows)
    return _find(on, station, book, made.pk)


def change_spray(on: Occasion, season: str, number: int, until: datetime | None, reason: str) -> Spraying:
    """Set the end of a spraying's interval anew by another entry: now if no time is given.

    Parameters
    ----------
    number
        Of the spraying.
    until
        The new end by the station's clock; None: now. Never before the spraying itself.
    reason
        Why, wanted: who reads it later must understand it.

    Raises
    ------
    InputRefused
        If there is no such spraying, the reason is missing, or the time cannot be.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    reason = " ".join(reason.split())
    if not 3 <= len(reason) <= LONGEST_REASON:
        raise refuse(
            "reason_missing", "An interval is not changed without a reason.", f"Give 3 to {LONGEST_REASON} signs."
        )
    with transaction.atomic():
        old = Spray.objects.select_for_update().filter(season=book, pk=number).first()
        if old is None:
            raise refuse("spray_unknown", f"There is no spraying {number} in season {book.name}.", "See the list.")
        end = find_moment(on, station) if until is None else read_local(until, station.time_zone)
        end = max(end, old.sprayed_at)
        if end - old.sprayed_at > timedelta(hours=LONGEST_HOURS):
            raise refuse("spray_hours", "That is more than 60 days after the spraying.", "Check the date.")
        Spray.objects.create(
            station=station,
            season=book,
            product=old.product,
            sprayed_at=old.sprayed_at,
            no_entry_until=end,
            first_row=old.first_row,
            last_row=old.last_row,
            posted_by=on.who[:150],
            posted_at=on.now,
            remark=reason,
        )
        _shut_rows(book, (old.first_row, old.last_row))
    return _find(on, station, book, number)


def read_sprays(on: Occasion, season: str = "") -> SprayList:
    """The sprayings of a season with their entries, and who was noted in a row inside its interval.

    Notes
    -----
    Only notes of phones tell a time; those of desk and paper carry the time of keying. An entry that was made shorter
    counts as it stands now. It is a finding for the leader, never a refusal: what has happened is noted.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    told = _read(on, station, book)
    inside, n_notes = _find_inside(station, book, told, on.today)
    n_shut = len({number for one in told if one.runs for number in range(one.first_row, one.last_row + 1)})
    used = (("entries of sprayings", sum(len(one.entries) for one in told)), ("notes of phones", n_notes))
    return SprayList(book.name, station.time_zone, told, n_shut, inside, Basis(used))


def _check(
    on: Occasion, season: Season, product: str, rows: tuple[int, int], sprayed_at: datetime, hours: float
) -> None:
    if not 2 <= len(product) <= LONGEST_PRODUCT:
        raise refuse("spray_product", "The product is not named.", f"Write it in 2 to {LONGEST_PRODUCT} signs.")
    if not 0 < hours <= LONGEST_HOURS:
        raise refuse("spray_hours", f"An interval of {hours:g} hours cannot be.", f"Give hours up to {LONGEST_HOURS}.")
    if sprayed_at.date() > on.today + timedelta(days=DAYS_AHEAD) or sprayed_at.date() < on.today - timedelta(
        days=DAYS_BACK
    ):
        raise refuse("spray_day", f"Sprayed on {sprayed_at.date()} cannot be posted on {on.today}.", "Check the date.")
    first, last = rows
    if not 1 <= first <= last:
        raise refuse("spray_rows", f"Rows {first} to {last} cannot be.", "Give the lower number first.")
    numbers = Row.objects.filter(season=season).order_by("number").values_list("number", flat=True)
    if not numbers.filter(number__gte=first, number__lte=last).exists():
        there = (numbers.first(), numbers.last())
        known = f"There are rows {there[0]} to {there[1]}." if there[0] is not None else "It has no rows yet."
        raise refuse("spray_rows", f"Season {season.name} has no row from {first} to {last}.", known)
    if last > (numbers.last() or 0):
        raise refuse("spray_rows", f"The last row of season {season.name} is {numbers.last()}.", "Check the numbers.")


def _key(one: Spray) -> tuple[str, datetime, int, int]:
    return one.product, one.sprayed_at, one.first_row, one.last_row


def _gather(season: Season) -> list[list[Spray]]:
    """The entries of each spraying, oldest first, in the order in which they were posted."""
    found: dict[tuple[str, datetime, int, int], list[Spray]] = {}
    for one in Spray.objects.filter(season=season).order_by("pk"):
        found.setdefault(_key(one), []).append(one)
    return list(found.values())


def _shut_rows(season: Season, rows: tuple[int, int]) -> None:
    """Write the latest end that counts into each of the rows; nothing where no spraying lies."""
    counts = [entries[-1] for entries in _gather(season)]
    changed = []
    for row in Row.objects.select_for_update().filter(season=season, number__gte=rows[0], number__lte=rows[1]):
        ends = [one.no_entry_until for one in counts if one.first_row <= row.number <= one.last_row]
        row.no_entry_until = max(ends, default=None)
        changed.append(row)
    Row.objects.bulk_update(changed, ["no_entry_until"], batch_size=500)


def _read(on: Occasion, station: Station, season: Season) -> tuple[Spraying, ...]:
    zone, moment = ZoneInfo(station.time_zone), find_moment(on, station)
    told = [_tell(entries, zone, moment) for entries in _gather(season)]
    told = [one for one in told if one.sprayed_at.date() <= on.today + timedelta(days=DAYS_AHEAD)]
    return tuple(sorted(told, key=lambda one: (one.sprayed_at, one.number), reverse=True))


def _tell(entries: Sequence[Spray], zone: ZoneInfo, moment: datetime) -> Spraying:
    newest = entries[-1]
    return Spraying(
        number=entries[0].pk,
        product=newest.product,
        first_row=newest.first_row,
        last_row=newest.last_row,
        sprayed_at=newest.sprayed_at.astimezone(zone),
        no_entry_until=newest.no_entry_until.astimezone(zone),
        posted_by=entries[0].posted_by,
        runs=newest.no_entry_until > moment,
        ended_by=newest.remark,
        entries=tuple(
            (one.posted_at.astimezone(zone), one.posted_by, one.no_entry_until.astimezone(zone), one.remark)
            for one in entries
        ),
    )


def _find(on: Occasion, station: Station, season: Season, number: int) -> Spraying:
    zone, moment = ZoneInfo(station.time_zone), find_moment(on, station)
    for entries in _gather(season):
        if any(one.pk == number for one in entries):
            return _tell(entries, zone, moment)
    raise refuse("spray_unknown", f"There is no spraying {number} in season {season.name}.", "See the list.")


def _find_inside(
    station: Station, season: Season, told: Iterable[Spraying], today: date
) -> tuple[tuple[Finding, ...], int]:
    """Who was noted by a phone in a row between its spraying and the end of its interval, each once a row."""
    spans = [_in_utc(one) for one in told]
    if not spans:
        return (), 0
    rows = dict(Row.objects.filter(season=season).values_list("tag", "number"))
    first, last = min(one.sprayed_at for one in spans), max(one.no_entry_until for one in spans)
    notes = Note.objects.filter(station=station, practice=False, taken_on__lte=today)
    undone = find_undone(as_note(one) for one in notes.filter(replaces__isnull=False))
    near = notes.filter(source="phone", taken_at__gte=first, taken_at__lt=last).exclude(kind__in=AWAY)
    columns = ("uuid", "tag", "worker", "taken_at", "taken_local")
    met: dict[tuple[int, int, str], list[str]] = {}
    n_notes = 0
    for uuid, tag, worker, at, local in near.order_by("taken_at").values_list(*columns):
        if tag not in rows or str(uuid) in undone:
            continue
        n_notes += 1
        for one in spans:
            if one.first_row <= rows[tag] <= one.last_row and one.sprayed_at <= at < one.no_entry_until:
                met.setdefault((one.number, rows[tag], worker), []).append(local)
    by_number = {one.number: one for one in told}
    return tuple(_say_inside(by_number[key[0]], key, times) for key, times in met.items()), n_notes


def _in_utc(one: Spraying) -> Spraying:
    """The spraying with its times in UTC, to be compared with notes."""
    return replace(one, sprayed_at=one.sprayed_at.astimezone(UTC), no_entry_until=one.no_entry_until.astimezone(UTC))


def _say_inside(spraying: Spraying, key: tuple[int, int, str], times: Sequence[str]) -> Finding:
    _, row, worker = key
    first, last = times[0], times[-1]
    when = f"{first[:10]} {first[11:16]}" + (f" to {last[:10]} {last[11:16]}" if len(times) > 1 else "")
    who = f"worker {worker}" if worker else "somebody without a code"
    return Finding(
        "inside_interval",
        f"{who} was noted in row {row} on {when}; it was sprayed with {spraying.product} and is shut until "
        f"{spraying.no_entry_until:%Y-%m-%d %H:%M}",
        value=f"{len(times)} note{'s' if len(times) != 1 else ''}",
        repair="Speak with them today, wash and change as the label says, and see whether the row was posted",
        stops=False,
    )

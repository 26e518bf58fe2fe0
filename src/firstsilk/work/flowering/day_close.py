"""Is everything of this day in, and may phones let its notes go? The crew leader closes the day.

Closing changes no note: it writes down what was known, and the newest link of the chain, so that a printed sheet holds
it outside the books. A note of a closed day that comes later is stored like any other and shows as late.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Count, Q

from firstsilk.answers import refuse
from firstsilk.records.models import DayClose, KeyedSheet, Station
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.bag_day import BagDay, count_bag_day
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.devices import DeviceFacts, list_devices
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station

TOLD_DAYS = 30
"""A phone is told of the days closed within so many days: it keeps notes for two weeks at most. Ours."""
LONGEST_REASON = 300
MOST_LATE_SHOWN = 100


@dataclass(frozen=True, slots=True)
class PhoneDay:
    """One phone on the day: what it told and what came. `of_day` are the notes of the day itself."""

    phone: DeviceFacts
    of_day: int
    met: bool


@dataclass(frozen=True, slots=True)
class DoubtedNote:
    """A note of the day in doubt, or one that came late: its place in the chain, when it came, and itself."""

    position: int
    received_at: datetime
    note: Note


@dataclass(frozen=True, slots=True)
class ClosedDay:
    """A closed day: when, by whom, with which newest note, and the remark; `counts` as known at that moment."""

    day: date
    closed_at: datetime
    closed_by: str
    head_position: int
    head_hash: str
    remark: str
    counts: dict[str, int]


@dataclass(frozen=True, slots=True)
class DayStanding:
    """All that there is to know before a day is closed, or about one that is.

    Parameters
    ----------
    phones
        Every phone that has joined, by number.
    bags
        Bags and ears of the day, from the notes that stand.
    doubted
        Notes of the day in doubt.
    waits
        Why one might wait with closing, as sentences; empty if nothing is known to be missing.
    closed
        The closing, if the day is closed.
    late
        Notes of the day that came after it was closed; the first `MOST_LATE_SHOWN`, of `n_late`.
    head_position, head_hash
        The newest link of the chain now.
    """

    day: date
    phones: tuple[PhoneDay, ...]
    bags: BagDay
    doubted: tuple[DoubtedNote, ...]
    waits: tuple[str, ...]
    closed: ClosedDay | None
    late: tuple[DoubtedNote, ...]
    n_late: int
    n_notes: int
    head_position: int
    head_hash: str
    basis: Basis


def read_day_standing(on: Occasion) -> DayStanding:
    """Whether the occasion's day can be closed, and what was known when it was."""
    station = get_station(on.station)
    day = on.today
    of_day = NoteRecord.objects.filter(station=station, taken_on=day, practice=False)
    close = DayClose.objects.filter(station=station, day=day).first()
    late = of_day.filter(position__gt=close.head_position) if close is not None else of_day.none()
    phones = _read_phones(on, station)
    head = _read_head(station)
    n_notes = of_day.count()
    bags = count_bag_day(_read_standing(station, day), day)
    return DayStanding(
        day=day,
        phones=phones,
        bags=bags,
        doubted=_tell_notes(of_day.exclude(doubt="")),
        waits=_tell_waits(station, phones, day),
        closed=None if close is None else _tell_close(close),
        late=_tell_notes(late)[:MOST_LATE_SHOWN],
        n_late=late.count(),
        n_notes=n_notes,
        head_position=head[0],
        head_hash=head[1],
        basis=Basis((("notes of the day", n_notes), ("phones", len(phones))), _tell_missing(phones)),
    )


def close_day(on: Occasion, reason: str = "") -> ClosedDay:
    """Close the occasion's day, once.

    Parameters
    ----------
    reason
        Why it is closed although notes are known to be missing; kept with the closing.

    Raises
    ------
    InputRefused
        ``day_closed`` if it is closed already, ``day_not_in`` if something is missing and no reason is given.
    """
    reason = reason.strip()
    if len(reason) > LONGEST_REASON:
        raise refuse("reason_long", f"The reason has {len(reason)} signs, at most {LONGEST_REASON} fit.", "Shorten it.")
    with transaction.atomic():
        # No note may come between what is counted and the head that is written down.
        Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        standing = read_day_standing(on)
        if standing.closed is not None:
            raise refuse("day_closed", f"{on.today} was closed by {standing.closed.closed_by}.", "Nothing to do.")
        if standing.waits and not reason:
            told = f"Not everything of {on.today} is in: {' '.join(standing.waits)}"
            raise refuse("day_not_in", told, "Bring these phones to the network, or close it and write why.")
        made = DayClose.objects.create(
            station=get_station(on.station),
            day=on.today,
            closed_at=on.now,
            closed_by=on.who[:150],
            counts=_count(standing),
            head_position=standing.head_position,
            head_hash=standing.head_hash,
            remark=reason,
        )
    return _tell_close(made)


def list_closed_days(on: Occasion, within_days: int = TOLD_DAYS) -> tuple[date, ...]:
    """The days closed of late, oldest first: phones may let their confirmed notes of them go."""
    first = on.today - timedelta(days=within_days)
    closed = DayClose.objects.filter(station__code=on.station, day__gte=first, day__lte=on.today)
    return tuple(closed.order_by("day").values_list("day", flat=True))


def read_closed_heads(station: Station) -> dict[date, int]:
    """Each closed day and the newest place in the chain when it was closed: what lies above came late."""
    return dict(DayClose.objects.filter(station=station).values_list("day", "head_position"))


def _read_head(station: Station) -> tuple[int, str]:
    newest = NoteRecord.objects.filter(station=station).order_by("-position").values_list("position", "hash").first()
    return newest or (0, "")


def _read_phones(on: Occasion, station: Station) -> tuple[PhoneDay, ...]:
    counted = dict(
        NoteRecord.objects.filter(station=station, taken_on=on.today)
        .order_by("device")
        .values_list("device")
        .annotate(n=Count("id"))
    )
    of_day = {str(device): n for device, n in counted.items()}
    zone = ZoneInfo(station.time_zone)
    joined = [one for one in list_devices(on) if one.state in ("enrolled", "revoked") or one.n_notes]
    return tuple(
        PhoneDay(
            one,
            of_day.get(one.uuid, 0),
            # A station that holds its day has no clock to compare with.
            station.held_date is not None
            or (one.last_seen_at is not None and one.last_seen_at.astimezone(zone).date() >= on.today),
        )
        for one in joined
        if one.state != "desk"
    )


def _tell_missing(phones: Iterable[PhoneDay]) -> tuple[str, ...]:
    missing = sum(one.phone.n_missing for one in phones)
    return (f"{missing:,} numbered note{'s' if missing > 1 else ''} that never came",) if missing else ()


def _tell_waits(station: Station, phones: Iterable[PhoneDay], day: date) -> tuple[str, ...]:
    waits = []
    for one in phones:
        phone, name = one.phone, f"Phone {one.phone.number} ({one.phone.label})"
        if phone.gaps:
            ranges = ", ".join(str(first) if first == last else f"{first} to {last}" for first, last in phone.gaps)
            waits.append(f"{name} numbered notes that never came: {ranges}.")
        if phone.waiting:
            waits.append(f"{name} said that it still holds {phone.waiting} note{'s' if phone.waiting > 1 else ''}.")
        if phone.state == "enrolled" and not one.met:
            seen = phone.last_seen_at.astimezone(ZoneInfo(station.time_zone)).date() if phone.last_seen_at else None
            waits.append(f"{name} was not met on {day} or later" + (f", last on {seen}." if seen else ", nor ever."))
    return (*waits, *_tell_sheets(station, day))


def _tell_sheets(station: Station, day: date) -> tuple[str, ...]:
    """Paper sheets of the day that are keyed and not settled: their notes are not made yet."""
    sheets = KeyedSheet.objects.filter(station=station, day=day, settled_at=None).exclude(cells__lines={})
    codes = sorted(set(sheets.values_list("sheet", flat=True)))
    return tuple(f"Paper sheet {print_tag(code)} is keyed in and not settled." for code in codes)


def _read_standing(station: Station, day: date) -> list[Note]:
    """The notes that stand and matter to the day's bags: the day's own, and all that speak of a bag."""
    wanted = Q(taken_on=day) | Q(replaces__isnull=False) | Q(kind="tassel_bagged", bag__gt="")
    records = NoteRecord.objects.filter(wanted, station=station, practice=False)
    return keep_standing_notes(as_note(one) for one in records.iterator(chunk_size=2000))[0]


def _tell_notes(records: Iterable[NoteRecord]) -> tuple[DoubtedNote, ...]:
    told: Sequence[NoteRecord] = sorted(records, key=lambda one: one.position)
    return tuple(DoubtedNote(one.position, one.received_at, as_note(one)) for one in told)


def _count(standing: DayStanding) -> dict[str, int]:
    missing = sum(one.phone.n_missing for one in standing.phones)
    return {
        "notes": standing.n_notes,
        "phones": len(standing.phones),
        "missing": missing,
        "waiting": sum(one.phone.waiting for one in standing.phones),
        "doubted": len(standing.doubted),
        **asdict(standing.bags),
    }


def _tell_close(close: DayClose) -> ClosedDay:
    return ClosedDay(
        day=close.day,
        closed_at=close.closed_at,
        closed_by=close.closed_by or "nobody named",
        head_position=close.head_position,
        head_hash=close.head_hash,
        remark=close.remark,
        counts=dict(close.counts),
    )

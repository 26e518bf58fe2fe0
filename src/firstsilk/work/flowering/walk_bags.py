"""Which bags with a code hang in the field, and which were used already?

A phone that finds a bag in the morning has seldom hung it in the evening: it takes the bag's male and type from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Station
from firstsilk.science.flowering.bags import Bag, read_bags
from firstsilk.science.flowering.rows import find_undone
from firstsilk.work.flowering.chain import as_note

REGISTER_DAYS = 4
"""Bags of so many days travel: pollen is used the morning after, at most two days on; the rest is for finding bags that
are used once more (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class WalkBag:
    """One bag with a code: tags of the rows whose tassels it covered, the type written on it, the day it was hung.

    `used_on` is the day of its pollination and `used_rows` the tags of its rows; empty while it was not used.
    """

    bag: str
    males: tuple[str, ...]
    type: str
    hung_on: str
    used_on: str
    used_rows: tuple[str, ...]


def list_walk_bags(station: Station, today: date) -> tuple[WalkBag, ...]:
    """The bags that standing notes of the last days name, by code; of a code that comes again, the last bag."""
    since = today - timedelta(days=REGISTER_DAYS)
    recent = NoteRecord.objects.filter(station=station, practice=False, taken_on__gte=since, taken_on__lte=today)
    undone = find_undone(as_note(one) for one in recent.filter(replaces__isnull=False))
    named = recent.filter(kind__in=("tassel_bagged", "pollinated")).exclude(bag="").order_by("position")
    notes = (as_note(record) for record in named.iterator(chunk_size=2000))
    bags = {bag.code: bag for bag in read_bags(note for note in notes if note.id not in undone)}
    return tuple(_as_walk_bag(bag) for bag in bags.values())


def _as_walk_bag(bag: Bag) -> WalkBag:
    said = sorted({use.male for use in bag.uses if use.male})
    types = bag.types or tuple(sorted({use.type for use in bag.uses if use.type}))
    return WalkBag(
        bag=bag.code,
        males=tuple(tag for tag in bag.males if tag) if bag.put_on else tuple(said),
        type=types[0] if len(types) == 1 else "",
        hung_on=bag.put_on[-1].isoformat() if bag.put_on else "",
        used_on=bag.uses[0].on.isoformat() if bag.uses else "",
        used_rows=tuple(sorted({use.tag for use in bag.uses if use.tag})),
    )

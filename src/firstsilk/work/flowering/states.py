"""What do the notes say about these rows?"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import TypeVar

from django.db.models import CharField, Q, QuerySet
from django.db.models.functions import Cast

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Row, Station
from firstsilk.science.flowering.notes import BriefNote, Note, Told
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.work.flowering.chain import as_note

N = TypeVar("N", bound=Told)
MOST_TAGS_ASKED = 10_000
"""A database takes only so many values in one question (a choice of ours)."""
_TOLD = ("key", "kind", "detail", "tag", "male", "bag", "value", "taken_local", "doubt", "undoes")


def read_states(
    station: Station,
    tags: Iterable[str] | QuerySet[Row, str] | None = None,
    up_to: date | None = None,
    kinds: Sequence[str] = (),
) -> dict[str, RowState]:
    """The state of rows by tag, from all notes taken up to a day; of all rows if no tags are given.

    A question for tags (``rows.values_list("tag", flat=True)``) is asked within the one for notes, however many it has.
    With `kinds` only notes of these kinds are read (and those that replace or take one back, whatever their kind): what
    other kinds tell is then missing from the state, or there in part.
    """
    if tags is None:
        return _read_told(_tell(_of_kinds(_choose(station, up_to), kinds)))
    if isinstance(tags, QuerySet):
        return _read_told(_read_about(station, tags, up_to, kinds))
    return _read_told(_gather(station, set(tags), up_to, kinds, _tell))


def _of_kinds(records: QuerySet[NoteRecord], kinds: Sequence[str]) -> QuerySet[NoteRecord]:
    """Records of these kinds, of all if none is named, and those that replace or take one back."""
    return records.filter(Q(kind__in=kinds) | Q(replaces__isnull=False)) if kinds else records


def _read_about(
    station: Station, tags: QuerySet[Row, str], up_to: date | None, kinds: Sequence[str] = ()
) -> list[BriefNote]:
    """Brief notes about rows that a question names, and the tassels in the bags that these were pollinated from."""
    every = _choose(station, up_to)
    told = list(_tell(_of_kinds(every.filter(tag__in=tags) | every.filter(replaces__isnull=False), kinds)))
    if codes := _find_codes(told):
        bags = _choose_bags(station, codes, up_to)
        # Tassels of the rows asked for are at hand, unless only some kinds of notes were read.
        told += [note for note in _tell(bags if kinds else bags.exclude(tag__in=tags)) if note.bag in codes]
    return told


def _read_told(notes: Iterable[BriefNote]) -> dict[str, RowState]:
    """States with the ids of their conflicts as they are written."""
    states = read_row_states(notes)
    for tag, state in states.items():
        if state.conflicts:
            states[tag] = replace(state, conflicts=tuple(dash_id(one) for one in state.conflicts))
    return states


def _gather(
    station: Station,
    tags: set[str],
    up_to: date | None,
    kinds: Sequence[str],
    tell: Callable[[QuerySet[NoteRecord]], Iterable[N]],
) -> list[N]:
    """As `_gather_few`, of any number of tags: so many at once as a database takes in one question."""
    asked = sorted(tags)
    found: dict[str, N] = {}
    for at in range(0, len(asked), MOST_TAGS_ASKED):
        some = set(asked[at : at + MOST_TAGS_ASKED])
        found |= {note.id: note for note in _gather_few(station, some, up_to, kinds, tell)}
    return list(found.values())


def _gather_few(
    station: Station,
    tags: set[str],
    up_to: date | None,
    kinds: Sequence[str],
    tell: Callable[[QuerySet[NoteRecord]], Iterable[N]],
) -> list[N]:
    """Notes about few tags and their bags, and those by which these no longer stand; no others, however many there are.

    A note that undoes one of them may have another tag, and may itself be undone by one: each step is one question.
    """
    every = _choose(station, up_to)
    about = every.filter(tag__in=tags)
    about = about.filter(kind__in=kinds) if kinds else about
    notes = {note.id: note for note in tell(about)}
    sources = [about]
    if codes := _find_codes(notes.values()):
        sources.append(_choose_bags(station, codes, up_to))
        notes |= {note.id: note for note in tell(sources[-1])}
    undoing = [note for one in sources for note in tell(every.filter(replaces__in=one.values("uuid")))]
    # One that was read as a note of these tags has been asked after already, whatever undoes it.
    fresh = {note.id: note for note in undoing if note.id not in notes}
    return [*notes.values(), *fresh.values(), *find_undoing(every, {*notes, *fresh}, fresh, tell)]


def find_undoing(
    every: QuerySet[NoteRecord],
    known: Collection[str],
    ids: Iterable[str],
    tell: Callable[[QuerySet[NoteRecord]], Iterable[N]],
) -> list[N]:
    """Notes by which these no longer stand, and those by which these in turn do not; without those `known` already."""
    found: dict[str, N] = {}
    asked = list(ids)
    while asked:
        told = [note for note in tell(every.filter(replaces__in=asked)) if note.id not in found]
        fresh = {note.id: note for note in told if note.id not in known}
        found |= fresh
        asked = list(fresh)
    return list(found.values())


def _tell(records: QuerySet[NoteRecord]) -> Iterator[BriefNote]:
    """Only what a state is made of: a nursery has a hundred thousand notes, and whole ones take three times as long."""
    told = records.annotate(key=Cast("uuid", CharField()), undoes=Cast("replaces", CharField()))
    # A season has few days: each is read once.
    days: dict[str, date] = {}
    for key, kind, detail, tag, male, bag, value, taken, doubt, undoes in told.values_list(*_TOLD).iterator(5000):
        text = taken[:10]
        if text not in days:
            days[text] = date.fromisoformat(text)
        yield BriefNote(key, kind, detail, tag, male, bag, value, taken, days[text], doubt, undoes or "")


def _find_codes(notes: Iterable[Told]) -> set[str]:
    """Bags whose males the pollination notes leave to the bag: they may hang on rows that were not asked for."""
    return {note.bag for note in notes if note.kind == "pollinated" and note.bag and not (note.male and note.detail)}


def _choose_bags(station: Station, codes: set[str], up_to: date | None) -> QuerySet[NoteRecord]:
    """The notes of tassels put into these bags, whatever their row."""
    records = _choose(station, up_to).filter(kind="tassel_bagged").exclude(bag="")
    return records.filter(bag__in=codes) if len(codes) <= MOST_TAGS_ASKED else records


def dash_id(key: str) -> str:
    """A note's id as it is written; SQLite keeps it without dashes, and making a UUID of it takes far longer."""
    return key if len(key) > 32 else f"{key[:8]}-{key[8:12]}-{key[12:16]}-{key[16:20]}-{key[20:]}"


def read_notes(station: Station, tags: Iterable[str] | None = None, up_to: date | None = None) -> list[Note]:
    """The notes about these tags as values. A note that replaces or takes one back comes along, whatever its tag, and
    so do the tassels in the bags that these rows were pollinated from."""
    if tags is None:
        return list(tell_whole(_choose(station, up_to)))
    return _gather(station, set(tags), up_to, (), tell_whole)


def read_brief_notes(station: Station, tags: QuerySet[Row, str], up_to: date | None = None) -> list[BriefNote]:
    """As `read_notes`, of any number of rows, and only what a state or a check is made of; ids as they are written."""
    told = _read_about(station, tags, up_to)
    return [note._replace(id=dash_id(note.id), replaces=note.replaces and dash_id(note.replaces)) for note in told]


def tell_whole(records: QuerySet[NoteRecord]) -> Iterator[Note]:
    """Notes as they were written, one at a time."""
    return (as_note(record) for record in records.iterator(chunk_size=5000))


def _choose(station: Station, up_to: date | None) -> QuerySet[NoteRecord]:
    """All records that are no practice, up to a day if one is given."""
    records = NoteRecord.objects.filter(station=station, practice=False)
    return records if up_to is None else records.filter(taken_on__lte=up_to)

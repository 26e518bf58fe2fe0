"""What do the notes say about these rows?"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db.models import CharField, QuerySet
from django.db.models.functions import Cast

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Row, Station
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.work.flowering.chain import as_note

MOST_TAGS_ASKED = 10_000
"""A database takes only so many values in one question; with more tags all notes are read and sifted here. Ours."""
_TOLD = ("key", "kind", "detail", "tag", "male", "bag", "value", "taken_local", "doubt", "undoes")


def read_states(
    station: Station, tags: Iterable[str] | QuerySet[Row, str] | None = None, up_to: date | None = None
) -> dict[str, RowState]:
    """The state of rows by tag, from all notes taken up to a day; of all rows if no tags are given.

    A question for tags (``rows.values_list("tag", flat=True)``) is asked within the one for notes, however many it has.
    """
    wanted = tags if tags is None or isinstance(tags, QuerySet) else set(tags)
    told = _choose(station, wanted, up_to).annotate(key=Cast("uuid", CharField()), undoes=Cast("replaces", CharField()))
    found = told.values_list(*_TOLD).iterator(chunk_size=5000)
    # Only what a state is made of: a nursery has a hundred thousand notes, and whole ones take three times as long.
    notes = (
        Note(_dash(key), "", 0, "", kind, detail, tag, male, bag, None, value, "", taken, 0, "", "", 0, False, doubt,
             "", _dash(undoes) if undoes else "")
        for key, kind, detail, tag, male, bag, value, taken, doubt, undoes in found
    )  # fmt: skip
    if isinstance(wanted, set):
        return read_row_states(note for note in notes if note.tag in wanted or note.replaces)
    return read_row_states(notes)


def _dash(key: str) -> str:
    """A note's id as it is written; SQLite keeps it without dashes, and making a UUID of it takes far longer."""
    return key if len(key) > 32 else f"{key[:8]}-{key[8:12]}-{key[12:16]}-{key[16:20]}-{key[20:]}"


def read_notes(station: Station, tags: Iterable[str] | None = None, up_to: date | None = None) -> list[Note]:
    """The notes about these tags as values; a note that replaces or takes one back comes along, whatever its tag."""
    wanted = None if tags is None else set(tags)
    notes = [as_note(record) for record in _choose(station, wanted, up_to).iterator(chunk_size=5000)]
    return notes if wanted is None else [note for note in notes if note.tag in wanted or note.replaces]


def _choose(station: Station, tags: set[str] | QuerySet[Row, str] | None, up_to: date | None) -> QuerySet[NoteRecord]:
    """Records about these tags, or more where there are too many tags to ask for."""
    records = NoteRecord.objects.filter(station=station, practice=False)
    if isinstance(tags, QuerySet) or (tags is not None and len(tags) <= MOST_TAGS_ASKED):
        records = records.filter(tag__in=tags) | records.filter(replaces__isnull=False)
    return records if up_to is None else records.filter(taken_on__lte=up_to)

"""What do the notes say about these rows?"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Station
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.work.flowering.chain import as_note


def read_states(station: Station, tags: Iterable[str] | None = None, up_to: date | None = None) -> dict[str, RowState]:
    """The state of rows by tag, from all notes taken up to a day; of all rows if no tags are given."""
    return read_row_states(read_notes(station, tags, up_to))


def read_notes(station: Station, tags: Iterable[str] | None = None, up_to: date | None = None) -> list[Note]:
    """The notes about these tags as values; a note that replaces or takes one back comes along, whatever its tag."""
    records = NoteRecord.objects.filter(station=station, practice=False)
    if tags is not None:
        records = records.filter(tag__in=list(tags)) | records.filter(replaces__isnull=False)
    if up_to is not None:
        records = records.filter(taken_on__lte=up_to)
    return [as_note(record) for record in records.iterator(chunk_size=5000)]

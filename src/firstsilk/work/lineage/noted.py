"""Which notes speak of a line, on its rows, lots and plots, and of those merged into it?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from firstsilk.records.models import Line, Lot, Plot, Row, Station
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import find_undone
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.note_names import name_note, read_device_numbers
from firstsilk.work.flowering.states import find_undoing, tell_whole
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_line, get_station
from firstsilk.work.standing import read_kept

PAGE_NOTES = 20


@dataclass(frozen=True, slots=True)
class LineNote:
    """One note about a line: how it is called (``phone 3, note 212``), its id, the day, what it says and of what.

    `about` is ``row 12 of 2031``, ``lot L7`` or ``plot 3 of T1``; `sort` and `tag` say whose page tells of it: ``row``,
    ``lot`` or ``plot``. `male` is the male's row in words. `fate` is ``stands``, ``replaced``, ``taken back`` or
    ``takes back``. `record` as for `LotFacts`.
    """

    name: str
    id: str
    taken_on: date
    kind: str
    detail: str
    value: str
    bag: str
    male: str
    worker: str
    about: str
    sort: str
    tag: str
    fate: str
    doubt: str
    record: str = ""


@dataclass(frozen=True, slots=True)
class LineNotes:
    """One page of the notes about a line, the newest first; `n_found` on all pages."""

    line: str
    notes: tuple[LineNote, ...]
    n_found: int
    page: int
    n_pages: int
    basis: Basis


@dataclass(frozen=True, slots=True)
class _About:
    """What hangs on a tag: in words, of which sort, and for which record of the line it was written."""

    told: str
    sort: str
    record: str


def list_line_notes(on: Occasion, name: str, page: int = 1, size: int = PAGE_NOTES) -> LineNotes:
    """The notes about a line's rows, lots and plots up to a day, a page at a time.

    Parameters
    ----------
    on
        The occasion; notes taken after its day do not count, nor do those written for practice.
    name
        The line, by any of its names.
    page
        From 1; a page beyond the last is the last.
    size
        Notes on a page; 0 for all of them on one.

    Raises
    ------
    InputRefused
        If there is no such line.

    Notes
    -----
    Checked by tests/work/test_line_notes.py.
    """
    station = get_station(on.station)
    line = get_line(station, name)
    about = _read_tags(station, line, on.today)
    every = NoteRecord.objects.filter(station=station, practice=False, taken_on__lte=on.today)
    found = every.filter(tag__in=list(about))
    n_found = found.count()
    size = size or max(1, n_found)
    n_pages = max(1, -(-n_found // size))
    page = min(max(1, page), n_pages)
    shown = found.order_by("-taken_at", "-position")[(page - 1) * size : page * size]
    notes = _tell_notes(station, every, [as_note(record) for record in shown], about)
    return LineNotes(line.name, notes, n_found, page, n_pages, Basis((("notes", n_found),)))


def _read_tags(station: Station, line: Line, day: date) -> dict[str, _About]:
    """What of the line, and of records merged into it, bears a tag."""
    gone = [pk for pk, stands in read_kept(station, day).items() if stands == line.pk]
    records = dict(Line.objects.filter(pk__in=gone).values_list("pk", "name")) if gone else {}
    numbers = [line.pk, *records]
    rows = Row.objects.filter(station=station, line__in=numbers).values_list("tag", "number", "season__name", "line")
    lots = Lot.objects.filter(station=station, line__in=numbers).values_list("tag", "name", "line")
    plots = Plot.objects.filter(station=station, entry__in=numbers).exclude(tag="")
    of_plots = plots.values_list("tag", "number", "trial__name", "entry")
    return {
        **{tag: _About(f"row {number} of {season}", "row", records.get(of, "")) for tag, number, season, of in rows},
        **{tag: _About(f"lot {called}", "lot", records.get(of, "")) for tag, called, of in lots},
        **{
            tag: _About(f"plot {number} of {trial}", "plot", records.get(of, "")) for tag, number, trial, of in of_plots
        },
    }


def _tell_notes(
    station: Station, every: QuerySet[NoteRecord], notes: Sequence[Note], about: Mapping[str, _About]
) -> tuple[LineNote, ...]:
    ids = [note.id for note in notes]
    undoing = find_undoing(every, ids, ids, tell_whole) if ids else []
    by_id = {note.id: note for note in (*notes, *undoing)}
    undone = find_undone(by_id.values())
    devices, males = read_device_numbers(station), _read_males(station, notes)
    return tuple(
        LineNote(
            name=name_note(note, devices),
            id=note.id,
            taken_on=note.taken_on,
            kind=note.kind,
            detail=note.detail,
            value=note.value,
            bag=note.bag,
            male="" if note.male == note.tag else males.get(note.male, note.male),
            worker=note.worker,
            about=about[note.tag].told,
            sort=about[note.tag].sort,
            tag=note.tag,
            fate=_tell_fate(note, by_id.get(undone.get(note.id, ""))),
            doubt=note.doubt and (note.doubt_reason or note.doubt.replace("_", " ")),
            record=about[note.tag].record,
        )
        for note in notes
    )


def _tell_fate(note: Note, by: Note | None) -> str:
    if by is not None:
        return "taken back" if by.kind == "withdrawn" else "replaced"
    return "takes back" if note.kind == "withdrawn" else "stands"


def _read_males(station: Station, notes: Iterable[Note]) -> dict[str, str]:
    """How the males' rows are called, by tag."""
    tags = {note.male for note in notes if note.male and note.male != note.tag}
    rows = Row.objects.filter(station=station, tag__in=tags).values_list("tag", "number", "season__name", "line__name")
    return {tag: f"row {number} of {season}, {line}" for tag, number, season, line in rows} if tags else {}

"""Are all notes about a line told, by their names, with what became of each, and never those of other lines?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from firstsilk.records.models import Line, LineMerge, Lot, Note
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.lineage.noted import list_line_notes
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db
DAY = date(2031, 7, 20)


@pytest.fixture
def field():
    """Two lines with a row each, the first with a lot."""
    station = make_station()
    season = make_season(station)
    lines = [make_line(station, name) for name in ("A", "B")]
    make_lot(lines[0])
    return station, [make_row(season, at + 1, line) for at, line in enumerate(lines)]


def test_notes_on_rows_and_lots_of_a_line_are_told_the_newest_first_by_their_names(field):
    on, (row, other) = occasion(DAY), field[1]
    take_note(on, row, "stand", 20, date(2031, 6, 1))
    take_note(on, other, "stand", 7)
    write_notes(on, [NoteDraft("remarked", Lot.objects.get().tag, value="Dusty.", taken_local="2031-07-02T09:00:00")])
    take_note(on, row, "silk", date(2031, 7, 19), date(2031, 7, 19))
    found = list_line_notes(on, "A")
    assert [(one.kind, one.about) for one in found.notes] == [
        ("silk", "row 1 of 2031"),
        ("remarked", "lot A-30"),
        ("stand", "row 1 of 2031"),
    ]
    numbers = [Note.objects.get(uuid=one.id).device_number for one in found.notes]
    assert [one.name for one in found.notes] == [f"desk 1, note {number}" for number in numbers]
    assert (found.n_found, found.n_pages, found.basis.as_text()) == (3, 1, "Rests on 3 notes. Nothing was missing.")


def test_a_note_replaced_or_taken_back_says_so_whatever_page_its_undoing_is_on(field):
    on, row = occasion(DAY), field[1][0]
    wrong = take_note(on, row, "stand", 12, date(2031, 6, 1))
    take_note(on, row, "stand", 21, date(2031, 6, 2), replaces=wrong)
    gone = take_note(on, row, "silk", date(2031, 7, 10), date(2031, 7, 10))
    write_notes(on, [NoteDraft("withdrawn", "", value="Wrong row.", replaces=gone, taken_local="2031-07-11T10:00:00")])
    fates = [one.fate for page in (1, 2, 3) for one in list_line_notes(on, "A", page, size=1).notes]
    assert fates == ["taken back", "stands", "replaced"]


def test_notes_taken_later_do_not_count_and_pages_too_far_are_the_last(field):
    on, row = occasion(DAY), field[1][0]
    for day in range(1, 6):
        take_note(on, row, "remarked", f"day {day}", date(2031, 7, day))
    early = replace(on, today=date(2031, 7, 3))
    assert list_line_notes(early, "A").n_found == 3
    assert [one.value for one in list_line_notes(on, "A", 99, size=2).notes] == ["day 1"]
    assert len(list_line_notes(on, "A", size=0).notes) == 5


def test_notes_of_a_record_merged_into_the_line_bear_its_name(field):
    on, (row, other) = occasion(DAY), field[1]
    take_note(on, row, "stand", 20)
    take_note(on, other, "stand", 7)
    kept, gone = Line.objects.get(name="A"), Line.objects.get(name="B")
    LineMerge.objects.create(station=field[0], kept=kept, gone=gone, reason="one", merged_on=date(2031, 7, 1))
    assert sorted((one.value, one.record) for one in list_line_notes(on, "A").notes) == [("20", ""), ("7", "B")]


def test_a_line_without_notes_has_one_empty_page(field):
    found = list_line_notes(occasion(DAY), "B")
    assert (found.notes, found.n_found, found.n_pages) == ((), 0, 1)

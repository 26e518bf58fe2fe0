"""Do the commands print the year's papers from the books, whole or not at all?"""

from __future__ import annotations

from datetime import date

import pytest
import zxingcpp

from firstsilk.faces.command.main import run
from firstsilk.faces.paper.press import picture_page
from firstsilk.faces.paper.year import make_day_sheet, make_row_tags, make_walk_book, tell_instruction
from firstsilk.work.flowering.day import read_day_list
from tests.factories import make_line, make_lot, make_row, make_season, make_station, make_target, occasion, take_note

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 22)


@pytest.fixture
def field():
    """A self, a female and its male, in flower."""
    season = make_season(make_station(held=DAY))
    lots = [make_lot(make_line(season.station, name)) for name in ("E1", "E2")]
    rows = [
        make_row(season, 1, lots[0].line, "self", make_target(season, 1, lots[0].line), lots[0]),
        make_row(season, 2, lots[0].line, "female", make_target(season, 2, lots[0].line, lots[1].line), lots[0]),
        make_row(season, 3, lots[1].line, "male", None, lots[1]),
        make_row(season, 4, lots[1].line, "filler", None, lots[1]),
    ]
    for row in rows:
        take_note(occasion(DAY), row, "sown", date(2031, 5, 12))
    take_note(occasion(DAY), rows[1], "silk", date(2031, 7, 20))
    take_note(occasion(DAY), rows[2], "shed", date(2031, 7, 20))
    return rows


def codes_on(path):
    found = zxingcpp.read_barcodes(picture_page(path.read_bytes(), 1))
    return sorted(code.text for code in found)


def test_each_row_has_one_instruction_in_few_words(field):
    rows = read_day_list(occasion(DAY), "2031").rows
    told = [tell_instruction(rows[number]) for number in (1, 2, 3, 4)]
    assert told == ["Self 10 ears", "Cross 10 ears with row 0003", "Male: give pollen", "Filler: leave alone"]


def test_tags_from_the_command_read_back_as_the_rows_of_the_season(field, tmp_path):
    out = tmp_path / "t.pdf"
    assert run(["tags", "--season", "2031", "--out", str(out)]) == 0
    assert codes_on(out) == sorted(row.tag for row in field)
    made = make_row_tags(read_day_list(occasion(DAY), "2031"))
    assert [(tag.number, tag.line, tag.male_text) for tag in made][:2] == [(1, "E1", ""), (2, "E1", "E2")]


def test_lot_labels_from_the_command_read_back_as_the_lots_found(field, tmp_path):
    out = tmp_path / "l.pdf"
    assert run(["lot-labels", "E1", "--out", str(out)]) == 0
    assert codes_on(out) == [field[0].lot.tag]


def test_walk_book_and_day_sheet_are_printed_by_command(field, tmp_path):
    for command in ("walk-book", "day-sheet"):
        out = tmp_path / f"{command}.pdf"
        assert run([command, "--out", str(out), "--today", "2031-07-22"]) == 0
        assert out.read_bytes().startswith(b"%PDF-")


def test_the_day_sheet_says_what_to_do_on_each_row_once_and_what_is_short(field):
    on = occasion(DAY)
    sheet = make_day_sheet(on, read_day_list(on, "2031"), "W1")
    told = {task.number: task.do for task in sheet.tasks}
    assert told[2] == "Pollinate 10 ears with row 0003; Put on 10 shoot bags"
    assert "3 tassel bags" in told[3]
    assert len(told) == len(sheet.tasks)
    assert sheet.chain_position == 6
    assert "2 are in hand, 0 to stop now. 20 more pollinations are asked for, 10 of them today." in sheet.short_of
    take_note(on, field[1], "pollinated", 8, detail="cross", male=field[2].tag)
    later = make_day_sheet(on, read_day_list(on, "2031"), "W1")
    assert "12 more pollinations are asked for, 2 of them today." in later.short_of
    assert len(sheet.chain_hash) == 64


def test_the_walk_book_holds_every_row_with_the_day_its_silk_is_due(field):
    on = occasion(DAY)
    book = make_walk_book(on, read_day_list(on, "2031"))
    assert [row.number for row in book.rows] == [1, 2, 3, 4]
    assert book.rows[1].silk_about == date(2031, 7, 20)
    assert book.site == "Home fields"


@pytest.mark.parametrize(
    "line",
    [
        ["day-sheet", "--today", "2031-03-01"],
        ["tags", "--season", "1999"],
        ["lot-labels", "nothing"],
        ["walk-book", "--today", "someday"],
    ],
)
def test_what_cannot_be_printed_is_a_sentence_and_leaves_no_file(field, tmp_path, capsys, line):
    out = tmp_path / "no.pdf"
    assert run([*line, "--out", str(out)]) == 1
    assert not list(tmp_path.iterdir())
    told = capsys.readouterr().err
    assert "Traceback" not in told
    assert told.strip().endswith((".", "?"))


def test_a_folder_that_is_not_there_is_a_sentence(field, tmp_path, capsys):
    assert run(["tags", "--out", str(tmp_path / "none" / "t.pdf")]) == 1
    assert "No such file or directory" in capsys.readouterr().err

"""What a phone takes along at harvest, and the same ears noted by phone, at the desk and on paper."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Device
from firstsilk.science.flowering.paper_boxes import Line
from firstsilk.science.seed.tags import print_tag, tag_for_serial
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.keying import save_lines
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.settle_sheets import settle_sheet
from firstsilk.work.flowering.sheets_out import print_sheets
from firstsilk.work.flowering.states import read_states
from firstsilk.work.flowering.walk import read_walk
from firstsilk.work.seed.crates import give_crate_tags, list_crates, note_crated
from firstsilk.work.seed.ear_counts import read_ear_book
from firstsilk.work.seed.picking import note_picked, read_pick_list
from tests.factories import make_line, make_row, make_season, make_station, make_target, occasion, take_note
from tests.work.station_books import PHONE, make_wire

pytestmark = pytest.mark.django_db

JULY, SEPTEMBER = occasion(date(2031, 7, 25), "ann"), occasion(date(2031, 9, 25), "ann")
BAGS = tuple(tag_for_serial(9_000 + at) for at in range(3))


@pytest.fixture
def field():
    """Row 1 crossed from three bags, row 2 its male, row 3 selfed without bags, row 4 crossed three weeks later."""
    season = make_season(make_station())
    e1, m = (make_line(season.station, name) for name in ("E1", "M"))
    rows = {
        1: make_row(season, 1, e1, "female", make_target(season, 1, e1, m)),
        2: make_row(season, 2, m, "male"),
        3: make_row(season, 3, e1, "self", make_target(season, 2, e1)),
        4: make_row(season, 4, e1, "female", make_target(season, 3, e1, m)),
    }
    for row in rows.values():
        take_note(occasion(date(2031, 5, 12)), row, "sown", date(2031, 5, 12))
    for bag, ears in zip(BAGS, (1, 1, 3), strict=True):
        take_note(JULY, rows[1], "pollinated", ears, detail="cross", bag=bag, male=rows[2].tag)
    take_note(JULY, rows[3], "pollinated", 5, detail="self")
    take_note(JULY, rows[3], "spoiled", 1, detail="plant_broken")
    take_note(occasion(date(2031, 8, 14)), rows[4], "pollinated", 2, detail="cross", male=rows[2].tag)
    return rows


def walk_rows(on=SEPTEMBER):
    return {row.number: row for row in read_walk(on).rows}


def test_before_the_first_row_is_ripe_nothing_of_the_harvest_travels(field):
    give_crate_tags(JULY, 2)
    walk = read_walk(occasion(date(2031, 9, 20)))
    assert walk.crates == ()
    assert {row.pick for row in walk.rows} == {None}


def test_rows_to_pick_are_those_of_the_pick_list_with_ears_bags_and_ripe_days(field):
    crates = give_crate_tags(SEPTEMBER, 2)
    walk = read_walk(SEPTEMBER)
    assert walk.crates == tuple(sorted(crates))
    rows = {row.number: row for row in walk.rows}
    picks = [(row.number, row.ears) for row in read_pick_list(SEPTEMBER).rows]
    assert [(row.number, task.count) for row in walk.rows for task in row.tasks if task.do == "pick"] == sorted(picks)
    assert [(one.bag, one.ears, one.picked, one.left) for one in rows[1].pick.bags] == [
        (bag, ears, 0, 0) for bag, ears in zip(BAGS, (1, 1, 3), strict=True)
    ]
    assert rows[2].pick is None
    assert (rows[3].pick.ears, rows[3].pick.standing, rows[3].pick.bags) == (4, 4, ())
    assert (rows[4].pick.is_ripe, rows[4].pick.ripe_on) == (False, "2031-10-11")


def test_row_of_which_some_ears_were_picked_stays_on_the_walk_with_the_rest(field):
    note_picked(SEPTEMBER, "2031", [BAGS[0]])
    note_picked(SEPTEMBER, "2031", [BAGS[1]], left="rotten")
    take_note(SEPTEMBER, field[1], "ears_left", 2, detail="no_bag")
    pick = walk_rows()[1].pick
    assert (pick.ears, pick.picked, pick.left, pick.left_unknown) == (1, 1, 3, 2)
    assert [(one.picked, one.left) for one in pick.bags] == [(1, 0), (0, 1), (0, 0)]
    (task,) = [task for task in walk_rows()[1].tasks if task.do == "pick"]
    assert task.count == 1
    # The list at the desk lets a row go with its first ear; the phone goes on with what is still there.
    assert 1 not in [task.number for task in read_day_list(SEPTEMBER).tasks if task.do == "pick"]


def test_row_with_nothing_left_to_pick_still_tells_its_bags(field):
    note_picked(SEPTEMBER, "2031", ["1"])
    row = walk_rows()[1]
    assert (row.pick.ears, row.pick.is_ripe, len(row.pick.bags)) == (0, True, 3)
    assert [task.do for task in row.tasks if task.do == "pick"] == []


def test_more_rows_and_bags_take_no_more_questions_to_the_books(field):
    def count():
        with CaptureQueriesContext(connection) as asked:
            read_walk(SEPTEMBER)
        return len(asked)

    before = count()
    for number in range(5, 30):
        row = make_row(field[1].season, number, field[1].line, "female", field[1].target)
        take_note(JULY, row, "pollinated", 1, detail="cross", bag=f"0000{number:04d}", male=field[2].tag)
    assert count() == before


def _by_phone(field, crate: str) -> None:
    """As the phone writes them: a bag scanned, one left, a row counted at its end, ears left; each into the crate."""
    told = [
        ("ears_picked", field[1].tag, "", BAGS[0], "1"),
        ("crated", field[1].tag, "", BAGS[0], crate),
        ("ears_left", field[1].tag, "few_kernels", BAGS[1], "1"),
        ("ears_picked", field[3].tag, "", "", "3"),
        ("crated", field[3].tag, "", "", crate),
        ("ears_left", field[3].tag, "rotten", "", "1"),
    ]
    Device.objects.create(station=field[1].station, uuid=PHONE, number=9)
    wires = [
        make_wire(number, kind=kind, tag=tag, detail=detail, bag=bag, value=value, taken_local="2031-09-25T10:00:00")
        for number, (kind, tag, detail, bag, value) in enumerate(told, 1)
    ]
    assert len(receive_notes(SEPTEMBER, PHONE, wires).stored) == len(told)


def _by_desk(field, crate: str) -> None:
    note_picked(SEPTEMBER, "2031", [BAGS[0]])
    note_crated(SEPTEMBER, "2031", crate, [BAGS[0]])
    note_picked(SEPTEMBER, "2031", [BAGS[1]], left="few_kernels")
    note_picked(SEPTEMBER, "2031", ["3"], 3)
    note_crated(SEPTEMBER, "2031", crate, ["3"])
    note_picked(SEPTEMBER, "2031", ["3"], 1, left="rotten")


def _on_paper(field, crate: str) -> None:
    """Ears picked stand on the walk sheet, as a count; bags, ears left and crates are keyed at the desk."""
    note_picked(SEPTEMBER, "2031", [BAGS[0]])
    note_crated(SEPTEMBER, "2031", crate, [BAGS[0]])
    note_picked(SEPTEMBER, "2031", [BAGS[1]], left="few_kernels")
    sheets = print_sheets(SEPTEMBER, read_day_list(SEPTEMBER), "walk", workers=["W07"])
    sheet = next(one for one in sheets if _at(one, field[3]) >= 0)
    save_lines(SEPTEMBER, sheet.code, 1, {_at(sheet, field[3]): Line("", "", (("ears_picked", 3),))})
    assert settle_sheet(SEPTEMBER, sheet.code) == 1
    note_crated(SEPTEMBER, "2031", crate, ["3"])
    note_picked(SEPTEMBER, "2031", ["3"], 1, left="rotten")


def _at(sheet, row) -> int:
    return next((at for at, line in enumerate(sheet.lines) if line.row.tag == row.tag), -1)


def test_same_ears_by_phone_at_the_desk_and_on_paper_give_the_same_books(field) -> None:
    found = []
    for write in (_by_phone, _by_desk, _on_paper):
        with transaction.atomic():
            (crate,) = give_crate_tags(SEPTEMBER, 1)
            write(field, crate)
            states = read_states(field[1].station, {row.tag for row in field.values()})
            ears = [(row.number, row.ears, [(bag.bag, bag.ears, bool(bag.crate)) for bag in row.bags], row.odd)
                    for row in read_ear_book(SEPTEMBER).rows]  # fmt: skip
            loads = [(load.row, load.bag, load.ears) for one in list_crates(SEPTEMBER).crates for load in one.loads]
            picks = [(row.number, row.ears, row.bags) for row in read_pick_list(SEPTEMBER).rows]
            found.append((states, ears, loads, picks))
            transaction.set_rollback(True)
    phone, desk, paper = found
    assert phone == desk
    assert phone == paper
    assert phone[2] == [(1, print_tag(BAGS[0]), 1), (3, "", 3)]

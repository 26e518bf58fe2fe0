"""A day is closed with what was known written down; late notes are kept and show as late; phones are told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import DayClose, Device, Note
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.day_close import close_day, list_closed_days, read_day_standing
from firstsilk.work.flowering.note_list import read_note_list
from firstsilk.work.flowering.receive import receive_notes
from tests.faces.calling import call, one_object
from tests.work.station_books import NOW, ON, PHONE, make_station, make_wire

pytestmark = pytest.mark.django_db

BAG, OTHER_BAG = "0000004T", "0000005R"
FEMALE, MALE = "0000002Y", "0000003W"


@pytest.fixture(autouse=True)
def _books() -> None:
    make_station()


def _code_of(no: pytest.ExceptionInfo[InputRefused]) -> str:
    assert no.value.refusal is not None
    return no.value.refusal.code


def test_day_with_all_notes_in_is_closed_at_the_newest_link() -> None:
    receive_notes(ON, PHONE, [make_wire(1), make_wire(2, doubt="unsure", doubt_reason="wet tag")], highest_number=2)
    before = read_day_standing(ON)
    assert (before.waits, before.closed, before.n_notes) == ((), None, 2)
    assert [(one.of_day, one.phone.n_notes, one.phone.highest_told) for one in before.phones] == [(2, 2, 2)]
    assert [one.note.doubt_reason for one in before.doubted] == ["wet tag"]
    closed = close_day(replace(ON, who="leader"))
    newest = Note.objects.get(position=2)
    assert (closed.head_position, closed.head_hash, closed.closed_by) == (2, newest.hash, "leader")
    assert (closed.counts["notes"], closed.counts["missing"], closed.counts["doubted"]) == (2, 0, 1)
    assert verify_chain(ON, anchor=closed.head_hash[:16]).ok
    with pytest.raises(InputRefused) as no:
        close_day(ON)
    assert _code_of(no) == "day_closed"


@pytest.mark.parametrize("change", ["UPDATE records_dayclose SET closed_by = 'x'", "DELETE FROM records_dayclose"])
def test_close_when_the_database_is_asked_to_change_it_stays(change: str) -> None:
    receive_notes(ON, PHONE, [make_wire(1)])
    close_day(replace(ON, who="leader"))
    with pytest.raises(DatabaseError, match="never changed or deleted"), transaction.atomic():
        connection.cursor().execute(change)
    assert DayClose.objects.get().closed_by == "leader"


@pytest.mark.parametrize(
    ("numbers", "more", "told"),
    [
        ((1, 3), {}, "never came: 2."),
        ((1,), {"highest_number": 4}, "never came: 2 to 4."),
        ((1,), {"waiting": 7}, "still holds 7 notes."),
    ],
)
def test_day_with_notes_missing_asks_for_a_reason_and_keeps_it(numbers, more, told) -> None:
    receive_notes(ON, PHONE, [make_wire(number) for number in numbers], **more)
    with pytest.raises(InputRefused, match=told) as no:
        close_day(ON)
    assert _code_of(no) == "day_not_in"
    assert DayClose.objects.count() == 0
    assert close_day(ON, " phone fell into the well ").remark == "phone fell into the well"


def test_phone_that_was_not_met_on_the_day_is_told() -> None:
    receive_notes(replace(ON, now=NOW - timedelta(days=1)), PHONE, [make_wire(1)])
    (wait,) = read_day_standing(ON).waits
    assert "was not met on 2031-07-14 or later, last on 2031-07-13" in wait
    Device.objects.update(revoked_at=NOW)
    assert read_day_standing(ON).waits == ()


def test_late_note_of_a_closed_day_is_stored_and_shows_as_late() -> None:
    receive_notes(ON, PHONE, [make_wire(1)])
    close_day(ON)
    late = make_wire(2)
    next_day = make_wire(3, taken_local="2031-07-15T09:00:00")
    receipt = receive_notes(replace(ON, now=NOW + timedelta(days=1)), PHONE, [late, next_day])
    assert receipt.stored == (late["id"], next_day["id"])
    standing = read_day_standing(ON)
    assert (standing.n_late, [one.note.id for one in standing.late]) == (1, [late["id"]])
    listed = read_note_list(replace(ON, today=date(2031, 7, 15))).notes
    assert {one.note.id: one.late for one in listed} == {
        late["id"]: True,
        next_day["id"]: False,
        make_wire(1)["id"]: False,
    }


def test_bags_of_the_day_are_counted_against_its_ears() -> None:
    wires = [
        make_wire(1, kind="tassel_bagged", tag=MALE, bag=BAG, value="1", taken_local="2031-07-13T16:00:00"),
        make_wire(2, kind="tassel_bagged", tag=MALE, value="6", detail="self"),
        make_wire(3, kind="pollinated", tag=FEMALE, detail="cross", bag=BAG, value="2"),
        # A second phone wrote the same bag and row: the same two ears.
        make_wire(4, kind="pollinated", tag=FEMALE, detail="cross", bag=BAG, value="2"),
        make_wire(5, kind="pollinated", tag=FEMALE, detail="cross", bag=OTHER_BAG, value="1"),
        make_wire(6, kind="pollinated", tag=FEMALE, detail="self", value="5"),
        make_wire(7, kind="tassel_unbagged", tag=MALE, value="2"),
        make_wire(8, kind="pollinated", tag=FEMALE, detail="self", value="9"),
    ]
    wires.append(make_wire(9, kind="withdrawn", tag=FEMALE, value="wrong row", replaces=wires[-1]["id"]))
    receive_notes(ON, PHONE, wires)
    bags = read_day_standing(ON).bags
    assert (bags.bags_used, bags.ears_by_bag, bags.ears_by_tally) == (2, 3, 5)
    assert (bags.tassel_bags_coded, bags.tassel_bags_tallied, bags.tassel_bags_down) == (0, 6, 2)
    assert bags.bags_on_no_tassel == 1


def test_closed_days_are_told_for_thirty_days() -> None:
    for back in (0, 30, 31):
        close_day(replace(ON, today=ON.today - timedelta(days=back)), "season before the phones")
    assert list_closed_days(ON) == (ON.today - timedelta(days=30), ON.today)
    yesterday = ON.today - timedelta(days=1)
    assert list_closed_days(replace(ON, today=yesterday))[-1] == ON.today - timedelta(days=30)


def test_standing_of_a_day_is_read_with_the_same_questions_for_two_notes_as_for_two_hundred() -> None:
    asked = []
    for first, last in ((1, 2), (3, 200)):
        receive_notes(ON, PHONE, [make_wire(number, doubt="unsure") for number in range(first, last + 1)])
        with CaptureQueriesContext(connection) as found:
            read_day_standing(ON)
        asked.append(len(found))
    assert asked[0] == asked[1]


def test_command_looks_first_refuses_with_gaps_and_closes_with_a_reason(capsys) -> None:
    receive_notes(ON, PHONE, [make_wire(2)])
    day = ("--today", "2031-07-14")
    code, out, told = call(capsys, "close-day", "--look", "--json", *day)
    assert (code, one_object(out)["closed"], DayClose.objects.count()) == (0, False, 0)
    assert "never came: 1." in told
    code, _, told = call(capsys, "close-day", *day)
    assert code == 1
    assert "Not everything of 2031-07-14 is in" in told
    assert "Traceback" not in told
    code, out, _ = call(capsys, "close-day", "--reason", "the phone is broken", "--json", *day)
    answer = one_object(out)
    assert (code, answer["closed"], answer["head_position"]) == (0, True, 1)
    assert answer["rows"][0]["never_came"] == "1"

"""What was laid aside is settled once and stays; of two corrections a person picks one, by a note."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import AsideSettled, Note, NoteAside
from firstsilk.science.flowering.rows import keep_standing_notes
from firstsilk.work.flowering.chain import as_note, verify_chain
from firstsilk.work.flowering.notes import NoteDraft
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.settling import keep_correction, read_to_settle, settle_as_note, settle_as_nothing
from tests.faces.calling import call, rows_of
from tests.work.station_books import ON, PHONE, make_station, make_wire

pytestmark = pytest.mark.django_db

TAG = "0000002Y"


@pytest.fixture(autouse=True)
def _books() -> None:
    make_station()


def _lay_aside() -> int:
    """A note damaged on the way; gives the number under which it was laid aside."""
    receive_notes(ON, PHONE, [{**make_wire(1), "value": "2031-07-11"}])
    return NoteAside.objects.get().pk


def _code_of(no: pytest.ExceptionInfo[InputRefused]) -> str:
    assert no.value.refusal is not None
    return no.value.refusal.code


def test_damaged_note_is_keyed_as_a_note_and_what_came_stays() -> None:
    number = _lay_aside()
    (waiting,) = read_to_settle(ON).aside
    assert (waiting.number, waiting.device, waiting.code) == (number, 1, "check_sum_wrong")
    assert (waiting.reads["kind"], waiting.reads["tag"], waiting.reads["value"]) == ("silk", TAG, "2031-07-11")
    raw = NoteAside.objects.get().raw
    note_id = settle_as_note(ON, number, NoteDraft("silk", TAG, value="2031-07-11"))
    found = read_to_settle(ON)
    assert (found.aside, found.n_open, found.n_settled) == ((), 0, 1)
    assert (found.settled[0].note, found.settled[0].how) == (note_id, "keyed as a note: silk")
    assert NoteAside.objects.get().raw == raw
    assert verify_chain(ON).ok
    with pytest.raises(InputRefused) as no:
        settle_as_nothing(ON, number, "again")
    assert _code_of(no) == "aside_settled"


def test_thing_that_is_no_note_is_settled_with_a_reason_and_never_waits_again() -> None:
    receive_notes(ON, PHONE, ["a sandwich"])
    number = NoteAside.objects.get().pk
    with pytest.raises(InputRefused) as no:
        settle_as_nothing(ON, number, "  ")
    assert _code_of(no) == "reason_empty"
    settle_as_nothing(ON, number, "not a note at all")
    receive_notes(ON, PHONE, ["a sandwich"])
    assert read_to_settle(ON).n_open == 0


def test_settling_that_cannot_write_its_note_settles_nothing() -> None:
    number = _lay_aside()
    with pytest.raises(InputRefused):
        settle_as_note(ON, number, NoteDraft("silk", "A" * 17))
    assert (AsideSettled.objects.count(), Note.objects.count()) == (0, 0)
    with pytest.raises(InputRefused) as no:
        settle_as_nothing(ON, number + 1, "there is none")
    assert _code_of(no) == "aside_unknown"


def _correct_twice() -> list[str]:
    """A pollination corrected on two phones; gives the ids of both corrections."""
    first = make_wire(1, kind="pollinated", detail="self", value="3")
    fixes = [
        make_wire(number, kind="pollinated", detail="self", value=value, replaces=first["id"])
        for number, value in ((2, "4"), (3, "5"))
    ]
    receive_notes(ON, PHONE, [first, *fixes])
    return [str(one["id"]) for one in fixes]


def _standing() -> list[str]:
    return [note.id for note in keep_standing_notes(as_note(one) for one in Note.objects.all())[0]]


@pytest.mark.parametrize("kept", [0, 1])
def test_of_two_corrections_the_picked_one_stands_alone_whichever_came_first(kept: int) -> None:
    fixes = _correct_twice()
    assert set(_standing()) == set(fixes)
    (conflict,) = read_to_settle(ON).conflicts
    assert [one.note.id for one in conflict.corrections] == fixes
    assert conflict.original is not None
    assert conflict.row_name == f"tag {TAG}"
    (withdrawal,) = keep_correction(ON, fixes[kept])
    assert _standing() == [fixes[kept]]
    assert str(Note.objects.get(uuid=withdrawal).replaces) == fixes[1 - kept]
    assert read_to_settle(ON).conflicts == ()
    with pytest.raises(InputRefused) as no:
        keep_correction(ON, fixes[kept])
    assert _code_of(no) == "no_conflict"


def test_code_of_a_bag_put_on_twice_waits_until_one_of_the_notes_is_taken_back() -> None:
    wires = [
        make_wire(number, kind="tassel_bagged", bag="0000004T", value="1", taken_local=f"2031-07-{day}T16:00:00")
        for number, day in ((1, 14), (2, 18))
    ]
    receive_notes(ON, PHONE, wires)
    (found,) = read_to_settle(ON).twice
    assert (found.code, found.value) == ("bag_put_on_twice", "0000004T")
    receive_notes(ON, PHONE, [make_wire(3, kind="withdrawn", value="wrong code", replaces=wires[0]["id"])])
    assert read_to_settle(ON).twice == ()


def test_correction_of_a_correction_is_no_conflict() -> None:
    first = make_wire(1)
    second = make_wire(2, replaces=first["id"])
    receive_notes(ON, PHONE, [first, second, make_wire(3, replaces=second["id"])])
    assert read_to_settle(ON).conflicts == ()


def test_a_day_looked_back_at_knows_nothing_of_what_came_or_was_settled_later() -> None:
    yesterday = replace(ON, today=ON.today - timedelta(days=1))
    number = _lay_aside()
    _correct_twice()
    assert (read_to_settle(yesterday).n_open, read_to_settle(yesterday).conflicts) == (0, ())
    assert (read_to_settle(ON).n_open, len(read_to_settle(ON).conflicts)) == (1, 1)
    settle_as_nothing(replace(ON, now=ON.now + timedelta(days=1)), number, "known")
    assert (read_to_settle(ON).n_open, read_to_settle(ON).n_settled) == (1, 0)
    tomorrow = read_to_settle(replace(ON, today=ON.today + timedelta(days=1)))
    assert (tomorrow.n_open, tomorrow.n_settled) == (0, 1)


def test_what_waits_is_read_with_the_same_questions_for_one_as_for_twenty() -> None:
    asked = []
    for first, last in ((1, 1), (2, 20)):
        for number in range(first, last + 1):
            at = 10 * number
            target = make_wire(at, kind="pollinated", detail="self", value="1")
            fixes = [make_wire(at + more, kind="pollinated", detail="self", replaces=target["id"]) for more in (1, 2)]
            receive_notes(ON, PHONE, [target, *fixes, f"nothing {number}", f"none {number}"])
            settle_as_nothing(ON, NoteAside.objects.order_by("-pk")[0].pk, "no note")
        with CaptureQueriesContext(connection) as found:
            waits = read_to_settle(ON)
        asked.append(len(found))
    assert (len(waits.conflicts), waits.n_open, waits.n_settled) == (20, 20, 20)
    assert asked[0] == asked[1]


def test_commands_list_what_waits_and_settle_it(capsys) -> None:
    number, fixes = _lay_aside(), []
    day = ("--today", "2031-07-14")
    receive_notes(ON, PHONE, [make_wire(9)])
    fixes = [make_wire(at, replaces=make_wire(9)["id"]) for at in (10, 11)]
    receive_notes(ON, PHONE, fixes)
    code, out, told = call(capsys, "to-settle", *day)
    assert code == 0
    assert "1 laid aside, 1 corrected twice, 0 codes used twice" in told
    assert [row["what"] for row in rows_of(out)] == ["aside", "correction", "correction"]
    code, _, told = call(capsys, "settle-aside", number, *day)
    assert (code, "What became of it?" in told) == (1, True)
    code, _, told = call(capsys, "settle-aside", number, "--nothing", "wet phone", *day)
    assert (code, "nothing became of it" in told) == (0, True)
    code, _, told = call(capsys, "keep-correction", fixes[1]["id"], *day)
    assert (code, "1 other correction was taken back" in told) == (0, True)
    code, _, told = call(capsys, "keep-correction", fixes[1]["id"], *day)
    assert (code, "is not one of several corrections" in told) == (1, True)

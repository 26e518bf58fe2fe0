"""Notes only grow, and tampering shows."""

from __future__ import annotations

import re

import pytest
from django.db import DatabaseError, connection, transaction

from firstsilk.answers import InputRefused
from firstsilk.records.models import Device, Note, NoteAside
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.notes import NoteDraft, list_notes, take_back, write_notes
from firstsilk.work.flowering.receive import receive_notes
from tests.work.station_books import NOW, ON, PHONE, make_note, make_station, make_wire

pytestmark = pytest.mark.django_db


@pytest.fixture
def chain() -> list[str]:
    """Six notes in three batches; gives the hashes."""
    make_station()
    for first in (1, 3, 5):
        receive_notes(ON, PHONE, [make_wire(first), make_wire(first + 1)])
    return list(Note.objects.order_by("position").values_list("hash", flat=True))


def _tamper(*statements: str) -> None:
    """What somebody with the file in hand could do: take the triggers away, then change rows."""
    on_table = " ON records_note" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        for verb in ("update", "delete"):
            cursor.execute(f"DROP TRIGGER records_note_no_{verb}{on_table}")
        for statement in statements:
            cursor.execute(statement)


@pytest.mark.parametrize("statement", ["UPDATE records_note SET value = 'x'", "DELETE FROM records_note"])
def test_notes_when_the_database_is_asked_to_change_them_stay(chain: list[str], statement: str) -> None:
    with pytest.raises(DatabaseError, match="never changed or deleted"), transaction.atomic():
        connection.cursor().execute(statement)
    assert list(Note.objects.order_by("position").values_list("hash", flat=True)) == chain
    assert set(Note.objects.values_list("value", flat=True)) == {"2031-07-14"}


def test_notes_laid_aside_when_the_database_is_asked_to_delete_them_stay() -> None:
    make_station()
    receive_notes(ON, PHONE, ["not a note"])
    with pytest.raises(DatabaseError, match="never changed or deleted"), transaction.atomic():
        NoteAside.objects.all().delete()
    assert NoteAside.objects.count() == 1


def test_chain_as_received_holds(chain: list[str]) -> None:
    check = verify_chain(ON, anchor=chain[2])
    assert (check.n, check.ok, check.first_broken, check.head) == (6, True, None, chain[-1])


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("value", "'2031-07-15'"),
        ("tag", "'0000003W'"),
        ("worker", "'W08'"),
        ("plant", "1"),
        ("practice", "TRUE"),
        ("device_number", "77"),
        ("taken_on", "'2031-07-01'"),
        ("taken_at", "'2031-07-01 00:00:00'"),
        ("received_at", "'2031-07-01 00:00:00'"),
        ("check_sum", "'00000000'"),
        ("hash", "'" + "0" * 64 + "'"),
        ("previous_hash", "'" + "0" * 64 + "'"),
    ],
)
def test_chain_when_one_field_is_changed_names_the_link(chain: list[str], column: str, value: str) -> None:
    _tamper(f"UPDATE records_note SET {column} = {value} WHERE position = 4")
    check = verify_chain(ON)
    assert not check.ok
    assert check.first_broken == 4
    called = "note 77 (link 4)" if column == "device_number" else "note 4 (link 4)"
    assert re.search(rf"\b(phone|desk)( \d+)?, {re.escape(called)}", check.reason, re.IGNORECASE)
    assert str(Note.objects.get(position=4).uuid) not in check.reason


def test_chain_when_a_link_is_dropped_names_it(chain: list[str]) -> None:
    _tamper("DELETE FROM records_note WHERE position = 3")
    assert verify_chain(ON).first_broken == 3


def test_chain_when_a_link_is_dropped_and_the_rest_moved_up_names_it(chain: list[str]) -> None:
    _tamper(
        "DELETE FROM records_note WHERE position = 3",
        "UPDATE records_note SET position = position - 1 WHERE position > 3",
    )
    assert verify_chain(ON).first_broken == 3


def test_chain_when_two_links_are_exchanged_names_the_first(chain: list[str]) -> None:
    _tamper(
        "UPDATE records_note SET position = -1 WHERE position = 2",
        "UPDATE records_note SET position = 2 WHERE position = 3",
        "UPDATE records_note SET position = 3 WHERE position = -1",
    )
    assert verify_chain(ON).first_broken == 2


def test_chain_when_its_end_is_cut_holds_alone_but_not_against_the_hash_written_down(chain: list[str]) -> None:
    _tamper("DELETE FROM records_note WHERE position > 4")
    assert verify_chain(ON).ok
    check = verify_chain(ON, anchor=chain[-1])
    assert (check.ok, check.first_broken) == (False, 5)


def test_chain_takes_the_sixteen_signs_that_a_sheet_prints(chain: list[str]) -> None:
    short = chain[3][:16].upper()
    printed = " ".join(short[at : at + 4] for at in range(0, 16, 4))
    assert verify_chain(ON, anchor=printed).ok
    wrong = ("0" if short[0] != "0" else "1") + printed[1:]
    assert not verify_chain(ON, anchor=wrong).ok
    with pytest.raises(InputRefused, match="no hash"):
        verify_chain(ON, anchor=printed[:10])


def test_chain_when_computed_anew_over_changed_notes_is_found_by_the_hash_written_down(chain: list[str]) -> None:
    _tamper("DELETE FROM records_note")
    receive_notes(ON, PHONE, [make_wire(number, value="2031-07-13") for number in range(1, 7)])
    assert verify_chain(ON).ok
    assert not verify_chain(ON, anchor=chain[-1]).ok


def test_write_notes_at_the_desk_numbers_them_densely_and_fills_the_day() -> None:
    make_station()
    first = write_notes(ON, [NoteDraft("silk", "0000002Y"), NoteDraft("pollinated", "0000002Y", "3", "self")])
    second = write_notes(ON, [NoteDraft("silk", "0000003W", taken_local="2031-07-12T07:00:00")], source="paper")
    newest, *rest = list_notes(ON)
    assert [stored.note.id for stored in rest] == [first[1], first[0]]
    assert newest.note.id == second[0]
    assert [stored.note.number for stored in (newest, *rest)] == [3, 2, 1]
    assert (newest.note.source, newest.note.value) == ("paper", "2031-07-12")
    assert rest[1].note.value == "2031-07-14"
    assert [stored.note.id for stored in list_notes(ON, tag="0000002Y", before=2)] == [first[0]]
    assert verify_chain(ON).ok
    assert Device.objects.get(label="desk").number == 2


def test_write_notes_with_the_same_dice_makes_the_same_ids() -> None:
    make_station()
    first = write_notes(ON, [NoteDraft("silk", "A")], dice=lambda n: bytes(n - 1) + b"\x01")
    second = write_notes(ON, [NoteDraft("silk", "A")], dice=lambda n: bytes(n - 1) + b"\x02")
    assert [one[-2:] for one in (*first, *second)] == ["01", "02"]
    with pytest.raises(InputRefused, match="could not be written"):
        write_notes(ON, [NoteDraft("silk", "A")], dice=lambda n: bytes(n - 1) + b"\x01")


@pytest.mark.parametrize(
    "draft", [NoteDraft("silked", "A"), NoteDraft("silk", "A" * 17), NoteDraft("remarked", "A", "\ud83c")]
)
def test_write_notes_when_one_draft_cannot_stand_writes_none(draft: NoteDraft) -> None:
    make_station()
    with pytest.raises(InputRefused):
        write_notes(ON, [NoteDraft("silk", "0000002Y"), draft])
    assert list_notes(ON) == ()


def test_take_back_writes_a_new_note_that_names_the_old() -> None:
    make_station()
    (written,) = write_notes(ON, [NoteDraft("silk", "0000002Y")])
    take_back(ON, written, "wrong row")
    newest, old = list_notes(ON)
    assert (newest.note.kind, newest.note.replaces, newest.note.tag) == ("withdrawn", written, "0000002Y")
    assert old.note.id == written


def test_stored_note_reads_back_sign_for_sign() -> None:
    make_station()
    note = make_note(1, plant=3, doubt="unsure", doubt_reason="tag “wet”\n\t\\u0000", offset_min=-210, practice=True)
    receive_notes(ON, PHONE, [{**make_wire(1), **{name: getattr(note, name) for name in note.__slots__}}])
    (stored,) = list_notes(ON)
    assert stored.note == note
    assert stored.received_at == NOW

"""Whatever network, disk and phones do, each note ends in the books exactly once, and the state is the same.

Requests are lost on the way, answers are lost on the way back, statements fail in the middle, batches are split and
sent again in any order. A phone does what phones do: it sends what is not confirmed, until all is.
"""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.records.models import Device
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import Note, note_as_wire, seal_note
from firstsilk.science.flowering.rows import read_row_states
from firstsilk.work.flowering.chain import as_note, verify_chain
from firstsilk.work.flowering.receive import receive_notes
from tests.properties.test_note_laws import books, note_sets
from tests.work.station_books import NOW, ON
from tests.work.test_half_written import FailAt

PHONES = [f"0195c1a0-0000-7000-8000-0000000000{last}" for last in ("a1", "b2", "c3")]
FATES = ("arrives", "arrives", "request lost", "answer lost", "disk fails")


def spread(notes: list[Note]) -> dict[str, list[Note]]:
    """The same notes as if taken by turns on three phones, each with dense numbers of its own."""
    on: dict[str, list[Note]] = {phone: [] for phone in PHONES}
    for at, note in enumerate(notes):
        phone = PHONES[at % len(PHONES)]
        values = {name: getattr(note, name) for name in note.__slots__ if name != "check_sum"}
        on[phone].append(seal_note(Note(**{**values, "device": phone, "number": len(on[phone]) + 1})))
    return on


class Phone:
    """Keeps what is not confirmed and sends some of it, as often as it likes."""

    def __init__(self, device: str, notes: list[Note]) -> None:
        self.device, self.notes, self.confirmed = device, notes, set()

    def send(self, chosen: list[Note], fate: str, fail_at: int) -> None:
        if fate == "request lost":
            return
        wires = [note_as_wire(note) for note in chosen]
        try:
            with connection.execute_wrapper(FailAt(fail_at if fate == "disk fails" else 0)):
                receipt = receive_notes(ON, self.device, wires, highest_number=len(self.notes))
        except OperationalError:
            return
        if fate != "answer lost":
            self.confirmed |= {*receipt.stored, *receipt.already}
            held = set(map(str, NoteRecord.objects.values_list("uuid", flat=True)))
            assert self.confirmed <= held, "confirmed and not in the books"


@st.composite
def weeks(draw: st.DrawFn) -> tuple[list[Note], list[tuple[int, list[int], str, int]]]:
    """Notes, and what happens: which phone sends which of its notes, with what fate."""
    notes = draw(note_sets(at_most=9))
    turn = st.tuples(
        st.integers(0, 2), st.lists(st.integers(0, 3), max_size=5), st.sampled_from(FATES), st.integers(1, 14)
    )
    return notes, draw(st.lists(turn, max_size=8))


@pytest.mark.django_db
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(weeks())
def test_each_note_ends_in_the_books_exactly_once_whatever_was_lost_on_the_way(week) -> None:
    notes, happens = week
    by_phone = spread(notes)
    taken = [note for phone in PHONES for note in by_phone[phone]]
    with books() as station:
        for number, device in enumerate(PHONES[1:], start=2):
            Device.objects.create(station=station, uuid=device, number=number, enrolled_at=NOW)
        phones = [Phone(device, by_phone[device]) for device in PHONES]
        for at, chosen, fate, fail_at in happens:
            phone = phones[at]
            phone.send([phone.notes[one] for one in chosen if one < len(phone.notes)], fate, fail_at)
        for phone in reversed(phones):
            phone.send([note for note in phone.notes if note.id not in phone.confirmed], "arrives", 0)
            assert phone.confirmed == {note.id for note in phone.notes}
        records = list(NoteRecord.objects.order_by("position"))
        assert sorted(str(one.uuid) for one in records) == sorted(note.id for note in taken)
        assert read_row_states(as_note(one) for one in records) == read_row_states(taken)
        assert verify_chain(ON).ok
        for phone in phones:
            last = len(phone.notes)
            assert receive_notes(ON, phone.device, [], highest_number=last).gaps == ()

"""Laws of the notes: order, repetition and splitting of batches change nothing."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import KINDS, Note, note_as_wire, read_note, seal_note
from firstsilk.science.flowering.rows import RowState, keep_standing_notes, read_row_states
from firstsilk.work.flowering.chain import as_note, verify_chain
from firstsilk.work.flowering.receive import receive_notes
from tests.work.station_books import ON, PHONE, make_note, make_station

TAGS = ("0000002Y", "0000003W", "")
NUMBERS = ("1", "3", "4.5", "0.1")
VALUES = (*NUMBERS, "", "2031-07-12", "2031-07-14", "nan", "inf", "œ")
TIMES = ("2031-07-10T08:00:00", "2031-07-12T09:30:00", "2031-07-12T09:30:01")


@st.composite
def note_sets(draw: st.DrawFn, at_most: int = 10) -> list[Note]:
    """Notes of one phone with dense numbers; some replace an earlier one, a later one, or one that never came."""
    count = draw(st.integers(1, at_most))
    ids = [make_note(number).id for number in range(1, count + 3)]
    notes = []
    for number in range(1, count + 1):
        kind = draw(st.sampled_from([*KINDS, "danced"]))
        details = KINDS[kind].details if kind in KINDS else ()
        notes.append(
            make_note(
                number,
                kind=kind,
                detail=draw(st.sampled_from(["", *details])),
                tag=draw(st.sampled_from(TAGS)),
                male=draw(st.sampled_from(TAGS)),
                bag=draw(st.sampled_from(["", "B1", "B2"])),
                value=draw(st.sampled_from(NUMBERS if kind == "rated" else VALUES)),
                taken_local=draw(st.sampled_from(TIMES)),
                practice=draw(st.booleans()) and draw(st.booleans()),
                doubt=draw(st.sampled_from(["", "unsure"])),
                replaces=draw(st.sampled_from(["", "", *(one for one in ids if one != ids[number - 1])])),
            )
        )
    return notes


@st.composite
def deliveries(draw: st.DrawFn) -> tuple[list[Note], list[list[Note]]]:
    """A set of notes and one way in which it may arrive: shuffled, repeated, split into batches."""
    notes = draw(note_sets())
    stream = draw(st.permutations([*notes, *draw(st.lists(st.sampled_from(notes), max_size=6))]))
    cuts = sorted(draw(st.lists(st.integers(0, len(stream)), max_size=4)))
    return notes, [list(stream[a:b]) for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]


@contextmanager
def books():
    """A station that is gone afterwards, so that each example starts from nothing."""
    with transaction.atomic():
        yield make_station()
        transaction.set_rollback(True)


@pytest.mark.django_db
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(deliveries())
def test_whatever_way_notes_arrive_the_same_set_is_stored_once_and_the_chain_holds(
    delivery: tuple[list[Note], list[list[Note]]],
) -> None:
    notes, batches = delivery
    with books():
        stored: list[str] = []
        for batch in batches:
            receipt = receive_notes(ON, PHONE, [note_as_wire(note) for note in batch], highest_number=len(notes))
            stored += receipt.stored
            assert len(receipt.stored) + len(receipt.already) == len(batch)
            assert receipt.aside == ()
        assert sorted(stored) == sorted(note.id for note in notes)
        held = [as_note(record) for record in NoteRecord.objects.order_by("position")]
        assert sorted(held, key=lambda note: note.id) == sorted(notes, key=lambda note: note.id)
        assert [note.id for note in held] == stored
        assert verify_chain(ON).ok
        assert (receipt.gaps, receipt.confirmed_to) == ((), len(notes))
        assert read_row_states(held) == read_row_states(notes)


@pytest.mark.django_db
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(note_sets(), st.data())
def test_numbers_that_never_came_are_exactly_the_gaps(notes: list[Note], data: st.DataObject) -> None:
    sent = data.draw(st.lists(st.sampled_from(notes), unique=True))
    highest = data.draw(st.integers(0, 14))
    with books():
        receipt = receive_notes(ON, PHONE, [note_as_wire(note) for note in sent], highest_number=highest)
    numbers = {note.number for note in sent}
    last = max(numbers | {highest})
    told = [number for first, end in receipt.gaps for number in range(first, end + 1)]
    assert told == sorted(set(range(1, last + 1)) - numbers)
    assert receipt.confirmed_to == min([number - 1 for number in told], default=last)


@given(note_sets(), st.randoms(use_true_random=False))
def test_row_states_do_not_depend_on_order_or_repetition(notes: list[Note], dice) -> None:
    shuffled = [*notes, *notes[: len(notes) // 2]]
    dice.shuffle(shuffled)
    assert read_row_states(shuffled) == read_row_states(notes)


def slow_taken_back(target: str, notes: list[Note], seen: tuple[str, ...] = ()) -> bool:
    """Whether a withdrawal in force names the note; a ring of withdrawals takes nothing else back."""
    return target not in seen and any(
        other.kind == "withdrawn" and other.replaces == target and not slow_taken_back(other.id, notes, (*seen, target))
        for other in notes
        if other.id != target
    )


@given(note_sets())
def test_standing_notes_are_those_that_nothing_in_force_undoes_and_practice_never_counts(notes: list[Note]) -> None:
    standing, conflicts = keep_standing_notes(notes)
    real = [note for note in notes if not note.practice]

    def is_replaced(note: Note) -> bool:
        return any(
            other.replaces == note.id and other.kind != "withdrawn" and not slow_taken_back(other.id, real)
            for other in real
            if other.id != note.id
        )

    slow = [
        note
        for note in real
        if note.kind != "withdrawn" and not slow_taken_back(note.id, real) and not is_replaced(note)
    ]
    assert sorted(note.id for note in standing) == sorted(note.id for note in slow)
    for target in conflicts:
        rivals = [one for one in real if one.replaces == target and one.kind != "withdrawn"]
        assert len(rivals) > 1


@given(note_sets())
def test_taking_a_correction_back_lets_the_first_note_stand_again(notes: list[Note]) -> None:
    loose = [replace_nothing(note) for note in notes]
    wrong = make_note(98, kind="pollinated", detail="self", value="2", tag="0000009K", replaces=loose[0].id)
    back = make_note(99, kind="withdrawn", tag=wrong.tag, value="undo", replaces=wrong.id)
    assert read_row_states([*loose, wrong, back]) == read_row_states(loose)


@given(note_sets(at_most=1))
def test_taking_the_taking_back_back_undoes_it(notes: list[Note]) -> None:
    note = replace_nothing(notes[0])
    back = make_note(98, kind="withdrawn", tag=note.tag, value="undo", replaces=note.id)
    again = make_note(99, kind="withdrawn", tag=note.tag, value="undo", replaces=back.id)
    assert read_row_states([note, back, again]) == read_row_states([note])


@pytest.mark.parametrize("ring", [("98", "99"), ("98",)])
def test_withdrawals_that_name_each_other_or_themselves_leave_the_rest_alone(ring: tuple[str, ...]) -> None:
    note = make_note(1)
    made = [make_note(int(one), kind="withdrawn", tag=note.tag, value="undo") for one in ring]
    turned = [seal_note(replace(one, replaces=other.id)) for one, other in zip(made, [*made[1:], made[0]], strict=True)]
    assert read_row_states([note, *turned]) == read_row_states([note])


def test_chain_of_corrections_counts_its_last_and_two_corrections_of_one_note_are_a_conflict() -> None:
    first = make_note(1, kind="pollinated", detail="self", value="5")
    second = make_note(2, kind="pollinated", detail="self", value="4", replaces=first.id)
    third = make_note(3, kind="pollinated", detail="self", value="3", replaces=second.id)
    assert read_row_states([first, second, third])[first.tag].ears_pollinated == 3
    other = make_note(4, kind="pollinated", detail="self", value="7", replaces=first.id)
    state = read_row_states([first, second, third, other])[first.tag]
    assert (state.ears_pollinated, state.conflicts) == (10, (first.id,))
    back = make_note(5, kind="withdrawn", tag=first.tag, value="wrong", replaces=other.id)
    state = read_row_states([first, second, third, other, back])[first.tag]
    assert (state.ears_pollinated, state.conflicts) == (3, ())


def test_correction_that_names_another_row_moves_the_note_there() -> None:
    first = make_note(1, kind="pollinated", detail="self", value="5")
    moved = make_note(2, kind="pollinated", detail="self", value="5", tag="0000003W", replaces=first.id)
    states = read_row_states([first, moved])
    assert states["0000003W"].ears_pollinated == 5
    assert states.get(first.tag, RowState(first.tag)).ears_pollinated == 0


def test_bag_used_twice_on_a_row_counts_its_larger_number_and_on_two_rows_both() -> None:
    notes = [
        make_note(1, kind="pollinated", detail="self", value="1", bag="B7"),
        make_note(2, kind="pollinated", detail="self", value="2", bag="B7"),
        make_note(3, kind="pollinated", detail="self", value="1", bag="B7", tag="0000003W"),
    ]
    states = read_row_states(notes)
    assert [states[tag].ears_pollinated for tag in ("0000002Y", "0000003W")] == [2, 1]


@pytest.mark.parametrize("value", ["2031-08-02", "9999-12-31", "0001-01-01", "2029-07-01", "soon", ""])
def test_day_that_a_note_cannot_mean_is_the_day_it_was_taken(value: str) -> None:
    note = make_note(1, kind="silk", detail="", value=value)
    assert read_row_states([note])[note.tag].silk_on == note.taken_on


def test_same_correction_of_a_planting_noted_twice_counts_once() -> None:
    twice = [make_note(number, kind="misplanted", detail="doubled", value="") for number in (1, 2)]
    assert read_row_states(twice)["0000002Y"].misplanted == ("doubled",)


@given(note_sets())
def test_taking_a_note_back_leaves_the_states_as_if_it_had_never_been(notes: list[Note]) -> None:
    loose = [replace_nothing(note) for note in notes]
    taken = loose[0]
    back = make_note(99, kind="withdrawn", tag=taken.tag, value="undo", replaces=taken.id)
    assert read_row_states([*loose, back]) == read_row_states(loose[1:])


@given(note_sets())
def test_replacing_a_note_counts_the_new_one_alone(notes: list[Note]) -> None:
    loose = [replace_nothing(note) for note in notes]
    better = make_note(99, kind="pollinated", detail="self", value="2", replaces=loose[0].id)
    alone = seal_note(replace(better, replaces=""))
    assert read_row_states([*loose, better]) == read_row_states([*loose[1:], alone])


@pytest.mark.parametrize("value", ["many", "", "nan", "inf"])
def test_rating_that_is_no_number_counts_for_no_rating_and_stops_nothing(value: str) -> None:
    odd = make_note(1, kind="rated", detail="vigour", value=value)
    states = read_row_states([odd, make_note(2)])
    assert states["0000002Y"].n_notes == 2
    assert states["0000002Y"].ratings == {}


def replace_nothing(note: Note) -> Note:
    return seal_note(replace(note, replaces=""))


@given(note_sets(at_most=1), st.text(max_size=40), st.integers(-1439, 1439))
def test_note_on_the_wire_reads_back_the_same(notes: list[Note], text: str, offset_min: int) -> None:
    kept = "".join(sign for sign in text if not "\ud800" <= sign <= "\udfff")
    note = seal_note(replace(notes[0], value=kept, offset_min=offset_min))
    assert read_note(note_as_wire(note)) == note

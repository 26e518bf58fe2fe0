"""Laws of the notes of the seed room, in any order, with repeats and corrections.

- Seed in = seed out + seed on hand + what is overdrawn, in each lot.
- The order in which notes come, and how often they are settled on the way, changes nothing.
- Settling once more moves nothing. What is taken back leaves no trace in the stock.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from firstsilk.records.models import Lot, Movement
from firstsilk.science.flowering.notes import note_as_wire, seal_note
from firstsilk.science.seed.lot_notes import Booked, LotEvent, find_differences, settle_lot
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.seed.lot_notes import list_lot_notes, settle_lot_notes
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.seed.weighing import weigh_lot
from tests.factories import make_line, make_lot, make_station, occasion
from tests.properties.test_seed_laws import books_of_their_own
from tests.work.station_books import PHONE, make_note

ON = occasion(date(2031, 11, 20))
DAYS = [date(2031, 11, day) for day in (3, 3, 4, 9)]
IN_BOOKS = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
EVENT = st.tuples(
    st.sampled_from(["taken", "weighed", "discarded"]),
    st.sampled_from([f"2031-11-0{day}T{hour}:00:00" for day in (3, 4, 9) for hour in ("08", "15")]),
    st.integers(0, 700),
)


@given(
    st.lists(EVENT, max_size=8),
    st.lists(st.tuples(st.sampled_from(DAYS), st.sampled_from(["", "09:30:00"]), st.integers(-300, 300)), max_size=5),
    st.randoms(use_true_random=False),
)
def test_in_is_out_and_on_hand_and_overdrawn_for_any_order_and_repeats(events, moves, chance):
    noted = [LotEvent(f"n{at}", kind, when, kernels) for at, (kind, when, kernels) in enumerate(events)]
    booked = [Booked(at, day, hour, kernels) for at, (day, hour, kernels) in enumerate(moves, 1)]
    found = settle_lot(booked, noted)
    stream = [*noted, *noted[:3]]
    chance.shuffle(stream)
    assert settle_lot(chance.sample(booked, len(booked)), stream) == found
    each = [*(one.kernels for one in booked), *found.by_note.values()]
    came, went = sum(max(0, one) for one in each), -sum(min(0, one) for one in each)
    assert came == went + max(0, found.kernels) - max(0, -found.kernels)
    for event in noted:
        if event.kind == "taken":
            assert found.by_note[event.note] == -event.kernels
        if event.kind == "discarded":
            assert found.by_note[event.note] <= 0
    assert find_differences(found.by_note, found.by_note.items()) == {}


@given(st.integers(0, 500), st.lists(EVENT, min_size=1, max_size=6), st.integers(0, 3))
def test_after_a_weighing_only_what_happened_later_counts(first, events, at):
    noted = [LotEvent(f"n{step}", kind, when, kernels) for step, (kind, when, kernels) in enumerate(events)]
    scale = LotEvent("z", "weighed", f"2031-11-0{at + 3}T12:00:00", 321)
    found = settle_lot([Booked(1, date(2030, 12, 1), "", first)], [*noted, scale])
    later = [one for one in noted if one.taken_local > scale.taken_local]
    assert found.kernels == settle_lot([Booked(1, date(2030, 12, 1), "", 321)], later).kernels


@st.composite
def deliveries(draw: st.DrawFn):
    """Notes of one phone about two lots, some of which correct or take back another, and how they come in."""
    count = draw(st.integers(1, 6))
    ids = [make_note(number).id for number in range(1, count + 1)]
    facts = []
    for number in range(1, count + 1):
        kind, when, kernels = draw(EVENT)
        kind = draw(st.sampled_from([kind, kind, kind, "withdrawn"]))
        replaces = draw(st.sampled_from(["", "", *(one for one in ids if one != ids[number - 1])]))
        value = str(kernels if kind != "weighed" else kernels / 4)
        facts.append((number, kind, when, value, draw(st.integers(0, 1)), replaces if kind != "withdrawn" else ids[0]))
    order = draw(st.permutations(facts))
    cuts = sorted(draw(st.lists(st.integers(0, count), max_size=3)))
    weigh_at = draw(st.one_of(st.none(), st.integers(0, 3)))
    return facts, [list(order[a:b]) for a, b in zip([0, *cuts], [*cuts, count], strict=True)], weigh_at


def _open_books():
    station = make_station()
    line = make_line(station, "E1")
    return [make_lot(line, kernels=400, year=year, kernel_weight_mg=250.0) for year in (2029, 2030)]


def _send(facts, lots):
    notes = [
        seal_note(make_note(number, kind=kind, taken_local=when, value=value, tag=lots[lot].tag, replaces=replaces))
        for number, kind, when, value, lot, replaces in facts
    ]
    receive_notes(ON, PHONE, [note_as_wire(note) for note in notes])


def _stock():
    return {one.name: one.kernels for one in read_stock(Lot.objects.first().station)}


@pytest.mark.django_db
@settings(IN_BOOKS, max_examples=12)
@given(deliveries())
def test_in_the_books_no_order_repeat_or_correction_changes_what_is_left(delivery):
    facts, batches, _ = delivery
    with books_of_their_own():
        lots = _open_books()
        _send(facts, lots)
        settle_lot_notes(ON)
        at_once = _stock()
    with books_of_their_own():
        lots = _open_books()
        for batch in batches:
            _send(batch, lots)
            settle_lot_notes(ON)
            _send(batch, lots)
        settle_lot_notes(ON)
        assert _stock() == at_once
        assert list_lot_notes(ON).unbooked == ()
        before = Movement.objects.count()
        settle_lot_notes(ON)
        assert Movement.objects.count() == before
        moved = defaultdict(list)
        for lot, kernels in Movement.objects.values_list("lot__name", "kernels"):
            moved[lot].append(kernels)
        for lot, each in moved.items():
            came, went = sum(one for one in each if one > 0), -sum(one for one in each if one < 0)
            assert came == went + max(0, at_once[lot]) - max(0, -at_once[lot])
        overdrawn = {lot for lot, kernels in at_once.items() if kernels < 0}
        told = {one.place.file for one in list_lot_notes(ON).findings if one.code == "lot_overdrawn"}
        assert told == {f"lot {lot}" for lot in overdrawn}


@pytest.mark.django_db
@settings(IN_BOOKS, max_examples=12)
@given(deliveries())
def test_a_count_at_the_desk_stands_whenever_notes_of_before_it_come(delivery):
    _, batches, weigh_at = delivery
    later = occasion(ON.today - timedelta(days=1))
    with books_of_their_own():
        lots = _open_books()
        for step, batch in enumerate(batches):
            if step == (weigh_at or 0) % len(batches):
                # 200 kernels of 250 mg, after all that the notes speak of. A count that finds what the books hold
                # leaves no movement, and nothing shows then that it was made.
                assume(weigh_lot(later, lots[0].tag, 50.0).change)
            _send(batch, lots)
            settle_lot_notes(ON)
        assert _stock()[lots[0].name] == 200

"""Laws of the seed books and of the walk.

- A lot's stock is the sum of its movements, whatever was asked of it, and is never below zero by the desk's doing.
- What a plan promises is never more than what lies free, and each row's kernels are promised once.
- The lots made of a harvest do not depend on the order in which its notes arrive.
- The walk is a bijection between numbers and places, and each step goes to a neighbour place.
"""

from __future__ import annotations

import itertools
from contextlib import contextmanager
from datetime import date

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.records.models import Movement, Reservation
from firstsilk.science.flowering.notes import Note, make_note_id
from firstsilk.science.nursery.layout import walk_places
from firstsilk.work.nursery.plan import PlanSettings, Want, add_targets, plan_nursery
from firstsilk.work.nursery.sow import AsSown, record_sowing, settle_sowing
from firstsilk.work.seed.ears import group_ears
from firstsilk.work.seed.lots import move_seed, read_lot
from firstsilk.work.seed.stock import read_stock
from tests.factories import make_line, make_lot, make_row, make_season, make_station, make_weather, occasion

ON = occasion(date(2031, 6, 1))
IN_BOOKS = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@contextmanager
def books_of_their_own():
    """Whatever is written inside is gone afterwards: each example starts with empty books."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def stock_of(station):
    return {lot.name: lot for lot in read_stock(station)}


@pytest.mark.django_db
@IN_BOOKS
@given(
    asked=st.lists(
        st.tuples(st.sampled_from(["split", "sent", "discarded", "counted"]), st.integers(-5, 400)), max_size=12
    ),
    promised=st.integers(0, 100),
)
def test_stock_is_the_sum_of_movements_and_never_below_zero(asked, promised):
    with books_of_their_own():
        station = make_station()
        lot = make_lot(make_line(station, "E1"), kernels=200)
        if promised:
            make_row(make_season(station), 1, lot.line, lot=lot, kernels=promised, reserve=True)
        expected = 200
        for reason, kernels in asked:
            try:
                page = move_seed(ON, lot.name, kernels, reason)
            except InputRefused:
                continue
            expected = kernels if reason == "counted" else expected - kernels
            assert page.stock.kernels == expected >= 0
            if reason in ("split", "sent"):
                assert page.stock.free >= 0
        assert sum(Movement.objects.values_list("kernels", flat=True)) == expected
        assert stock_of(station)["E1-30"].kernels == expected
        assert read_lot(ON, lot.name).movements[-1].stock_after == expected


WISHES = st.lists(
    st.tuples(st.sampled_from("ABC"), st.sampled_from(["", "A", "B", "C"]), st.integers(1, 30), st.integers(1, 3)),
    min_size=1,
    max_size=6,
)


@pytest.mark.django_db
@settings(parent=IN_BOOKS, max_examples=15)
@given(wishes=WISHES, seed=st.tuples(*[st.integers(0, 160)] * 3))
def test_a_plan_never_promises_more_than_lies_free_and_sowing_it_ends_every_promise(wishes, seed):
    with books_of_their_own():
        station = make_station()
        make_weather(station, 2029, date(2031, 5, 31))
        make_season(station)
        for name, kernels in zip("ABC", seed, strict=True):
            make_lot(make_line(station, name, 1250 + 40 * ord(name) % 90), kernels=kernels)
        wants = [
            Want("cross" if male else "self", female, male, ears, priority=priority)
            for female, male, ears, priority in wishes
            if male != female
        ]
        if not wants:
            return
        add_targets(ON, "2031", wants)
        try:
            plan = plan_nursery(ON, "2031", PlanSettings(date(2031, 5, 12), rows_per_range=4), fix=True)
        except InputRefused:
            assert not Reservation.objects.exists()
            return
        planned = {lack.target for lack in plan.short} | {row.target for row in plan.rows if row.target}
        assert planned == set(range(1, len(wants) + 1))
        assert all(lot.free >= 0 for lot in stock_of(station).values())
        assert sum(lot.reserved for lot in stock_of(station).values()) == plan.kernels
        assert len({(row.field_row, row.field_col) for row in plan.rows}) == len(plan.rows)
        record_sowing(ON, "2031", [AsSown(row.number, date(2031, 5, 20)) for row in plan.rows])
        after = stock_of(station)
        assert all(lot.reserved == 0 and lot.kernels >= 0 for lot in after.values())
        assert sum(lot.kernels for lot in after.values()) == sum(seed) - plan.kernels
        assert settle_sowing(ON, "2031").settled == 0


def note(at, kind, value, male="", detail="", bag="", replaces=""):
    return Note(
        id=make_note_id(at, at.to_bytes(10, "big")),
        device="00000000-0000-7000-8000-000000000000",
        number=at,
        worker="W1",
        kind=kind,
        detail=detail,
        tag="ROW1",
        male=male,
        bag=bag,
        plant=None,
        value=str(value),
        unit="",
        taken_local="2031-07-20T10:00:00",
        offset_min=0,
        source="phone",
        app="test",
        format=1,
        practice=False,
        doubt="",
        doubt_reason="",
        replaces=replaces,
    )


BAGS = st.sampled_from(["", "B1", "B2", "B3"])
POLLINATED = st.tuples(
    st.just("pollinated"),
    st.integers(0, 5),
    st.sampled_from(["M1", "M2", "N1", "ROW1"]),
    st.sampled_from(["self", "cross", "sib"]),
    BAGS,
)
SHELLED = st.tuples(st.just("shelled"), st.integers(0, 300), st.just(""), st.just(""), BAGS)
LINES = {"ROW1": "E1", "M1": "M", "M2": "M", "N1": "N"}


@given(bodies=st.lists(POLLINATED | SHELLED, max_size=10), withdrawn=st.integers(0, 10), data=st.data())
def test_whose_kernels_they_are_does_not_depend_on_the_order_of_the_notes(bodies, withdrawn, data):
    notes = [note(at, *body) for at, body in enumerate(bodies, 1)]
    if withdrawn and withdrawn <= len(notes):
        notes.append(note(99, "withdrawn", "wrong", replaces=notes[withdrawn - 1].id))
    found = group_ears(notes, "ROW1", LINES)
    mixed = data.draw(st.permutations(notes + notes[: len(notes) // 2]))
    assert group_ears(mixed, "ROW1", LINES) == found
    assert all(group.kernels > 0 for group in found.groups)
    fathers = [(group.kind, group.father) for group in found.groups]
    assert len(set(fathers)) == len(fathers)
    assert set(fathers) <= set(found.ways)


@given(rows_per_range=st.integers(1, 40), count=st.integers(1, 400), start=st.integers(1, 400))
def test_the_walk_is_a_bijection_that_never_jumps(rows_per_range, count, start):
    places = [place for place, _ in zip(walk_places(rows_per_range, start), range(count), strict=False)]
    assert [number for number, _, _ in places] == list(range(start, start + count))
    assert len({(row, col) for _, row, col in places}) == count
    assert all(1 <= col <= rows_per_range and row == (number - 1) // rows_per_range + 1 for number, row, col in places)
    for (_, row, col), (_, next_row, next_col) in itertools.pairwise(places):
        assert abs(next_row - row) + abs(next_col - col) == 1

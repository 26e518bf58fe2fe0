"""The holes in a device's numbers, as the database finds them, are those that a child would find by counting."""

from __future__ import annotations

import json
from contextlib import contextmanager
from hashlib import sha256

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.records.models import Note, NoteAside
from firstsilk.work.flowering.gaps import Numbers, read_numbers, read_numbers_by_device
from firstsilk.work.flowering.receive import receive_notes
from tests.work.station_books import NOW, ON, PHONE, make_station, make_wire

OTHER = "0195c1a0-0000-7000-8000-0000000000b2"


@contextmanager
def books():
    with transaction.atomic():
        yield make_station()
        transaction.set_rollback(True)


def count_gaps(held: set[int], told: int) -> Numbers:
    """The slow twin: go up from 1 and write down each run that is not there."""
    gaps: list[list[int]] = []
    for number in range(1, max([told, *held], default=0) + 1):
        if number in held:
            continue
        if gaps and gaps[-1][1] == number - 1:
            gaps[-1][1] = number
        else:
            gaps.append([number, number])
    end = max([told, *held], default=0)
    ranges = tuple((first, last) for first, last in gaps)
    return Numbers(ranges, gaps[0][0] - 1 if gaps else end, max(held, default=0))


numbers = st.lists(st.integers(1, 14), max_size=8)


@pytest.mark.django_db
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(numbers, max_size=3), numbers, st.integers(0, 16), numbers)
def test_gaps_after_any_batches_are_those_found_by_counting(batches, aside, told, others) -> None:
    with books() as station:
        at = 0
        for batch in batches:
            # The same number twice under two ids: a phone that lost its store may do so; both are kept.
            wires = []
            for number in batch:
                at += 1
                wires.append(make_wire(number, id=f"0195c1a0-0000-7000-8000-{at:012x}"))
            receipt = receive_notes(ON, PHONE, wires, highest_number=told)
            held = set(Note.objects.values_list("device_number", flat=True))
            assert Numbers(receipt.gaps, receipt.confirmed_to, receipt.highest_number) == count_gaps(held, told)
        receive_notes(
            ON,
            OTHER,
            [make_wire(number, device=OTHER, id=f"0195c1a0-0000-7000-9000-{number:012x}") for number in set(others)],
        )
        for number in aside:
            raw = json.dumps({"device": PHONE, "number": number})
            NoteAside.objects.get_or_create(
                station=station,
                raw_hash=sha256(raw.encode()).hexdigest(),
                defaults={"device": PHONE, "raw": raw, "reason": "x", "code": "x", "received_at": NOW},
            )
        held = {number for batch in batches for number in batch} | set(aside)
        assert read_numbers(station, PHONE, told) == count_gaps(held, told)
        every = read_numbers_by_device(station, {PHONE: told})
        assert every[PHONE] == count_gaps(held, told)
        assert every.get(OTHER, Numbers()) == count_gaps(set(others), 0)


@pytest.mark.django_db
def test_gaps_are_found_with_the_same_questions_for_one_note_and_for_five_hundred() -> None:
    asked = []
    for n in (1, 500):
        with books() as station:
            receive_notes(ON, PHONE, [make_wire(number) for number in range(1, n + 1)])
            with CaptureQueriesContext(connection) as found:
                assert read_numbers(station, PHONE) == Numbers((), n, n)
            asked.append(len(found))
    assert asked == [3, 3]

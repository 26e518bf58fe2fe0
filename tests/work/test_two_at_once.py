"""Phones that send at the same instant: is each note stored once, and does the chain hold?

On PostgreSQL, where writers meet within a transaction. On SQLite one writer waits for the other before it begins, which
`tests/journeys/test_kill_server.py` sees through the served door.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import UUID

import pytest
from django.conf import settings
from django.db import connections, transaction

from firstsilk.records.models import Device, Note, Station
from firstsilk.science.flowering.notes import make_note_id
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.shelf import get_station, take_tags
from tests.work.station_books import ON, make_station, make_wire

pytestmark = [
    pytest.mark.skipif(
        "postgresql" not in settings.DATABASES["default"]["ENGINE"],
        reason="the books of this run are on SQLite (FIRSTSILK_TEST_DATABASE names none on PostgreSQL)",
    ),
    pytest.mark.django_db(transaction=True),
]

PHONES = [f"0195c1a0-0000-7000-8000-0000000000e{number}" for number in range(4)]
BATCHES = 8


def at_once(work, many: int) -> list:
    """Run `work(0)`, `work(1)`, ... in threads that begin together, each with a connection of its own."""
    start = Barrier(many)

    def begin(number: int):
        try:
            start.wait(timeout=30)
            return work(number)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(many) as pool:
        return list(pool.map(begin, range(many)))


def test_phones_that_send_at_the_same_instant_lengthen_one_chain() -> None:
    station = make_station()
    for number, phone in enumerate(PHONES, start=2):
        Device.objects.create(station=station, uuid=UUID(phone), number=number, label=phone[-2:])
    Station.objects.update(last_device_number=1 + len(PHONES))

    def send(phone: int) -> int:
        ids = [make_note_id(1_942_000_000_000 + n, bytes([phone] * 10)) for n in range(3 * BATCHES)]
        wires = [make_wire(n, device=PHONES[phone], id=one) for n, one in enumerate(ids, start=1)]
        batches = [wires[start : start + 3] for start in range(0, len(wires), 3)]
        return sum(len(receive_notes(ON, PHONES[phone], batch).stored) for batch in [*batches, *batches])

    def write(desk: int) -> int:
        return sum(len(write_notes(ON, [NoteDraft("silk", "0000002Y")])) for _ in range(BATCHES))

    stored = at_once(lambda number: send(number) if number < len(PHONES) else write(number), len(PHONES) + 2)
    assert stored == [3 * BATCHES] * len(PHONES) + [BATCHES] * 2
    assert list(Note.objects.order_by("position").values_list("position", flat=True)) == list(
        range(1, Note.objects.count() + 1)
    )
    assert Note.objects.count() == sum(stored)
    assert verify_chain(ON).ok


def test_same_notes_sent_by_two_at_the_same_instant_are_stored_once() -> None:
    make_station()
    wires = [make_wire(number) for number in range(1, 21)]
    receipts = at_once(lambda _: receive_notes(ON, PHONES[0], wires), 4)
    assert sorted(len(receipt.stored) for receipt in receipts) == [0, 0, 0, 20]
    assert all(len(receipt.stored) + len(receipt.already) == 20 for receipt in receipts)
    assert verify_chain(ON).ok


def test_tags_taken_at_the_same_instant_are_all_different() -> None:
    make_station()

    def take(_: int) -> list[str]:
        taken = []
        for _ in range(5):
            with transaction.atomic():
                taken += take_tags(get_station(ON.station), "row", 4)
        return taken

    taken = [tag for tags in at_once(take, 4) for tag in tags]
    assert len(taken) == len(set(taken)) == 80
    assert Station.objects.get().last_tag_serial >= 80

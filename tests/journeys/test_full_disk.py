"""A disk that is full refuses whole batches, in a sentence, and half of none; when there is room again, all goes on."""

from __future__ import annotations

import json
from pathlib import Path

from tests.journeys.serving import StationServer

FILL = """
import json
from datetime import UTC, date, datetime
from django.db import OperationalError, connection
from firstsilk.records.models import Device, Note, NoteAside
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.occasion import Occasion
from tests.work.station_books import PHONE, make_wire

on = Occasion("eskerholm", date(2031, 7, 20), datetime(2031, 7, 20, 18, 0, tzinfo=UTC), "leader")

def look():
    return [
        Note.objects.count(), NoteAside.objects.count(),
        list(Device.objects.order_by("pk").values_list("last_seen_at", "highest_number")), verify_chain(on).ok,
    ]

def give_room(pages):
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        (used,) = cursor.fetchone()
        cursor.execute(f"PRAGMA max_page_count={used + pages}")

wires = [*(make_wire(number, value="x" * 1500, kind="remarked") for number in range(1, 41)), "bread" * 2000]
full, halves, said = 0, 0, set()
pages = 0
while True:
    before = look()
    give_room(pages)
    try:
        receive_notes(on, PHONE, wires, highest_number=40)
        break
    except OperationalError as fault:
        full += 1
        said.add(str(fault))
        halves += look() != before
    pages += 1
done = look()
give_room(1_000_000)
again = receive_notes(on, PHONE, wires)
print(json.dumps({
    "full": full, "halves": halves, "said": sorted(said), "notes": done[0], "aside": done[1], "ok": done[3],
    "already": len(again.already), "stored": len(again.stored), "same": look()[:2] == done[:2],
}))
"""


def test_batch_on_a_full_disk_is_stored_whole_or_not_at_all(tmp_path: Path) -> None:
    server = StationServer(tmp_path / "books", extra={"PYTHONPATH": str(Path(__file__).resolve().parents[2])})
    server.prepare()
    told = json.loads(server.run(FILL))
    print(f"{told['full']} times full: {told['said']}")
    assert told["full"] > 10
    assert told["halves"] == 0
    assert told["said"] == ["database or disk is full"]
    assert (told["notes"], told["aside"], told["ok"]) == (40, 1, True)
    assert (told["stored"], told["already"], told["same"]) == (0, 40, True)

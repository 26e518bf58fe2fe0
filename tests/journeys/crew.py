"""A crew of phones that brings its notes to a served station over HTTP, some of them twice; how long each sync took."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from dataclasses import dataclass, field

from firstsilk.science.flowering.notes import FORMAT, Note, make_note_id, note_as_wire, seal_note
from firstsilk.science.seed.tags import tag_for_serial
from tests.journeys.serving import StationServer

ENROL = """
import json
from datetime import UTC, datetime
from firstsilk.work.flowering.devices import enrol_device, open_enrolment
from firstsilk.work.occasion import Occasion
now = datetime.now(UTC)
on = Occasion("eskerholm", now.date(), now)
made = []
for number in range({phones}):
    uuid = f"0195c1a0-0000-7000-8000-{{number + 4096:012x}}"
    made.append([uuid, enrol_device(open_enrolment(on).code, uuid, now).token])
print(json.dumps(made))
"""
COUNT = """
import json
from firstsilk.records.models import Note
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.occasion import Occasion
print(json.dumps([Note.objects.count(), verify_chain(Occasion("eskerholm", None, None)).ok]))
"""


@dataclass
class Phone:
    """One phone: its notes, made beforehand, and the seconds that each of its syncs took."""

    device: str
    token: str
    notes: list[dict[str, object]]
    took_s: list[float] = field(default_factory=list)
    stored: set[str] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)

    def bring(self, port: int, batch: int, resent: float, pause_s: float, dice: random.Random) -> None:
        """Send all notes in batches, a share of them once more, and wait a while between two syncs."""
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        time.sleep(dice.uniform(0, pause_s))
        for start in range(0, len(self.notes), batch):
            notes = self.notes[start : start + batch]
            earlier = self.notes[:start]
            again = dice.sample(earlier, min(len(earlier), round(resent * len(notes)))) if earlier else []
            self._sync(line, [*again, *notes], start + len(notes))
            time.sleep(dice.uniform(0.5, 1.5) * pause_s)
        line.close()

    def _sync(self, line: http.client.HTTPConnection, notes: list[dict[str, object]], highest: int) -> None:
        body = {"format": 1, "device": self.device, "highest_number": highest, "notes": notes, "waiting": 0}
        headers = {"Content-Type": "application/json", "Authorization": f"Bearer {self.token}"}
        sent = json.dumps(body).encode()
        began = time.perf_counter()
        line.request("POST", "/pocket/api/v1/notes", sent, headers)
        response = line.getresponse()
        answer = json.loads(response.read())
        self.took_s.append(time.perf_counter() - began)
        if response.status != 200:
            self.faults.append(f"{response.status}: {answer}")
            return
        self.stored |= {*answer["stored"], *answer["already"]}


@dataclass(frozen=True)
class CrewDay:
    """What a crew's day of bringing notes took."""

    phones: int
    notes: int
    syncs: int
    whole_s: float
    p50_ms: float
    p95_ms: float
    worst_ms: float
    faults: tuple[str, ...]
    held: int
    chain_ok: bool

    def as_text(self) -> str:
        return (
            f"{self.phones} phones, {self.notes:,} notes in {self.syncs:,} syncs: {self.whole_s:.1f} s; a sync took "
            f"{self.p50_ms:.0f} ms in the middle, {self.p95_ms:.0f} ms at 95 %, {self.worst_ms:.0f} ms at worst; "
            f"{self.held:,} held, chain {'holds' if self.chain_ok else 'broken'}, {len(self.faults)} faults"
        )


def run_crew(
    server: StationServer, phones: int, notes: int, batch: int, pause_s: float, resent: float = 0.1, seed: int = 2031
) -> CrewDay:
    """Let a crew bring its notes to a prepared and started server; `pause_s` lies between two syncs of a phone."""
    enrolled = json.loads(server.run(ENROL.format(phones=phones)))
    crew = [Phone(device, token, _make_notes(at, device, notes)) for at, (device, token) in enumerate(enrolled)]
    before, _ = json.loads(server.run(COUNT))
    # The first request of a server loads most of it, before anybody's clock runs.
    server.send("notes", {"format": 1, "device": crew[0].device, "notes": []}, token=crew[0].token)
    threads = [
        threading.Thread(target=phone.bring, args=(server.port, batch, resent, pause_s, random.Random(seed + at)))
        for at, phone in enumerate(crew)
    ]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    whole = time.perf_counter() - began
    took = sorted(one for phone in crew for one in phone.took_s)
    held, ok = json.loads(server.run(COUNT))
    assert all(phone.stored == {str(note["id"]) for note in phone.notes} or phone.faults for phone in crew)
    return CrewDay(
        phones=phones,
        notes=phones * notes,
        syncs=len(took),
        whole_s=whole,
        p50_ms=1000 * took[len(took) // 2],
        p95_ms=1000 * took[int(0.95 * len(took))],
        worst_ms=1000 * took[-1],
        faults=tuple(fault for phone in crew for fault in phone.faults),
        held=held - before,
        chain_ok=ok,
    )


def _make_notes(at: int, device: str, notes: int) -> list[dict[str, object]]:
    """A phone's notes of the day: shoot bags and pollinations by turns."""
    return [note_as_wire(seal_note(_make_note(at, device, number))) for number in range(1, notes + 1)]


def _make_note(at: int, device: str, number: int) -> Note:
    kind, detail, value = ("pollinated", "self", "1") if number % 2 else ("shoot_bagged", "", "3")
    return Note(
        id=make_note_id(1_942_000_000_000 + number, at.to_bytes(5, "big") + number.to_bytes(5, "big")),
        device=device,
        number=number,
        worker=f"W{at:02d}",
        kind=kind,
        detail=detail,
        tag=tag_for_serial(number),
        male="",
        bag="",
        plant=None,
        value=value,
        unit="",
        taken_local="2031-07-20T10:00:00",
        offset_min=0,
        source="phone",
        app="pocket 0.1.0",
        format=FORMAT,
        practice=False,
        doubt="",
        doubt_reason="",
        replaces="",
    )

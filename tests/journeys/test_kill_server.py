"""What the station has said is stored is stored, even if its whole process group is killed at that moment."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from firstsilk.science.flowering.notes import make_note_id
from tests.journeys.serving import StationServer
from tests.work.station_books import make_wire

PHONE = "0195c1a0-0000-7000-8000-0000000000e5"
KILLS = 20
BATCH = 3

READ_BACK = (
    "import json\n"
    "from firstsilk.records.models import Note\n"
    "from firstsilk.work.flowering.chain import verify_chain\n"
    "from firstsilk.work.occasion import Occasion\n"
    "check = verify_chain(Occasion('eskerholm', None, None))\n"
    "ids = [str(one) for one in Note.objects.values_list('uuid', flat=True)]\n"
    "print(json.dumps({'ids': ids, 'ok': check.ok, 'n': check.n}))\n"
)


@dataclass
class Phone:
    """Sends batches as fast as they are answered, and writes down which ids were said to be stored."""

    server: StationServer
    token: str
    acknowledged: list[str] = field(default_factory=list)
    numbers: count = field(default_factory=lambda: count(1))

    def send_until(self, stop: threading.Event) -> None:
        while not stop.is_set():
            wires = [self._make(next(self.numbers)) for _ in range(BATCH)]
            try:
                status, answer = self.server.send(
                    "notes", {"format": 1, "device": PHONE, "notes": wires}, token=self.token
                )
            except (OSError, ValueError, http.client.HTTPException):
                # No answer, or half of one: nothing was said to be stored.
                continue
            assert status == 200, answer
            self.acknowledged += [*answer["stored"], *answer["already"]]

    def wait_for_more_than(self, number: int) -> None:
        """Wait until this server too has said of some notes that they are stored."""
        deadline = time.monotonic() + 20
        while len(self.acknowledged) <= number:
            assert time.monotonic() < deadline, "the server stores nothing"
            time.sleep(0.005)

    def _make(self, number: int) -> dict[str, object]:
        note_id = make_note_id(1_942_000_000_000 + number, number.to_bytes(10, "big"))
        return make_wire(number, id=note_id, device=PHONE)


def kill_and_count(home: Path, kills: int, application: str = "") -> dict[str, object]:
    """Kill a receiving server so many times; tell what it acknowledged, what it holds, and whether the chain holds."""
    server = StationServer(home, **({"application": application} if application else {}))
    code = server.prepare()["code"]
    dice = random.Random(20310714)
    server.start()
    status, enrolled = server.send("enrol", {"code": code, "device": PHONE})
    assert status == 200, enrolled
    phone = Phone(server, str(enrolled["token"]))
    in_turn: list[int] = []
    try:
        for _ in range(kills):
            before = len(phone.acknowledged)
            stop = threading.Event()
            sender = threading.Thread(target=phone.send_until, args=(stop,))
            sender.start()
            phone.wait_for_more_than(before)
            time.sleep(dice.uniform(0.0, 0.4))
            server.kill()
            stop.set()
            sender.join(timeout=15)
            assert not sender.is_alive()
            in_turn.append(len(phone.acknowledged) - before)
            server.start()
    finally:
        server.kill()
    held = json.loads(server.run(READ_BACK))
    lost = set(phone.acknowledged) - set(held["ids"])
    return {"acknowledged": len(phone.acknowledged), "lost": len(lost), "in_turn": in_turn, **held}


def test_no_acknowledged_note_is_lost_in_twenty_kills(tmp_path: Path) -> None:
    told = kill_and_count(tmp_path / "books", KILLS)
    print(f"{KILLS} kills, {told['acknowledged']} acknowledged, {told['lost']} lost, {told['n']} held")
    # The test means something only if every server was killed while it was receiving.
    assert min(told["in_turn"]) >= BATCH
    assert told["lost"] == 0
    assert told["ok"]
    assert told["n"] >= told["acknowledged"]


def test_kill_test_finds_a_server_that_answers_before_its_commit(tmp_path: Path) -> None:
    told = kill_and_count(tmp_path / "books", 2, application="early_answer:application")
    assert told["acknowledged"] > 0
    assert told["lost"] > 0

"""What the station has said is stored is stored, even if its whole process group is killed at that moment."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

import pytest

from firstsilk.science.flowering.notes import make_note_id
from tests.journeys.serving import StationServer, WarmServer
from tests.work.station_books import make_wire

PHONE = "0195c1a0-0000-7000-8000-0000000000e5"
KILLS = 50
SERVED_KILLS = 3
"""With the whole server of `firstsilk serve`, which takes seconds to load each time."""
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


def kill_and_count(server: StationServer, kills: int, longest_s: float = 0.4) -> dict[str, object]:
    """Kill a receiving server so many times; tell what it acknowledged, what it holds, and whether the chain holds."""
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
            time.sleep(dice.uniform(0.0, longest_s))
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
    doubled = len(held["ids"]) - len(set(held["ids"]))
    return {"acknowledged": len(phone.acknowledged), "lost": len(lost), "doubled": doubled, "in_turn": in_turn, **held}


def check_told(told: dict[str, object], kills: int) -> None:
    """Nothing acknowledged is lost or doubled, and every server was killed while it was receiving."""
    bound = 3 / kills
    print(
        f"{kills} kills, {told['acknowledged']:,} acknowledged, {told['lost']} lost, {told['doubled']} doubled, "
        f"{told['n']:,} held; so fewer than {bound:.1%} of kills lose a note (95 %)"
    )
    assert min(told["in_turn"]) >= BATCH
    assert (told["lost"], told["doubled"], told["ok"]) == (0, 0, True)
    assert told["n"] >= told["acknowledged"]


@pytest.fixture
def warm(tmp_path: Path) -> Iterator[Callable[..., WarmServer]]:
    made: list[WarmServer] = []

    def make(**given: str) -> WarmServer:
        made.append(WarmServer(tmp_path / "books", **given))
        return made[-1]

    yield make
    for server in made:
        server.close()


def test_no_acknowledged_note_is_lost_in_fifty_kills(warm) -> None:
    check_told(kill_and_count(warm(), KILLS, longest_s=0.15), KILLS)


def test_no_acknowledged_note_is_lost_when_the_server_of_a_station_in_use_is_killed(tmp_path: Path) -> None:
    check_told(kill_and_count(StationServer(tmp_path / "books"), SERVED_KILLS), SERVED_KILLS)


def test_kill_test_finds_a_server_that_answers_before_its_commit(warm) -> None:
    told = kill_and_count(warm(application="early_answer:application"), 2)
    assert told["acknowledged"] > 0
    assert told["lost"] > 0

"""A small crew's day comes in fast enough at a served station; the whole one is `make load-crew`."""

from __future__ import annotations

from pathlib import Path

from tests.journeys.crew import run_crew
from tests.journeys.serving import StationServer

P95_MS = 200.0
"""The aim for a sync at 95 %, on a machine that does nothing else; here three times as much may pass."""


def test_crew_brings_its_notes_and_nobody_waits_long(tmp_path: Path) -> None:
    server = StationServer(tmp_path / "books")
    server.prepare()
    server.start()
    try:
        day = run_crew(server, phones=8, notes=60, batch=20, pause_s=2.0)
    finally:
        server.kill()
    print(day.as_text())
    assert (day.faults, day.held, day.chain_ok) == ((), 480, True)
    assert day.syncs == 24
    assert day.p95_ms < 3 * P95_MS

"""How long does a crew's day of notes take to come in? Simulated phones against the whole server, over HTTP.

``python benchmarks/crew_load.py``: 30 phones bring 300 notes each in batches, one in ten sent twice, first through the
day with pauses, then all of them at once in the evening. Exit 1 where a bar is missed.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.journeys.crew import run_crew
from tests.journeys.serving import StationServer

WHOLE_S, P95_MS = 60.0, 200.0


def main() -> int:
    with tempfile.TemporaryDirectory(prefix="firstsilk-load-") as home:
        server = StationServer(Path(home) / "books")
        server.prepare()
        server.start()
        try:
            through = run_crew(server, phones=30, notes=300, batch=20, pause_s=2.5)
            print("through the day: ", through.as_text(), flush=True)
        finally:
            server.kill()
    with tempfile.TemporaryDirectory(prefix="firstsilk-load-") as home:
        server = StationServer(Path(home) / "books")
        server.prepare()
        server.start()
        try:
            evening = run_crew(server, phones=30, notes=300, batch=100, pause_s=0.0)
            print("all in the evening: ", evening.as_text(), flush=True)
        finally:
            server.kill()
    good = all(not one.faults and one.chain_ok and one.held == one.notes for one in (through, evening))
    good = good and max(through.whole_s, evening.whole_s) < WHOLE_S and through.p95_ms < P95_MS
    print(f"bars: {WHOLE_S:.0f} s each, {P95_MS:.0f} ms at 95 % through the day: {'reached' if good else 'missed'}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())

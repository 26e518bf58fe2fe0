"""How long does a scan at the shelling bench take in a large season? 10,112 rows, six notes of ears and bags each.

``python benchmarks/shelling_scan.py [ROWS]``: seconds of the processor, the middle of five, for a scan of a bag with a
crate on the bench, for looking at the lot that it becomes and making it, and for the same notes read whole.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from uuid import UUID

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

os.environ["FIRSTSILK_HOME"] = tempfile.mkdtemp(prefix="firstsilk-shelling-")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

WHEN = datetime(2031, 7, 25, 9, tzinfo=UTC)
STEPS = (("tassel_bagged", 1, 24), ("pollinated", 1, 25), ("ears_picked", 1, 25), ("crated", 0, 26))
EARS = 2
A_CRATE = 40
BAR_S = 0.3


def fill_books(n_rows: int) -> None:
    """Rows of 800 lines selfed; two ears a row by bag, picked, forty rows to a crate."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from firstsilk.records.models import Line, Row, Tag
    from tests.factories import make_season, make_station

    station = make_station()
    season = make_season(station)
    made = (Line(station=station, name=f"L{at}", method="founder_inbred") for at in range(800))
    Line.objects.bulk_create(made, batch_size=500)
    lines = list(Line.objects.order_by("pk"))
    rows = [
        Row(station=station, season=season, tag=f"R{at:07}", number=at, line=lines[at % 800], purpose="self",
            kernels=24, field_row=at // 100 + 1, field_col=at % 100 + 1)
        for at in range(1, n_rows + 1)
    ]  # fmt: skip
    Row.objects.bulk_create(rows, batch_size=500)
    crates = [crate_of(at) for at in range(0, n_rows + 1, A_CRATE)]
    Tag.objects.bulk_create(Tag(station=station, code=code, hangs_on="crate") for code in crates)
    write_notes(station, n_rows)


def crate_of(row: int) -> str:
    """The tag of the crate that a row's ears lie in."""
    from firstsilk.science.seed.tags import tag_for_serial

    return tag_for_serial(900_000 + row // A_CRATE)


def write_notes(station: object, n_rows: int) -> None:
    """Six notes a row: both ears pollinated and picked by bag, the first from a bagged tassel and put into a crate."""
    from firstsilk.records.models import Note

    notes: list[Note] = []
    for row in range(1, n_rows + 1):
        for ear in range(EARS):
            for kind, value, day in STEPS[:4] if ear == 0 else STEPS[1:3]:
                at, on = len(notes) + 1, date(2031, 7, day)
                told = {"device": UUID(int=1), "device_number": at, "offset_min": 0, "source": "phone", "format": 1}
                told |= {"taken_local": f"{on}T10:00:00", "taken_at": WHEN, "taken_on": on, "received_at": WHEN}
                told |= {"position": at, "check_sum": "0" * 8, "previous_hash": "0" * 64, "hash": f"{at:064x}"}
                said = {"kind": kind, "tag": f"R{row:07}", "bag": f"B{row}-{ear}", "worker": "W1"}
                said |= {"value": str(value or crate_of(row)), "detail": "self" if kind == "pollinated" else ""}
                notes.append(Note(station=station, uuid=UUID(int=at), **told, **said))
    Note.objects.bulk_create(notes, batch_size=400)
    print(f"{n_rows:,} rows, {len(notes):,} notes of ears and bags")


def tell_time(what: str, of: Callable[[int], object], times: int = 5) -> float:
    """Processor seconds of the middle one of some goes."""
    took = []
    for at in range(times):
        start = time.process_time()
        of(at)
        took.append(time.process_time() - start)
    print(f"{what:60} {statistics.median(took):6.3f} s of the processor ({min(took):.3f} to {max(took):.3f})")
    return statistics.median(took)


def main(n_rows: int) -> None:
    """Fill the books, then scan."""
    import django

    django.setup()
    fill_books(n_rows)
    from firstsilk.work.seed.season_notes import read_season_notes
    from firstsilk.work.seed.shelling import read_shelling, shell_ears
    from tests.factories import occasion

    on, row = occasion(date(2031, 10, 5)), n_rows // 2
    bags = [f"B{row + at}-0" for at in range(5)]
    tell_time("the first scan of the day", lambda _: read_shelling(on, "2031", bags[:1], crate_of(row)), 1)
    assert read_shelling(on, "2031", bags[:1], crate_of(row)).in_crate
    took = tell_time(
        "a scan, with a crate on the bench", lambda at: read_shelling(on, "2031", [bags[at]], crate_of(row))
    )
    tell_time("looking at the lot", lambda at: shell_ears(on, "2031", [bags[at]], 100, book=False))
    tell_time("making the lot", lambda at: shell_ears(on, "2031", [bags[at]], 100))
    tell_time("the whole season read once", lambda _: read_season_notes(on, "2031"), 1)
    print(f"bar {BAR_S} s: {'kept' if took < BAR_S else 'missed'}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_112)

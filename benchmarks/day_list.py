"""How long does the day list of a large nursery take? 20,000 rows of 800 lines, 6 notes each, drawn from a seed.

``python benchmarks/day_list.py [ROWS]``: the stages of the list, in seconds of the processor and by the clock, and what
a page that asks again costs while nothing has changed. The chain of hashes over the notes is not computed.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

os.environ["FIRSTSILK_HOME"] = tempfile.mkdtemp(prefix="firstsilk-day-")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

TODAY = date(2031, 7, 25)
WHEN = datetime(2031, 7, 25, 9, tzinfo=UTC)
BAR_S = 2.0
SHOWN = ("rows as they stand", "the whole list", "parted over 10 teams", "asked again, nothing changed")


def fill_books(n_rows: int, n_lines: int = 800) -> None:
    """A station with one season: selfs, and crosses with a male in each tenth row, in and about flowering."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from firstsilk.records.models import Line, Row, Station, Target
    from tests.factories import make_season, make_station, make_weather

    make_weather(make_station(), 2027, TODAY)
    station, dice = Station.objects.get(), random.Random(2031)
    season = make_season(station)
    names = [f"L{at}" for at in range(n_lines)]
    units = [1000 + 60 * dice.random() for _ in names]
    made = (
        Line(station=station, name=name, method="founder_inbred", units_to_silk=need, units_to_shed=need - 15)
        for name, need in zip(names, units, strict=True)
    )
    Line.objects.bulk_create(made, batch_size=500)
    lines = list(Line.objects.filter(station=station).order_by("pk"))
    made_targets, made_rows = [], []
    for at in range(n_rows):
        line, male = lines[at % n_lines], lines[(at // 10 * 10 + 9) % n_lines]
        purpose = "male" if at % 10 == 9 else "female" if at % 10 > 5 else "self"
        if at % 10 < 9 and (at < n_lines or at % 4 == 0):
            told = {"kind": "cross" if purpose == "female" else "self", "state": "planned", "priority": 1 + at % 3}
            father = male if purpose == "female" else None
            made_targets.append(
                Target(station=station, season=season, number=at + 1, female=line, male=father, ears_wanted=4, **told)
            )
        place = {"number": at + 1, "field_row": at // 100 + 1, "field_col": at % 100 + 1}
        made_rows.append(
            Row(station=station, season=season, tag=f"{at:08d}", line=line, purpose=purpose, kernels=24, **place)
        )
    Target.objects.bulk_create(made_targets, batch_size=500)
    known = {(one.female_id, one.male_id): one for one in Target.objects.all()}
    for at, row in enumerate(made_rows):
        male = lines[(at // 10 * 10 + 9) % n_lines].pk if row.purpose == "female" else None
        row.target = None if row.purpose == "male" else known.get((row.line_id, male))
    Row.objects.bulk_create(made_rows, batch_size=500)
    write_notes(station, dice)


def write_notes(station: object, dice: random.Random) -> None:
    """Sown, silk, shed, shoot bags, tassel bags by code and pollinations from them: some six notes a row."""
    from firstsilk.records.models import Note, Row

    notes: list[Note] = []

    def note(tag: str, kind: str, day: date, value: object, detail: str = "", bag: str = "") -> None:
        at = len(notes) + 1
        told = {"device": UUID(int=1), "device_number": at, "offset_min": 0, "source": "phone", "format": 1}
        told |= {"taken_local": f"{day}T10:00:00", "taken_at": WHEN, "taken_on": day, "received_at": WHEN}
        told |= {"position": at, "check_sum": "0" * 8, "previous_hash": "0" * 64, "hash": f"{at:064x}"}
        said = {"kind": kind, "detail": detail, "tag": tag, "value": str(value), "bag": bag, "worker": "W1"}
        notes.append(Note(station=station, uuid=UUID(int=at), **told, **said))

    for at, (tag, purpose) in enumerate(Row.objects.order_by("number").values_list("tag", "purpose")):
        silk = TODAY + timedelta(days=dice.randint(-8, 6))
        note(tag, "sown", date(2031, 5, 12), "2031-05-12")
        for kind, day in (("silk", silk), ("shed", silk - timedelta(days=1))):
            note(tag, kind if day <= TODAY else f"{kind}_not_yet", min(day, TODAY), min(day, TODAY))
        if purpose != "male":
            note(tag, "shoot_bagged", silk - timedelta(days=3), 8)
        if silk < TODAY:
            note(tag, "tassel_bagged", silk, 1, "", f"B{at}")
            if purpose == "self":
                note(tag, "pollinated", silk + timedelta(days=1), dice.randint(1, 6), "self", f"B{at}")
    Note.objects.bulk_create(notes, batch_size=500)


def time_stages() -> list[tuple[str, float, float]]:
    """Each stage with its seconds of the processor and by the clock: the best of three."""
    from firstsilk.records.models import Season, Station
    from firstsilk.work.flowering.day import read_day_list
    from firstsilk.work.flowering.day_mark import read_day_mark
    from firstsilk.work.flowering.rows import read_season_rows
    from firstsilk.work.flowering.teams import plan_teams
    from tests.factories import occasion

    on = occasion(TODAY)
    station, season = Station.objects.get(), Season.objects.get()
    day = read_day_list(on)
    print(f"{len(day.rows):,} rows, {day.basis.as_text()} {len(day.tasks):,} tasks.")
    stages: tuple[Callable[[], object], ...] = (
        lambda: read_season_rows(on, station, season),
        lambda: read_day_list(on),
        lambda: plan_teams(on, day, 10),
        lambda: read_day_mark(on, season.name),
    )
    return [(name, *time_work(work)) for name, work in zip(SHOWN, stages, strict=True)]


def time_work(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds of the processor and by the clock: the best of three."""
    took = []
    for _ in range(3):
        began, spent = time.perf_counter(), time.process_time()
        work()
        took.append((time.process_time() - spent, time.perf_counter() - began))
    return min(took)


def main() -> int:
    """Print the stages; 1 where the list takes longer than its bar."""
    import django

    django.setup()
    fill_books(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
    stages = time_stages()
    for name, spent, clock in stages:
        print(f"{name}: {spent:.2f} s on the processor, {clock:.2f} s by the clock")
    return 0 if stages[1][1] < BAR_S else 1


if __name__ == "__main__":
    sys.exit(main())

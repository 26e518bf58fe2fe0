"""Does a day in the past show the books as they stood, with nothing that came later?"""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.journeys.conftest import AS_BUILT, station_environment

pytestmark = pytest.mark.xdist_group("year")

DAYS = ("2030-12-01", "2030-12-31", "2031-04-01", "2031-06-01", "2031-07-20", "2031-09-15", "2031-11-01", "2031-12-31")

AHEAD = {"sow_on", "sow_from", "cutoff_on", "silk_expected", "shed_expected", "end_on", "silk", "shed"}
AHEAD |= {"last_on", "stop_on"}
"""What is planned or expected may lie ahead of the day."""

READ = """
import dataclasses, json, sys
from datetime import UTC, date, datetime
from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Lot, Row, Station, Trial
from firstsilk.work.analysis.reading import find_analysis
from firstsilk.work.choice.decide import read_choices
from firstsilk.work.choice.next_season import read_next_plan
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.note_list import read_note_list
from firstsilk.work.flowering.row_page import read_findings, read_row_page
from firstsilk.work.flowering.walk import read_walk
from firstsilk.work.home import list_due
from firstsilk.work.lineage.line import read_line
from firstsilk.work.lineage.lines import list_lines
from firstsilk.work.nursery.plan import list_targets
from firstsilk.work.nursery.seasons import list_seasons
from firstsilk.work.nursery.sowing_list import read_sowing
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.harvest_list import read_harvest
from firstsilk.work.seed.lots import list_lots, read_lot
from firstsilk.work.trials.packets import list_packets
from firstsilk.work.trials.reading import list_trials, read_trial
from firstsilk.work.trials.testcrosses import propose_testcrosses

station = Station.objects.get()
row = Row.objects.filter(season__name="2031", purpose="female").first()
new_lot = Lot.objects.order_by("-pk").first()
trial = Trial.objects.filter(year=2031).first()
parent = new_lot.line.mother
ROOMS = {
    "home": list_due,
    "lines": list_lines,
    "line": lambda on: read_line(on, parent.name),
    "seasons": list_seasons,
    "targets": lambda on: list_targets(on, "2031"),
    "next": lambda on: read_next_plan(on, 2031),
    "sowing": lambda on: read_sowing(on, "2031"),
    "day": lambda on: read_day_list(on, "2031"),
    "walk": read_walk,
    "row": lambda on: read_row_page(on, row.tag),
    "odd": lambda on: read_findings(on, "2031"),
    "notes": lambda on: read_note_list(on, size=10000),
    "lots": lambda on: list_lots(on, size=10000),
    "new lot": lambda on: read_lot(on, new_lot.name),
    "old lot": lambda on: read_lot(on, row.lot.name),
    "harvest": lambda on: read_harvest(on, "2031"),
    "trials": list_trials,
    "trial": lambda on: read_trial(on, trial.name),
    "packets": lambda on: list_packets(on, trial.name),
    "testcrosses": lambda on: propose_testcrosses(on, on.today.year + 1),
    "analysis": find_analysis,
    "choices": lambda on: read_choices(on, 2031),
}

def walk(value, path, found):
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            walk(getattr(value, field.name), [*path, field.name], found)
    elif isinstance(value, dict):
        for item in value.values():
            walk(item, path, found)
    elif isinstance(value, (list, tuple)):
        for item in value:
            walk(item, path, found)
    elif isinstance(value, date) and not isinstance(value, datetime):
        found.append([path, value.isoformat()])

told = {}
for text in sys.argv[1:]:
    day = date.fromisoformat(text)
    on = Occasion(station.code, day, datetime(day.year, day.month, day.day, 20, tzinfo=UTC), "breeder")
    told[text] = {}
    for name, read in ROOMS.items():
        try:
            got, found = read(on), []
        except InputRefused as no:
            told[text][name] = {"no": no.refusal.code}
            continue
        walk(got, [], found)
        basis = dict(got.basis.used) if hasattr(got, "basis") else {}
        told[text][name] = {"dates": sorted({(path[-1] if path else "", at) for path, at in found}), "used": basis}
print(json.dumps(told))
"""


@pytest.fixture(scope="module")
def told(demo_year, tmp_path_factory):
    """What each room tells on each day, read with the station's own settings from the books as they were built."""
    home, _ = demo_year
    own = tmp_path_factory.mktemp("looked-at")
    (own / "books.sqlite3").write_bytes((home / AS_BUILT).read_bytes())
    script = "import django; django.setup()\n" + READ
    done = subprocess.run(
        [sys.executable, "-c", script, *DAYS],
        env=station_environment(own),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.parametrize("day", DAYS)
def test_no_room_tells_a_date_that_lies_after_the_day(told, day: str) -> None:
    later = {
        room: [(name, at) for name, at in got["dates"] if at > day and name not in AHEAD]
        for room, got in told[day].items()
        if "no" not in got
    }
    assert {room: found for room, found in later.items() if found} == {}


def test_rooms_fill_as_the_year_goes_on(told, demo_books) -> None:
    def used(room: str, what: str) -> list[int]:
        return [told[day][room]["used"].get(what, 0) for day in DAYS]

    season = "SELECT count(*) FROM records_row WHERE season_id = (SELECT id FROM records_season WHERE name = '2031')"
    assert used("day", "rows") == [0, 0, 0, *[demo_books.execute(season).fetchone()[0]] * 5]
    assert used("next", "targets")[:-1] == [0] * (len(DAYS) - 1)
    assert used("next", "targets")[-1] > 0
    assert used("choices", "verdicts")[:-1] == [0] * (len(DAYS) - 1)
    counts = [
        demo_books.execute("SELECT count(*) FROM records_note WHERE taken_on <= ?", (day,)).fetchone()[0]
        for day in DAYS
    ]
    assert used("notes", "notes") == counts
    lots = "SELECT count(*) FROM (SELECT lot_id FROM records_movement GROUP BY lot_id HAVING min(moved_on) <= ?)"
    assert used("lots", "lots") == [demo_books.execute(lots, (day,)).fetchone()[0] for day in DAYS]


def test_what_came_later_is_refused_with_the_day_it_came(told) -> None:
    came = {
        "row": "row_not_yet",
        "new lot": "lot_not_yet",
        "trial": "trial_not_yet",
        "packets": "trial_not_yet",
    }
    assert {room: told["2030-12-31"][room].get("no") for room in came} == came
    assert not any("no" in told[DAYS[-1]][room] for room in came)

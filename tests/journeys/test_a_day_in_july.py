"""Does every command of "A day in July" do what the page says, in the order in which it is read?"""

from __future__ import annotations

import json
import re
import shlex
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from firstsilk.faces.command.main import ENTRIES
from tests.journeys.conftest import AS_BUILT, station_environment

pytestmark = pytest.mark.xdist_group("year")

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "a-day-in-july.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^    firstsilk (.+)$", PAGE, flags=re.MULTILINE)

RUN = """
import contextlib, io, json, sys
from firstsilk.faces.command.main import run
told = []
for words in json.load(sys.stdin):
    if words[0] == "key-in":
        # What the reader does by hand: a 2 under pollinated in the first line of the card.
        head, first, *others = open(words[1], encoding="utf-8").read().splitlines()
        cells = first.split(",")
        cells[head.split(",").index("pollinated")] = "2"
        open(words[1], "w", encoding="utf-8").write("\\n".join([head, ",".join(cells), *others]) + "\\n")
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(words)
    told.append((code, out.getvalue(), err.getvalue()))
json.dump(told, sys.stdout)
"""


@pytest.fixture(scope="module")
def told(demo_year, tmp_path_factory) -> tuple[dict[str, str], Path]:
    """What each command says, by its line, on the station as it was built; and the folder of its books."""
    home = tmp_path_factory.mktemp("july")
    (home / "books.sqlite3").write_bytes((demo_year[0] / AS_BUILT).read_bytes())
    done = subprocess.run(
        [sys.executable, "-c", RUN],
        input=json.dumps([shlex.split(line) for line in COMMANDS]),
        env=station_environment(home),
        cwd=home,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    wrong = [(line, err) for line, (code, _, err) in zip(COMMANDS, said, strict=True) if code]
    assert wrong == [], "the page no longer fits the invented year: mend docs/a-day-in-july.md"
    return {line: out + err for line, (_, out, err) in zip(COMMANDS, said, strict=True)}, home


def find(told: tuple[dict[str, str], Path], start: str) -> str:
    """What the one command that begins so has said."""
    (found,) = [said for line, said in told[0].items() if line.startswith(start)]
    return found


def test_page_names_commands_that_there_are_and_many_of_them() -> None:
    assert {line.split()[0] for line in COMMANDS} <= {entry.name for entry in ENTRIES}
    assert len(COMMANDS) > 20
    assert len(COMMANDS) == len(set(COMMANDS))


def test_morning_tells_the_teams_and_who_went_into_a_sprayed_row(told) -> None:
    said = find(told, "day --team C")
    metres = re.search(r"walk (\d+) m together; .* would be (\d+) m", said)
    assert metres is not None
    assert f"they walk {metres[1]} m instead of {metres[2]}" in " ".join(PAGE.split())
    assert "worker W04 was noted in row 112 on 2031-07-20 07:52" in find(told, "spray")
    assert (told[1] / "team-a.pdf").read_bytes().startswith(b"%PDF")


def test_code_of_the_first_label_is_the_one_of_the_page_and_its_ear_has_its_male(told) -> None:
    with closing(sqlite3.connect(told[1] / "books.sqlite3")) as books:
        labels = [code for (code,) in books.execute("SELECT code FROM records_tag WHERE hangs_on = 'bag' ORDER BY id")]
        made = books.execute("SELECT kind, male FROM records_note WHERE bag = ? ORDER BY position", (labels[-16],))
        notes = made.fetchall()
    assert f"--bag {labels[-16][:4]}-{labels[-16][4:]} " in PAGE
    assert [kind for kind, _ in notes] == ["tassel_bagged", "pollinated"]


def test_card_comes_back_as_notes_of_the_one_who_wrote_it_and_they_are_late(told) -> None:
    rows = [line for line in told[0]["paper-sheets"].splitlines() if ",tally," in line]
    assert [line.rsplit(",", 1)[1] for line in rows] == ["not keyed yet", "settled", "not used"]
    with closing(sqlite3.connect(told[1] / "books.sqlite3")) as books:
        question = (
            "SELECT worker, value, taken_on, position FROM records_note WHERE source = 'paper' AND worker = 'W06'"
        )
        made = books.execute(f"{question} AND kind = 'pollinated' AND taken_on = '2031-07-20'").fetchall()
        head = books.execute("SELECT head_position FROM records_dayclose WHERE day = '2031-07-20'").fetchone()[0]
    assert [note[:3] for note in made] == [("W06", "2", "2031-07-20")]
    assert made[0][3] > head
    assert "W06 worked 1.5 h on 2031-07-20" in find(told, "people W06")


def test_evening_closes_the_forgotten_day_and_settles_what_came_damaged(told) -> None:
    assert "2031-07-20 is closed" in told[0]["close-day --look"]
    assert ",-660" in told[0]["close-day --look"]
    assert "2031-07-26 is not closed" in told[0]["close-day --look --today 2031-07-26"]
    assert "2031-07-26 is closed" in told[0]["close-day --today 2031-07-26"]
    assert "1 laid aside, 1 corrected twice, 1 codes used twice" in find(told, "to-settle")
    assert "Number 2 is settled" in find(told, "settle-aside")


def test_people_are_told_who_is_new_and_worked_too_long(told) -> None:
    said = told[0]["people"]
    assert "W05: " in said
    assert "1.8 for somebody new to the work" in said
    assert said.count("day 3 of work: 60% of the hours, 1.8 h") == 2


def test_later_days_of_the_table_show_what_it_says(told) -> None:
    assert "rows with ears on the plants" in find(told, "pick-list")
    states = {line.split(",")[1] for line in find(told, "crates").splitlines() if line.startswith("0000-")}
    assert states == {"dry", "wet", "measure"}
    assert "few_kernels" in find(told, "ears")
    assert "worker" in find(told, "set-causes")
    assert "W03: may need a hand" in find(told, "work-quality")
    assert "closing the bag" in find(told, "work-quality")

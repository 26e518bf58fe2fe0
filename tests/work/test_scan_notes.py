"""Does a scan at the shelling bench see the same as the whole season, and ask no more of a large one?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Lot, Row, Season
from firstsilk.science.flowering.bags import name_givers
from firstsilk.work.flowering.notes import NoteDraft, take_back, write_notes
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.occasion import Basis
from firstsilk.work.seed import shelling
from firstsilk.work.seed.crates import give_crate_tags
from firstsilk.work.seed.evening_rates import read_evening_kernels
from firstsilk.work.seed.scan_notes import read_scan_notes
from firstsilk.work.seed.season_notes import read_season_notes
from firstsilk.work.seed.shelling import read_shelling, shell_ears
from tests.factories import make_line, make_row, make_season, make_station, make_target, occasion, sign_in, take_note

pytestmark = pytest.mark.django_db

JULY = occasion(date(2031, 7, 25))
OCTOBER = occasion(date(2031, 10, 5))


def add_rows(season, first, n, crate):
    """Rows of one line selfed by bag, picked, and every second put into the crate."""
    line = make_line(season.station, f"S{first}")
    rows = [make_row(season, at, line, "self", make_target(season, at, line)) for at in range(first, first + n)]
    drafts = []
    for row in rows:
        bag = f"B{row.number:04}"
        drafts += [
            NoteDraft("tassel_bagged", row.tag, "1", bag=bag),
            NoteDraft("pollinated", row.tag, "1", "self", bag=bag),
        ]
        drafts += [NoteDraft("ears_picked", row.tag, "1", bag=bag)]
        drafts += [NoteDraft("crated", row.tag, crate, bag=bag)] if row.number % 2 else []
    write_notes(JULY, drafts)
    return rows


@pytest.fixture
def field():
    """Two crates, four rows, and what makes notes hard: bulks, shared bags, corrections, corrections taken back."""
    season = make_season(make_station())
    crate, other = give_crate_tags(JULY, 2)
    rows = add_rows(season, 1, 4, f" {crate[:4]}-{crate[4:]}".lower())
    e1 = make_line(season.station, "E1")
    female = make_row(season, 5, e1, "female", make_target(season, 5, e1, rows[0].line))
    for bag, male, tassels in (("M1", 0, 1), ("M1", 1, 3), ("M2", 2, 1)):
        take_note(JULY, rows[male], "tassel_bagged", tassels, bag=bag)
    wrong = take_note(JULY, rows[3], "pollinated", 2, bag="M1", detail="cross")
    write_notes(JULY, [NoteDraft("pollinated", female.tag, "2", "cross", bag="M1", replaces=wrong)])
    shared = take_note(JULY, female, "pollinated", 1, bag="M2", detail="cross")
    take_note(JULY, rows[1], "pollinated", 1, bag="M2", detail="sib")
    slip = write_notes(JULY, [NoteDraft("pollinated", rows[0].tag, "1", "cross", bag="M9", replaces=shared)])[0]
    take_back(JULY, slip, "misread")
    moved = take_note(JULY, female, "crated", crate, bag="M1")
    write_notes(JULY, [NoteDraft("crated", female.tag, other, bag="M1", replaces=moved)])
    take_note(OCTOBER, rows[2], "shelled", 80, bag="B0003")
    take_note(OCTOBER, rows[2], "shelled", 40)
    write_notes(OCTOBER, [NoteDraft("crated", "", crate, bag="ZZ9")])
    return crate, other


SCANS = (
    "1",
    "2",
    "3",
    "4",
    "5",
    "B0001",
    "b0001",
    "B0003",
    "M1",
    "5 M2",
    "2 M2",
    "4 B0004",
    "5 Q1",
    "M9",
    "M2",
    "77",
    "5 B0001",
)


def tell(asked):
    """What a scan answers, or the sentence of its refusal; the notes read may differ."""
    try:
        return replace(asked(), basis=Basis(()))
    except InputRefused as no:
        return str(no)


def test_a_scan_sees_what_the_whole_season_tells(field, monkeypatch):
    def read_whole(on, season, _codes, _crate=""):
        return read_season_notes(on, season)

    asked = [(scan, crate) for scan in SCANS for crate in ("", *field)] + [("", crate) for crate in field]
    codes = [((scan,) if scan else (), crate) for scan, crate in asked]
    few = [tell(lambda one=one: read_shelling(OCTOBER, "2031", *one)) for one in codes]
    monkeypatch.setattr(shelling, "read_scan_notes", read_whole)
    whole = [tell(lambda one=one: read_shelling(OCTOBER, "2031", *one)) for one in codes]
    assert few == whole
    refused = {scan for (scan, _), one in zip(asked, few, strict=True) if isinstance(one, str)}
    assert refused == {"b0001", "M9", "M2", "77", "5 B0001"}
    assert {one.in_crate for one in few if not isinstance(one, str)} == {0, 1, 2}


def test_the_state_of_a_row_is_the_same_as_from_the_whole(field):
    whole = read_season_notes(OCTOBER, "2031")
    givers = name_givers(whole.standing)
    for tag, row in whole.rows.items():
        few = read_scan_notes(OCTOBER, "2031", [str(row.number)])
        own = [note for note in whole.standing if note.tag == tag]
        assert few.ears[tag] == whole.ears[tag]
        assert [note for note in few.standing if note.tag == tag] == own
        mine = {note.id for note in own}
        found = name_givers(few.standing)
        assert {key: found[key] for key in found if key in mine} == {key: givers[key] for key in givers if key in mine}
    assert len(few.standing) < len(whole.standing)


def test_kernels_to_expect_are_those_of_last_evening_and_heed_a_late_note(field):
    station, line = Season.objects.get().station, "S1"
    assert read_evening_kernels(station, line, date(2031, 10, 6)) == own_kernels(station, line, date(2031, 10, 5))
    before = read_evening_kernels(station, line, date(2031, 10, 5))
    assert before == own_kernels(station, line, date(2031, 10, 4))
    row = Row.objects.get(number=1)
    take_note(OCTOBER, row, "shelled", 300, bag="B0001")
    assert read_evening_kernels(station, line, date(2031, 10, 5)) == before
    take_note(OCTOBER, row, "shelled", 301, date(2031, 10, 1), bag="B0001")
    late = read_evening_kernels(station, line, date(2031, 10, 5))
    assert late == own_kernels(station, line, date(2031, 10, 4)) > before


def own_kernels(station, line, day):
    return read_line_rates(station, {line}, day)[line].kernels_per_ear


def test_a_scan_asks_as_often_in_a_season_ten_times_as_large(field, client):
    crate, station = field[0], Season.objects.get().station
    sign_in(client, station, "breeder")

    def ask(bag):
        with CaptureQueriesContext(connection) as scanned:
            answer = client.get("/seed/shelling/", {"season": "2031", "crate": crate, "lot": bag, "day": "2031-10-05"})
        assert answer.status_code == 200
        with CaptureQueriesContext(connection) as made:
            done = shell_ears(OCTOBER, "2031", [bag], 90)
        assert Lot.objects.get(tag=done.tag).name.startswith("2031-")
        notes = dict(read_shelling(OCTOBER, "2031", [bag]).basis.used)["notes"]
        return len(scanned), len(made), notes

    ask("B0002")
    before = ask("B0001")
    add_rows(Season.objects.get(), 11, 45, field[1])
    add_rows(Season.objects.get(), 61, 2, crate)
    ask("B0062")
    many = ask("B0061")
    assert many[:2] <= before[:2]
    assert many[0] == before[0]
    assert many[2] <= 6

"""Do states read in the quick ways equal those made of all notes as they were written?"""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest
from django.core.cache import cache

from firstsilk.records.models import Note, Row
from firstsilk.science.flowering.bags import check_bags, name_givers
from firstsilk.science.flowering.checks import check_row_notes
from firstsilk.science.flowering.notes import KINDS
from firstsilk.science.flowering.rows import RowState, keep_standing_notes, read_row_states
from firstsilk.work.flowering import states
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.states import read_brief_notes, read_notes, read_states
from firstsilk.work.seed.success import count_lines
from tests.factories import make_line, make_row, make_season, make_station

pytestmark = pytest.mark.django_db
DAY = date(2031, 7, 25)
N_NOTES = 300
LIKELY = ("silk", "shed", "tassel_bagged", "pollinated", "pollinated", "ears_picked", "shelled", "withdrawn")
VALUES = ("3", "1", "12", "x", "2031-07-20", "2031-07-28", "0", "4.5", "")


@pytest.fixture(params=[1, 2])
def rows(request):
    """Two seasons whose bags have one another's codes, with notes of all kinds drawn from a seed."""
    cache.clear()
    station = make_station()
    line = make_line(station, "L1")
    seasons = [make_season(station, name) for name in ("2030", "2031")]
    made = [make_row(season, at, line) for season in seasons for at in (1, 2, 3, 4)]
    Note.objects.bulk_create(_draw_notes(station, [row.tag for row in made], random.Random(request.param)))
    yield made
    cache.clear()


def _draw_notes(station, tags, dice):
    found = []
    for at in range(1, N_NOTES + 1):
        kind = dice.choice(LIKELY if dice.random() < 0.6 else tuple(KINDS))
        corrects = kind == "withdrawn" or dice.random() < 0.2
        taken = DAY - timedelta(days=dice.choice((-2, 0, 1, 2, 3, 5, 80, 365)))
        told = {"device": UUID(int=1), "device_number": at, "offset_min": 0, "source": "phone", "format": 1}
        told |= {
            "taken_local": f"{taken}T{dice.randint(8, 17):02}:00:00",
            "taken_at": datetime(2031, 7, 25, tzinfo=UTC),
        }
        told |= {"taken_on": taken, "received_at": datetime(2031, 7, 25, tzinfo=UTC), "position": at}
        told |= {"check_sum": "0" * 8, "previous_hash": "0" * 64, "hash": f"{at:064x}", "kind": kind}
        told |= {
            "detail": dice.choice(("", *KINDS[kind].details)),
            "tag": dice.choice((*tags, *tags, "")),
            "worker": "W1",
        }
        told |= {"male": dice.choice(("", "", "", *tags)), "bag": dice.choice(("", "B1", "B2", "B3", "B4"))}
        told |= {"value": dice.choice(VALUES), "practice": dice.random() < 0.05, "doubt": dice.choice(("", "", "seen"))}
        told["replaces"] = UUID(int=dice.randint(1, at + 3) << 64) if corrects else None
        found.append(Note(station=station, uuid=UUID(int=at << 64), **told))
    return found


def _read_plainly(station, up_to=None):
    return read_row_states((as_note(one) for one in Note.objects.filter(station=station)), up_to)


@pytest.mark.parametrize("day", [None, DAY, DAY - timedelta(days=3), date(2030, 12, 31)])
@pytest.mark.parametrize("many", [10_000, 2])
def test_states_read_in_any_way_are_those_of_all_notes(rows, day, many, monkeypatch):
    monkeypatch.setattr(states, "MOST_TAGS_ASKED", many)
    station = rows[0].station
    plain = _read_plainly(station, day)
    assert plain
    assert read_states(station, None, day) == plain
    for part in (rows[:4], rows[4:], rows[2:6], rows[7:]):
        tags = {row.tag for row in part}
        asked = Row.objects.filter(pk__in=[row.pk for row in part]).values_list("tag", flat=True)
        wanted = {tag: plain.get(tag) for tag in tags}
        for found in (read_states(station, tags, day), read_states(station, asked, day)):
            assert {tag: found.get(tag) for tag in tags} == wanted
        if day is None:
            whole = read_row_states(read_notes(station, tags))
            assert {tag: whole.get(tag) for tag in tags} == wanted


def test_the_notes_drawn_try_what_can_go_wrong(rows):
    plain = _read_plainly(rows[0].station).values()
    assert len(plain) == len(rows)
    assert any(one.conflicts for one in plain)
    assert all(len(key) == 36 for one in plain for key in one.conflicts)
    assert any(tally.bulk for one in plain for tally in one.pollinations)
    assert any(one.n_doubted for one in plain)
    assert any(one.tassel_bags_hanging for one in plain)


@pytest.mark.parametrize("day", [DAY, date(2031, 1, 1), date(2032, 3, 1)])
def test_counts_of_lines_are_those_of_all_states(rows, day):
    station = rows[0].station
    plain = _read_plainly(station, day)
    sums, n_rows = [0, 0, 0, 0], 0
    for name in ("2030", "2031"):
        told = [plain.get(row.tag, RowState(row.tag)) for row in rows if row.season.name == name]
        over = int(name) < day.year and any(one.ears_picked for one in told)
        for one in told:
            if one.ears_pollinated and (one.ears_picked or over):
                n_rows += 1
                shelled = one.ears_picked if one.kernels else 0
                good = min(one.ears_picked, one.ears_pollinated)
                counts = (one.ears_pollinated, good, shelled, one.kernels if shelled else 0)
                sums = [old + new for old, new in zip(sums, counts, strict=True)]
    counted, rows_counted = count_lines(station, day)
    own = counted["L1"]
    assert [own.pollinations, own.good_ears, own.shelled_ears, own.kernels] == sums
    assert rows_counted == n_rows > 0


@pytest.mark.parametrize("day", [None, DAY, date(2030, 12, 31)])
def test_brief_notes_show_the_same_oddities_as_whole_ones(rows, day):
    station = rows[0].station
    here = rows[4:]
    names = {row.tag: f"row {row.number}" for row in here}
    asked = Row.objects.filter(pk__in=[row.pk for row in here]).values_list("tag", flat=True)
    plain = _read_plainly(station, day)

    def find(notes):
        standing, _ = keep_standing_notes(notes)
        givers, of_bags = name_givers(standing), check_bags(standing, names, DAY)
        odd = {}
        for tag in names:
            mine = [note for note in standing if note.tag == tag]
            odd[tag] = (check_row_notes(tag, mine, plain, names, (), givers), of_bags.get(tag, ()))
        return odd

    found = find(read_brief_notes(station, asked, day))
    every = read_notes(station, None, day)
    about = [note for note in every if note.tag in names or note.replaces]
    codes = {note.bag for note in about if note.kind == "pollinated" and not (note.male and note.detail)} - {""}
    tassels = [note for note in every if note.kind == "tassel_bagged" and note.bag in codes]
    assert found == find([*about, *tassels])
    assert sum(len(one) for odd in found.values() for one in odd) > 5

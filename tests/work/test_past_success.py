"""Do the kept counts of past seasons always say what the notes say, and are the notes then left unread?"""

from __future__ import annotations

from datetime import date

import pytest
from django.core.cache import cache

from firstsilk.records.models import Note
from firstsilk.science.seed.line_rates import LineCounts
from firstsilk.work.seed import past_success
from firstsilk.work.seed.success import count_lines
from tests.factories import make_line, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db
AUTUMN, WINTER, NOW = (occasion(date(*day)) for day in ((2030, 10, 20), (2031, 2, 1), (2031, 8, 10)))


@pytest.fixture
def rows(monkeypatch, tmp_path):
    """One row of last season, one of this; ears of the first picked in autumn."""
    cache.clear()
    station = make_station()
    past, this = make_season(station, "2030", date(2030, 5, 12)), make_season(station, "2031")
    one, other = make_row(past, 1, make_line(station, "E1")), make_row(this, 1, make_line(station, "E2"))
    take_note(AUTUMN, one, "pollinated", 10, date(2030, 7, 25), detail="self")
    ids = {"picked": take_note(AUTUMN, one, "ears_picked", 8, AUTUMN.today)}
    yield one, other, ids
    cache.clear()


def _count(row, day):
    """As told; and as told where nothing was kept. These must be one."""
    told = count_lines(row.station, day)
    cache.clear()
    plain = count_lines(row.station, day)
    assert told == plain
    return told[0]


@pytest.fixture
def counted(monkeypatch):
    """The seasons that were counted from the notes, as they are."""
    seen = []
    real = past_success._count_season

    def count(station, season, *rest):
        seen.append(season)
        return real(station, season, *rest)

    monkeypatch.setattr(past_success, "_count_season", count)
    return seen


def test_a_past_season_is_counted_once_and_notes_of_this_season_do_not_count_it_again(rows, counted):
    one, other, _ = rows
    for _ in range(3):
        assert count_lines(one.station, NOW.today)[0] == {"E1": LineCounts("E1", 10, 8, 0, 0)}
        take_note(NOW, other, "pollinated", 1, NOW.today, detail="self")
    assert counted == [one.season_id]


def test_kernels_shelled_in_winter_count_as_soon_as_they_are_noted(rows, counted):
    one, _, _ = rows
    count_lines(one.station, NOW.today)
    take_note(WINTER, one, "shelled", 900, WINTER.today)
    assert count_lines(one.station, NOW.today)[0]["E1"] == LineCounts("E1", 10, 8, 8, 900)
    assert counted == [one.season_id] * 2
    assert _count(one, NOW.today)["E1"].kernels == 900


def test_for_a_day_before_a_late_note_the_notes_up_to_that_day_are_read(rows):
    one, _, _ = rows
    take_note(WINTER, one, "shelled", 900, WINTER.today)
    assert count_lines(one.station, NOW.today)[0]["E1"].kernels == 900
    assert count_lines(one.station, date(2031, 1, 15))[0]["E1"] == LineCounts("E1", 10, 8, 0, 0)
    assert count_lines(one.station, NOW.today)[0]["E1"].kernels == 900


def test_what_was_taken_back_by_a_note_of_another_row_and_what_takes_that_back(rows):
    one, other, ids = rows
    count_lines(one.station, NOW.today)
    back = take_note(NOW, other, "withdrawn", "", NOW.today, replaces=ids["picked"])
    assert count_lines(one.station, NOW.today)[0] == {}
    take_note(NOW, other, "withdrawn", "", NOW.today, replaces=back)
    assert count_lines(one.station, NOW.today)[0] == {"E1": LineCounts("E1", 10, 8, 0, 0)}
    _count(one, NOW.today)


def test_a_row_that_comes_to_a_past_season_or_changes_its_line_is_counted(rows):
    one, _, _ = rows
    count_lines(one.station, NOW.today)
    late = make_row(one.season, 2, make_line(one.station, "E3"))
    take_note(WINTER, late, "pollinated", 4, date(2030, 7, 26), detail="self")
    assert count_lines(one.station, NOW.today)[0]["E3"] == LineCounts("E3", 4, 0, 0, 0)
    one.line = late.line
    one.save()
    assert count_lines(one.station, NOW.today)[0] == {"E3": LineCounts("E3", 14, 8, 0, 0)}


def test_what_was_kept_of_other_books_is_not_believed(rows, counted):
    one, _, _ = rows
    count_lines(one.station, NOW.today)
    key = past_success._key(one.station, one.season_id)
    kept = cache.get(key)
    cache.set(key, past_success.SeasonCount({one.line_id: (99, 99, 0, 0)}, 1, kept.position, "0" * 64, kept.rows, None))
    assert count_lines(one.station, NOW.today)[0]["E1"].pollinations == 10
    assert len(counted) == 2


def test_on_a_full_disk_nothing_is_kept_and_all_is_told(rows, counted, monkeypatch):
    def fail(*_, **__):
        raise OSError(28, "No space left on device")

    one, _, _ = rows
    monkeypatch.setattr(past_success.cache, "set", fail)
    assert count_lines(one.station, NOW.today)[0]["E1"].pollinations == 10
    assert count_lines(one.station, NOW.today)[0]["E1"].pollinations == 10
    assert counted == [one.season_id] * 2


def test_the_mark_moves_on_after_many_notes_of_this_season(rows, counted, monkeypatch):
    monkeypatch.setattr(past_success, "_MANY_NOTES", 2)
    one, other, _ = rows
    count_lines(one.station, NOW.today)
    for _ in range(4):
        take_note(NOW, other, "pollinated", 1, NOW.today, detail="self")
    count_lines(one.station, NOW.today)
    kept = cache.get(past_success._key(one.station, one.season_id))
    assert kept.position == Note.objects.order_by("-position").first().position
    assert counted == [one.season_id]

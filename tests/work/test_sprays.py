"""Does a posted spray shut its rows until the label's hour by the station's clock, and does nothing else open them?"""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Note, Row, Spray
from firstsilk.work.flowering.clock import find_moment, read_local, read_typed
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.day_mark import read_day_mark
from firstsilk.work.flowering.sprays import change_spray, post_spray, read_sprays
from firstsilk.work.flowering.walk import read_walk
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
    sign_in,
    take_note,
)

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 22)
ON = occasion(DAY, hour=9)  # 11:00 by the station's clock in summer
ZONE = "Europe/Paris"


@pytest.fixture
def field():
    """Three rows of a self in silk, all sown, at a station two hours ahead of UTC in summer."""
    station = make_station()
    station.time_zone = ZONE
    station.save()
    make_weather(station, 2029, date(2031, 7, 21))
    season = make_season(station)
    lot = make_lot(make_line(station, "E1"))
    rows = [make_row(season, at, lot.line, "self", make_target(season, at, lot.line), lot) for at in (1, 2, 3)]
    for row in rows:
        take_note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
        take_note(ON, row, "silk", date(2031, 7, 21))
        take_note(ON, row, "shed", date(2031, 7, 21))
    return rows


def busy(on=ON):
    return {task.number for task in read_day_list(on, "2031").tasks}


def by_phone(row, local, worker="W01"):
    """A note as a phone took it at a local time."""
    take_note(ON, row, "pollinated", 1, detail="self", worker=worker)
    raw = Note.objects.order_by("-position").first()
    # The books refuse changes of notes, so one is laid beside it as a phone would have written it.
    at = read_local(datetime.fromisoformat(local), ZONE)
    values = {
        field.name: getattr(raw, field.name) for field in Note._meta.fields if field.name not in ("id", "station")
    }
    Note.objects.create(
        station=raw.station,
        **values
        | {
            "uuid": uuid.uuid4(),
            "position": raw.position + 1,
            "source": "phone",
            "taken_at": at,
            "taken_local": local,
            "taken_on": at.date(),
        },
    )


def test_posted_rows_are_shut_on_the_list_the_phone_and_the_mark_until_the_hour(field):
    before = read_day_mark(ON, "2031")
    done = post_spray(ON, "2031", "a fungicide", (1, 2), datetime.fromisoformat("2031-07-22T06:30"), 5.0)
    assert done.no_entry_until.isoformat() == "2031-07-22T11:30:00+02:00"
    assert Row.objects.get(number=1).no_entry_until == datetime(2031, 7, 22, 9, 30, tzinfo=UTC)
    assert busy() == {3}
    assert read_day_mark(ON, "2031") != before
    walked = {one.number: one for one in read_walk(ON).rows}
    assert "2031-07-22T11:30" in str(walked[1].keep_out_until)
    assert walked[3].keep_out_until is None
    assert busy(occasion(DAY, hour=10)) == {1, 2, 3}
    assert read_sprays(ON, "2031").n_shut == 2


def test_the_latest_end_holds_and_only_an_entry_with_a_reason_changes_it(field):
    first = post_spray(ON, "2031", "a fungicide", (1, 3), datetime.fromisoformat("2031-07-22T06:00"), 48.0)
    post_spray(ON, "2031", "an insecticide", (2, 2), datetime.fromisoformat("2031-07-22T07:00"), 24.0)
    assert busy() == set()
    with pytest.raises(InputRefused, match="without a reason"):
        change_spray(ON, "2031", first.number, None, "  ")
    changed = change_spray(ON, "2031", first.number, None, "posted for the wrong block")
    assert [entry[3] for entry in changed.entries] == ["", "posted for the wrong block"]
    assert (busy(), changed.runs, Spray.objects.count()) == ({1, 3}, False, 3)
    longer = change_spray(ON, "2031", first.number, datetime.fromisoformat("2031-07-25T08:00"), "label read once more")
    assert (busy(), len(longer.entries)) == (set(), 3)


def test_who_was_noted_in_a_row_inside_its_interval_is_a_finding_and_the_note_stays(field):
    by_phone(field[0], "2031-07-22T06:10:00")
    by_phone(field[0], "2031-07-22T07:00:00", "W02")
    by_phone(field[2], "2031-07-22T07:10:00", "W03")
    post_spray(ON, "2031", "a fungicide", (1, 2), datetime.fromisoformat("2031-07-22T06:30"), 5.0)
    found = read_sprays(ON, "2031")
    assert [one.code for one in found.inside] == ["inside_interval"]
    assert "worker W02 was noted in row 1 on 2031-07-22 07:00" in found.inside[0].message
    assert not found.inside[0].stops


def test_hours_are_hours_where_clocks_are_turned_and_the_later_end_is_taken(field):
    on = occasion(date(2031, 10, 26))
    done = post_spray(on, "2031", "a fungicide", (1, 1), datetime.fromisoformat("2031-10-25T22:00"), 12.0)
    # Clocks go back at three in the night: twelve hours after ten in the evening it is nine, not ten.
    assert done.no_entry_until.isoformat() == "2031-10-26T09:00:00+01:00"
    assert read_local(datetime.fromisoformat("2031-10-26T02:30"), ZONE) == datetime(2031, 10, 26, 1, 30, tzinfo=UTC)
    assert read_local(datetime.fromisoformat("2031-03-30T02:30"), ZONE) == datetime(2031, 3, 30, 1, 30, tzinfo=UTC)


def test_a_day_looked_ahead_at_is_taken_from_its_beginning(field):
    post_spray(ON, "2031", "a fungicide", (1, 1), datetime.fromisoformat("2031-07-22T06:00"), 26.0)
    tomorrow = occasion(DAY)
    tomorrow = type(tomorrow)(tomorrow.station, DAY + timedelta(days=1), tomorrow.now, "tests")
    assert find_moment(tomorrow, field[0].station) == datetime(2031, 7, 22, 22, tzinfo=UTC)
    assert 1 not in busy(tomorrow)


@pytest.mark.parametrize(
    ("product", "rows", "at", "hours", "said"),
    [
        ("", (1, 2), datetime.fromisoformat("2031-07-22T06:00"), 5, "not named"),
        ("x", (1, 2), datetime.fromisoformat("2031-07-22T06:00"), 5, "not named"),
        ("oil", (2, 1), datetime.fromisoformat("2031-07-22T06:00"), 5, "lower number first"),
        ("oil", (1, 4), datetime.fromisoformat("2031-07-22T06:00"), 5, "last row of season 2031 is 3"),
        ("oil", (7, 9), datetime.fromisoformat("2031-07-22T06:00"), 5, "There are rows 1 to 3"),
        ("oil", (1, 2), datetime.fromisoformat("2031-07-22T06:00"), 0, "hours"),
        ("oil", (1, 2), datetime.fromisoformat("2031-07-22T06:00"), float("nan"), "hours"),
        ("oil", (1, 2), datetime.fromisoformat("2021-07-22T06:00"), 5, "Check the date"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_nothing_is_written(field, product, rows, at, hours, said):
    with pytest.raises(InputRefused, match=said):
        post_spray(ON, "2031", product, rows, at, hours)
    assert not Spray.objects.exists()
    assert not Row.objects.filter(no_entry_until__isnull=False).exists()


def test_a_spraying_is_posted_once_and_times_are_read_as_typed(field):
    post_spray(ON, "2031", "oil", (1, 1), read_typed("06:30", DAY), 5)
    with pytest.raises(InputRefused, match="posted already"):
        post_spray(ON, "2031", "oil", (1, 1), read_typed("2031-07-22 06:30", DAY), 6)
    for wrong in ("half six", "2031-07-22", "2031-07-22T06:30+02:00", "25:00"):
        with pytest.raises(InputRefused, match="is not a time"):
            read_typed(wrong, DAY)


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_the_page_posts_shows_and_changes_by_the_stations_clock(client, field, role):
    station = field[0].station
    station.held_date, station.is_invented = DAY, True
    station.save()
    sign_in(client, station, role)
    sent = {"product": "a fungicide", "first_row": 1, "last_row": 2, "sprayed_at": "2031-07-22T06:30", "hours": "72"}
    told = client.post("/flowering/sprays/?season=2031", sent)
    if role == "cooperator":
        assert told.status_code == 403
        assert "Post a spray" not in client.get("/flowering/sprays/").content.decode()
        return
    assert told.status_code == 302
    page = client.get("/flowering/sprays/?season=2031").content.decode()
    assert "2 rows are shut now" in page
    assert "25 Jul 2031 06:30" in page
    assert "25 Jul 2031 06:30" in client.get(f"/flowering/rows/{field[0].tag}/").content.decode()
    number = Spray.objects.get().pk
    assert client.post("/flowering/sprays/?season=2031", {"number": number, "reason": ""}).status_code == 422
    client.post("/flowering/sprays/?season=2031", {"number": number, "reason": "wrong rows"})
    assert "because: wrong rows" in client.get("/flowering/sprays/?season=2031").content.decode()


def test_the_list_takes_as_many_questions_for_one_spray_as_for_ten(field, django_assert_max_num_queries):
    for hour in range(10):
        post_spray(ON, "2031", "oil", (1, 3), datetime.fromisoformat(f"2031-07-22T{hour:02d}:00"), 2)
    with django_assert_max_num_queries(7):
        assert len(read_sprays(ON, "2031").sprayings) == 10

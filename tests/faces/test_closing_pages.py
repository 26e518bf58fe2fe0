"""Do the pages that close a day and settle what waits show it, change it for the crew alone, and refuse in words?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.records.models import AsideSettled, DayClose, Device, Note, NoteAside, Station
from firstsilk.work.flowering.receive import receive_notes
from tests.factories import make_line, make_row, make_season, make_station, occasion, sign_in
from tests.work.station_books import NOW, PHONE, make_wire

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 14)
ON = occasion(DAY)


@pytest.fixture
def station(client):
    made = make_station(held=DAY)
    Device.objects.create(station=made, uuid=PHONE, number=1, label="red", enrolled_at=NOW)
    Station.objects.filter(pk=made.pk).update(last_device_number=1)
    sign_in(client, made, "crew_leader")
    return made


def test_day_is_closed_on_its_page_with_a_reason_where_notes_are_missing(client, station) -> None:
    receive_notes(ON, PHONE, [make_wire(2, doubt="unsure", doubt_reason="tag was wet")], "2031-07-14T11:10:00", 120)
    page = client.get("/flowering/close/").content.decode()
    assert "never came: 1." in page
    assert "tag was wet" in page
    assert "10 min ahead" in page
    assert client.post("/flowering/close/").status_code == 422
    assert DayClose.objects.count() == 0
    assert client.post("/flowering/close/", {"reason": "phone drowned"}).status_code == 302
    page = client.get("/flowering/close/").content.decode()
    assert "by crew_leader-esker" in page
    assert "phone drowned" in page
    assert Note.objects.get().hash[:4] in page
    receive_notes(ON, PHONE, [make_wire(1)])
    assert "Came late" in client.get("/flowering/close/").content.decode()
    assert ">late<" in client.get("/flowering/notes/").content.decode()


def test_wrong_clock_is_told_and_the_corrected_time_stands_beside_the_raw_one(client, station) -> None:
    row = make_row(make_season(station), 7, make_line(station, "E1"))
    receive_notes(ON, PHONE, [make_wire(1, tag=row.tag)], "2031-07-14T12:00:00", 120)
    # The station's 9:00 UTC is 11:00 at +120 min: the phone is an hour ahead.
    page = client.get("/flowering/phones/").content.decode()
    assert "1 h 0 min ahead" in page
    page = client.get("/flowering/notes/").content.decode()
    assert "10:00" in page
    assert "9:00 by our clock" in page
    assert "9:00 by our clock" in client.get(f"/flowering/rows/{row.tag}/").content.decode()
    receive_notes(ON, PHONE, [], "2031-07-14T11:01:59", 120)
    assert "by our clock" not in client.get("/flowering/notes/").content.decode()


def test_thing_laid_aside_is_keyed_as_a_note_or_settled_as_nothing(client, station) -> None:
    row = make_row(make_season(station), 7, make_line(station, "E1"))
    receive_notes(ON, PHONE, [{**make_wire(1, tag=row.tag), "value": "2031-07-12"}, "<b>bread</b>"])
    first, second = NoteAside.objects.order_by("pk").values_list("pk", flat=True)
    page = client.get("/flowering/settle/").content.decode()
    assert f'value="{row.tag}"' in page
    assert "<b>bread" not in page
    assert client.post("/flowering/settle/", {"aside": first, "row": "99", "kind": "silk"}).status_code == 422
    assert AsideSettled.objects.count() == 0
    sent = {"aside": first, "row": "7", "kind": "silk", "value": "2031-07-12", "taken_on": "2031-07-14"}
    assert client.post("/flowering/settle/", sent).status_code == 302
    assert (Note.objects.get().tag, Note.objects.get().value) == (row.tag, "2031-07-12")
    assert client.post("/flowering/settle/", {"aside": second, "nothing": "1"}).status_code == 422
    assert client.post("/flowering/settle/", {"aside": second, "nothing": "1", "reason": "bread"}).status_code == 302
    page = client.get("/flowering/settle/").content.decode()
    assert "Nothing waits" in page
    assert "Keyed as a note: silk" in page


def test_one_of_two_corrections_is_kept(client, station) -> None:
    first = make_wire(1)
    fixes = [make_wire(number, replaces=first["id"], value=f"2031-07-1{number}") for number in (2, 3)]
    receive_notes(ON, PHONE, [first, *fixes])
    assert client.get("/flowering/settle/").content.decode().count("Keep<span") == 2
    assert client.post("/flowering/settle/", {"keep": fixes[0]["id"]}).status_code == 302
    assert "There are none." in client.get("/flowering/settle/").content.decode()
    assert client.post("/flowering/settle/", {"keep": "nothing"}).status_code == 422


def test_cooperator_sees_neither_page(client, station) -> None:
    sign_in(client, station, "cooperator")
    for address in ("/flowering/close/", "/flowering/settle/"):
        assert client.get(address).status_code == 403
        assert client.post(address).status_code == 403

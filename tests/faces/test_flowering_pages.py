"""Do the flowering pages show today's work and every note, to whom they may, and say no in a sentence?"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Device, Note, NoteAside, Row
from firstsilk.work.flowering.notes import take_back
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
ON = occasion(DAY)
ROLES = ("breeder", "technician", "crew_leader", "cooperator")


@pytest.fixture
def station():
    made = make_station(held=DAY)
    make_weather(made, 2029, date(2031, 7, 21))
    return made


@pytest.fixture
def field(station):
    """Row 1 a self and row 2 a female in silk, row 3 their male in shed, all sown."""
    season = make_season(station)
    lots = [make_lot(make_line(station, name)) for name in ("E1", "E2")]
    rows = [
        make_row(season, 1, lots[0].line, "self", make_target(season, 1, lots[0].line), lots[0]),
        make_row(season, 2, lots[0].line, "female", make_target(season, 2, lots[0].line, lots[1].line), lots[0]),
        make_row(season, 3, lots[1].line, "male", None, lots[1]),
    ]
    for row in rows:
        take_note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
    take_note(ON, rows[1], "silk", date(2031, 7, 20))
    take_note(ON, rows[2], "shed", date(2031, 7, 20))
    return rows


def page_as(client, station, role, address):
    sign_in(client, station, role)
    return client.get(address)


@pytest.mark.parametrize("role", ROLES)
def test_every_role_may_read_the_list_the_row_and_the_notes(client, station, field, role):
    for address in ("/flowering/", f"/flowering/rows/{field[0].tag}/", "/flowering/notes/"):
        assert page_as(client, station, role, address).status_code == 200


@pytest.mark.parametrize("role", ROLES)
def test_only_the_crew_writes_notes_prints_sheets_and_sees_phones(client, station, field, role):
    sign_in(client, station, role)
    wanted = 403 if role == "cooperator" else 200
    assert client.get("/flowering/day-sheet.pdf").status_code == wanted
    assert client.get("/flowering/phones/").status_code == wanted
    assert client.post("/flowering/phones/", {"label": "red"}).status_code == wanted
    sent = {"kind": "remarked", "value": "bird damage"}
    wanted = 403 if role == "cooperator" else 302
    assert client.post(f"/flowering/rows/{field[0].tag}/", sent).status_code == wanted
    assert client.post("/flowering/note/", {**sent, "row": "1"}).status_code == wanted
    assert Note.objects.filter(kind="remarked").exists() is (role != "cooperator")


@pytest.mark.parametrize("address", ["/flowering/", "/flowering/notes/", "/flowering/phones/"])
def test_pages_of_a_station_without_a_season_say_so(client, station, address):
    assert page_as(client, station, "breeder", address).status_code == 200


def test_todays_list_tells_what_with_whom_how_long_and_why(client, station, field):
    page = page_as(client, station, "cooperator", "/flowering/").content.decode()
    assert "Pollinate this morning" in page
    assert "row 3" in page
    assert "0 of 10 done, silk since 20 Jul, 4 days of silk left; no tassel bag noted last evening" in page
    assert "Bag tassels this afternoon" in page
    assert "Heat: water and shade within reach" in page
    assert "if the 10 asked for are made" in page


def test_a_row_under_a_spray_interval_is_named_and_off_the_list(client, station, field):
    Row.objects.filter(number=2).update(no_entry_until=datetime(2031, 7, 23, 12, tzinfo=UTC))
    page = page_as(client, station, "crew_leader", "/flowering/").content.decode()
    assert "No entry" in page
    assert "Pollinate this morning" not in page


def test_a_target_that_ran_out_of_silk_is_short(client, station, field):
    take_note(ON, field[1], "pollinated", 2, detail="cross", male=field[2].tag)
    later = "/flowering/?day=2031-07-30"
    page = page_as(client, station, "breeder", later).content.decode()
    assert "Nothing more can be made: the chance of 4 good ears stays at 0 %" in page


def test_a_row_is_found_by_number_or_by_tag_as_printed(client, station, field):
    sign_in(client, station, "cooperator")
    tag = field[1].tag
    for asked in ("2", tag, f"{tag[:4]}-{tag[4:]}", tag.lower()):
        answer = client.get("/flowering/rows/", {"row": asked, "season": "2031"})
        assert answer["Location"] == f"/flowering/rows/{tag}/"
    for asked in ("99", "ZZZZ-ZZZZ", "", "-1"):
        assert client.get("/flowering/rows/", {"row": asked}).status_code == 422


def test_a_row_tells_its_males_target_and_notes_newest_first(client, station, field):
    take_note(ON, field[1], "pollinated", 3, detail="cross", male=field[2].tag, bag="B7", worker="W4")
    page = page_as(client, station, "crew_leader", f"/flowering/rows/{field[1].tag}/").content.decode()
    assert "planned as cross by E2" in page
    assert "Its males" in page
    assert "since 20 Jul" in page
    assert "if the 7 asked for are made" in page
    assert page.index("pollinated: cross") < page.index(">sown<")
    assert "B7" in page
    assert "W4" in page
    assert "Odd" not in page


def test_a_doubted_replaced_or_taken_back_note_is_marked(client, station, field):
    first = take_note(ON, field[1], "stand", 17)
    take_note(ON, field[1], "stand", 19, replaces=first)
    wrong = take_note(ON, field[1], "spoiled", 1, detail="bag_lost")
    take_back(ON, wrong, "other row")
    take_note(ON, field[1], "shoot_bagged", 6, doubt="count", doubt_reason="lost count")
    page = page_as(client, station, "breeder", f"/flowering/rows/{field[1].tag}/").content.decode()
    assert "replaced" in page
    assert "taken back" in page
    assert "in doubt: lost count" in page
    listed = client.get("/flowering/notes/?show=doubted").content.decode()
    assert "lost count" in listed
    assert "bag lost" not in listed
    gone = client.get("/flowering/notes/?show=replaced").content.decode()
    assert "bag lost" in gone
    assert "lost count" not in gone


def test_notes_that_cannot_be_true_are_odd_on_the_row_and_on_the_list(client, station, field):
    take_note(ON, field[0], "pollinated", 3, detail="cross", male=field[1].tag)
    take_note(ON, field[0], "ears_picked", 5)
    page = page_as(client, station, "breeder", f"/flowering/rows/{field[0].tag}/").content.decode()
    assert "Row 2 was not shedding on 2031-07-22 (no shed noted)" in page
    assert "5 ears picked, but 3 pollinated and standing" in page
    assert "do not fit together" in client.get("/flowering/notes/").content.decode()


def test_a_note_written_on_the_page_stands_and_a_wrong_one_can_be_taken_back(client, station, field):
    sign_in(client, station, "technician")
    address = f"/flowering/rows/{field[1].tag}/"
    sent = {"kind": "pollinated", "value": "4", "detail": "cross", "male": "3", "bag": "B1", "worker": "W2"}
    client.post(address, sent)
    note = Note.objects.get(kind="pollinated")
    assert (note.male, note.value, note.worker, note.source) == (field[2].tag, "4", "W2", "desk")
    client.post(address, {"take_back": str(note.uuid), "why": "wrong row"})
    assert Note.objects.filter(kind="withdrawn", replaces=note.uuid).count() == 1
    assert "taken back" in client.get(address).content.decode()


def test_a_note_keyed_back_from_paper_says_so(client, station, field):
    sign_in(client, station, "crew_leader")
    answer = client.post("/flowering/note/?season=2031", {"row": "1", "kind": "silk", "value": "", "from_paper": "1"})
    assert answer["Location"] == "/flowering/?season=2031#write"
    assert (Note.objects.get(tag=field[0].tag, kind="silk").source, Note.objects.last().value) == (
        "paper",
        "2031-07-22",
    )


@pytest.mark.parametrize(
    "sent",
    [
        {"row": "", "kind": "silk"},
        {"row": "88", "kind": "silk"},
        {"row": "1", "kind": ""},
        {"row": "1", "kind": "withdrawn"},
        {"row": "1", "kind": "silk", "value": "yesterday"},
        {"row": "1", "kind": "pollinated", "value": "four", "detail": "self"},
        {"row": "1", "kind": "pollinated", "value": "4", "detail": "graft"},
        {"row": "1", "kind": "pollinated", "value": "-4", "detail": "self"},
        {"row": "1", "kind": "pollinated", "value": "4", "detail": "cross", "male": "77"},
        {"row": "1", "kind": "silk", "taken_on": "2031-08-30"},
        {"row": "1", "kind": "silk", "taken_on": "soon"},
        {"row": "1", "kind": "remarked", "value": "x" * 2001},
        {"row": "1", "kind": "remarked", "value": "x\x00y"},
    ],
)
def test_a_wrong_note_is_a_sentence_and_nothing_is_written(client, station, field, sent):
    sign_in(client, station, "breeder")
    before = Note.objects.count()
    assert client.post("/flowering/note/", sent).status_code == 422
    assert Note.objects.count() == before


def test_taking_back_a_note_that_is_not_there_is_a_sentence(client, station, field):
    sign_in(client, station, "breeder")
    for note in ("no-such-note", "00000000-0000-7000-8000-000000000000", ""):
        sent = {"take_back": note, "why": "test"}
        assert client.post(f"/flowering/rows/{field[0].tag}/", sent).status_code == 422


def test_the_chain_of_notes_is_walked_on_request(client, station, field):
    page = page_as(client, station, "cooperator", "/flowering/notes/?verify=1").content.decode()
    assert "The chain of 5 notes holds" in page
    broken = client.get(f"/flowering/notes/?verify=1&anchor={'a' * 64}").content.decode()
    assert "The chain of notes is broken" in broken


def test_notes_are_listed_page_by_page(client, station, field):
    for at in range(70):
        take_note(ON, field[0], "remarked", f"remark {at:02d}")
    page = page_as(client, station, "breeder", "/flowering/notes/").content.decode()
    assert "remark 69" in page
    assert "remark 00" not in page
    older = client.get("/flowering/notes/?before=16").content.decode()
    assert "remark 00" in older
    assert client.get("/flowering/notes/?before=x&show=y").status_code == 200


def test_what_was_laid_aside_is_shown_whole_and_as_text(client, station, field):
    NoteAside.objects.create(
        station=station, raw='{"kind": "<script>"}', raw_hash="h", reason="no id", code="c", received_at=ON.now
    )
    page = page_as(client, station, "breeder", "/flowering/notes/").content.decode()
    assert "&lt;script&gt;" in page
    assert "<script>" not in page.replace("<script src", "")


def test_a_phone_gets_a_code_that_is_shown_once_with_a_picture_of_the_address(client, station, field):
    sign_in(client, station, "crew_leader")
    page = client.post("/flowering/phones/", {"label": "red"})
    text = page.content.decode()
    assert "A code that opens http://testserver/pocket/" in text
    assert page["Cache-Control"] == "no-store"
    code = text.split('class="code">')[1].split("<")[0]
    assert len(code.replace("-", "")) == 8
    assert code not in client.get("/flowering/phones/").content.decode()
    device = Device.objects.get(label="red")
    Device.objects.filter(pk=device.pk).update(token_hash="x", enrolled_at=ON.now)
    answer = client.post("/flowering/phones/", {"revoke": str(device.number)}, follow=True).content.decode()
    assert "may send no more" in answer
    assert client.post("/flowering/phones/", {"revoke": "99"}).status_code == 422


@pytest.mark.parametrize(
    ("host", "secure", "told"),
    [("localhost", False, "this machine alone"), ("testserver", False, "it lacks HTTPS"), ("testserver", True, "")],
)
def test_page_of_phones_says_whether_a_phone_can_use_its_address(client, station, host, secure, told) -> None:
    sign_in(client, station, "crew_leader")
    page = client.post("/flowering/phones/", {"label": "red"}, headers={"host": host}, secure=secure).content.decode()
    assert ("serve --lan</code>, open this page there" in page) == bool(told)
    assert told in page


@pytest.mark.parametrize("address", ["/flowering/", "/flowering/notes/", "/flowering/rows/{tag}/"])
def test_pages_ask_the_books_as_often_for_ten_rows_as_for_one(client, station, field, address):
    sign_in(client, station, "breeder")
    address = address.format(tag=field[1].tag)

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    first = count()
    season = field[0].season
    for number in range(4, 14):
        line = make_line(station, f"L{number}")
        row = make_row(season, number, line, "self", make_target(season, number, line))
        take_note(ON, row, "sown", date(2031, 5, 12))
        take_note(ON, row, "silk", DAY)
        take_note(ON, row, "pollinated", 2, detail="self", doubt="count")
    assert count() == first


def test_the_day_sheet_of_a_day_without_work_is_a_sentence(client, station, field):
    assert page_as(client, station, "breeder", "/flowering/day-sheet.pdf?day=2031-05-20").status_code == 422
    sheet = client.get("/flowering/day-sheet.pdf")
    assert sheet.status_code == 200
    assert sheet.content.startswith(b"%PDF-")


def test_the_list_by_what_waiting_loses_says_rank_ears_and_why(client, station, field):
    page = page_as(client, station, "cooperator", "/flowering/?order=loss").content.decode()
    assert "By what is lost if it waits until tomorrow" in page
    assert "later days of silk and pollen:" in page
    assert "Pollinate this morning</a>" not in page


def test_teams_are_told_with_their_rows_metres_and_sheet(client, station, field):
    page = page_as(client, station, "crew_leader", "/flowering/?teams=2").content.decode()
    assert "2 teams are busy for" in page
    assert "&amp;teams=2&amp;team=2&amp;" in page
    assert "no team" not in page_as(client, station, "crew_leader", "/flowering/?teams=2&team=7").content.decode()
    assert "99 teams cannot be planned" in page_as(client, station, "breeder", "/flowering/?teams=99").content.decode()
    sheet = page_as(client, station, "crew_leader", "/flowering/day-sheet.pdf?teams=2&team=1")
    assert sheet.content.startswith(b"%PDF")
    assert page_as(client, station, "crew_leader", "/flowering/day-sheet.pdf?teams=2&team=9").status_code >= 400


def test_a_page_that_asks_again_gets_nothing_until_something_has_changed(client, station, field):
    first = page_as(client, station, "cooperator", "/flowering/").content.decode()
    poll = re.search(r'hx-get="([^"]+)"', first).group(1).replace("&amp;", "&")
    assert client.get(poll).status_code == 204
    assert client.get(poll).content == b""
    take_note(ON, field[0], "silk", DAY)
    again = client.get(poll)
    assert again.status_code == 200
    text = again.content.decode()
    assert text.lstrip().startswith('<div id="day-list"')
    assert "<html" not in text
    fresh = re.search(r'hx-get="([^"]+)"', text).group(1).replace("&amp;", "&")
    assert fresh != poll
    assert client.get(fresh).status_code == 204

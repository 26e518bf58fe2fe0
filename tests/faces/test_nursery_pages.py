"""Do the nursery's pages show what is planned and sown, to whom they may, and say no in a sentence?"""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.pages.nursery.field_map import draw_map
from firstsilk.records.models import Movement, Note, Row, Season, Target
from firstsilk.work.nursery.field_map import read_field_map
from firstsilk.work.nursery.plan import Want, add_targets
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
ROLES = ("breeder", "technician", "crew_leader", "cooperator")


@pytest.fixture
def station():
    """A station held on a day of July, with past weather, two lines with seed, and an empty season."""
    made = make_station(held=DAY)
    make_weather(made, 2028, date(2031, 7, 21))
    for name in ("E1", "E2"):
        make_lot(make_line(made, name), kernels=400)
    make_season(made)
    return made


@pytest.fixture
def field(station):
    """Three rows: a self, a female and its male."""
    season = Season.objects.get()
    lots = {lot.line.name: lot for lot in make_lots_of(station)}
    selfed = make_target(season, 1, lots["E1"].line)
    crossed = make_target(season, 2, lots["E1"].line, lots["E2"].line)
    return [
        make_row(season, 1, lots["E1"].line, "self", selfed, lots["E1"], reserve=True),
        make_row(season, 2, lots["E1"].line, "female", crossed, lots["E1"], reserve=True),
        make_row(season, 3, lots["E2"].line, "male", None, lots["E2"], reserve=True),
    ]


def make_lots_of(station):
    from firstsilk.records.models import Lot

    return Lot.objects.filter(station=station).select_related("line")


def open_as(client, station, role, address):
    sign_in(client, station, role)
    return client.get(address)


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("address", ["/nursery/", "/nursery/plan/", "/nursery/sowing/", "/nursery/blank/targets.csv"])
def test_every_role_may_read_the_nursery(client, station, field, role, address):
    assert open_as(client, station, role, address).status_code == 200


@pytest.mark.parametrize("address", ["/nursery/", "/nursery/plan/", "/nursery/sowing/"])
def test_the_nursery_without_any_row_or_season_says_what_to_do(client, station, address):
    assert open_as(client, station, "breeder", address).status_code == 200
    Season.objects.all().delete()
    answer = client.get(address)
    assert answer.status_code == 200
    assert b"no season" in answer.content or b"nothing to sow" in answer.content


@pytest.mark.parametrize(
    ("address", "allowed"),
    [
        ("/nursery/plan/", {"breeder", "technician"}),
        ("/nursery/season/", {"breeder", "technician"}),
        ("/nursery/sowing/", {"breeder", "technician", "crew_leader"}),
    ],
)
@pytest.mark.parametrize("role", ROLES)
def test_only_those_who_may_change_the_nursery_can(client, station, field, role, address, allowed):
    sign_in(client, station, role)
    assert (client.post(address, {}).status_code != 403) is (role in allowed)


@pytest.mark.parametrize("role", ROLES)
def test_print_is_for_the_crew(client, station, field, role):
    sign_in(client, station, role)
    wanted = 403 if role == "cooperator" else 200
    for address in ("/nursery/row-tags.pdf", "/nursery/walk-book.pdf"):
        answer = client.get(address)
        assert answer.status_code == wanted
        if wanted == 200:
            assert answer.content.startswith(b"%PDF-")
            assert answer["Content-Type"] == "application/pdf"


def test_nobody_sees_the_nursery_without_signing_in(client, station, field):
    assert client.get("/nursery/").status_code == 302
    assert client.get("/nursery/row-tags.pdf").status_code == 302


def test_the_map_shows_each_row_with_its_state_sign_shape_and_link(client, station, field):
    on = occasion(DAY)
    take_note(on, field[0], "sown", date(2031, 5, 12))
    take_note(on, field[2], "sown", date(2031, 5, 12))
    take_note(on, field[2], "shed", DAY)
    page = open_as(client, station, "cooperator", "/nursery/").content.decode()
    assert f'href="/flowering/rows/{field[0].tag}/"' in page
    assert "row 1, E1, self: sown, no flower yet" in page
    assert "row 2, E1, cross by E2: planned, not sown" in page
    assert "row 3, E2, male: silk or shed seen" in page
    assert page.count('class="mark-male"') == 2  # the row and the legend
    assert "The same as a table (3 rows)" in page


@pytest.mark.parametrize(
    ("notes", "state"),
    [
        ([], "planned"),
        ([("misplanted", "", {"detail": "skipped"})], "skipped"),
        ([("sown", "2031-05-12", {})], "sown"),
        ([("sown", "2031-05-12", {}), ("silk", "2031-07-20", {})], "flowering"),
        ([("sown", "2031-05-12", {}), ("pollinated", 2, {"detail": "self"})], "some"),
        ([("sown", "2031-05-12", {}), ("pollinated", 10, {"detail": "self"})], "enough"),
        ([("sown", "2031-05-12", {}), ("silk", "2031-07-10", {}), ("pollinated", 2, {"detail": "self"})], "short"),
        ([("sown", "2031-05-12", {}), ("pollinated", 9, {"detail": "self"}), ("ears_picked", 5, {})], "picked"),
        ([("sown", "2031-05-12", {}), ("ears_picked", 5, {}), ("shelled", 300, {})], "shelled"),
    ],
)
def test_a_row_is_in_the_state_that_its_notes_say(field, notes, state):
    on = occasion(DAY)
    for kind, value, more in notes:
        take_note(on, field[0], kind, value, **more)
    cell = next(cell for cell in read_field_map(on, "2031").cells if cell.number == 1)
    assert cell.state == state


def test_a_field_beyond_the_limit_is_drawn_on_a_canvas_with_the_same_cells(field):
    found = read_field_map(occasion(DAY), "2031")
    drawn = draw_map(found, limit=2)
    assert drawn.svg is None
    assert [cell[2] for cell in drawn.canvas["cells"]] == [1, 2, 3]
    assert draw_map(found, limit=3).canvas is None


def test_a_row_under_a_spray_interval_is_marked_on_the_map(client, station, field):
    Row.objects.filter(number=1).update(no_entry_until=datetime(2031, 7, 23, 12, tzinfo=UTC))
    page = open_as(client, station, "breeder", "/nursery/").content.decode()
    assert "row 1, E1, self: planned, not sown; no entry now" in page


@pytest.mark.parametrize("address", ["/nursery/", "/nursery/sowing/", "/nursery/plan/"])
def test_pages_ask_the_books_as_often_for_ten_rows_as_for_one(client, station, field, address):
    sign_in(client, station, "breeder")
    take_note(occasion(DAY), field[0], "sown", date(2031, 5, 12))

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    first = count()
    season = Season.objects.get()
    for number in range(4, 14):
        target = make_target(season, number, make_line(station, f"L{number}"))
        take_note(occasion(DAY), make_row(season, number, target.female, "self", target, field[0].lot), "sown")
    assert count() == first


def test_a_target_added_shows_up_with_its_plan_and_what_is_short(client, station):
    sign_in(client, station, "technician")
    make_line(station, "Rare")
    for female, male in (("E1", "E2"), ("Rare", "E2")):
        sent = {"kind": "cross", "female": female, "male": male, "ears": "3", "priority": "1", "reason": "early"}
        assert client.post("/nursery/plan/", sent).status_code == 302
    page = client.get("/nursery/plan/").content.decode()
    assert "3 good ears at 68% success need 8 pollinations (95% sure): 1 row" in page
    assert "there is no lot of Rare" in page
    assert "Fix the plan" in page
    assert not Row.objects.exists()


def test_a_plan_when_fixed_from_the_page_makes_rows_and_shows_the_map(client, station):
    sign_in(client, station, "breeder")
    add_targets(occasion(DAY), "2031", [Want("self", "E1", ears=5)])
    sent = {"fix": "1", "sow_from": "2031-05-12", "rows_per_range": "1", "plants_per_row": "18", "assurance": "0.95"}
    answer = client.post("/nursery/plan/", sent, follow=True)
    assert answer.redirect_chain[-1][0] == "/nursery/?season=2031"
    assert "2 rows are made and 46 kernels promised" in answer.content.decode()
    assert list(Row.objects.order_by("number").values_list("field_row", flat=True)) == [1, 2]


def test_a_reader_sees_the_plan_and_no_buttons_to_change_it(client, station):
    add_targets(occasion(DAY), "2031", [Want("self", "E1")])
    page = open_as(client, station, "cooperator", "/nursery/plan/").content.decode()
    assert "The plan this leads to" in page
    for word in ("Fix the plan", "Add to the plan", "Drop"):
        assert word not in page


def test_a_draft_can_be_dropped(client, station):
    sign_in(client, station, "breeder")
    add_targets(occasion(DAY), "2031", [Want("self", "E1")])
    client.post("/nursery/plan/", {"drop": "1"})
    assert not Target.objects.exists()


def upload(client, address, text, name="wanted.csv"):
    content = text.encode() if isinstance(text, str) else text
    return client.post(address, {"table": SimpleUploadedFile(name, content)})


def test_a_table_of_targets_is_taken_in_whole(client, station):
    sign_in(client, station, "technician")
    upload(client, "/nursery/plan/", "kind,female,male,ears\nself,E1,,3\ncross,E1,E2,4\n")
    assert list(Target.objects.order_by("number").values_list("kind", "ears_wanted")) == [("self", 3), ("cross", 4)]


@pytest.mark.parametrize(
    ("table", "told"),
    [
        (b"kind,female,ears\nself,E1,3\nself,E9,2\n", ["wanted.csv", "no line", "E9", ">3<"]),
        (b"kind,female,ears\nself,E1,two\n", ["wanted.csv", "not a number", "two"]),
        (b"kind,female,ears\nself,E1,0\n", ["0 ears cannot be wanted"]),
        (b"kind,female,ears\nself,E1,\n", ["ears wanted are missing"]),
        (b"female,ears\nE1,3\n", ["column", "kind", "missing"]),
        (b"", ["empty"]),
        (b"\xff\xfe\x00bad", ["not UTF-8"]),
    ],
)
def test_a_bad_table_of_targets_changes_nothing_and_is_told_by_file_line_and_value(client, station, table, told):
    sign_in(client, station, "technician")
    answer = upload(client, "/nursery/plan/", table)
    page = answer.content.decode()
    assert answer.status_code == 422
    for word in told:
        assert word in page, word
    assert not Target.objects.exists()


@pytest.mark.parametrize(
    "sent",
    [
        {"kind": "self", "female": ""},
        {"kind": "self", "female": "E1", "ears": "many"},
        {"kind": "self", "female": "E1", "ears": "-1"},
        {"kind": "", "female": "E1"},
        {"drop": "99"},
        {"fix": "1"},
    ],
)
def test_a_wrong_entry_on_the_plan_is_a_sentence_and_not_a_fault(client, station, sent):
    sign_in(client, station, "breeder")
    assert client.post("/nursery/plan/", sent).status_code == 422


@pytest.mark.parametrize(
    "query", ["rows_per_range=0", "assurance=7", "sow_from=x&plants_per_row=y", "sow_from=1800-01-01"]
)
def test_senseless_settings_in_the_address_are_told_on_the_page(client, station, query):
    add_targets(occasion(DAY), "2031", [Want("self", "E1")])
    assert open_as(client, station, "breeder", f"/nursery/plan/?{query}").status_code == 200


def test_a_season_that_is_not_there_is_told(client, station):
    answer = open_as(client, station, "breeder", "/nursery/?season=1999")
    assert answer.status_code == 422
    assert "no season" in answer.content.decode()


def test_a_season_is_opened_from_the_page(client, station):
    sign_in(client, station, "breeder")
    client.post("/nursery/season/", {"name": "2032W", "sow_from": "2032-11-05"})
    assert Season.objects.get(name="2032W").sow_from == date(2032, 11, 5)
    assert client.post("/nursery/season/", {"name": "next"}).status_code == 422


def test_rows_due_are_sown_as_planned_with_one_button_and_leave_their_lots(client, station, field):
    sign_in(client, station, "crew_leader")
    assert "All 3 were sown as planned" in client.get("/nursery/sowing/").content.decode()
    answer = client.post("/nursery/sowing/", {"as_planned": "1"}, follow=True).content.decode()
    assert "3 notes written; 3 rows booked, 72 kernels out of their lots." in answer
    assert Movement.objects.filter(reason="sown").count() == 3
    assert "Nothing is due today" in answer


def test_one_row_that_went_otherwise_is_noted(client, station, field):
    sign_in(client, station, "technician")
    client.post("/nursery/sowing/", {"row": "1", "misplanted": "short", "remark": "15", "sown": "2031-05-13"})
    page = client.get("/nursery/sowing/").content.decode()
    assert "Not as planned" in page
    assert sum(Movement.objects.filter(reason="sown").values_list("kernels", flat=True)) == -15


def test_a_table_of_rows_as_sown_is_refused_whole_with_its_line(client, station, field):
    sign_in(client, station, "technician")
    answer = upload(client, "/nursery/sowing/", "row,sown\n1,2031-05-13\n88,2031-05-13\n3,13.5.2031\n", "sown.csv")
    assert answer.status_code == 422
    assert "13.5.2031" in answer.content.decode()
    answer = upload(client, "/nursery/sowing/", "row,sown\n1,2031-05-13\n88,2031-05-13\n", "sown.csv")
    assert "no row 88" in answer.content.decode()
    assert not Note.objects.exists()
    upload(client, "/nursery/sowing/", "row,sown\n1,2031-05-13\n2,2031-05-14\n", "sown.csv")
    assert Note.objects.filter(source="file").count() == 2


def test_seed_of_rows_sown_by_phone_is_booked_by_one_button(client, station, field):
    take_note(occasion(DAY), field[0], "sown", date(2031, 5, 12))
    sign_in(client, station, "technician")
    assert "1 row noted as sown by phone or file" in client.get("/nursery/sowing/").content.decode()
    client.post("/nursery/sowing/", {"settle": "1"})
    assert Movement.objects.filter(reason="sown").count() == 1


def test_names_that_hold_markup_are_written_as_text(client, station):
    make_row(Season.objects.get(), 1, make_line(station, '<b onmouseover="x">'))
    page = open_as(client, station, "breeder", "/nursery/").content.decode()
    assert "<b onmouseover" not in page
    assert "&lt;b onmouseover" in page

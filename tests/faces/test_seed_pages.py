"""Do the seed pages keep the books, show from where each lot is, and say no in a sentence?"""

from __future__ import annotations

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.records.models import Lot, Movement, Note
from firstsilk.science.seed.germination import find_germination_interval
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    occasion,
    sign_in,
    take_note,
)

pytestmark = pytest.mark.django_db

DAY = date(2031, 10, 1)
ON = occasion(DAY)
JULY = occasion(date(2031, 7, 22))
ROLES = ("breeder", "technician", "crew_leader", "cooperator")


@pytest.fixture
def station():
    return make_station(held=DAY)


@pytest.fixture
def lot(station):
    return make_lot(make_line(station, "E1"), kernels=200, germination_seeds=100)


@pytest.fixture
def field(station, lot):
    """A cross of E1 by E2 and a self of E1, both pollinated."""
    season = make_season(station)
    other = make_line(station, "E2")
    rows = [
        make_row(season, 1, lot.line, "female", make_target(season, 1, lot.line, other), lot),
        make_row(season, 2, other, "male"),
        make_row(season, 3, lot.line, "self", make_target(season, 2, lot.line), lot),
    ]
    take_note(JULY, rows[0], "pollinated", 4, detail="cross", male=rows[1].tag)
    take_note(JULY, rows[2], "pollinated", 4, detail="self", male=rows[2].tag)
    return rows


@pytest.mark.parametrize("role", ROLES)
def test_every_role_may_read_lots_and_harvest(client, station, lot, field, role):
    sign_in(client, station, role)
    for address in ("/seed/", f"/seed/lots/{lot.tag}/", f"/seed/lots/{lot.name}/", "/seed/harvest/"):
        assert client.get(address).status_code == 200


@pytest.mark.parametrize(
    ("address", "allowed"),
    [
        ("/seed/lots/E1-30/", {"breeder", "technician"}),
        ("/seed/receive/", {"breeder", "technician"}),
        ("/seed/harvest/lots/?season=2031", {"breeder", "technician"}),
        ("/seed/harvest/", {"breeder", "technician", "crew_leader"}),
    ],
)
@pytest.mark.parametrize("role", ROLES)
def test_only_those_who_may_change_the_seed_can(client, station, lot, field, role, address, allowed):
    sign_in(client, station, role)
    assert (client.post(address, {}).status_code != 403) is (role in allowed)


@pytest.mark.parametrize("role", ROLES)
def test_labels_are_for_the_crew(client, station, lot, role):
    sign_in(client, station, role)
    answer = client.get("/seed/lot-labels.pdf?text=E1")
    assert answer.status_code == (403 if role == "cooperator" else 200)
    if role != "cooperator":
        assert answer.content.startswith(b"%PDF-")
        assert client.get(f"/seed/lot-labels.pdf?lot={lot.tag}").status_code == 200
        assert client.get("/seed/lot-labels.pdf?text=nothing").status_code == 422


def test_the_list_finds_lots_and_says_what_they_hold(client, station, lot):
    make_lot(make_line(station, "F9"), kernels=0)
    sign_in(client, station, "cooperator")
    page = client.get("/seed/?text=e1").content.decode()
    assert "1 lot, 200 kernels" in page
    assert lot.name in page
    assert "F9-30" not in page
    assert "F9-30" not in client.get("/seed/?in_stock=1").content.decode()
    assert "No lot fits" in client.get("/seed/?text=zzz").content.decode()
    assert client.get("/seed/?page=x").status_code == 200


def test_a_lot_warns_of_a_test_with_too_few_seeds(client, station, lot):
    sign_in(client, station, "cooperator")
    page = client.get(f"/seed/lots/{lot.tag}/").content.decode()
    assert "Germination from 100 seeds: not an official test." in page
    assert "<small>of 100</small>" in client.get("/seed/").content.decode()
    low, high = find_germination_interval(lot.germination_frac, 100)
    assert f"the lot's own {100 * low:.0f}–{100 * high:.0f} %" in page
    assert "Take seed out" not in page


def test_seed_is_taken_out_and_counted_from_the_page(client, station, lot):
    sign_in(client, station, "technician")
    address = f"/seed/lots/{lot.tag}/"
    answer = client.post(address, {"kernels": "30", "reason": "sent", "used_for": "Tarn End"}, follow=True)
    assert "now holds 170 kernels" in answer.content.decode()
    assert "Tarn End" in answer.content.decode()
    client.post(address, {"kernels": "165", "reason": "counted"})
    assert sum(Movement.objects.filter(lot=lot).values_list("kernels", flat=True)) == 165


@pytest.mark.parametrize(
    "sent",
    [
        {"kernels": "", "reason": "sent"},
        {"kernels": "201", "reason": "sent"},
        {"kernels": "-1", "reason": "sent"},
        {"kernels": "1.5", "reason": "sent"},
        {"kernels": "lots", "reason": "sent"},
        {"kernels": "1", "reason": "eaten"},
        {"kernels": "1", "reason": ""},
    ],
)
def test_a_wrong_movement_is_a_sentence_and_nothing_moves(client, station, lot, sent):
    sign_in(client, station, "breeder")
    assert client.post(f"/seed/lots/{lot.tag}/", sent).status_code == 422
    assert Movement.objects.count() == 1


def test_a_lot_that_is_not_there_is_a_sentence(client, station):
    sign_in(client, station, "breeder")
    assert client.get("/seed/lots/NOPE/").status_code == 422


def test_a_lot_of_another_station_is_not_there(client, station, lot):
    other = make_station("other")
    theirs = make_lot(make_line(other, "X1"))
    sign_in(client, station, "breeder")
    assert client.get(f"/seed/lots/{theirs.name}/").status_code == 422
    assert theirs.name not in client.get("/seed/").content.decode()


def test_a_lot_from_outside_is_entered(client, station, lot):
    sign_in(client, station, "technician")
    sent = {"name": "G-31", "line": "E1", "kernels": "120", "germination_percent": "92", "origin_text": "exchange"}
    assert "G-31" in client.post("/seed/receive/", sent, follow=True).content.decode()
    assert Lot.objects.get(name="G-31").germination_frac == pytest.approx(0.92)
    for wrong in (
        {"germination_percent": "920"},
        {"kernels": "0"},
        {"line": "E7"},
        {"origin_text": ""},
        {"name": "G-31"},
    ):
        assert client.post("/seed/receive/", {**sent, "name": "H-31", **wrong}).status_code == 422
    assert Lot.objects.count() == 2


def test_ears_and_kernels_are_entered_row_by_row_and_become_lots_of_known_parents(client, station, lot, field):
    sign_in(client, station, "technician")
    sent = {"ears-1": "3", "kernels-1": "410", "ears-3": "4", "kernels-3": ""}
    assert client.post("/seed/harvest/?season=2031", sent).status_code == 302
    assert Note.objects.filter(kind__in=["ears_picked", "shelled"]).count() == 3
    page = client.post("/seed/harvest/lots/?season=2031", follow=True).content.decode()
    assert "1 lot made with 410 kernels" in page
    made = Lot.objects.get(name="2031-0001")
    shown = client.get(f"/seed/lots/{made.tag}/").content.decode()
    assert "mother <strong>E1</strong>" in shown
    assert "father <strong>E2</strong>" in shown
    assert "2031-0001" in client.get(f"/flowering/rows/{field[0].tag}/").content.decode()


def test_rows_whose_father_is_unclear_are_named_when_lots_are_made(client, station, lot, field):
    take_note(JULY, field[0], "pollinated", 2, detail="self")
    sign_in(client, station, "breeder")
    client.post("/seed/harvest/", {"ears-1": "5", "kernels-1": "500"})
    page = client.post("/seed/harvest/lots/?season=2031", follow=True).content.decode()
    assert "Row 1 (E1): 500 kernels cannot be told apart" in page
    assert not Lot.objects.filter(name__startswith="2031-").exists()


def test_one_bag_is_entered_with_its_number(client, station, lot, field):
    sign_in(client, station, "crew_leader")
    client.post("/seed/harvest/", {"row": "1", "bag": "B3", "ears": "1", "kernels": "88"})
    assert set(Note.objects.filter(bag="B3").values_list("kind", "value")) == {("ears_picked", "1"), ("shelled", "88")}


@pytest.mark.parametrize(
    "sent",
    [
        {},
        {"ears-1": "many"},
        {"ears-1": "-2"},
        {"ears-99": "2"},
        {"kernels-1": "999999999"},
        {"row": ""},
        {"row": "77", "ears": "1"},
    ],
)
def test_a_wrong_harvest_is_a_sentence_and_nothing_is_written(client, station, field, sent):
    sign_in(client, station, "technician")
    before = Note.objects.count()
    assert client.post("/seed/harvest/", sent).status_code == 422
    assert Note.objects.count() == before


def test_a_table_of_a_harvest_is_taken_in_whole_or_refused_with_its_line(client, station, field):
    sign_in(client, station, "technician")

    def upload(text):
        return client.post("/seed/harvest/?season=2031", {"table": SimpleUploadedFile("harvest.csv", text.encode())})

    before = Note.objects.count()
    answer = upload("row,ears,kernels\n1,3,400\n44,2,10\n3,x,\n")
    assert answer.status_code == 422
    assert "harvest.csv" in answer.content.decode()
    answer = upload("row,ears,kernels\n1,3,400\n44,2,10\n")
    assert "no row 44" in answer.content.decode()
    assert ">3<" in answer.content.decode()
    assert Note.objects.count() == before
    assert upload("row,ears,kernels,bag\n1,3,400,\n3,1,55,B1\n").status_code == 302
    assert Note.objects.count() == before + 4


def test_the_table_to_fill_in_has_the_rows_of_the_season(client, station, field):
    sign_in(client, station, "technician")
    lines = client.get("/seed/harvest/harvest.csv?season=2031").content.decode().splitlines()
    assert lines == ["row,ears,kernels,bag", "1,,,", "3,,,"]


@pytest.mark.parametrize("address", ["/seed/", "/seed/harvest/?step=pick"])
def test_pages_ask_the_books_as_often_for_ten_rows_as_for_one(client, station, lot, field, address):
    sign_in(client, station, "breeder")

    def count():
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    first = count()
    for number in range(4, 14):
        line = make_line(station, f"L{number}")
        made = make_lot(line)
        row = make_row(field[0].season, number, line, "self", make_target(field[0].season, number, line), made)
        take_note(JULY, row, "pollinated", 2, detail="self")
    assert count() == first

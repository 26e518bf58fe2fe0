"""Do pages, commands and papers lead from the ear in the field to its lot, and is a wrong scan no dead end?"""

from __future__ import annotations

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.faces.paper.harvest import render_crate_tags, render_pick_list
from firstsilk.records.models import Lot, Movement, Note, Tag
from firstsilk.work.seed.crates import give_crate_tags, note_crated
from firstsilk.work.seed.picking import read_pick_list
from tests.factories import make_line, make_row, make_season, make_station, make_target, occasion, sign_in, take_note

pytestmark = pytest.mark.django_db

DAY = date(2031, 10, 1)
ON = occasion(DAY)
JULY = occasion(date(2031, 7, 25))
BENCH = "/seed/shelling/"


@pytest.fixture
def station():
    return make_station(held=DAY)


@pytest.fixture
def field(station):
    """Row 1 E1 crossed with row 2, ears in bags AB01 and AB02; row 3 an unfixed family selfed, ear in bag S1."""
    season = make_season(station)
    e1, m = make_line(station, "E1"), make_line(station, "M")
    family = make_line(station, "EK12", method="founder", generation="S0")
    rows = [
        make_row(season, 1, e1, "female", make_target(season, 1, e1, m)),
        make_row(season, 2, m, "male"),
        make_row(season, 3, family, "self", make_target(season, 2, family)),
    ]
    for bag in ("AB01", "AB02"):
        take_note(JULY, rows[0], "pollinated", 1, detail="cross", male=rows[1].tag, bag=bag)
    take_note(JULY, rows[2], "pollinated", 1, detail="self", bag="S1")
    return rows


@pytest.fixture
def desk(client, station, field):
    sign_in(client, station, "technician")
    return client


def enter(desk, ears, step="look", **more):
    return desk.post(BENCH, {"ears": ears, "step": step, "season": "2031", **more})


def read(answer):
    return answer.content.decode()


def test_a_scan_opens_the_ear_with_its_males_and_the_weight_waits(desk):
    page = read(desk.get(BENCH, {"lot": "ab01".upper()}))
    for told in ("E1", "AB01", "row 2 (M)", 'name="net_g"', "data-first", "data-plus"):
        assert told in page
    ready = read(desk.get(BENCH))
    assert "one lot open on the bench at a time" in ready
    assert "data-scan" in ready


def test_a_wrong_scan_is_a_sentence_and_the_bench_waits_for_the_next(desk):
    answer = desk.get(BENCH, {"lot": "QQ77", "season": "2031"})
    page = read(answer)
    assert answer.status_code == 422
    assert "Scan again." in page
    assert 'name="lot"' in page
    added = desk.get(BENCH, {"lot": "QQ77", "ears": "AB01", "more": "1"})
    assert (added.status_code, 'name="net_g"' in read(added), "AB01" in read(added)) == (422, True, True)
    nothing = enter(desk, "AB01")
    assert (nothing.status_code, "neither counted nor weighed" in read(nothing)) == (422, True)


def test_a_lot_is_shown_before_it_is_made_and_its_label_is_at_hand(desk):
    looked = read(enter(desk, "S1", net_g="30", sample_g="25", sample_kernels="100"))
    for told in ("EK12-1", "<dd>120</dd>", "250.0", "Make the lot"):
        assert told in looked
    assert not Lot.objects.exists()
    answer = enter(desk, "S1", "book", net_g="30", sample_g="25", sample_kernels="100")
    lot = Lot.objects.get()
    assert answer.url == f"{BENCH}?season=2031&last={lot.tag}"
    page = read(desk.get(answer.url))
    assert f"/seed/lot-labels.pdf?lot={lot.tag}" in page
    assert desk.get(BENCH, {"lot": "", "last": lot.tag}).url == f"/seed/lot-labels.pdf?lot={lot.tag}"
    told = read(desk.get(f"/seed/lots/{lot.tag}/"))
    assert "1 pollination behind it" in told
    assert "S1" in told


def test_several_ears_are_one_lot_on_purpose_and_can_be_taken_back(desk):
    page = read(desk.get(BENCH, {"lot": "AB02", "ears": "AB01", "more": "1"}))
    assert 'value="AB01,AB02"' in page
    enter(desk, "AB01,AB02", "book", kernels="201")
    lot = Lot.objects.get()
    assert sorted(Movement.objects.values_list("kernels", flat=True)) == [100, 101]
    desk.post(BENCH, {"undo": lot.tag, "why": "wrong tray"})
    assert sum(Movement.objects.values_list("kernels", flat=True)) == 0
    again = desk.post(BENCH, {"undo": lot.tag})
    assert (again.status_code, "still stands" in read(again)) == (422, True)


def test_a_crate_scanned_stays_until_the_next_and_an_ear_of_another_is_told(desk):
    first, second = give_crate_tags(ON, 2)
    note_crated(ON, "2031", first, ["AB01"])
    assert f"crate={second}" in desk.get(BENCH, {"lot": second}).url
    page = read(desk.get(BENCH, {"lot": "AB01", "crate": second}))
    assert f"was put into crate {first[:4]}-{first[4:]}, not {second[:4]}-{second[4:]}" in page


@pytest.mark.parametrize("role", ["technician", "crew_leader", "cooperator"])
def test_who_picks_notes_ears_and_who_keeps_seed_shells(client, station, field, role):
    sign_in(client, station, role)
    (crate,) = give_crate_tags(ON, 1)
    crew = role != "cooperator"
    picked = client.post("/seed/pick/?season=2031", {"codes": "AB01\nAB02", "worker": "W08"})
    crated = client.post("/seed/crates/?season=2031", {"crate": crate, "codes": "AB01", "moisture": "12,5"})
    tags = client.post("/seed/crate-tags.pdf", {"count": "3"})
    assert [one.status_code for one in (picked, crated, tags)] == ([302, 302, 200] if crew else [403, 403, 403])
    assert Note.objects.filter(kind="ears_picked").count() == (2 if crew else 0)
    assert Note.objects.filter(kind="dried", value="12.5").exists() is crew
    assert Tag.objects.filter(hangs_on="crate").count() == (4 if crew else 1)
    assert client.get(BENCH).status_code == (200 if role == "technician" else 403)
    for page in ("/seed/pick/", "/seed/ears/?show=all", "/seed/crates/"):
        assert client.get(page).status_code == 200


def test_pages_tell_ears_crates_and_what_does_not_fit(desk, field):
    (crate,) = give_crate_tags(ON, 1)
    pick = read(desk.get("/seed/pick/?season=2031&teams=2"))
    for told in ("No bag, no ear", '<span class="tag">AB01</span>', "last pollinated 68 days ago", "pick-list.pdf"):
        assert told in pick, told
    desk.post("/seed/pick/", {"codes": "AB01"})
    desk.post("/seed/pick/", {"codes": "S1", "left": "rotten"})
    desk.post("/seed/crates/", {"crate": crate, "codes": "AB01", "moisture": "18"})
    ears = read(desk.get("/seed/ears/?season=2031"))
    for told in ("never seen at harvest: bag AB02", "1 rotten", "<dt>Missing</dt><dd>1"):
        assert told in ears, told
    crates = read(desk.get("/seed/crates/?season=2031"))
    for told in ("not dry yet", "18.0 %", "row 1", "50 °C"):
        assert told in crates, told
    for wrong in ({"codes": "QQ77"}, {"codes": "AB02", "left": "eaten"}, {"codes": ""}):
        assert desk.post("/seed/pick/", wrong).status_code == 422
    assert desk.post("/seed/crates/", {"crate": crate, "moisture": "99"}).status_code == 422
    assert desk.get("/seed/pick/?teams=x").status_code == 422


@pytest.mark.parametrize("page", ["/seed/pick/", "/seed/ears/?show=all", "/seed/crates/", "/seed/shelling/?lot=S1"])
def test_a_page_asks_the_books_as_often_for_many_rows_as_for_few(desk, station, field, page):
    def count():
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert desk.get(page).status_code == 200
        return len(asked)

    (crate,) = give_crate_tags(ON, 1)
    note_crated(ON, "2031", crate, ["AB01"])
    few = count()
    season, line = field[0].season, field[2].line
    for number in range(4, 14):
        row = make_row(season, number, line, "self", make_target(season, number, line))
        take_note(JULY, row, "pollinated", 1, detail="self", bag=f"T{number}")
        note_crated(ON, "2031", crate, [f"T{number}"])
    assert count() == few


def test_papers_are_printed_or_say_why_not(field):
    picks = read_pick_list(ON, "2031")
    assert render_pick_list(picks, "Eskerholm Growers' Cooperative").startswith(b"%PDF")
    assert render_crate_tags(give_crate_tags(ON, 2), "Eskerholm Growers' Cooperative").startswith(b"%PDF")
    with pytest.raises(InputRefused, match="Nothing is ripe"):
        render_pick_list(read_pick_list(occasion(date(2031, 8, 1)), "2031"), "Eskerholm")
    with pytest.raises(InputRefused, match="same tag"):
        render_crate_tags(["00000BV6", "00000BV6"], "Eskerholm")

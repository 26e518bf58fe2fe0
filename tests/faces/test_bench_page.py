"""Does the bench of the seed room weigh, place and label a scanned lot, and is it ready for the next whatever comes?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.records.models import Lot, Movement, Tag, Weighing
from firstsilk.science.seed.tags import tag_for_serial
from tests.factories import make_line, make_lot, make_row, make_season, make_station, sign_in

pytestmark = pytest.mark.django_db

DAY = date(2031, 10, 1)
BENCH = "/seed/bench/"
ENTRY = {"net_g": "45", "sample_g": "25", "sample_kernels": "100", "shelf": "A", "box": "3", "slot": "12"}


@pytest.fixture
def station():
    return make_station(held=DAY)


@pytest.fixture
def lot(station):
    return make_lot(make_line(station, "E1"), kernels=200)


@pytest.fixture
def bench(client, station, lot):
    sign_in(client, station, "technician")
    return client


def send(client, lot, step, **other):
    return client.post(BENCH, {"lot": lot.tag, "step": step, **ENTRY, **other})


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_the_bench_is_for_who_keeps_the_seed(client, station, lot, role):
    sign_in(client, station, role)
    allowed = role in ("breeder", "technician")
    assert client.get(BENCH).status_code == (200 if allowed else 403)
    assert (send(client, lot, "book").status_code == 302) is allowed
    assert Weighing.objects.exists() is allowed


@pytest.mark.parametrize("typed", ["tag", "hyphen", "lower", "name"])
def test_a_lot_is_opened_by_its_tag_as_scanned_or_typed_or_by_its_name(bench, lot, typed):
    asked = {"tag": lot.tag, "hyphen": f"{lot.tag[:4]}-{lot.tag[4:]}", "lower": lot.tag.lower(), "name": "E1-30"}[typed]
    page = bench.get(BENCH, {"lot": f" {asked} "}).content.decode()
    assert "In the books 200 kernels" in page
    assert 'name="net_g"' in page


def test_a_wrong_tag_is_a_sentence_and_the_bench_waits_for_the_next_scan(bench, lot):
    answer = bench.get(BENCH, {"lot": "0000-0000", "last": lot.tag})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "There is no lot &#x27;0000-0000&#x27; in the books. One of its signs is misread" in page
    assert 'name="lot"' in page
    assert "data-first" in page
    assert "Last: <strong>E1-30</strong>" in page
    assert bench.get(BENCH, {"last": "nothing"}).status_code == 200
    assert bench.post(BENCH, {"lot": "nothing", "step": "book"}).status_code == 422


def test_a_tag_that_is_no_lots_is_told_what_it_is(bench, lot):
    other = Tag.objects.create(station=lot.station, code=tag_for_serial(99_000), hangs_on="bag")
    assert "That tag hangs on a bag: take the one of the lot." in bench.get(BENCH, {"lot": other.code}).content.decode()
    misread = lot.tag[:7] + ("A" if lot.tag[7] != "A" else "B")
    assert "One of its signs is misread" in bench.get(BENCH, {"lot": misread}).content.decode()


def test_before_and_after_are_shown_before_anything_is_booked(bench, lot):
    page = send(bench, lot, "look").content.decode()
    for told in ("<dt>Before</dt><dd>200</dd>", "<dt>After</dt><dd>180</dd>", "250.0 <small>g</small>", "A / 3 / 12"):
        assert told in page
    assert (Movement.objects.count(), Weighing.objects.count()) == (1, 0)
    assert Lot.objects.get(pk=lot.pk).shelf == ""


def test_what_is_confirmed_is_booked_and_the_next_scan_waits_with_the_last_label_at_hand(bench, lot):
    answer = send(bench, lot, "book")
    assert answer.url == f"{BENCH}?last={lot.tag}"
    page = bench.get(answer.url).content.decode()
    assert "Lot E1-30: before 200, after 180 kernels." in page
    assert "Lot E1-30 lies in A / 3 / 12." in page
    assert "Print its label" in page
    assert list(Movement.objects.filter(reason="counted").values_list("kernels", flat=True)) == [-20]
    label = bench.get(BENCH, {"lot": "", "last": lot.tag}, follow=True)
    assert label.content.startswith(b"%PDF-")


def test_a_place_alone_moves_no_kernels_and_a_shared_slot_is_told(bench, station, lot):
    make_lot(make_line(station, "E2"), kernels=5, shelf="A", box="3", slot="12")
    page = send(bench, lot, "look", net_g="", sample_g="").content.decode()
    assert "2 lots lie in one slot" in page
    page = bench.get(send(bench, lot, "book", net_g="", sample_g="").url).content.decode()
    assert "2 lots lie in one slot" in page
    assert Movement.objects.filter(lot=lot).count() == 1


@pytest.mark.parametrize(
    ("other", "told"),
    [
        ({"net_g": "heavy"}, "is not a number"),
        ({"net_g": "-1"}, "is not a number"),
        ({"sample_g": "50"}, "The samples weigh 50 g, the whole lot 45 g"),
        ({"sample_g": "0"}, "is not the weight of a sample"),
        ({"sample_kernels": ""}, "weighed but not counted"),
        ({"net_g": ""}, "the lot was not"),
        ({"sample_g": ""}, "weight of a kernel of this lot is not known"),
        ({"shelf": "", "box": ""}, "of which box"),
        ({"slot": "s" * 21}, "too long"),
        ({"net_g": "", "sample_g": "", "shelf": "", "box": "", "slot": ""}, "Neither a weight nor a place"),
    ],
)
@pytest.mark.parametrize("step", ["look", "book"])
def test_a_wrong_entry_is_a_sentence_with_what_was_entered_and_nothing_is_written(bench, lot, step, other, told):
    answer = send(bench, lot, step, **other)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert told in page
    assert (
        f'name="sample_kernels" inputmode="numeric" autocomplete="off" value="{({**ENTRY, **other})["sample_kernels"]}"'
        in page
    )
    assert (Movement.objects.count(), Weighing.objects.count(), Lot.objects.get(pk=lot.pk).shelf) == (1, 0, "")


def test_going_back_keeps_what_was_entered(bench, lot):
    page = send(bench, lot, "back").content.decode()
    assert 'value="45"' in page
    assert "<dt>After</dt>" not in page


def test_the_page_of_a_lot_takes_a_germination_test_and_shows_the_history(bench, lot):
    Lot.objects.filter(pk=lot.pk).update(germination_tested_on=date(2030, 12, 1))
    address = f"/seed/lots/{lot.tag}/"
    sent = {"reason": "germination", "seeds": "100", "germinated": "80", "tested_on": "2031-05-20", "remark": "cold"}
    page = bench.post(address, sent, follow=True).content.decode()
    assert "80 of 100 seeds germinated" in page
    assert "<h2>Germination tests</h2>" in page
    assert page.index("cold") < page.index("came with the lot")
    for wrong in ({"seeds": ""}, {"germinated": "101"}, {"tested_on": "2032-01-01"}, {"tested_on": "May"}):
        assert bench.post(address, {**sent, **wrong}).status_code == 422


def test_the_page_of_a_lot_splits_it(bench, lot):
    sent = {"reason": "part", "kernels": "60", "name": "part"}
    page = bench.post(f"/seed/lots/{lot.tag}/", sent, follow=True).content.decode()
    assert "Lot part is made with 60 kernels." in page
    assert ">E1-30</a>" in page
    for wrong in ({"kernels": ""}, {"kernels": "900"}, {"name": ""}, {}):
        assert bench.post(f"/seed/lots/{lot.tag}/", {**sent, **wrong}).status_code == 422


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_the_store_says_what_to_do_about_a_lot_and_why(client, station, lot, role):
    sign_in(client, station, role)
    page = client.get("/seed/store/").content.decode()
    assert "<strong>regrow</strong></td><td>the line has 190 kernels that germinate, needs 200" in page
    assert "Every lot may stay" not in page
    page = client.get("/seed/store/?keep_kernels=10&retest_years=x").content.decode()
    assert "it was tested on an unknown day" in page
    assert client.get("/seed/store/?keep_kernels=-1").status_code == 422


def test_a_promise_of_an_earlier_year_is_given_up_at_the_store(bench, station, lot):
    make_row(make_season(station, "2030"), 1, lot.line, lot=lot, kernels=50, reserve=True)
    sent = {"season": "2030", "row": "1", "trial": ""}
    assert "50 kernels of" in bench.get("/seed/store/").content.decode()
    page = bench.post("/seed/store/", sent, follow=True).content.decode()
    assert "50 kernels are free again." in page
    assert "50 kernels of" not in page
    for wrong in (sent, {"trial": "T"}, {"season": "2030"}, {}):
        assert bench.post("/seed/store/", wrong).status_code == 422

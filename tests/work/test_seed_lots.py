"""Is a lot's stock the sum of its movements, and is a wrong movement refused with a reason?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Lot, Movement, Reservation
from firstsilk.work.seed.lots import list_lots, move_seed, read_lot, receive_lot
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion

pytestmark = pytest.mark.django_db

ON = occasion(date(2031, 4, 1))


@pytest.fixture
def station():
    return make_station()


@pytest.fixture
def lot(station):
    """200 kernels, 50 of them promised to a row."""
    made = make_lot(make_line(station, "E1"), kernels=200)
    make_row(make_season(station), 1, made.line, lot=made, kernels=50, reserve=True)
    return made


def test_a_lot_tells_stock_promise_and_every_movement_with_what_was_left(lot):
    move_seed(ON, lot.name, 30, "sent", "cooperator at Tarn End")
    page = read_lot(ON, lot.name)
    assert (page.stock.kernels, page.stock.reserved, page.stock.free) == (170, 50, 120)
    assert [(m.kernels, m.reason, m.stock_after) for m in page.movements] == [(200, "opening", 200), (-30, "sent", 170)]
    assert page.promised == (("row 1 of 2031", 50),)
    assert page.movements[-1].who == "tests"


def test_a_lot_is_found_by_name_tag_or_part_of_either_as_it_is_typed(station, lot):
    printed = f"{lot.tag[:4]}-{lot.tag[4:]}"
    for text in ("E1-30", "e1-3", lot.tag, printed.lower(), printed[:6]):
        assert [one.stock.name for one in list_lots(ON, text).lots] == ["E1-30"], text
    assert read_lot(ON, printed).stock.name == "E1-30"
    assert list_lots(ON, "nothing").total == 0
    assert list_lots(ON, "---").total == 0


def test_lots_are_listed_page_by_page_newest_year_first(station):
    line = make_line(station, "E1")
    for year in range(2001, 2031):
        make_lot(line, year=year, kernels=10)
    make_lot(line, year=2000, kernels=0)
    first, last = list_lots(ON, size=10), list_lots(ON, page=99, size=10)
    assert [one.stock.year for one in first.lots] == list(range(2030, 2020, -1))
    assert (first.total, first.pages, first.kernels) == (31, 4, 300)
    assert (last.page, len(last.lots)) == (4, 1)
    assert list_lots(ON, only_in_stock=True).total == 30


@pytest.mark.parametrize(
    ("kernels", "reason", "told"),
    [
        (201, "split", "holds 200 kernels; 201 cannot leave it"),
        (151, "sent", "50 of 200 kernels are promised"),
        (0, "split", "0 kernels cannot be moved"),
        (-5, "split", "-5 kernels cannot be moved"),
        (-1, "counted", "-1 kernels cannot be moved"),
        (10, "sown", "not a reason at the desk"),
        (10**12, "counted", "cannot be moved"),
    ],
)
def test_a_movement_that_cannot_be_is_refused_and_nothing_moves(lot, kernels, reason, told):
    with pytest.raises(InputRefused, match=told):
        move_seed(ON, lot.name, kernels, reason)
    assert Movement.objects.count() == 1


def test_promised_seed_may_be_discarded_and_then_the_page_warns(lot):
    page = move_seed(ON, lot.name, 170, "discarded", "mould")
    assert page.stock.kernels == 30
    assert "More seed is promised than the lot holds." in page.cautions


def test_a_count_sets_the_stock_and_an_equal_count_moves_nothing(lot):
    assert move_seed(ON, lot.name, 180, "counted").stock.kernels == 180
    assert move_seed(ON, lot.name, 180, "counted").stock.kernels == 180
    assert [m.kernels for m in read_lot(ON, lot.name).movements] == [200, -20]
    assert move_seed(ON, lot.name, 0, "counted").stock.kernels == 0


@pytest.mark.parametrize(("seeds", "told"), [(400, None), (399, "399 seeds: not an official test"), (None, "unknown")])
def test_germination_of_fewer_than_400_seeds_is_not_an_official_test(station, seeds, told):
    lot = make_lot(make_line(station, "E1"), germination_seeds=seeds)
    cautions = " ".join(read_lot(ON, lot.name).cautions)
    assert (told or "official") in cautions if told else "official" not in cautions
    interval = read_lot(ON, lot.name).germination_interval
    assert interval is None if seeds is None else interval is not None and interval[0] < 0.95 < interval[1]


def test_a_lot_without_a_germination_test_says_so(station):
    lot = make_lot(make_line(station, "E1"), germination_frac=None)
    assert "No germination test is on record." in read_lot(ON, lot.name).cautions
    assert "a germination test of 1 lots in stock" in list_lots(ON).basis.missing


def test_a_lot_received_from_outside_has_a_tag_an_opening_and_its_origin(station):
    make_line(station, "E9")
    page = receive_lot(ON, " G-31 ", "E9", 300, "exchange with Tarn End", 0.9)
    assert (page.stock.name, page.stock.kernels, page.origin) == ("G-31", 300, "received")
    assert page.origin_text == "exchange with Tarn End"
    assert len(page.stock.tag) == 8
    assert page.basis.missing == ()


@pytest.mark.parametrize(
    ("name", "line", "kernels", "origin", "germination", "told"),
    [
        ("", "E1", 10, "gift", None, "empty or taken"),
        ("E1-30", "E1", 10, "gift", None, "empty or taken"),
        ("N" * 61, "E1", 10, "gift", None, "too long"),
        ("New", "E7", 10, "gift", None, "no line 'E7'"),
        ("New", "E1", 0, "gift", None, "needs its kernels"),
        ("New", "E1", 10, "  ", None, "needs its kernels"),
        ("New", "E1", 10, "gift", 92.0, "not in 0..1"),
    ],
)
def test_a_received_lot_that_is_not_whole_is_refused(lot, name, line, kernels, origin, germination, told):
    with pytest.raises(InputRefused, match=told):
        receive_lot(ON, name, line, kernels, origin, germination)
    assert Lot.objects.count() == 1


def test_the_books_as_they_stood_on_an_earlier_day_do_not_know_later_movements(lot):
    move_seed(occasion(date(2031, 6, 1)), lot.name, 30, "sent")
    Reservation.objects.update(released_on=date(2031, 5, 20))
    assert read_lot(ON, lot.name).stock.kernels == 200
    assert read_lot(ON, lot.name).stock.reserved == 50
    assert read_lot(occasion(date(2031, 6, 1)), lot.name).stock.free == 170

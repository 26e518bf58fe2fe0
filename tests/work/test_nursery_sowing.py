"""Do the lots hold what is left after sowing, whatever was noted, in whatever order, and however often?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Movement, Reservation
from firstsilk.work.flowering.notes import list_notes, take_back
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.sow import AsSown, count_unsettled, record_sowing, settle_sowing, sow_as_planned
from firstsilk.work.seed.lots import move_seed
from firstsilk.work.seed.stock import read_stock
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db

DAY = date(2031, 5, 13)
ON = occasion(DAY)


@pytest.fixture
def field():
    """Three rows of 24 kernels of one lot of 100, due on three days, and another lot of another line."""
    station = make_station()
    season = make_season(station)
    lot = make_lot(make_line(station, "E1"), kernels=100)
    other = make_lot(make_line(station, "E2"), kernels=50)
    rows = [
        make_row(season, number, lot.line, lot=lot, reserve=True, sow_on=date(2031, 5, 11 + number))
        for number in (1, 2, 3)
    ]
    return station, season, rows, lot, other


def stock_of(station):
    return {lot.name: (lot.kernels, lot.reserved) for lot in read_stock(station)}


def test_rows_due_when_sown_as_planned_leave_their_lot_and_their_promise(field):
    station, *_ = field
    done = sow_as_planned(ON, "2031", DAY)
    assert (done.noted, done.settled, done.kernels) == (2, 2, 48)
    assert stock_of(station)["E1-30"] == (52, 24)
    again = sow_as_planned(ON, "2031", DAY)
    assert (again.noted, again.settled, again.kernels) == (0, 0, 0)


def test_sowing_as_planned_never_reaches_beyond_today(field):
    assert sow_as_planned(ON, "2031", date(2031, 12, 31)).noted == 2


def test_a_row_when_skipped_gives_its_promise_back_and_takes_no_seed(field):
    station, *_ = field
    record_sowing(ON, "2031", [AsSown(1, DAY, "skipped")])
    assert stock_of(station)["E1-30"] == (100, 48)
    assert read_states(station)[field[2][0].tag].sown_on is None


def test_a_row_when_sown_after_all_takes_its_seed(field):
    station, *_ = field
    record_sowing(ON, "2031", [AsSown(1, None, "skipped")])
    record_sowing(ON, "2031", [AsSown(1, DAY)])
    assert stock_of(station)["E1-30"] == (76, 48)


@pytest.mark.parametrize(("said", "left"), [("", 100 - 48), ("40 kernels", 60)])
def test_a_row_when_doubled_takes_twice_its_seed_or_what_was_counted(field, said, left):
    station, *_ = field
    record_sowing(ON, "2031", [AsSown(1, DAY, "doubled", said)])
    assert stock_of(station)["E1-30"] == (left, 48)


def test_a_row_when_short_takes_what_was_counted(field):
    station, *_ = field
    record_sowing(ON, "2031", [AsSown(1, DAY, "short", "15")])
    assert stock_of(station)["E1-30"] == (85, 48)


def test_a_row_when_sown_from_another_lot_takes_it_from_there(field):
    station, _, _, _, other = field
    record_sowing(ON, "2031", [AsSown(1, DAY, "other_lot", other.name)])
    assert stock_of(station) == {"E1-30": (100, 48), "E2-30": (26, 0)}


def test_a_row_when_the_other_lot_is_unknown_stays_promised_and_is_named(field):
    station, *_ = field
    done = record_sowing(ON, "2031", [AsSown(1, DAY, "other_lot", "E7-30")])
    assert [finding.code for finding in done.findings] == ["lot_unclear"]
    assert "'E7-30' is no lot" in done.findings[0].message
    assert stock_of(station)["E1-30"] == (100, 72)


def test_a_sowing_when_taken_back_gives_seed_and_promise_back(field):
    station, *_ = field
    record_sowing(ON, "2031", [AsSown(1, DAY)])
    sown = next(one for one in list_notes(ON) if one.note.kind == "sown")
    take_back(ON, sown.note.id, "wrong row")
    settle_sowing(ON, "2031")
    assert stock_of(station)["E1-30"] == (100, 72)
    assert sum(Movement.objects.filter(reason="sown").values_list("kernels", flat=True)) == 0
    record_sowing(ON, "2031", [AsSown(1, DAY)])
    assert stock_of(station)["E1-30"] == (76, 48)


def test_sowing_noted_by_phone_is_counted_as_unsettled_until_it_is_settled(field):
    station, season, rows, *_ = field
    take_note(ON, rows[0], "sown", DAY)
    assert count_unsettled(station, season, read_states(station), DAY) == 1
    assert stock_of(station)["E1-30"] == (100, 72)
    settle_sowing(ON, "2031")
    settle_sowing(ON, "2031")
    assert count_unsettled(station, season, read_states(station), DAY) == 0
    assert stock_of(station)["E1-30"] == (76, 48)
    assert Reservation.objects.filter(released_on__isnull=True).count() == 2


def test_what_was_sown_is_booked_even_below_zero_and_told(field):
    station, _, _, lot, _ = field
    move_seed(ON, lot.name, 70, "discarded", "eaten by mice")
    done = sow_as_planned(ON, "2031", DAY)
    assert stock_of(station)["E1-30"] == (-18, 24)
    assert [finding.code for finding in done.findings] == ["stock_below_zero"]


def test_rows_without_a_promise_are_never_booked(field):
    station, season, _, lot, _ = field
    brought = make_row(season, 9, lot.line, lot=lot)
    take_note(ON, brought, "sown", DAY)
    assert settle_sowing(ON, "2031").settled == 0
    assert stock_of(station)["E1-30"] == (100, 72)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (AsSown(77, DAY), "no row 77"),
        (AsSown(1, DAY, "eaten"), "'eaten' is not a correction"),
        (AsSown(1, date(2031, 6, 1)), "after today"),
    ],
)
def test_a_table_with_one_wrong_row_is_refused_whole(field, wrong, told):
    with pytest.raises(InputRefused, match=told):
        record_sowing(ON, "2031", [AsSown(2, DAY), wrong])
    assert not list_notes(ON)

"""Laws of the seed room.

- Whatever is asked in whatever order: seed in = seed out + seed on hand + what is overdrawn, in each lot and in all.
- At the desk no lot is drawn below zero. What was sown is booked whatever the books hold; a lot below zero is told.
- Kernels that leave a lot for another stand in the other: splits and bulks neither make nor lose any.
- Every lot has a declared origin; the shares of a lot made of lots add up to 1.
- Notes of sowing that come in another order give the same stock.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.records.models import Lot, LotOrigin, Movement, Row
from firstsilk.work.nursery.sow import AsSown, record_sowing
from firstsilk.work.seed.lots import move_seed, receive_lot
from firstsilk.work.seed.promises import release_row
from firstsilk.work.seed.splits import bulk_lots, split_lot
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.seed.weighing import weigh_lot
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion
from tests.properties.test_seed_laws import books_of_their_own

pytestmark = pytest.mark.django_db

ON = occasion(date(2031, 6, 1))
IN_BOOKS = settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
MG = 250.0
LOTS = st.integers(0, 5)
KERNELS = st.integers(-3, 160)
EVENTS = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(["sent", "discarded", "counted", "split", "weigh", "part"]), LOTS, KERNELS),
        st.tuples(st.just("bulk"), LOTS, KERNELS, LOTS, KERNELS),
        st.tuples(st.just("receive"), LOTS, KERNELS),
        st.tuples(st.sampled_from(["sow", "sow_more", "skip"]), st.integers(1, 4), KERNELS),
    ),
    max_size=14,
)


def open_books():
    """A season of four rows, each promised 40 of the 100 kernels of one of two lots of one line."""
    station = make_station()
    season, line = make_season(station), make_line(station, "E1")
    lots = [make_lot(line, kernels=100, year=year) for year in (2029, 2030)]
    for number in range(1, 5):
        make_row(season, number, line, lot=lots[number % 2], kernels=40, reserve=True)
    return station


class Ledger:
    """The same books kept apart, in the plainest way: what came in and went out of each lot."""

    def __init__(self, names):
        self.came, self.went = defaultdict(int), defaultdict(int)
        for name in names:
            self.came[name] = 100
        self.rows: dict[int, tuple[str, int]] = {}
        self.told: set[int] = set()

    def held(self, name):
        sown = sum(kernels for lot, kernels in self.rows.values() if lot == name)
        return self.came[name] - self.went[name] - sown

    def change(self, name, kernels):
        (self.came if kernels > 0 else self.went)[name] += abs(kernels)


def play_row(station, ledger, kind, number, kernels):
    """A row is sown as planned, with another number of kernels (told once), or given up."""
    lot = Row.objects.select_related("lot").get(station=station, number=number).lot
    if kind == "skip":
        release_row(ON, "2031", number)
    elif kind == "sow":
        record_sowing(ON, "2031", [AsSown(number, date(2031, 5, 20))])
        ledger.rows.setdefault(number, (lot.name, 40))
    elif number not in ledger.told:
        record_sowing(ON, "2031", [AsSown(number, date(2031, 5, 20), "doubled", str(kernels))])
        ledger.told.add(number)
        ledger.rows[number] = (lot.name, kernels)


def play(station, ledger, event, count):
    """One event, in the books and in the ledger; a refused one changes neither."""
    kind, names = event[0], sorted(Lot.objects.filter(station=station).values_list("name", flat=True))
    name = names[event[1] % len(names)]
    kernels = event[2]
    if kind in ("sow", "sow_more", "skip"):
        play_row(station, ledger, kind, event[1], abs(kernels))
        return
    if kind == "receive":
        receive_lot(ON, f"new {count}", "E1", kernels, "exchange")
        ledger.change(f"new {count}", kernels)
    elif kind == "part":
        split_lot(ON, name, kernels, f"part {count}")
        ledger.change(name, -kernels)
        ledger.change(f"part {count}", kernels)
    elif kind == "bulk":
        other = names[event[3] % len(names)]
        bulk_lots(ON, [(name, kernels), (other, event[4])], f"bulk {count}")
        for parent, given_kernels in ((name, kernels), (other, event[4])):
            ledger.change(parent, -given_kernels)
            ledger.change(f"bulk {count}", given_kernels)
    elif kind == "weigh":
        weigh_lot(ON, name, kernels * MG / 1000, [MG / 1000], 1)
        ledger.change(name, kernels - ledger.held(name))
    else:
        move_seed(ON, name, kernels, kind)
        ledger.change(name, kernels - ledger.held(name) if kind == "counted" else -kernels)


@IN_BOOKS
@given(events=EVENTS)
def test_seed_in_is_seed_out_and_on_hand_and_overdrawn_whatever_the_order(events):
    with books_of_their_own():
        station = open_books()
        ledger = Ledger(["E1-29", "E1-30"])
        for count, event in enumerate(events):
            before = {one.name: one.kernels for one in read_stock(station)}
            try:
                with transaction.atomic():
                    play(station, ledger, event, count)
            except InputRefused:
                assert {one.name: one.kernels for one in read_stock(station)} == before
                continue
            for one in read_stock(station):
                assert one.kernels == ledger.held(one.name)
                if event[0] not in ("sow", "sow_more", "skip"):
                    assert one.kernels >= 0 or one.kernels == before[one.name]
        check_whole(station)


def check_whole(station):
    """The law over each lot and over all, from the movements themselves; origins of all lots."""
    for lot in Lot.objects.filter(station=station):
        moved = list(Movement.objects.filter(lot=lot).values_list("kernels", flat=True))
        came, went = sum(one for one in moved if one > 0), -sum(one for one in moved if one < 0)
        stock = next(one.kernels for one in read_stock(station) if one.id == lot.pk)
        assert came == went + max(stock, 0) + min(stock, 0)
        assert lot.origin
        shares = list(LotOrigin.objects.filter(lot=lot).values_list("share_frac", flat=True))
        assert (lot.origin == "lots") is bool(shares)
        assert not shares or sum(shares) == pytest.approx(1, abs=1e-12)
    between = Movement.objects.filter(lot__station=station, reason="split", used_for__regex="^(into|from) ")
    assert sum(between.values_list("kernels", flat=True)) == 0


@IN_BOOKS
@given(sown=st.permutations([1, 2, 3, 4]), more=st.integers(41, 200))
def test_what_was_sown_is_booked_in_any_order_and_a_lot_below_zero_is_a_finding(sown, more):
    with books_of_their_own():
        station = open_books()
        for number in sown:
            how = ("doubled", str(more)) if number == 1 else ("", "")
            done = record_sowing(ON, "2031", [AsSown(number, date(2031, 5, 20), *how)])
        stock = {one.name: one.kernels for one in read_stock(station)}
        assert stock == {"E1-29": 20, "E1-30": 60 - more}
        low = [one.value for one in done.findings if one.code == "stock_below_zero"]
        assert low == ([str(60 - more)] if more > 60 else [])
        with pytest.raises(InputRefused):
            move_seed(ON, "E1-30", max(1, 61 - more), "sent")
        weigh_lot(ON, "E1-30", 2.5, [MG / 1000], 1)
        assert {one.name: one.kernels for one in read_stock(station)}["E1-30"] == 10

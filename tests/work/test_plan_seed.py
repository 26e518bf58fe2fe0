"""Is the seed of a whole plan weighed together, and is what is short told with what could be done?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.faces.command.main import run
from firstsilk.records.models import LotOrigin, Reservation
from firstsilk.work.seed.plan_seed import read_plan_seed
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
)

pytestmark = pytest.mark.django_db
ON = occasion(date(2031, 4, 1))


@pytest.fixture
def station():
    return make_station()


def _told(season="2031"):
    return {(one.line, one.use): one for one in read_plan_seed(ON, season).uses}


def test_a_self_leaves_the_lot_that_only_the_males_fit_into(station):
    season = make_season(station)
    line, other = make_line(station, "E1"), make_line(station, "E2")
    make_lot(line, kernels=29, year=2029)  # fills one male row of 29, or one other row of 23
    make_lot(line, kernels=23, year=2030)
    make_lot(other)
    make_target(season, 1, line, ears=3)
    make_target(season, 2, other, line, ears=3)
    told = _told()
    assert told["E1", "target 1: self"].lots[0][0] == "E1-30"
    assert told["E1", "male rows of its crosses"].lots[0][0] == "E1-29"
    assert {one.says for one in told.values()} == {"ok"}


def test_an_increase_takes_remnant_seed_though_the_increase_is_older(station):
    season, line = make_season(station), make_line(station, "E1")
    remnant = make_lot(line, year=2030, name="remnant")
    increase = make_lot(line, year=2029, name="increase", origin="pollinations")
    row = make_row(make_season(station, "2029", date(2029, 5, 12)), 1, line, lot=remnant)
    LotOrigin.objects.create(station=station, lot=increase, row=row)
    make_target(season, 1, line, ears=3)
    assert _told()["E1", "target 1: self"].lots[0][0] == "remnant"


def test_what_is_short_is_first_with_what_could_be_done_and_promises_are_left_alone(client, station, capsys):
    make_weather(station, 2026, date(2031, 3, 31))
    season, line = make_season(station), make_line(station, "E1")
    held = make_lot(line, kernels=60, year=2029)
    make_lot(line, kernels=80, year=2028, germination_frac=0.01)
    Reservation.objects.create(station=station, lot=held, kernels=30, reserved_on=date(2031, 3, 1))
    make_lot(make_line(station, "E2"))
    bare = make_line(station, "E3")
    for number, female, ears in ((1, line, 5), (2, make_line(station, "E4"), 3), (3, bare, 3)):
        make_target(season, number, female, ears=ears)
    make_lot(bare)
    found = read_plan_seed(ON, "2031")
    assert [(one.line, one.short) for one in found.uses] == [("E1", 1), ("E4", 1), ("E3", 0)]
    first, second, third = found.uses
    assert first.says == "short of 1 of 2 rows"
    assert first.instead == (
        "ask for fewer ears: 1 of 2 rows have seed",
        "sow a thinner row of lot E1-29: 7 kernels, some 6 plants",
        "give up a promise: 30 kernels of lot E1-29 are promised",
        "test lot E1-28 again: it germinated next to nothing",
        "regrow E1 first, or receive seed of it",
    )
    assert second.instead == ("receive seed of E4: it has no lot",)
    assert third.says == "ok"
    assert run(["plan-seed", "2031", "--today", "2031-04-01"]) == 0
    assert "2 of 4 rows have seed" in capsys.readouterr().err
    sign_in(client, station, "breeder")
    page = client.get("/nursery/plan/?season=2031&day=2031-04-01").content.decode()
    assert "2 of 4 rows without seed" in page
    assert "Give up a promise" in page or "give up a promise" in page

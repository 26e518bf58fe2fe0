"""Is the seed of a whole plan weighed together, and is what is short told with what could be done?"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.records.models import LotOrigin, Reservation
from firstsilk.work.nursery import row_seed
from firstsilk.work.nursery.plan import PlanSettings, plan_nursery
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
SETTINGS = PlanSettings(sow_from=date(2031, 5, 12))


@pytest.fixture
def station():
    return make_station()


def _told(season="2031", **counts):
    return {(one.line, one.use): one for one in read_plan_seed(ON, season, **counts).uses}


def _planned(**settings):
    """Lots of the plan's rows: by line, purpose and target, the lot and how many rows of it."""
    rows = plan_nursery(ON, "2031", replace(SETTINGS, **settings)).rows
    return Counter((row.line, row.target, row.lot_name, row.kernels) for row in rows)


def _advised(**counts):
    """The same of what is told beside the plan."""
    told = Counter()
    for (line, use), one in _told(**counts).items():
        target = int(use.removeprefix("target ").split(":")[0]) if use.startswith("target") else None
        for lot, _, rows, kernels in one.lots:
            told[line, target, lot, kernels // rows] += rows
    return told


def _fill_three_lines(station):
    """Lines whose uses do not fit where each takes the oldest lot with enough, one after the other."""
    season = make_season(station)
    one, two, three = (make_line(station, name) for name in ("E1", "E2", "E3"))
    for line, lots in (
        (one, ((29, 2029), (23, 2030))),
        (two, ((60, 2028), (47, 2029), (29, 2030))),
        (three, ((500, 2030),)),
    ):
        for kernels, year in lots:
            make_lot(line, kernels=kernels, year=year)
    make_target(season, 1, one, ears=3)
    make_target(season, 2, two, one, ears=3)
    make_target(season, 3, three, two, ears=3)
    make_target(season, 4, two, ears=4)


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


def test_the_plan_takes_the_lots_that_are_told_beside_it(station):
    make_weather(station, 2026, date(2031, 3, 31))
    _fill_three_lines(station)
    assert {one.short for one in _told().values()} == {0}
    planned = _planned()
    assert planned == _advised()
    assert planned["E1", 1, "E1-30", 23] == 1
    assert planned["E1", None, "E1-29", 29] == 1
    # Fewer plants and less assurance want less seed, and both count with them.
    fewer = {"plants_per_row": 12, "assurance": 0.8}
    assert _planned(**fewer) == _advised(**fewer) != planned


def test_a_plan_fixed_promises_the_lots_it_showed(station):
    make_weather(station, 2026, date(2031, 3, 31))
    _fill_three_lines(station)
    shown = plan_nursery(ON, "2031", SETTINGS)
    fixed = plan_nursery(ON, "2031", SETTINGS, fix=True)
    assert fixed.rows == shown.rows
    promised = Reservation.objects.values_list("row__number", "lot__name", "kernels")
    assert sorted(promised) == [(row.number, row.lot_name, row.kernels) for row in fixed.rows]


def test_a_plan_gives_seed_to_the_first_in_priority_where_not_all_have_it(station):
    make_weather(station, 2026, date(2031, 3, 31))
    season, line = make_season(station), make_line(station, "E1")
    make_lot(line, kernels=50)  # two rows of 23, and 4 kernels
    make_target(season, 1, line, ears=3, priority=3)
    make_target(season, 2, line, ears=3, priority=1)
    make_target(season, 3, line, ears=3, priority=2)
    dead = make_lot(make_line(station, "E2"), germination_frac=0.01).line
    make_target(season, 4, dead, ears=3)
    planned = plan_nursery(ON, "2031", SETTINGS)
    assert [lack.target for lack in planned.short] == [4, 1]
    assert planned.short[0].message == "target 4: there is no live seed of E2"
    assert planned.short[1].message == "target 1: E1 needs 24 kernels for one more row and has 4 free"
    assert {row.target for row in planned.rows} == {2, 3}


def test_a_plan_too_large_to_weigh_together_takes_lots_in_turn_and_says_so(station, monkeypatch):
    make_weather(station, 2026, date(2031, 3, 31))
    _fill_three_lines(station)
    together = plan_nursery(ON, "2031", SETTINGS)
    monkeypatch.setattr(row_seed, "is_beyond_bound", lambda needs, free: len(needs) > 1)
    planned = plan_nursery(ON, "2031", SETTINGS)
    assert planned.short
    assert not together.short
    assert any("too many uses and lots: given in turn" in one for one in planned.basis.missing)


@pytest.mark.parametrize("wrong", [{"plants_per_row": 0}, {"assurance": 1.0}])
def test_counts_that_cannot_be_are_refused(station, wrong):
    make_season(station)
    with pytest.raises(InputRefused):
        read_plan_seed(ON, "2031", **wrong)

"""Is an increase from an increase found, and does the list of what to regrow or discard look at all the books hold?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.records.models import LotOrigin, Movement
from firstsilk.science.seed.keeping import KeepingRule
from firstsilk.work.nursery.plan import PlanSettings, Want, add_targets, plan_nursery
from firstsilk.work.seed.germination_tests import record_germination
from firstsilk.work.seed.increases import count_increases
from firstsilk.work.seed.keeping import list_keeping
from firstsilk.work.seed.lots import move_seed
from firstsilk.work.seed.remnant import check_planned_increases, check_season_increases
from firstsilk.work.seed.splits import bulk_lots, split_lot
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
)

pytestmark = pytest.mark.django_db

ON = occasion(date(2031, 6, 1))


@pytest.fixture
def station():
    return make_station()


@pytest.fixture
def increased(station):
    """Remnant seed of E1, and an increase of it grown in 2030."""
    remnant = make_lot(make_line(station, "E1"), kernels=300, year=2028)
    row = make_row(make_season(station, "2030"), 1, remnant.line, "self", lot=remnant)
    lot = make_lot(remnant.line, kernels=900, origin="pollinations")
    LotOrigin.objects.create(station=station, lot=lot, row=row)
    return remnant, lot


def test_a_row_that_increases_an_increase_is_found_with_the_remnant_lot_to_use(station, increased):
    remnant, lot = increased
    season = make_season(station)
    make_row(season, 1, lot.line, "self", lot=lot)
    make_row(season, 2, lot.line, "self", lot=remnant)
    make_row(season, 3, lot.line, "male", lot=lot)
    make_row(
        season,
        4,
        make_line(station, "S1", method="self", generation="S1"),
        "self",
        lot=make_lot(lot.line, kernels=10, name="S1 lot"),
    )
    found = check_season_increases(ON, "2031")
    assert [(one.row, one.increases) for one in found.rows] == [(1, 1), (2, 0)]
    assert [one.code for one in found.findings] == ["increase_from_increase"]
    assert f"Sow it from remnant lot {remnant.name}: 300 kernels are free" in found.findings[0].as_text()


def test_where_no_remnant_is_left_the_finding_says_so(station, increased):
    remnant, lot = increased
    move_seed(ON, remnant.name, 300, "sent")
    make_row(make_season(station), 1, lot.line, "self", lot=lot)
    assert "No remnant seed of it is free" in check_season_increases(ON, "2031").findings[0].as_text()


def test_splits_and_bulks_are_as_far_from_remnant_as_their_parents(station, increased):
    remnant, lot = increased
    part = split_lot(ON, remnant.tag, 20, "part")
    mixed = bulk_lots(ON, [(part.tag, 5), (lot.tag, 5)], "mixed")
    counted = count_increases(station, [remnant.tag, part.tag, lot.tag, mixed.tag])
    assert count_increases(station, [mixed.tag])[mixed.tag] == 1
    assert [counted.get(tag, 0) for tag in (remnant.tag, part.tag, lot.tag, mixed.tag)] == [0, 0, 1, 1]


def test_a_proposed_plan_is_held_against_the_rule_before_a_row_is_made(station, increased):
    remnant, _ = increased
    make_weather(station, 2029, date(2031, 5, 31))
    make_season(station)
    add_targets(ON, "2031", [Want("self", "E1", ears=3)])
    plan = plan_nursery(ON, "2031", PlanSettings(date(2031, 5, 12)))
    assert check_planned_increases(ON, plan.rows).findings == ()
    move_seed(ON, remnant.name, 300, "discarded")
    plan = plan_nursery(ON, "2031", PlanSettings(date(2031, 5, 12)))
    assert [one.code for one in check_planned_increases(ON, plan.rows).findings] == ["increase_from_increase"]


def test_the_list_says_why_of_each_lot_and_discards_nothing(station):
    line = make_line(station, "E1")
    make_lot(line, kernels=100, year=2015, germination_frac=0.3)
    good = make_lot(line, kernels=400, year=2030, germination_tested_on=date(2030, 12, 1))
    other = make_lot(make_line(station, "E2"), kernels=50, germination_frac=None)
    before = Movement.objects.count()
    found = list_keeping(ON)
    assert [(one.advice.lot.name, one.advice.advice) for one in found.lots] == [
        ("E1-15", "discard"),
        ("E2-30", "regrow"),
    ]
    assert all(one.advice.why for one in found.lots)
    assert dict(found.counts) == {"discard": 1, "keep": 1, "regrow": 1}
    assert Movement.objects.count() == before
    assert found.basis.missing == ("a germination test of 1 lots",)
    rule = KeepingRule(keep_kernels=10)
    assert [one.advice.advice for one in list_keeping(ON, rule, "E2").lots] == ["test"]
    record_germination(ON, other.tag, 50, 45)
    assert list_keeping(ON, rule, "E2").lots == ()
    assert [one.tag for one in list_keeping(ON, rule, "E1", needed_only=False).lots][-1] == good.tag


def test_what_drafts_want_counts_in_the_need_and_is_marked(station):
    female, male = make_line(station, "E1"), make_line(station, "E2")
    make_lot(female, kernels=300)
    make_lot(male, kernels=300)
    make_target(make_season(station), 1, female, male, ears=4)
    make_target(make_season(station, "2030", date(2030, 5, 12)), 1, female, ears=400)
    told = {one.advice.lot.line: one for one in list_keeping(ON, needed_only=False).lots}
    assert told["E1"].draft_need == 44  # 10 pollinations, 2 rows of 18 plants and a fifth more; the past draft is over
    assert told["E2"].draft_need == 27  # one male row and half as much again
    assert [told[name].advice.line_need for name in ("E1", "E2")] == [244, 227]
    tight = list_keeping(ON, KeepingRule(keep_kernels=250))
    assert [(one.advice.lot.line, one.advice.advice) for one in tight.lots] == [("E1", "regrow"), ("E2", "test")]

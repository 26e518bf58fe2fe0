"""Does the day list ask for the right work, on the right day, and say why?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from firstsilk.science.flowering.day import (
    LOOK_OVERDUE_DAYS,
    RIPE_AFTER_DAYS,
    SHED_LASTS_DAYS,
    SILK_LASTS_DAYS,
    RowOnDay,
    list_tasks,
)
from firstsilk.science.flowering.rows import PollinationTally, RowState

TODAY = date(2031, 7, 20)
SOWN = date(2031, 5, 12)


def row(number, purpose="self", wanted=6, males=None, silk=None, shed=None, no_entry=False, **state):
    tag = f"ROW{number:05d}"
    males = males if males is not None else ((tag,) if purpose == "self" else ())
    kept = RowState(tag, **{"sown_on": SOWN, **state})
    kind = "" if purpose in ("male", "filler") else "self" if purpose == "self" else "cross"
    return RowOnDay(number, tag, purpose, kind, wanted, males, SOWN, silk, shed, kept, no_entry)


def done(ears, last=TODAY, kind="self", male=""):
    return (PollinationTally(kind, male, ears, last, last),)


def tasks_of(rows, today=TODAY, cutoff=None, killed=None):
    return {(task.do, task.number): task for task in list_tasks(rows, today, cutoff, killed)}


def test_a_row_when_its_sowing_day_has_come_is_to_be_sown_and_nothing_else():
    late = replace(row(1, silk=0, shed=0), state=RowState("ROW00001"))
    found = tasks_of([late])
    assert list(found) == [("sow", 1)]
    assert "69 days ago" in found["sow", 1].why
    assert not tasks_of([late], today=SOWN - timedelta(days=1))


def test_a_row_when_skipped_at_sowing_is_not_asked_for_again():
    assert not tasks_of([replace(row(1), state=RowState("ROW00001", misplanted=("skipped",)))])


@pytest.mark.parametrize(
    ("days", "wanted"), [(6, False), (5, True), (0, True), (-3, True), (-LOOK_OVERDUE_DAYS - 1, False)]
)
def test_a_row_near_its_silk_is_looked_at_until_it_is_long_overdue(days, wanted):
    assert (("look", 1) in tasks_of([row(1, "female", silk=days)])) is wanted


def test_a_look_when_overdue_says_since_when():
    assert tasks_of([row(1, "female", silk=-3)])["look", 1].why == "silk expected 3 days ago, not seen"


def test_a_row_when_looked_at_today_is_not_looked_at_again():
    assert ("look", 1) not in tasks_of([row(1, "female", silk=0, silk_not_yet=TODAY)])
    assert ("look", 1) in tasks_of([row(1, "female", silk=0, silk_not_yet=TODAY - timedelta(days=1))])


def test_a_male_row_is_looked_at_for_shed_only_and_gets_no_shoot_bags():
    found = tasks_of([row(1, "male", wanted=0, silk=0, shed=1)])
    assert list(found) == [("look", 1)]
    assert found["look", 1].why.startswith("shed expected in 1 day,")


def test_shoot_bags_are_asked_for_before_silk_and_less_what_hangs_already():
    assert ("shoot_bag", 1) not in tasks_of([row(1, silk=5)])
    assert tasks_of([row(1, silk=4)])["shoot_bag", 1].count == 6
    assert tasks_of([row(1, silk=4, shoot_bags=4)])["shoot_bag", 1].count == 2
    assert ("shoot_bag", 1) not in tasks_of([row(1, silk=4, shoot_bags=6)])


def test_shoot_bags_when_pollinations_were_lost_are_asked_for_again():
    lost = row(1, silk_on=TODAY - timedelta(days=1), shed_on=TODAY, shoot_bags=6, pollinations=done(6), spoiled=2)
    assert tasks_of([lost])["shoot_bag", 1].count == 2


def test_a_self_is_pollinated_once_it_silks_and_sheds_and_never_before():
    assert ("pollinate", 1) not in tasks_of([row(1, silk_on=TODAY)])
    assert ("pollinate", 1) not in tasks_of([row(1, shed_on=TODAY)])
    assert tasks_of([row(1, silk_on=TODAY, shed_on=TODAY)])["pollinate", 1].males == (1,)


@pytest.mark.parametrize(("age", "wanted"), [(0, True), (SILK_LASTS_DAYS, True), (SILK_LASTS_DAYS + 1, False)])
def test_a_row_is_pollinated_while_its_silk_lasts(age, wanted):
    ready = row(1, silk_on=TODAY - timedelta(days=age), shed_on=TODAY)
    found = tasks_of([ready])
    assert (("pollinate", 1) in found) is wanted
    if wanted:
        assert found["pollinate", 1].days_left == SILK_LASTS_DAYS - age


@pytest.mark.parametrize(
    ("age", "wanted"), [(-1, False), (0, True), (SHED_LASTS_DAYS, True), (SHED_LASTS_DAYS + 1, False)]
)
def test_a_cross_waits_for_a_male_that_sheds(age, wanted):
    male = row(2, "male", wanted=0, shed_on=TODAY - timedelta(days=age))
    female = row(1, "female", males=(male.tag,), silk_on=TODAY)
    assert (("pollinate", 1) in tasks_of([female, male])) is wanted


@pytest.mark.parametrize(("days", "wanted"), [(3, False), (2, True), (0, True), (-5, True), (-22, False)])
def test_a_row_under_shoot_bags_is_pollinated_from_its_first_silks_on_until_it_is_long_overdue(days, wanted):
    bagged = row(1, silk=days, shed_on=TODAY, shoot_bags=6)
    assert (("pollinate", 1) in tasks_of([bagged])) is wanted
    assert ("pollinate", 1) not in tasks_of([row(1, silk=days, shed_on=TODAY)])


def test_a_male_bagged_last_evening_is_named_before_one_that_was_not():
    bagged = row(2, "male", wanted=0, shed_on=TODAY, last_tassel_bag_on=TODAY - timedelta(days=1))
    bare = row(3, "male", wanted=0, shed_on=TODAY)
    female = row(1, "female", males=(bare.tag, bagged.tag), silk_on=TODAY)
    assert tasks_of([female, bare, bagged])["pollinate", 1].males == (2,)
    alone = tasks_of([replace(female, males=(bare.tag,)), bare])["pollinate", 1]
    assert alone.males == (3,)
    assert "no tassel bag noted" in alone.why


def test_a_row_with_enough_ears_standing_is_left_alone():
    ready = row(1, silk_on=TODAY, shed_on=TODAY, shoot_bags=6, pollinations=done(6))
    assert not tasks_of([ready])
    spoiled = replace(ready, state=replace(ready.state, spoiled=1))
    assert ("pollinate", 1) in tasks_of([spoiled])


def test_tassels_are_bagged_for_tomorrow_and_shared_among_the_males_that_shed():
    first, second = (row(number, "male", wanted=0, shed_on=TODAY) for number in (2, 3))
    female = row(1, "female", wanted=16, males=(first.tag, second.tag), silk_on=TODAY)
    found = tasks_of([female, first, second])
    assert found["tassel_bag", 2].count == found["tassel_bag", 3].count == 2
    once = tasks_of([female, replace(first, state=replace(first.state, last_tassel_bag_on=TODAY)), second])
    assert ("tassel_bag", 2) not in once


def test_a_male_that_ends_its_shed_today_is_not_bagged_for_tomorrow():
    male = row(2, "male", wanted=0, shed_on=TODAY - timedelta(days=SHED_LASTS_DAYS))
    female = row(1, "female", males=(male.tag,), silk_on=TODAY)
    found = tasks_of([female, male])
    assert ("pollinate", 1) in found
    assert ("tassel_bag", 2) not in found


def test_after_the_cutoff_nothing_is_looked_at_bagged_or_pollinated():
    ready = row(1, silk_on=TODAY, shed_on=TODAY)
    near = row(2, silk=1, shed=1)
    assert tasks_of([ready, near], cutoff=TODAY)
    assert not tasks_of([ready, near], cutoff=TODAY - timedelta(days=1))


def test_a_row_under_a_spray_interval_has_no_task_and_gives_no_pollen_bag():
    male = row(2, "male", wanted=0, shed_on=TODAY, no_entry=True)
    female = row(1, "female", males=(male.tag,), silk_on=TODAY, no_entry=True)
    assert not tasks_of([female, male])


def test_ears_are_picked_at_black_layer_and_not_before():
    ripe = row(1, shoot_bags=6, silk_on=TODAY, pollinations=done(6, TODAY - timedelta(days=RIPE_AFTER_DAYS)))
    assert tasks_of([ripe])["pick", 1].count == 6
    assert ("pick", 1) not in tasks_of([ripe], today=TODAY - timedelta(days=1))
    assert ("pick", 1) not in tasks_of([replace(ripe, state=replace(ripe.state, ears_picked=5))])


def test_a_killing_frost_ends_flowering_and_calls_for_picking():
    frozen = row(1, silk_on=TODAY - timedelta(days=3), shed_on=TODAY, pollinations=done(2, TODAY - timedelta(days=2)))
    assert ("pollinate", 1) in tasks_of([frozen])
    found = tasks_of([frozen], killed=TODAY - timedelta(days=1))
    assert list(found) == [("pick", 1)]
    assert "killed by frost" in found["pick", 1].why


def test_tasks_come_by_kind_and_then_in_walking_order():
    rows = [row(number, silk_on=TODAY, shed_on=TODAY) for number in (9, 3, 5)]
    found = [(task.do, task.number) for task in list_tasks(rows, TODAY)]
    kinds = [do for do, _ in found]
    assert kinds == ["pollinate"] * 3 + ["tassel_bag"] * 3 + ["shoot_bag"] * 3
    assert [number for do, number in found if do == "pollinate"] == [3, 5, 9]


def test_a_filler_is_sown_and_then_left_alone():
    assert not tasks_of([row(1, "filler", wanted=0, silk=0, shed=0)])
    assert ("sow", 1) in tasks_of([replace(row(1, "filler", wanted=0), state=RowState("ROW00001"))])

"""What is each bag, and is every doubt about it told, and no other?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.science.flowering.bags import check_bags, name_givers, read_bags
from firstsilk.science.flowering.rows import read_row_states
from tests.science.test_note_checks import DAY, FEMALE, MALE, NAMES, OTHER, note

EVENING = DAY - timedelta(days=1)


def put_on(tag=MALE, on=EVENING, at=1, value=1, code="B1", **more):
    return note("tassel_bagged", tag, value, on, at, bag=code, **more)


def used(tag=FEMALE, on=DAY, at=10, ears=3, code="B1", detail="cross", **more):
    return note("pollinated", tag, ears, on, at, detail=detail, bag=code, **more)


def codes_of(*notes, today=DAY):
    return sorted(one.code for found in check_bags(notes, NAMES, today).values() for one in found)


def test_a_bag_is_its_male_its_day_and_the_ears_it_served():
    (bag,) = read_bags([put_on(detail="cross"), used(), used(OTHER, at=11, ears=2)])
    assert (bag.shares, bag.types, bag.put_on, bag.ears) == (((MALE, 1.0),), ("cross",), (EVENING,), 5)
    assert [use.tag for use in bag.uses] == [FEMALE, OTHER]


def test_a_bag_with_tassels_of_several_rows_is_a_bulk_with_shares_by_tassels():
    (bag,) = read_bags([put_on(value=3), put_on(OTHER, at=2, value=1), put_on(OTHER, at=3, value=1)])
    assert bag.is_bulk
    assert bag.shares == ((MALE, 0.75), (OTHER, 0.25))


def test_a_pollination_without_a_male_has_that_of_its_bag_whichever_came_first():
    early, late = [used(), put_on()], [put_on(), used()]
    for notes in (early, late):
        (tally,) = read_row_states(notes)[FEMALE].pollinations
        assert (tally.male, tally.type, tally.ears, tally.bulk) == (MALE, "cross", 3, ())
    assert read_row_states([used(male=OTHER), put_on()])[FEMALE].pollinations[0].male == OTHER


def test_a_kind_that_the_note_does_not_tell_is_that_of_the_bag():
    (tally,) = read_row_states([put_on(detail="testcross"), used(detail="")])[FEMALE].pollinations
    assert tally.type == "testcross"


def test_a_bulk_has_no_single_male():
    (tally,) = read_row_states([put_on(), put_on(OTHER, at=2), used()])[FEMALE].pollinations
    assert (tally.male, tally.males, tally.bulk) == ("", (MALE, OTHER), ((MALE, 0.5), (OTHER, 0.5)))


def test_a_correction_of_the_bag_corrects_the_father():
    wrong = put_on()
    right = put_on(OTHER, at=2, replaces=wrong.id)
    assert read_row_states([used(), right, wrong])[FEMALE].pollinations[0].male == OTHER


def test_a_number_used_again_next_season_is_another_bag():
    next_year = date(DAY.year + 1, 7, 20)
    again = put_on(OTHER, next_year - timedelta(days=1), at=3), used(on=next_year, at=12)
    assert [bag.males for bag in read_bags([put_on(), used(), *again])] == [(MALE,), (OTHER,)]
    assert codes_of(put_on(), used(), *again, today=next_year) == []


def test_a_pollination_whose_bag_nobody_noted_is_left_in_peace():
    assert name_givers([used()]) == {}
    assert codes_of(used()) == []


@pytest.mark.parametrize(
    ("notes", "code"),
    [
        ((put_on(), put_on(at=2, on=DAY - timedelta(days=2)), used()), "bag_put_on_twice"),
        ((put_on(on=DAY), used(on=EVENING)), "bag_used_before"),
        ((put_on(on=DAY), used()), "bag_used_at_once"),
        ((put_on(on=DAY - timedelta(days=3)), used()), "bag_used_late"),
        ((put_on(on=DAY - timedelta(days=3)),), "bag_never_used"),
        ((put_on(), used(male=OTHER)), "bag_of_other_male"),
        ((put_on(), put_on(OTHER, at=2), used(male=OTHER)), "bag_is_bulk"),
        ((put_on(detail="self"), used()), "bag_of_other_kind"),
    ],
)
def test_each_doubt_is_told_once_and_alone(notes, code):
    assert codes_of(*notes) == [code]


@pytest.mark.parametrize("days", [1, 2])
def test_a_bag_put_on_one_or_two_days_before_is_left_in_peace(days):
    assert codes_of(put_on(on=DAY - timedelta(days=days)), used(male=MALE)) == []


def test_a_bag_of_yesterday_or_one_taken_down_is_not_missed():
    old = put_on(on=DAY - timedelta(days=5))
    assert codes_of(put_on()) == []
    assert codes_of(old, note("tassel_unbagged", MALE, 1, DAY, 2, bag="B1")) == []
    assert codes_of(old) == ["bag_never_used"]

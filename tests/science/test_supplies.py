"""Do the supplies of a season and a week come out as the rates tell?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.science.flowering.supplies import SupplyNeed, count_supplies, find_order_day

SEASON = SupplyNeed((10_000, 10_000), (1_000, 1_000), (1_200, 1_200), (7_000, 7_000), (12, 12), (36, 36))
WEEK = SupplyNeed((2_000, 2_600), (500, 700), (0, 0), (0, 0), (12, 15), (12, 15))
NONE = SupplyNeed((0, 0), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0))


def by_name(season=SEASON, week=WEEK, **used):
    return {one.name: one for one in count_supplies(season, week, used)}


def test_ten_thousand_pollinations_ask_for_what_practice_tells():
    # Common practice, from memory: shoot bags 15,000-18,000, tassel bags 11,000-12,000, staples 10,000 and 10 %, clips
    # 1,200-1,500 for 1,000 of the peak day, tags one a row and 5 %, mesh bags one for 20-30 ears, 2 markers a week.
    found = {name: (one.season_low, one.season_high) for name, one in by_name().items()}
    assert found == {
        "shoot bags": (15_000, 18_000),
        "tassel bags": (11_000, 12_000),
        "staples": (10_000, 11_000),
        "clips": (1_200, 1_500),
        "tags and stakes": (1_200, 1_260),
        "envelopes": (7_000, 7_000),
        "mesh bags": (234, 350),
        "staplers": (12, 12),
        "aprons": (12, 12),
        "markers": (72, 72),
    }


def test_the_week_counts_its_own_pollinations_and_only_what_is_used_up():
    found = by_name()
    assert (found["shoot bags"].week_low, found["shoot bags"].week_high) == (3_000, 4_680)
    assert (found["markers"].week_low, found["markers"].week_high) == (24, 30)
    assert found["clips"].week_low is None


def test_what_notes_tell_is_taken_off_but_never_below_the_week():
    found = by_name(shoot_bags=6_000, tassel_bags=11_500, pollinations=4_000)
    assert (found["shoot bags"].used, found["shoot bags"].left_low, found["shoot bags"].left_high) == (
        6_000,
        9_000,
        12_000,
    )
    assert (found["tassel bags"].left_low, found["tassel bags"].left_high) == (2_200, 3_120)
    assert found["staples"].left_low == 6_000
    assert found["aprons"].used is None


def test_nothing_planned_asks_for_nothing_and_no_number_is_refused():
    assert all(one.season_high == one.left_high == 0 for one in count_supplies(NONE, NONE, {}))
    with pytest.raises(ValueError, match="pollinations"):
        count_supplies(SupplyNeed((-1, 0), (0, 0), (0, 0), (0, 0), (0, 0), (0, 0)), NONE, {})


def test_bags_are_ordered_by_the_end_of_february_or_august_in_the_south():
    assert find_order_day(date(2031, 7, 20)) == date(2031, 2, 28)
    assert find_order_day(date(2031, 1, 12)) == date(2030, 8, 31)

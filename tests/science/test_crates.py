"""Is an ear in the crate of its newest note, out once it is shelled, and a crate dry by its last moisture?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.science.flowering.crates import check_crates, read_crates, read_moisture
from firstsilk.science.seed.tags import tag_for_serial
from tests.science.test_note_checks import FEMALE, NAMES, OTHER, note

ONE, TWO = tag_for_serial(901), tag_for_serial(902)
DAYS = [date(2031, 9, 20 + at) for at in range(8)]


def crated(crate=ONE, on=DAYS[0], at=1, tag=FEMALE, bag="B1"):
    return note("crated", tag, crate, on, at, bag=bag)


def dried(percent, on, at=50, crate=ONE):
    return note("dried", crate, percent, on, at)


def test_an_ear_moved_lies_in_its_last_crate():
    (crate,) = read_crates([crated(TWO, DAYS[2], 2), crated(ONE, DAYS[0], 1)])
    assert (crate.code, crate.filled_from, [one.bag for one in crate.inside]) == (TWO, DAYS[2], ["B1"])


def test_kernels_of_a_bag_take_it_out_and_kernels_of_a_row_all_of_it():
    inside = [crated(), crated(bag="B2", at=2), crated(tag=OTHER, bag="B3", at=3)]
    by_bag = [*inside, note("shelled", FEMALE, 90, DAYS[3], 9, bag="B1")]
    assert [one.bag for one in read_crates(by_bag)[0].inside] == ["B2", "B3"]
    by_row = [*inside, note("shelled", FEMALE, 90, DAYS[3], 9)]
    assert [one.bag for one in read_crates(by_row)[0].inside] == ["B3"]
    before = [crated(on=DAYS[4]), note("shelled", FEMALE, 90, DAYS[3], 9)]
    assert [one.bag for one in read_crates(before)[0].inside] == ["B1"]


@pytest.mark.parametrize(
    ("told", "last", "is_ready"),
    [
        ([("18", DAYS[1]), ("13", DAYS[3])], 13.0, True),
        ([("13.1", DAYS[3])], 13.1, False),
        ([("12,5", DAYS[3])], 12.5, True),
        ([("12", DAYS[0])], 12.0, True),
        ([], None, False),
        ([("wet", DAYS[3]), ("1", DAYS[4]), ("99", DAYS[5])], None, False),
    ],
)
def test_a_crate_is_dry_by_its_last_moisture(told, last, is_ready):
    notes = [dried(value, day, 50 + at) for at, (value, day) in enumerate(told)]
    (crate,) = read_crates([crated(), *notes])
    assert (crate.last_pct, crate.is_ready) == (last, is_ready)


def test_a_wet_ear_put_into_a_dry_crate_makes_it_one_to_measure():
    (crate,) = read_crates([crated(), dried("12", DAYS[1]), crated(bag="B2", on=DAYS[2], at=3)])
    assert (crate.last_pct, crate.is_ready, crate.moistures) == (None, False, ((DAYS[1], 12.0),))


def test_moisture_of_a_year_ago_is_of_another_filling():
    (crate,) = read_crates([crated(), dried("12", date(2030, 10, 1)), dried("12", date(2032, 9, 30), 51)])
    assert crate.moistures == ()


def test_unknown_crates_and_moistures_that_cannot_be_are_told():
    notes = [crated("nothing"), crated(), dried("wet", DAYS[1]), dried("12", DAYS[1], crate=FEMALE)]
    told = check_crates(notes, NAMES, [ONE], DAYS[5])
    assert [(tag, one.code) for tag, one in told] == [(FEMALE, "crate_unknown"), ("", "moisture_unreadable")]
    assert read_moisture(dried("nan", DAYS[1])) is None


def test_a_crate_that_nobody_measured_or_shelled_is_told_once_it_is_forgotten():
    late = DAYS[0] + timedelta(days=31)

    def told(notes, on=late):
        return [(tag, one.code, one.value) for tag, one in check_crates(notes, NAMES, [ONE], on)]

    inside = [crated(), crated(bag="B2", at=2, on=DAYS[2])]
    assert told(inside) == [("", "crate_forgotten", ONE)]
    assert told(inside, DAYS[0] + timedelta(days=30)) == []
    assert told([*inside, dried("14", DAYS[3])]) == []
    assert told([*inside, dried("14", DAYS[0] - timedelta(days=9))]) == [("", "crate_forgotten", ONE)]
    half = [*inside, note("shelled", FEMALE, 90, DAYS[4], 9, bag="B1")]
    assert told(half) == []
    assert told(half, DAYS[2] + timedelta(days=31)) == [("", "crate_forgotten", ONE)]
    assert told([*half, note("shelled", FEMALE, 90, DAYS[4], 10, bag="B2")], DAYS[2] + timedelta(days=99)) == []

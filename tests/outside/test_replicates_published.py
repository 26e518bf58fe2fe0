"""Are replicates of a germination test held against the published table?

US 7 CFR 201.55 (a), table of maximum tolerated ranges between 100-seed replicates (public domain): mean germination
above 50 %, its mirror below, largest range of four and of two replicates. Rows for means of 51 to 70 % are left out.
"""

from __future__ import annotations

import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.seed.replicates import RANGES, check_replicates

PRINTED = """
99 2 5 -
98 3 6 -
97 4 7 6
96 5 8 6
95 6 9 7
94 7 10 8
93 8 10 8
92 9 11 9
91 10 11 9
90 11 12 9
89 12 12 10
88 13 13 10
87 14 13 11
86 15 14 11
85 16 14 11
84 17 14 11
83 18 15 12
82 19 15 12
81 20 15 12
80 21 16 13
79 22 16 13
78 23 16 13
77 24 17 13
76 25 17 13
75 26 17 14
74 27 17 14
73 28 17 14
72 29 18 14
71 30 18 14
"""
ROWS = [line.split() for line in PRINTED.split("\n") if line]


def _replicates(mean: int, spread: int, count: int) -> list[int] | None:
    """Replicates with this mean and range, if there are any within 0 to 100."""
    low = mean - spread // 2
    high = low + spread
    rest = mean * count - low - high
    each = [low, high, *([rest // (count - 2)] * (count - 2) if count > 2 else [])]
    each[-1] += mean * count - sum(each) if count > 2 else 0
    fits = all(low <= one <= high for one in each) and low >= 0 and high <= 100
    return each if fits else None


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_ranges_are_as_printed_and_one_seed_more_is_tested_again(row):
    high, _, of_4, of_2 = row
    assert RANGES[4][int(high)] == int(of_4)
    assert RANGES[2].get(int(high)) == (None if of_2 == "-" else int(of_2))
    for count, most in ((4, int(of_4)), (2, 0 if of_2 == "-" else int(of_2))):
        just, more = (_replicates(int(high), most + extra, count) for extra in (0, 1))
        # Two replicates an odd number apart have a mean of half a percent, which is that of the next row.
        if most and just and check_replicates(just).mean_percent == int(high):
            assert not check_replicates(just).is_to_repeat
        if most and more and check_replicates(more).mean_percent == int(high):
            assert check_replicates(more).is_to_repeat
            mirrored = [100 - one for one in more]
            found = check_replicates(mirrored)
            assert found.most == RANGES[count].get(max(found.mean_percent, 100 - found.mean_percent))


def test_the_table_holds_no_other_row():
    assert sorted(RANGES[4]) == sorted(int(row[0]) for row in ROWS)


def test_a_usual_test_and_one_with_a_bad_paper():
    assert check_replicates([92, 95, 90, 94]).caution == ""
    bad = check_replicates([95, 94, 96, 80])
    assert (bad.mean_percent, bad.range_seeds, bad.most) == (91, 16, 11)
    assert bad.caution == "The replicates differ more than chance allows (16 seeds, 11 at most): test again."


def test_what_the_table_cannot_judge_is_said():
    assert "two and for four" in check_replicates([90, 80, 70]).caution
    assert "no row for a mean of 60 %" in check_replicates([50, 70, 60, 60]).caution
    assert check_replicates([100, 100, 100, 100]).caution == ""
    for wrong in ([], [101, 90], [-1, 90]):
        with pytest.raises(InputRefused):
            check_replicates(wrong)

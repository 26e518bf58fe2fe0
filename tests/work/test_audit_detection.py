"""Are mistakes planted in seasons of the invented station found as often as docs/audit.md says, at few false alarms?

A short version of `python -m tests.soak.judge_audit`. Bounds lie where a rate no worse than the measured one falls less
than once in a thousand; the clean rate is held against the 5 in 1,000 that is asked.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from tests.soak import judge_audit
from tests.soak.judge_marker_rows import judge_ear_rows, judge_mixed_lines, judge_sampled_rows
from tests.soak.planted_seasons import grow, plan_lines, shift, swap

SEED = judge_audit.SEED + 50_000


def at_least(rate, share):
    """Whether so many are found that a true share as named would give fewer less than once in a thousand."""
    return rate.found >= scipy.stats.binom.ppf(0.001, rate.n, share)


def test_clean_rows_are_named_at_most_5_in_1000():
    rate = judge_audit.judge_clean_rows(range(SEED, SEED + 10))
    assert rate.n == 2_000
    # Two rows of a swap and a stretch's rows are named together: the count spreads twice as wide as single ones.
    assert rate.found <= 0.005 * rate.n + 3.1 * 2 * np.sqrt(0.005 * rate.n)


def test_swapped_and_shifted_packets_are_found():
    either, both = judge_audit.judge_swaps(5, range(SEED, SEED + 12))
    assert at_least(either, 0.7)
    assert both.found <= either.found
    some, half = judge_audit.judge_shifts(20, range(SEED, SEED + 8))
    assert at_least(some, 0.97)
    assert at_least(half, 0.9)


def test_what_is_planted_is_really_there():
    dice = np.random.default_rng(1)
    lines = plan_lines(60, dice)
    true, (one, other) = swap(lines, 3, dice)
    assert (true[one], true[other]) == (lines[other], lines[one])
    assert [at for at in range(60) if true[at] != lines[at]] == [one, other]
    moved, (first, last) = shift(lines, 8, dice)
    assert moved[first : last + 1] == lines[first - 1 : last]
    clean, planted = grow(lines, lines, 4), grow(lines, true, 4)
    assert np.array_equal(clean.expected, planted.expected)
    differ = ~np.isclose(clean.observed, planted.observed, equal_nan=True).all(axis=1)
    assert set(np.flatnonzero(differ).tolist()) <= {one, other}


@pytest.fixture(scope="module")
def notes():
    return judge_audit.judge_notes(range(SEED, SEED + 2), selfs=20, crosses=20)


def test_notes_of_another_male_and_many_ears_are_found_and_clean_rows_not_doubted(notes):
    assert notes.rate("male noted").share == 1.0
    assert notes.rate("ears 8").share == 1.0
    assert notes.clean_doubted <= scipy.stats.binom.ppf(0.999, notes.clean, judge_audit.ALARM)


def test_false_crosses_are_refuted_by_markers_and_true_ones_stand():
    told = judge_audit.judge_crosses(50, 100)
    assert at_least(told["self of the mother"], 0.99)
    assert at_least(told["other male, same group as the true one"], 0.9)
    assert told["clean"].found <= scipy.stats.binom.ppf(0.999, 100, judge_audit.ALARM)


def test_swapped_packets_and_alien_ears_are_refuted_by_markers():
    told = judge_audit.judge_plants(50, 100)
    for kind in ("swapped packet", "alien ear"):
        assert at_least(told[kind], 0.97)
    for kind in ("clean row", "clean ear"):
        assert told[kind].found <= scipy.stats.binom.ppf(0.999, 100, judge_audit.ALARM)


def test_one_or_two_extra_ears_are_seldom_told_and_many_are():
    told = judge_audit.judge_ears(3_000)
    assert at_least(told["8 extra"], 0.999)
    assert at_least(told["4 extra"], 0.75)
    assert told["1 extra"].share < 0.2
    # The bound itself is drawn from 3,000 rows: twice the spread of a count.
    assert told["clean"].found <= 15 + 3.1 * np.sqrt(2 * 15)


def test_markers_find_planted_ears_pollen_and_shifts_at_few_alarms():
    told = judge_ear_rows(50, 40, judge_audit.ALARM, SEED)
    assert at_least(judge_audit.Rate(*told["1 alien ears"]), 0.986)
    assert told["0 alien ears"][0] <= 2
    mixed = judge_mixed_lines(50, 40, judge_audit.ALARM, SEED)
    assert at_least(judge_audit.Rate(*mixed["other pollen of the group: heterozygosity"]), 0.99)
    assert at_least(judge_audit.Rate(*mixed["of another cross: descent"]), 0.87)
    assert mixed["true: heterozygosity"][0] + mixed["true: descent"][0] <= 3
    found = judge_sampled_rows(
        "shift", 20, [(1, 100), (5, 100)], judge_audit.ALARM, range(SEED, SEED + 6), lambda *_: set(), 200
    )
    assert found[1, 100][0] == (6, 6)
    assert at_least(judge_audit.Rate(*found[5, 100][0]), 0.85)
    refuted, clean = found[1, 100][2]
    # One reading of a line is held against all its rows, so that alarms come in threes.
    assert refuted <= 0.005 * clean + 3.1 * 1.8 * np.sqrt(0.005 * clean)

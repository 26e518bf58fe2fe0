"""Laws of taking seed: what holds for any needs and any lots?

- Never more is taken from a lot than lies in it, whoever asks first, and nothing from a lot of another line.
- What is taken germinates enough, or `short` says by how much not; then nothing of that line is left that germinates.
- No smaller number of lots would do, and of all sets of that number the oldest is taken.
- One kernel fewer from the youngest lot taken would not do.
"""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.seed.covering import Covered, KernelNeed, LotOnHand, cover_need, cover_needs

SHARES = st.integers(0, 100).map(lambda percent: Fraction(percent, 100)) | st.sampled_from([Fraction("0.333"), 1])
LOTS = st.lists(st.tuples(st.sampled_from("AB"), st.integers(0, 60), SHARES), max_size=7).map(
    lambda drawn: [LotOnHand(f"lot {at}", line, kernels, Fraction(g)) for at, (line, kernels, g) in enumerate(drawn)]
)
NEEDS = st.lists(st.tuples(st.sampled_from("ABC"), st.integers(0, 120)), max_size=5).map(
    lambda drawn: [KernelNeed(f"use {at}", line, kernels) for at, (line, kernels) in enumerate(drawn)]
)


def germinates(one: Covered, lots: list[LotOnHand]) -> Fraction:
    share = {lot.lot: lot.germination for lot in lots}
    return sum((taking.kernels * share[taking.lot] for taking in one.takings), Fraction(0))


@given(NEEDS, LOTS)
def test_no_lot_gives_more_than_it_has_or_to_another_line(needs, lots):
    taken = dict.fromkeys((lot.lot for lot in lots), 0)
    line = {lot.lot: lot.line for lot in lots}
    covered = cover_needs(needs, lots)
    assert [one.need for one in covered] == needs
    for one in covered:
        for taking in one.takings:
            assert taking.kernels > 0
            assert line[taking.lot] == one.need.line
            taken[taking.lot] += taking.kernels
    assert all(taken[lot.lot] <= lot.kernels for lot in lots)


@given(NEEDS, LOTS)
def test_what_is_taken_covers_the_need_or_short_says_by_how_much(needs, lots):
    left = {lot.lot: lot.kernels for lot in lots}
    for one in cover_needs(needs, lots):
        for taking in one.takings:
            left[taking.lot] -= taking.kernels
        missing = one.need.kernels - germinates(one, lots)
        assert one.short == max(0, math.ceil(missing))
        if one.short:
            assert not any(left[lot.lot] * lot.germination for lot in lots if lot.line == one.need.line)


@given(st.integers(0, 200), LOTS)
def test_no_smaller_number_of_lots_would_do_and_the_oldest_set_is_taken(kernels, lots):
    lots = [lot for lot in lots if lot.line == "A"]
    left = {lot.lot: lot.kernels for lot in lots}
    one = cover_need(KernelNeed("use", "A", kernels), lots, left)
    if one.short:
        return
    # Every set of lots, the smallest first, and among equals in the order of age.
    sets = (group for count in range(len(lots) + 1) for group in itertools.combinations(lots, count))
    best = next(group for group in sets if sum(lot.kernels * lot.germination for lot in group) >= kernels)
    assert [taking.lot for taking in one.takings] == [lot.lot for lot in best]
    for taking, lot in list(zip(one.takings, best, strict=True))[:-1]:
        assert taking.kernels == lot.kernels
    if best:
        assert germinates(one, lots) - best[-1].germination < kernels


def test_nine_tenths_are_nine_tenths():
    for percent in range(1, 101):
        share = Fraction(percent, 100)
        (one,) = cover_needs([KernelNeed("u", "A", percent)], [LotOnHand("l", "A", 1000, share)])
        assert one.takings[0].kernels == 100


def test_many_lots_are_covered_in_a_moment():
    lots = [LotOnHand(f"lot {at}", "A", 5 + at % 7, Fraction(repr(0.5 + at / 10_000))) for at in range(1500)]
    (one,) = cover_needs([KernelNeed("u", "A", 4000)], lots)
    assert one.short == 0
    assert germinates(one, lots) >= 4000

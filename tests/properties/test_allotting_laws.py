"""Laws of allotting a line's seed to all uses of a plan, against all allotments counted through.

- No lot gives more than is free, no use gets more rows than it wants.
- No allotment has fewer rows short; of those none fewer avoided lots, then fewer pairs of use and lot, then older ones.
- Served one after the other, never fewer rows are short than together; counting what is short alone gives the same.
"""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.seed.allotting import RowsAllotted, RowsNeed, allot_rows, allot_rows_in_turn, count_rows_short

LOTS = ("old", "middle", "young")


@st.composite
def questions(draw: st.DrawFn) -> tuple[list[RowsNeed], dict[str, int]]:
    free = {lot: draw(st.integers(0, 14)) for lot in LOTS[: draw(st.integers(1, 3))]}
    needs = [
        RowsNeed(
            f"use {at}",
            draw(st.integers(0, 3)),
            {lot: draw(st.integers(2, 6)) for lot in free if draw(st.integers(0, 4))},
            frozenset(lot for lot in free if not draw(st.integers(0, 2))),
        )
        for at in range(draw(st.integers(1, 2)))
    ]
    return needs, free


def _score(needs, free, taken):
    """The four aims of an allotment {(use, lot): rows}; None if it cannot be."""
    if any(
        sum(n.each[lot] * taken[at, lot] for at, n in enumerate(needs) if lot in n.each) > free[lot] for lot in free
    ):
        return None
    if any(sum(taken[at, lot] for lot in need.each) > need.rows for at, need in enumerate(needs)):
        return None
    used = [(at, lot) for (at, lot), rows in taken.items() if rows]
    return (
        sum(need.rows for need in needs) - sum(taken.values()),
        sum(lot in needs[at].avoid for at, lot in used),
        len(used),
        sum(LOTS.index(lot) for _, lot in used),
    )


def _as_taken(allotted: tuple[RowsAllotted, ...]):
    return {(at, lot): dict(one.rows).get(lot, 0) for at, one in enumerate(allotted) for lot in one.need.each}


@settings(max_examples=60, deadline=None)
@given(questions())
def test_no_other_allotment_is_better(question):
    needs, free = question
    pairs = [(at, lot) for at, need in enumerate(needs) for lot in need.each]
    every = itertools.product(*(range(needs[at].rows + 1) for at, _ in pairs))
    scores = (_score(needs, free, dict(zip(pairs, rows, strict=True))) for rows in every)
    best = min(score for score in scores if score is not None)
    allotted = allot_rows(needs, free)
    assert _score(needs, free, _as_taken(allotted)) == best
    assert [one.short for one in allotted] == [one.need.rows - sum(rows for _, rows in one.rows) for one in allotted]
    left, one_by_one = dict(free), 0
    for need in needs:
        (alone,) = allot_rows([need], left)
        one_by_one += alone.short
        for lot, rows in alone.rows:
            left[lot] -= rows * need.each[lot]
    assert sum(one.short for one in allotted) <= one_by_one
    assert count_rows_short(needs, free) == best[0]
    in_turn = allot_rows_in_turn(needs, free)
    score = _score(needs, free, _as_taken(in_turn))
    assert score is not None
    assert score[0] == sum(one.short for one in in_turn) >= best[0]


def test_a_use_that_could_take_another_lot_leaves_the_one_that_another_needs():
    # Oldest first, the first use empties the only lot that fills a male's row of 30.
    needs = [RowsNeed("self", 1, {"a": 24, "b": 24}), RowsNeed("male", 1, {"a": 30, "b": 30})]
    together = allot_rows(needs, {"a": 30, "b": 24})
    assert [(one.rows, one.short) for one in together] == [((("b", 1),), 0), ((("a", 1),), 0)]


def test_too_large_a_question_is_refused():
    lots = {f"lot {at}": 100 for at in range(50)}
    needs = [RowsNeed(f"use {at}", 1, dict.fromkeys(lots, 5)) for at in range(9)]
    for count in (allot_rows, count_rows_short):
        with pytest.raises(InputRefused, match="too many"):
            count(needs, lots)
    assert [one.rows for one in allot_rows_in_turn(needs, lots)] == [(("lot 0", 1),)] * 9

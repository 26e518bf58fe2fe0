"""Does the rule for keeping, testing, regrowing and discarding say what it states?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.seed.keeping import DISCARD, KeepingRule, KeptLot, judge_keeping


def lot(name="a", year=2030, kernels=500, promised=0, share=0.95, tested=2030, line="E1"):
    return KeptLot(name, line, year, kernels, promised, share, tested)


@pytest.mark.parametrize(
    ("lots", "advice", "why"),
    [
        ([lot()], ["keep"], "germinates 95%, 1 years old"),
        ([lot(kernels=-5)], ["count"], "stand at -5 kernels"),
        ([lot(kernels=210)], ["regrow"], "the line has 199 kernels that germinate, needs 200"),
        ([lot(promised=300)], ["regrow"], "the line has 475 kernels that germinate, needs 500"),
        ([lot(share=None, tested=None)], ["test"], "never tested"),
        ([lot(tested=2027)], ["test"], "tested in 2027"),
        ([lot(tested=2028)], ["keep"], ""),
        ([lot(share=0.84)], ["regrow"], "below 85%"),
        ([lot("a", 2025, share=0.84), lot("b")], ["keep", "keep"], ""),
        ([lot("a", 2020, share=0.4), lot("b")], ["discard", "keep"], "the line has 475 that germinate without it"),
        ([lot("a", 2020, promised=10), lot("b")], ["regrow", "keep"], "10 of its kernels are promised"),
        ([lot("a", 2020), lot("b", kernels=100)], ["regrow", "keep"], "the line needs it until"),
        ([lot("a", 2021), lot("b")], ["keep", "keep"], ""),
        ([lot("a", 2020), lot("b")], ["discard", "keep"], "11 years old, more than 10"),
    ],
)
def test_each_advice_is_given_for_its_own_reason(lots, advice, why):
    told = judge_keeping(lots, 2031)
    assert [one.advice for one in told] == advice
    assert why in "; ".join(told[0].why)


def test_of_two_old_lots_only_as_many_go_as_the_line_can_spare():
    told = judge_keeping([lot("a", 2010, share=0.6), lot("b", 2012, share=0.9)], 2031)
    assert [(one.lot.name, one.advice) for one in told] == [("a", "discard"), ("b", "regrow")]


def test_a_need_of_the_plan_counts():
    assert judge_keeping([lot()], 2031, needs={"E1": 276})[0].advice == "regrow"
    assert judge_keeping([lot()], 2031, needs={"E1": 275})[0].advice == "keep"


def test_an_empty_lot_is_not_listed():
    assert judge_keeping([lot(kernels=0)], 2031) == ()


@pytest.mark.parametrize(
    "rule", [KeepingRule(regrow_below_frac=85), KeepingRule(keep_kernels=-1), KeepingRule(dead_below_frac=float("nan"))]
)
def test_a_rule_that_is_none_is_refused(rule):
    with pytest.raises(InputRefused):
        judge_keeping([lot()], 2031, rule)


LOTS = st.lists(
    st.tuples(
        st.sampled_from(["E1", "E2"]),
        st.integers(2005, 2031),
        st.integers(-50, 1000),
        st.integers(0, 200),
        st.one_of(st.none(), st.floats(0, 1)),
        st.one_of(st.none(), st.integers(2010, 2031)),
    ),
    max_size=8,
)


@given(LOTS, st.randoms())
def test_a_line_keeps_its_need_when_all_that_is_to_go_is_gone_and_order_does_not_matter(drawn, dice):
    lots = [KeptLot(f"lot {at}", *one) for at, one in enumerate(drawn)]
    told = judge_keeping(lots, 2031)
    dice.shuffle(lots)
    assert judge_keeping(lots, 2031) == told
    assert all(one.why for one in told)
    for line in {one.lot.line for one in told if one.advice == DISCARD}:
        own = [one for one in told if one.lot.line == line]
        left = judge_keeping([one.lot for one in own if one.advice != DISCARD], 2031)
        assert left
        assert left[0].line_germinable >= left[0].line_need
        assert not any(one.lot.promised for one in own if one.advice == DISCARD)

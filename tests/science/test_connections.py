"""Which levels hang together through the records, and are groups apart named?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.connections import check_joined, find_groups
from firstsilk.science.analysis.records import Classes, classify


def column(name: str, values: list[str]) -> Classes:
    return classify(name, values, np.arange(len(values)))


def walk_groups(pairs: list[tuple[str, str]]) -> set[tuple[frozenset[str], frozenset[str]]]:
    """The slow way: join groups pair by pair."""
    groups: list[tuple[set[str], set[str]]] = []
    for a, b in pairs:
        met = [group for group in groups if a in group[0] or b in group[1]]
        groups = [group for group in groups if group not in met]
        groups.append(({a}.union(*(g[0] for g in met)), {b}.union(*(g[1] for g in met))))
    return {(frozenset(left), frozenset(right)) for left, right in groups}


@given(st.lists(st.tuples(st.sampled_from("abcdefg"), st.sampled_from("uvwxyz")), min_size=1, max_size=12))
def test_groups_are_those_of_joining_pair_by_pair(pairs: list[tuple[str, str]]) -> None:
    found = find_groups(column("a", [a for a, _ in pairs]), column("b", [b for _, b in pairs]))
    assert {(frozenset(left), frozenset(right)) for left, right in found} == walk_groups(pairs)


def test_groups_when_a_chain_joins_all_then_one() -> None:
    found = find_groups(column("site", ["S1", "S1", "S2", "S2", "S3"]), column("line", ["A", "B", "B", "C", "C"]))
    assert found == [(["S1", "S2", "S3"], ["A", "B", "C"])]


def test_columns_when_apart_then_refused_naming_groups_and_columns() -> None:
    sites, lines = column("site", ["S1", "S1", "S2", "S3"]), column("line", ["A", "B", "C", "C"])
    with pytest.raises(
        InputRefused, match=r"2 groups that share nothing.*S1 with A, B; S2, S3 with C\. Make 'line'"
    ) as no:
        check_joined([sites, lines])
    assert no.value.refusal is not None
    assert no.value.refusal.code == "not_connected"
    assert dict(no.value.refusal.facts)["groups"] == "2"


def test_columns_when_many_groups_then_the_first_are_named_and_the_rest_counted() -> None:
    names = [f"{at:02d}" for at in range(20)]
    with pytest.raises(InputRefused, match=r"20 groups.*S07 with A07, B07; and 12 more groups"):
        check_joined(
            [column("site", [f"S{n}" for n in names * 2]), column("line", [f"{x}{n}" for x in "AB" for n in names])]
        )


def test_columns_when_they_say_the_same_or_have_one_level_then_left_to_the_columns_themselves() -> None:
    check_joined([column("a", ["1", "2", "2"]), column("b", ["x", "y", "y"])])
    check_joined([column("a", ["1", "1"]), column("b", ["x", "y"])])

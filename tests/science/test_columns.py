"""Is a column read at once what it is value by value?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.columns import read_numbers, take_values, tell_apart
from firstsilk.science.analysis.records import classify, label_of

texts = st.sampled_from(["a", "a ", "b", "10", "9", "1", "1.0", "é"])
columns = st.one_of(
    st.lists(texts, min_size=1),
    st.lists(st.integers(-5, 5), min_size=1),
    st.lists(st.floats(-3, 3).map(lambda x: round(x, 1)) | st.sampled_from([0.0, -0.0]), min_size=1),
    st.lists(st.one_of(texts, st.integers(0, 2), st.booleans(), st.floats(0, 2)), min_size=1),
)


def value_by_value(values: list[Any]) -> tuple[list[str], list[str]]:
    """Levels in order, and the level of each record, worked out plainly."""
    labels = [label_of(value) for value in values]
    levels = sorted(set(labels))
    if all(_is_number(level) for level in levels):
        levels.sort(key=float)
    return levels, labels


def _is_number(level: str) -> bool:
    try:
        return math.isfinite(float(level))
    except ValueError:
        return False


@given(columns)
def test_classes_when_a_column_is_read_at_once_then_those_of_each_value(values: list[Any]) -> None:
    levels, labels = value_by_value(values)
    numeric = all(_is_number(level) for level in levels)
    if numeric and len({float(level) for level in levels}) < len(levels):
        with pytest.raises(InputRefused, match="same number"):
            classify("x", values, np.arange(len(values)))
        return
    found = classify("x", values, np.arange(len(values)))
    assert list(found.levels) == levels
    assert [found.levels[code] for code in found.codes] == labels


@given(columns, st.randoms(use_true_random=False))
def test_classes_when_some_records_are_left_out_then_those_of_the_rest(values: list[Any], dice: Any) -> None:
    at = np.array([place for place in range(len(values)) if dice.random() < 0.6], dtype=np.intp)
    taken = take_values(values, at)
    assert taken == [values[place] for place in at]
    distinct, where = tell_apart(taken)
    assert [label_of(distinct[place]) for place in where] == [label_of(value) for value in taken]


@pytest.mark.parametrize("kind", ["float64", "float32", "int64", "U3"])
def test_classes_when_a_column_is_an_array_then_as_a_list_of_its_values(kind: str) -> None:
    array = np.array([3, 1, 2, 1, 3]).astype(kind)
    found = classify("x", array, np.arange(5))
    assert found.levels == ("1", "2", "3")
    assert found.codes.tolist() == [2, 0, 1, 0, 2]


def test_classes_when_one_is_missing_then_its_record_is_named() -> None:
    for values in (["a", "b", " ", "a"], [1.0, 2.0, math.nan, 1.0], ["a", "b", None, "a"]):
        with pytest.raises(InputRefused, match="record 3: the class is missing"):
            classify("x", values, np.arange(4))


def test_numbers_when_all_are_plain_then_read_exactly_and_else_left_to_each_value() -> None:
    assert read_numbers(["1", " 2.5 ", "-1e3", 4]).tolist() == [1.0, 2.5, -1000.0, 4.0]  # type: ignore[union-attr]
    for odd in ("", None, "x", "inf", 10**400):
        assert read_numbers([1.0, odd]) is None

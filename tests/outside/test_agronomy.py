"""Do our formulas give the numbers that others have published?

The values are typed into ``agronomy_cases.csv``, each with its source and whether it is published, worked by hand from
the published formula, read off a general-purpose climate library, or from memory. Rows whose value is in words are
tested one by one in ``test_agronomy_words.py``.
"""

from __future__ import annotations

import pytest
import test_agronomy_words
from agronomy_adapters import ADAPTERS, Case, read_cases

CASES = read_cases()
MACHINE = [case for case in CASES if case.low is not None]
NOT_COVERED: dict[tuple[str, str], str] = {}
"""Topic and inputs of each row that is not tested, with the reason."""


@pytest.mark.parametrize("case", MACHINE, ids=lambda case: f"{case.topic}[{case.inputs}]")
def test_a_published_value_is_met_within_its_tolerance(case: Case) -> None:
    assert case.low is not None
    assert case.high is not None
    ours = ADAPTERS[case.topic](case.pairs())
    # A tolerance of exactly 0 still allows the last binary digit.
    assert case.low - 1e-12 <= ours <= case.high + 1e-12, f"{ours} is not {case.expected} ({case.source}, {case.kind})"


def test_every_row_of_the_check_table_is_tested_or_named_as_not_covered() -> None:
    in_words = test_agronomy_words.covered_rows()
    for case in CASES:
        places = [case.low is not None and case.topic in ADAPTERS, case.key in in_words, case.key in NOT_COVERED]
        assert places.count(True) == 1, f"{case.key} is covered {places.count(True)} times"


def test_no_test_speaks_of_a_row_that_is_not_in_the_check_table() -> None:
    keys = {case.key for case in CASES}
    assert test_agronomy_words.covered_rows() <= keys
    assert set(NOT_COVERED) <= keys
    assert set(ADAPTERS) <= {case.topic for case in MACHINE}


def test_the_check_table_is_whole_and_every_row_names_source_and_kind() -> None:
    assert len(CASES) == 226
    assert all(case.source and case.kind for case in CASES)

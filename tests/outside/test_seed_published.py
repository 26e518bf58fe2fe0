"""Do intervals of a germination test agree with what was printed, and with a general statistics library?"""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from firstsilk.science.seed.germination import EXACT, WILSON, find_germination_interval

# Newcombe 1998, Statistics in Medicine 17:857-872, table I: 95 % intervals, four decimals.
PRINTED = {
    (81, 263): {WILSON: (0.2553, 0.3662), EXACT: (0.2527, 0.3676)},
    (15, 148): {WILSON: (0.0624, 0.1605), EXACT: (0.0578, 0.1617)},
    (0, 20): {WILSON: (0.0000, 0.1611), EXACT: (0.0000, 0.1684)},
    (1, 29): {WILSON: (0.0061, 0.1718), EXACT: (0.0009, 0.1776)},
}


@pytest.mark.parametrize("counts", PRINTED)
@pytest.mark.parametrize("method", [WILSON, EXACT])
def test_intervals_are_as_printed(counts, method):
    grown, seeds = counts
    found = find_germination_interval(grown / seeds, seeds, method=method)
    assert found == pytest.approx(PRINTED[counts][method], abs=5.1e-5)


@pytest.mark.parametrize(("grown", "seeds"), [(0, 1), (1, 1), (57, 60), (60, 60), (188, 200), (379, 400), (400, 400)])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
@pytest.mark.parametrize("method", [WILSON, EXACT])
def test_intervals_are_those_of_a_general_library(grown, seeds, level, method):
    theirs = binomtest(grown, seeds).proportion_ci(level, method)
    found = find_germination_interval(grown / seeds, seeds, level, method)
    assert found == pytest.approx((theirs.low, theirs.high), abs=1e-10)


def test_exact_interval_when_none_or_all_grew_is_the_closed_form():
    # Clopper & Pearson 1934: 1 - (alpha/2)^(1/n).
    assert find_germination_interval(0, 50, 0.95, EXACT)[1] == pytest.approx(1 - 0.025 ** (1 / 50), rel=1e-12)
    assert find_germination_interval(1, 50, 0.95, EXACT)[0] == pytest.approx(0.025 ** (1 / 50), rel=1e-12)

"""Are swapped packets, a shifted stretch and a foreign row named where they are, and nothing where nothing is?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.nursery.misplaced import find_best_stretch, find_misplaced, weigh_rows

N = 60


def season(seed=1, spread=5.0):
    """Lines that differ by tens of units, each row of its own line, seen within a few units and a shift of all."""
    dice = np.random.default_rng(seed)
    silk = dice.normal(1300.0, 60.0, N)
    expected = np.column_stack([silk, silk - dice.normal(55.0, 25.0, N)])
    return expected, expected + 30.0 + dice.normal(0.0, spread, (N, 2)), [f"L{at}" for at in range(N)]


def kinds_of(expected, observed, lines):
    return [(one.kind, one.first, one.last) for one in find_misplaced(expected, observed, lines)]


def test_a_clean_season_names_nothing_though_it_is_late_as_a_whole():
    assert kinds_of(*season()) == []


def test_two_swapped_rows_are_named_as_swapped():
    expected, observed, lines = season()
    observed[[20, 23]] = observed[[23, 20]]
    assert kinds_of(expected, observed, lines)[0] == ("swap", 20, 23)


@pytest.mark.parametrize(("kind", "step"), [("late", -1), ("early", 1)])
def test_a_shifted_stretch_is_named_with_its_ends_and_direction(kind, step):
    expected, observed, lines = season()
    observed[30:42] = observed[30 + step : 42 + step].copy()
    ((found, first, last),) = kinds_of(expected, observed, lines)
    assert found == kind
    assert abs(first - 30) <= 1
    assert abs(last - 41) <= 1


def test_a_row_that_fits_no_neighbour_is_named_alone():
    expected, observed, lines = season()
    observed[7] += 200.0
    assert kinds_of(expected, observed, lines) == [("far", 7, 7)]


def test_rows_without_notes_are_no_evidence_and_too_few_rows_tell_nothing():
    expected, observed, lines = season()
    observed[10:20] += 300.0
    assert any(10 <= first < 20 for _, first, _ in kinds_of(expected, observed, lines))
    observed[10:20] = np.nan
    assert not any(10 <= first < 20 for _, first, _ in kinds_of(expected, observed, lines))
    observed[:45] = np.nan
    assert weigh_rows(expected, observed) is None
    assert find_misplaced(expected, observed, lines) == ()


def test_rows_of_one_line_are_never_swapped_with_each_other():
    expected, observed, lines = season()
    lines[21] = lines[20]
    expected[21] = expected[20]
    observed[[20, 21]] = expected[20] + [[-60.0, 60.0], [60.0, -60.0]]
    assert not any(
        kind == "swap" and (first, last) == (20, 21) for kind, first, last in kinds_of(expected, observed, lines)
    )


def test_units_of_other_rows_than_the_lines_are_refused():
    expected, observed, lines = season()
    with pytest.raises(InputRefused):
        find_misplaced(expected, observed[:5], lines)


def test_the_best_stretch_is_that_of_all_stretches_tried():
    dice = np.random.default_rng(3)
    for _ in range(50):
        rises = dice.normal(-0.2, 1.0, 25)
        sums = {
            (a, b): rises[a : b + 1].sum() for a in range(25) for b in range(a + 3, 25) if rises[a : b + 1].sum() > 0
        }
        found = find_best_stretch(rises, 4)
        if not sums:
            assert found[2] == 0.0
        else:
            assert found[2] == pytest.approx(max(sums.values()))

"""Does hiding cells find the axes that were planted, and none in noise?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.retention import _deal, validate_axes
from firstsilk.science.analysis.two_way import TwoWayTable, fit_additive


def table_of(means: np.ndarray) -> TwoWayTable:
    g, e = means.shape
    names = tuple(f"G{at}" for at in range(g)), tuple(f"E{at}" for at in range(e))
    return TwoWayTable(*names, means, np.zeros(means.shape, dtype=bool))


def grow(planted: int, seed: int = 1) -> TwoWayTable:
    dice = np.random.default_rng(seed)
    means = 50 + dice.normal(0, 5, (20, 1)) + dice.normal(0, 5, (1, 8)) + dice.normal(size=(20, 8))
    for _ in range(planted):
        means = means + 3 * np.outer(dice.normal(size=20), dice.normal(size=8))
    return table_of(means)


@pytest.mark.parametrize("planted", [0, 1, 2])
def test_planted_axes_are_those_that_tell_hidden_means_best(planted: int) -> None:
    found = validate_axes(grow(planted), np.random.default_rng(1), repeats=4)
    assert [one.axes for one in found] == [0, 1, 2, 3]
    assert min(found, key=lambda one: one.rmspd).axes == planted
    assert found[planted].best_frac >= 0.5
    # Told with the right axes, a hidden mean is missed by a little more than its own error of 1.
    assert 0.9 < found[planted].rmspd < 2.2


def test_with_no_axis_the_misses_are_those_of_main_effects_by_least_squares() -> None:
    table = grow(1)
    deal = _deal(20, 8, np.random.default_rng(7))
    squares = 0.0
    for part in range(8):
        hidden = deal == part
        rows, columns = fit_additive(table_of(np.where(hidden, np.nan, table.means)))
        squares += float(np.sum((rows[:, None] + columns - rows.mean() - table.means)[hidden] ** 2))
    (plain,) = validate_axes(table, np.random.default_rng(7), repeats=1, most=0)
    assert plain.rmspd == pytest.approx((squares / 160) ** 0.5)


@pytest.mark.parametrize(("g", "e"), [(20, 8), (5, 9), (7, 7)])
def test_every_entry_hides_one_cell_in_each_part_and_environments_evenly(g: int, e: int) -> None:
    deal = _deal(g, e, np.random.default_rng(3))
    assert np.all(np.sort(deal, axis=1) == np.arange(e))
    counts = [np.bincount(column, minlength=e) for column in deal.T]
    assert np.ptp(counts) <= 1


def test_fewer_axes_are_tried_where_cells_cannot_carry_them() -> None:
    means = np.random.default_rng(1).normal(size=(4, 4))
    assert [one.axes for one in validate_axes(table_of(means), np.random.default_rng(1), repeats=1)] == [0, 1, 2]


def test_a_small_table_and_no_repeats_are_refused() -> None:
    with pytest.raises(InputRefused, match="needs 3 entries and 3 environments; it is 5 x 2"):
        validate_axes(table_of(np.ones((5, 2))), np.random.default_rng(1))
    with pytest.raises(InputRefused, match="between 1 and 1000"):
        validate_axes(grow(0), np.random.default_rng(1), repeats=0)

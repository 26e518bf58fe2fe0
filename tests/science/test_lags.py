"""Is the correlation of what is left over that of all pairs so far apart, and is it told apart from chance?"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.lags import correlate_lags


def field_with_holes(seed: int) -> tuple[list[int], list[int], np.ndarray]:
    dice = np.random.default_rng(seed)
    places = [(row, col) for row in range(3, 10) for col in range(11, 17) if dice.random() > 0.2]
    dice.shuffle(places)
    return [row for row, _ in places], [col for _, col in places], dice.normal(5, 2, len(places))


def slow_lags(rows, cols, left) -> dict[tuple[int, int], tuple[float, int]]:
    """Every two plots by themselves."""
    e = left - left.mean()
    sums: dict[tuple[int, int], list[float]] = {}
    for i, j in combinations(range(len(e)), 2):
        sums.setdefault((abs(rows[i] - rows[j]), abs(cols[i] - cols[j])), []).append(e[i] * e[j])
    return {lag: (np.mean(products) / np.mean(e**2), len(products)) for lag, products in sums.items()}


@pytest.mark.parametrize("seed", range(4))
def test_it_is_the_mean_product_of_all_pairs_so_far_apart(seed: int) -> None:
    rows, cols, left = field_with_holes(seed)
    found, slow = correlate_lags(rows, cols, left), slow_lags(rows, cols, left)
    assert found.correlation.shape == (4, 4)
    assert (found.correlation[0, 0], found.pairs[0, 0], found.n) == (pytest.approx(1.0), len(left), len(left))
    for r in range(4):
        for c in range(4):
            if r or c:
                assert (found.correlation[r, c], found.pairs[r, c]) == pytest.approx(slow[r, c], rel=1e-10)


def test_shift_scale_order_and_turning_the_field_change_nothing() -> None:
    rows, cols, left = field_with_holes(7)
    found = correlate_lags(rows, cols, left)
    order = np.random.default_rng(1).permutation(len(rows))
    other = correlate_lags(
        [50 - rows[k] for k in order], [cols[k] + 9 for k in order], [3 - 40 * left[k] for k in order]
    )
    assert other.correlation == pytest.approx(found.correlation, rel=1e-9)
    turned = correlate_lags(cols, rows, left)
    assert turned.correlation == pytest.approx(found.correlation.T, rel=1e-9)


def test_a_trend_is_seen_and_noise_is_called_so_about_as_often_as_said() -> None:
    dice = np.random.default_rng(3)
    rows, cols = (grid.ravel() + 1 for grid in np.indices((12, 10)))
    trend = correlate_lags(rows, cols, rows * 0.5 + dice.normal(0, 1, rows.size))
    assert trend.along_rows > 0.5
    assert trend.beyond_chance[0, 1]
    assert trend.beyond_chance[1, 0]
    called = [correlate_lags(rows, cols, dice.normal(size=rows.size)).beyond_chance for _ in range(200)]
    assert 0.02 < np.mean([one.ravel()[1:] for one in called]) < 0.07


def test_next_neighbours_are_pooled_over_their_pairs() -> None:
    rows, cols, left = field_with_holes(3)
    slow = slow_lags(rows, cols, left)
    near = [slow[at] for at in ((0, 1), (1, 0), (1, 1))]
    count = sum(pairs for _, pairs in near)
    value, error = correlate_lags(rows, cols, left).pool_nearest()
    assert value == pytest.approx(sum(one * pairs for one, pairs in near) / count)
    assert error == pytest.approx(count**-0.5)
    assert correlate_lags([1, 3, 5, 7], [1, 3, 5, 7], [1.0, 0.0, 2.0, 5.0]).pool_nearest() is None


def test_places_without_a_pair_are_empty_and_one_row_has_no_neighbours_above() -> None:
    found = correlate_lags([1, 1, 5, 5], [1, 2, 1, 2], [1.0, -1.0, 2.0, 0.5])
    assert np.isnan(found.correlation[1, 0])
    assert found.pairs[1].tolist() == [0, 0]
    assert not found.beyond_chance[1].any()
    assert found.along_columns is None
    assert correlate_lags([1, 1, 1], [1, 2, 3], [1.0, 0.0, 3.0]).along_columns is None


@pytest.mark.parametrize(
    ("rows", "cols", "left", "says"),
    [
        ([1, 1], [1, 2], [1.0, 2.0], "2 plots are too few"),
        ([1, 1, 1], [1, 2, 2], [1.0, 2.0, 3.0], "Two plots lie at the same place"),
        ([1, 1, 1], [1, 2, 3], [1.0, float("nan"), 3.0], "must be a number"),
        ([1, 1, 1], [1, 2, 3], [4.0, 4.0, 4.0], "Nothing is left over"),
        ([1, 1, 10**9], [1, 2, 3], [1.0, 2.0, 3.0], "too large a field"),
        ([1, 1], [1, 2, 3], [1.0, 2.0, 3.0], "one value for each plot"),
    ],
)
def test_what_cannot_be_looked_at_is_refused(rows, cols, left, says) -> None:
    with pytest.raises(InputRefused, match=says):
        correlate_lags(rows, cols, left)

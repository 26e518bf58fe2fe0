"""Are ranks those of plain counting, and are chances those of ranks drawn by chance?"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.ranks import expect_s1, expect_s2, rank_entries
from firstsilk.science.analysis.two_way import TwoWayTable


def table_of(means: np.ndarray) -> TwoWayTable:
    g, e = means.shape
    names = tuple(f"G{at}" for at in range(g)), tuple(f"E{at}" for at in range(e))
    return TwoWayTable(*names, means, np.zeros(means.shape, dtype=bool))


def test_ranks_worked_by_hand() -> None:
    """Ranks at the places: A 1, 1; B 2, 3; C 3, 2. Less their means A has +1 -1, B +0.5 -0.5, C -1.5 +1.5."""
    one, two, three = rank_entries(table_of(np.array([[9.0, 7.0], [5.0, 4.0], [3.0, 6.0]])))
    assert (one.rank, one.mean_rank, one.rank_sd, one.top_third_frac) == (1.0, 1.0, 0.0, 1.0)
    assert (two.rank, three.rank) == (2.5, 2.5)
    assert (two.mean_rank, two.rank_sd) == (2.5, pytest.approx(0.5**0.5))
    # Ranks with levels taken out: A 1, 3; B 2, 2; C 3, 1.
    assert [each.s1 for each in (one, two, three)] == [2.0, 0.0, 2.0]
    assert [each.s2 for each in (one, two, three)] == [2.0, 0.0, 2.0]


def test_ranks_when_entries_tie_then_shared() -> None:
    found = rank_entries(table_of(np.full((4, 3), 7.1)))
    assert {(each.rank, each.mean_rank, each.s1, each.s2) for each in found} == {(2.5, 2.5, 0.0, 0.0)}


def test_levels_that_differ_by_rounding_only_then_tie() -> None:
    means = np.array([[0.1, 0.2, 0.3], [1.1, 1.2, 1.3], [5.1, 5.2, 5.3]])
    assert {each.s1 for each in rank_entries(table_of(means))} == {0.0}


def test_s1_is_the_mean_over_pairs_and_s2_the_variance() -> None:
    means = np.random.default_rng(1).normal(size=(7, 5))
    level = means - means.mean(axis=1, keepdims=True)
    for i, each in enumerate(rank_entries(table_of(means))):
        ranks = [1 + sum(level[:, j] > level[i, j]) for j in range(5)]
        assert each.s1 == pytest.approx(np.mean([abs(a - b) for a, b in itertools.combinations(ranks, 2)]))
        assert each.s2 == pytest.approx(np.var(ranks, ddof=1))


@pytest.mark.parametrize(("g", "e"), [(5, 3), (12, 6)])
def test_moments_of_ranks_drawn_by_chance(g: int, e: int) -> None:
    """20,000 drawings: means within four standard errors, variances within 6 %."""
    dice = np.random.default_rng(2)
    ranks = 1 + dice.integers(0, g, size=(20_000, e)).astype(float)
    s1 = np.abs(ranks[:, :, None] - ranks[:, None, :]).sum(axis=(1, 2)) / (e * (e - 1))
    for drawn, (mean, variance) in ((s1, expect_s1(g, e)), (ranks.var(axis=1, ddof=1), expect_s2(g, e))):
        assert drawn.mean() == pytest.approx(mean, abs=4 * (variance / 20_000) ** 0.5)
        assert drawn.var() == pytest.approx(variance, rel=0.06)


def test_an_entry_that_changes_places_has_a_small_chance() -> None:
    means = np.random.default_rng(3).normal(0, 0.1, size=(20, 10))
    means[4] += np.where(np.arange(10) % 2, 9.0, -9.0)
    found = rank_entries(table_of(means))
    assert found[4].s1_p < 1e-3
    assert np.mean([each.s1_p < 0.05 for each in found]) <= 0.2


def test_empty_cells_are_refused() -> None:
    with pytest.raises(InputRefused, match="have no mean"):
        rank_entries(table_of(np.array([[1.0, np.nan], [2.0, 3.0]])))

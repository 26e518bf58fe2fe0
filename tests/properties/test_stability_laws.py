"""Which laws does stability keep: unit, level, order of lines?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.analysis.axes import find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.stability import analyse_joint_regression, describe_stability
from firstsilk.science.analysis.two_way import TwoWayTable, lay_out_two_way

SIZES = st.tuples(st.integers(3, 7), st.integers(3, 7), st.integers(0, 10_000))


def cells_of(size: tuple[int, int, int]) -> list[tuple[str, str, float]]:
    g, e, seed = size
    dice = np.random.default_rng(seed)
    means = 40 + dice.normal(0, 3, (g, 1)) + dice.normal(0, 5, e) + dice.normal(0, 2, (g, e))
    return [(f"G{i}", f"E{j}", float(means[i, j])) for i in range(g) for j in range(e)]


def table_of(cells: list[tuple[str, str, float]]) -> TwoWayTable:
    return lay_out_two_way(*zip(*cells, strict=True))


@given(SIZES, st.floats(0.01, 100), st.floats(-500, 500))
def test_unit_and_level_of_the_means_change_figures_as_they_must(size, unit: float, level: float) -> None:
    cells = cells_of(size)
    plain = describe_stability(table_of(cells), 4.0, 2)
    moved_table = table_of([(entry, place, level + unit * mean) for entry, place, mean in cells])
    moved = describe_stability(moved_table, 4.0 * unit**2, 2)
    for one, other in zip(plain, moved, strict=True):
        assert other.mean == pytest.approx(level + unit * one.mean, abs=1e-6)
        assert other.slope == pytest.approx(one.slope, abs=1e-6)
        for name in ("deviation_ms", "s2d", "wricke", "shukla", "superiority"):
            assert getattr(other, name) == pytest.approx(unit**2 * getattr(one, name), rel=1e-5, abs=1e-6 * unit**2)
    plain_axes, moved_axes = find_ammi_axes(table_of(cells)), find_ammi_axes(moved_table)
    assert moved_axes.singular_values == pytest.approx(unit * plain_axes.singular_values, rel=1e-6, abs=1e-9)


@given(SIZES, st.randoms(use_true_random=False))
def test_the_order_of_the_lines_changes_nothing(size, dice) -> None:
    cells = cells_of(size)
    mixed = cells[:]
    dice.shuffle(mixed)
    assert describe_stability(table_of(cells)) == describe_stability(table_of(mixed))
    assert np.array_equal(find_gge_axes(table_of(cells)).entry_scores, find_gge_axes(table_of(mixed)).entry_scores)


@given(SIZES)
def test_the_parts_add_up(size) -> None:
    table = table_of(cells_of(size))
    found = describe_stability(table)
    anova = {line.source: line.ss for line in analyse_joint_regression(table)}
    assert np.mean([one.slope for one in found]) == pytest.approx(1)
    assert sum(one.wricke for one in found) == pytest.approx(anova["interaction"])
    assert np.sum(find_ammi_axes(table).singular_values ** 2) == pytest.approx(anova["interaction"])
    assert sum(one.deviation_ms for one in found) * (len(table.environments) - 2) == pytest.approx(anova["deviations"])
    assert anova["regressions"] + anova["deviations"] == pytest.approx(anova["interaction"])
    gge = float(np.sum(find_gge_axes(table).singular_values ** 2))
    assert gge == pytest.approx(anova["interaction"] + anova["entries"])
    # Stability variances average to the mean square of the interaction.
    df = (len(table.entries) - 1) * (len(table.environments) - 1)
    assert np.mean([one.shukla for one in found]) == pytest.approx(anova["interaction"] / df)
    assert sum(find_ammi_axes(table).percent) == pytest.approx(100)

"""Are empty cells filled by least squares, do the tests of axes keep their size, and what is refused?"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.optimize
import scipy.stats

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.axes import check_axes, count_kept, find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.stability import (
    analyse_joint_regression,
    centre_both_ways,
    describe_stability,
    fit_joint_regression,
)
from firstsilk.science.analysis.two_way import (
    TwoWayTable,
    fill_missing_cells,
    fit_additive,
    lay_out_two_way,
    name_missing_cells,
    need_complete,
)


def table_of(means: np.ndarray) -> TwoWayTable:
    g, e = means.shape
    return TwoWayTable(
        tuple(f"G{i}" for i in range(g)),
        tuple(f"E{j}" for j in range(e)),
        np.asarray(means, dtype=float),
        np.zeros(means.shape, dtype=bool),
    )


def gappy(seed: int = 3, g: int = 6, e: int = 7) -> TwoWayTable:
    dice = np.random.default_rng(seed)
    pattern = 3 * np.outer(dice.normal(size=g), dice.normal(size=e))
    means = 50 + dice.normal(0, 2, (g, 1)) + dice.normal(0, 4, e) + pattern + dice.normal(0, 0.3, (g, e))
    means[0, 2] = means[3, 5] = means[4, 0] = np.nan
    return table_of(means)


def test_filling_by_main_effects_is_least_squares_over_the_cells_with_a_mean() -> None:
    table = gappy()
    g, e = table.means.shape
    seen = np.isfinite(table.means)

    def left(effects: np.ndarray) -> np.ndarray:
        return (effects[:g, None] + effects[g:] - table.means)[seen]

    slow = scipy.optimize.least_squares(left, np.zeros(g + e)).x
    empty = ~seen
    fitted = slow[:g, None] + slow[g:]
    assert fill_missing_cells(table).means[empty] == pytest.approx(fitted[empty], rel=1e-6)
    entries, environments = fit_additive(table)
    assert entries.mean() == pytest.approx(environments.mean())
    assert entries - entries.mean() == pytest.approx(slow[:g] - slow[:g].mean(), abs=1e-6)


def test_filling_with_an_axis_is_least_squares_over_the_cells_with_a_mean() -> None:
    table = gappy()
    g, e = table.means.shape
    seen = np.isfinite(table.means)
    filled = fill_missing_cells(table, 1)
    assert np.array_equal(filled.estimated, ~seen)
    centred = centre_both_ways(filled.means)
    left, sizes, right = np.linalg.svd(centred)

    def off(values: np.ndarray) -> np.ndarray:
        fitted = values[:g, None] + values[g : g + e] + np.outer(values[g + e : 2 * g + e], values[2 * g + e :])
        return (fitted - table.means)[seen]

    rows = filled.means.mean(axis=1)
    columns = filled.means.mean(axis=0) - filled.means.mean()
    ours = np.concatenate([rows, columns, left[:, 0] * sizes[0], right[0]])
    slow = scipy.optimize.least_squares(off, ours, xtol=1e-14, ftol=1e-14)
    assert np.sum(off(ours) ** 2) == pytest.approx(2 * slow.cost, rel=1e-7)
    assert np.max(np.abs(slow.grad)) < 1e-4


def test_filled_cells_take_no_part_in_the_lines() -> None:
    table = gappy()
    found = describe_stability(fill_missing_cells(table, 1))
    _, environments = fit_additive(table)
    seen = np.isfinite(table.means[0])
    slope, _ = np.polyfit(environments[seen], table.means[0][seen], 1)
    assert found[0].slope == pytest.approx(slope)
    left = table.means[0][seen] - np.polyval(
        np.polyfit(environments[seen], table.means[0][seen], 1), environments[seen]
    )
    assert found[0].deviation_ms == pytest.approx(float(left @ left) / (seen.sum() - 2))


def test_joint_lines_are_least_squares() -> None:
    table = gappy()
    found = fit_joint_regression(table)
    g = len(table.entries)
    seen = table.observed

    def off(values: np.ndarray) -> np.ndarray:
        return (values[:g, None] + np.outer(values[g : 2 * g], values[2 * g :]) - table.means)[seen]

    ours = np.concatenate([found.intercepts, found.slopes, found.environments])
    assert float(np.sum(off(ours) ** 2)) == pytest.approx(found.residual_ss)
    slow = scipy.optimize.least_squares(off, ours, xtol=1e-14, ftol=1e-14)
    assert found.residual_ss == pytest.approx(2 * slow.cost, rel=1e-6)
    assert found.slopes.mean() == pytest.approx(1)
    assert found.environments.mean() == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("kind", ["ammi", "gge"])
def test_an_axis_of_pure_noise_is_called_real_in_five_of_a_hundred(kind: str) -> None:
    """300 tables without any pattern: with the true rate at 0.05, fewer than 5 or more than 27 come once in 1,000."""
    dice = np.random.default_rng(11)
    called = 0
    for _ in range(300):
        table = table_of(20 + dice.normal(size=(7, 5)) + (kind == "ammi") * dice.normal(0, 3, (7, 1)))
        axes = find_ammi_axes(table) if kind == "ammi" else find_gge_axes(table)
        called += check_axes(axes, kind, dice, draws=200, most=1)[0].p < 0.05
    assert 5 <= called <= 27


def test_a_planted_axis_is_found_and_the_next_is_not() -> None:
    dice = np.random.default_rng(2)
    pattern = np.outer(dice.normal(size=12), dice.normal(size=8))
    tests = check_axes(find_ammi_axes(table_of(pattern + dice.normal(0, 0.2, (12, 8)))), "ammi", dice)
    assert tests[0].p < 0.01
    assert tests[1].p > 0.05


def test_gollobs_f_rests_on_the_error_that_is_given() -> None:
    table = gappy()
    axes = find_ammi_axes(fill_missing_cells(table))
    one = check_axes(axes, "ammi", np.random.default_rng(1), 0, error_ms=2.0, error_df=30, replicates=3)[0]
    assert one.f == pytest.approx(3 * axes.singular_values[0] ** 2 / one.df / 2.0)
    assert 0 <= one.p_f <= 1
    assert check_axes(axes, "ammi", np.random.default_rng(1), 0)[0].f is None


@pytest.mark.parametrize("scaling", ["symmetric", "entry", "environment"])
def test_scores_times_scores_are_the_table_again(scaling: str) -> None:
    table = fill_missing_cells(gappy())
    ammi = find_ammi_axes(table, scaling)
    assert ammi.entry_scores @ ammi.environment_scores.T == pytest.approx(centre_both_ways(table.means), abs=1e-9)
    gge = find_gge_axes(table, scaling)
    assert gge.entry_scores @ gge.environment_scores.T == pytest.approx(
        table.means - table.means.mean(axis=0), abs=1e-9
    )
    assert gge.entry_scores[:, 0] @ table.means.mean(axis=1) > 0
    for scores in (ammi.entry_scores, gge.entry_scores[:, 1:]):
        for column in scores.T:
            assert column[np.argmax(np.abs(column))] > 0


def test_a_table_without_interaction_has_no_axis() -> None:
    table = table_of(10 + np.arange(4.0)[:, None] + np.array([0.1, 0.7, 2.0]))
    axes = find_ammi_axes(table)
    assert axes.percent is None
    assert not np.any(axes.singular_values)
    assert not np.any(axes.entry_scores)
    assert [one.p for one in check_axes(axes, "ammi", np.random.default_rng(1))] == [None, None]
    assert [one.slope for one in describe_stability(table)] == pytest.approx([1.0] * 4)


def test_a_table_of_one_number_has_neither_line_nor_axis() -> None:
    table = table_of(np.full((3, 4), 7.3))
    (one, *_) = describe_stability(table)
    assert (one.slope, one.deviation_ms, one.slope_se, one.r2, one.superiority) == (None, None, None, None, 0.0)
    assert find_gge_axes(table).percent is None
    assert {line.ss for line in analyse_joint_regression(table)} == {0.0}
    with pytest.raises(InputRefused, match="do not differ"):
        fit_joint_regression(table)


def test_two_by_two_says_none_where_there_is_no_freedom() -> None:
    found = describe_stability(table_of(np.array([[1.0, 2.0], [2.0, 5.0]])), 1.0)
    assert [(one.deviation_ms, one.s2d, one.shukla, one.slope_se) for one in found] == [(None,) * 4] * 2
    assert [one.slope for one in found] == pytest.approx([0.5, 1.5])


def test_empty_cells_are_named() -> None:
    table = gappy()
    assert name_missing_cells(table) == (("G0", "E2"), ("G3", "E5"), ("G4", "E0"))
    for ask in (need_complete, describe_stability, find_ammi_axes, find_gge_axes, analyse_joint_regression):
        with pytest.raises(InputRefused, match="3 of 42 cells have no mean: G0 in E2, G3 in E5, G4 in E0"):
            ask(table)


def test_parts_that_share_nothing_are_refused_by_name() -> None:
    means = np.full((4, 4), np.nan)
    means[:2, :2] = means[2:, 2:] = [[1.0, 2.0], [2.0, 4.0]]
    with pytest.raises(InputRefused, match="no chain of environments with 'G0': G2, G3"):
        fill_missing_cells(table_of(means))


@pytest.mark.parametrize(
    ("ask", "told"),
    [
        (lambda t: fill_missing_cells(t, 5), "5 axes are more"),
        (lambda t: fill_missing_cells(t, -1), "-1 axes are more"),
        (lambda t: find_ammi_axes(fill_missing_cells(t), "round"), "'round' is no way"),
        (lambda t: describe_stability(fill_missing_cells(t), -1.0), "must not be below 0"),
        (lambda t: describe_stability(fill_missing_cells(t), 1.0, 0), "must be above 0"),
    ],
)
def test_what_has_no_meaning_is_refused(ask, told: str) -> None:
    with pytest.raises(InputRefused, match=told):
        ask(gappy())


def test_axes_beyond_what_an_entry_can_carry_are_refused_by_name() -> None:
    means = gappy().means.copy()
    means[1, 2:] = np.nan
    with pytest.raises(InputRefused, match="'G1' has 2 means"):
        fill_missing_cells(table_of(means), 1)


def test_an_environment_without_differences_cannot_be_divided_by_its_spread() -> None:
    means = fill_missing_cells(gappy()).means.copy()
    means[:, 3] = 5.0
    with pytest.raises(InputRefused, match="In environment 'E3' all entries are alike"):
        find_gge_axes(table_of(means), scale_environments=True)


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ([("A", "x", 1.0), ("A", "x", 2.0), ("B", "y", 1.0)], "'A' has more than one mean in environment 'x'"),
        ([("A", "x", 1.0), ("A", "y", 2.0)], "there are 1 and 2"),
        ([("A", "x", 1.0), ("", "y", 2.0)], "the class is missing"),
        ([("1", "x", 1.0), ("1.0", "y", 2.0)], "the same number"),
        ([("A", "x", 1e200), ("B", "y", 2.0)], "check the digits"),
    ],
)
def test_cells_that_make_no_table_are_refused(cells, told: str) -> None:
    with pytest.raises(InputRefused, match=told):
        lay_out_two_way(*zip(*cells, strict=True))


@pytest.mark.parametrize(
    ("chances", "kept"),
    [([0.01, 0.2, 0.01], 1), ([0.01, 0.04, None], 2), ([0.3], 0), ([None, None], None), ([], None), ([0.0, 0.0], 2)],
)
def test_axes_are_kept_while_all_before_are(chances: list[float | None], kept: int | None) -> None:
    assert count_kept(chances) == kept


def test_joint_regression_is_tested_as_plain_f() -> None:
    table = table_of(np.random.default_rng(5).normal(20, 3, (8, 6)))
    lines = {line.source: line for line in analyse_joint_regression(table, 9.0, 40, 3)}
    for source, against, df in (("entries", "interaction", 35), ("regressions", "deviations", 28)):
        one, below = lines[source], lines[against]
        assert one.f == pytest.approx(one.ms / below.ms)
        assert one.p == pytest.approx(scipy.stats.f.sf(one.f, 7, df))
    assert lines["deviations"].f == pytest.approx(lines["deviations"].ms / 3.0)
    assert lines["deviations"].p == pytest.approx(scipy.stats.f.sf(lines["deviations"].f, 28, 40))
    assert (lines["environments"].f, lines["environments"].against) == (None, "")
    assert analyse_joint_regression(table)[4].f is None

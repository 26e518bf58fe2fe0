"""Are environments sorted by the entry that is farthest out there, and is the chance of being best what it says?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.best_places import find_best_places, find_hull
from firstsilk.science.analysis.two_way import TwoWayTable


def table_of(means: np.ndarray) -> TwoWayTable:
    g, e = means.shape
    names = tuple(f"E{i}" for i in range(g)), tuple(f"S{j}" for j in range(e))
    return TwoWayTable(*names, np.asarray(means, dtype=float), np.zeros((g, e), dtype=bool))


def dice(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.mark.parametrize("seed", range(5))
def test_hull_is_that_of_the_general_library(seed: int) -> None:
    points = dice(seed).normal(size=(40, 2))
    ours, theirs = list(find_hull(points)), ConvexHull(points).vertices.tolist()
    at = theirs.index(ours[0])
    assert ours == theirs[at:] + theirs[:at]


def test_hull_of_points_on_a_line_or_at_one_place() -> None:
    assert set(find_hull(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [2.0, 2.0]]))) in ({0, 2}, {0, 3})
    assert find_hull(np.zeros((3, 2))) == (0,)


@pytest.mark.parametrize("seed", range(5))
def test_best_by_the_view_is_a_corner_and_the_sectors_between_the_rays_agree(seed: int) -> None:
    found = find_best_places(table_of(dice(seed).normal(7000, 400, (14, 6))), dice())
    view = found.entry_points @ found.environment_points.T
    assert found.best == tuple(np.argmax(view, axis=0).tolist())
    assert set(found.best) <= set(found.hull)
    corners = found.entry_points[list(found.hull)]
    for k, ray in enumerate(found.rays):
        heights = corners @ ray
        assert heights[k] == pytest.approx(heights[(k + 1) % len(heights)])
        assert heights[k] == pytest.approx(heights.max())


def test_with_two_patterns_only_the_view_is_the_table_and_every_environment_stands_in_one_group() -> None:
    pattern = dice(4).normal(size=(9, 2)) @ dice(5).normal(size=(2, 7)) * 100 + 6000
    found = find_best_places(table_of(pattern), dice())
    centred = pattern - pattern.mean(axis=0)
    assert found.entry_points @ found.environment_points.T == pytest.approx(centred, abs=1e-8)
    assert sum(found.percent) == pytest.approx(100)
    assert found.best == found.plain_best
    assert sorted(name for one in found.groups for name in one.environments) == sorted(found.environments)
    for one in found.groups:
        at = [found.environments.index(name) for name in one.environments]
        means = dict(zip(found.entries, centred[:, at].mean(axis=1), strict=True))
        assert one.plain_lead == pytest.approx(means[one.entry] - max(v for k, v in means.items() if k != one.entry))


def test_without_an_error_nothing_is_said_of_how_sure() -> None:
    found = find_best_places(table_of(dice().normal(size=(5, 4))), dice())
    assert {(one.lead, one.chance) for one in found.groups} == {(None, None)}


def test_without_error_the_chance_is_one_and_the_lead_that_of_the_means() -> None:
    for one in find_best_places(table_of(dice(2).normal(size=(8, 3))), dice(), 0.0).groups:
        assert one.lead == pytest.approx(one.plain_lead, abs=1e-6)
        assert one.chance == (1.0 if one.plain_lead > 0 else 0.0)


def test_entries_that_do_not_differ_have_equal_chances() -> None:
    for one in find_best_places(table_of(dice(3).normal(size=(10, 4))), dice(), 50.0).groups:
        assert (one.lead, one.chance) == (0.0, pytest.approx(0.1))


def test_the_chance_is_how_often_it_is_true_over_many_planted_tables() -> None:
    """400 tables of true values from the model itself: the mean chance told against the share that came true."""
    rolls = dice(11)
    told, true = [], []
    for _ in range(400):
        worth = rolls.normal(0, 1, (12, 1)) + rolls.normal(0, 0.8, (12, 5))
        found = find_best_places(table_of(worth + rolls.normal(0, 0.9, worth.shape)), rolls, 0.81, 400)
        for one in found.groups:
            at = [found.environments.index(name) for name in one.environments]
            told.append(one.chance)
            true.append(found.entries[int(np.argmax(worth[:, at].mean(axis=1)))] == one.entry)
    assert len(told) > 600
    # The standard error of the share is 0.02; the variances are estimated from 12 entries, which is not counted.
    assert np.mean(told) == pytest.approx(np.mean(true), abs=0.06)
    sure = [came for chance, came in zip(told, true, strict=True) if chance > 0.7]
    unsure = [came for chance, came in zip(told, true, strict=True) if chance < 0.3]
    assert np.mean(sure) > 0.6
    assert np.mean(unsure) < 0.35


def test_an_error_that_is_none_is_refused() -> None:
    for error in (-1.0, [1.0, 2.0], [1.0, float("nan"), 1.0, 1.0]):
        with pytest.raises(InputRefused, match="error variance of a mean"):
            find_best_places(table_of(dice().normal(size=(5, 4))), dice(), error)


def test_empty_cells_are_refused_by_name() -> None:
    means = dice().normal(size=(5, 4))
    means[1, 2] = np.nan
    with pytest.raises(InputRefused, match="E1 in S2"):
        find_best_places(table_of(means), dice())

"""Does the limit of heterozygosity hold for genes dropped down selfed lines, and does it find what is too mixed?"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from firstsilk.science.lineage.marker_heterozygosity import (
    CHROMOSOME_MORGAN,
    CHROMOSOMES,
    bound_heterozygosity,
    check_heterozygosity,
    expect_first_cross,
    share_still_differing,
    spread_of_heterozygosity,
)

MARKERS = 20
"""On each chromosome."""


def drop_lines(selfings, lines, seed):
    """Which markers of so many lines are heterozygous after selfing (lines, chromosomes x markers): one by one."""
    dice = np.random.default_rng(seed)
    apart = CHROMOSOME_MORGAN / (MARKERS - 1)
    change = (1.0 - np.exp(-2.0 * apart)) / 2.0
    plants = np.zeros((lines, CHROMOSOMES, 2, MARKERS), dtype=np.int8)
    plants[:, :, 1] = 1
    for _ in range(selfings):
        sides = np.empty_like(plants)
        for gamete in (0, 1):
            moves = dice.random((lines, CHROMOSOMES, MARKERS)) < change
            moves[:, :, 0] = dice.random((lines, CHROMOSOMES)) < 0.5
            side = np.cumsum(moves, axis=2) % 2
            sides[:, :, gamete] = np.take_along_axis(plants, side[:, :, None], axis=2)[:, :, 0]
        plants = sides
    return (plants[:, :, 0] != plants[:, :, 1]).reshape(lines, -1)


@pytest.mark.parametrize("selfings", [1, 2, 4, 6])
def test_the_spread_is_that_of_genes_dropped_down_lines(selfings):
    shares = drop_lines(selfings, 10_000, selfings).mean(axis=1)
    assert shares.mean() == pytest.approx(0.5**selfings, rel=0.05)
    # Markers at the ends of a chromosome lie farther apart than points thrown on it: a twentieth, and chance.
    assert spread_of_heterozygosity(selfings) == pytest.approx(shares.var(), rel=0.12)


@pytest.mark.parametrize("selfings", [1, 2, 4, 6])
def test_the_bound_is_passed_about_as_seldom_as_stated(selfings):
    shares = drop_lines(selfings, 10_000, 10 + selfings).mean(axis=1)
    passed = (shares > bound_heterozygosity(selfings, 0.001)).mean()
    assert passed <= 0.004


@pytest.mark.parametrize(("selfings", "most"), [(2, 0.004), (4, 0.004), (6, 0.004)])
def test_a_true_generation_is_seldom_refuted_and_a_first_cross_always(selfings, most):
    dice = np.random.default_rng(selfings)
    mixed = drop_lines(selfings, 2_000, 20 + selfings)
    chance = (dice.random(mixed.shape[1]) < 0.4).astype(float)
    refuted = 0
    for one in mixed:
        plant = np.where(one & (chance > 0), 1, 2 * (dice.random(len(one)) < 0.5)).astype(np.int8)
        plant[dice.random(len(plant)) < 0.01] = 1
        refuted += check_heterozygosity(plant, chance, selfings).verdict == "disagrees"
    assert refuted / len(mixed) <= most
    cross = np.where(chance > 0, 1, 2).astype(np.int8)
    found = check_heterozygosity(cross, chance, selfings)
    assert (found.verdict, found.heterozygous) == ("disagrees", int(chance.sum()))
    assert "as a first cross" in found.why


def test_a_doubled_haploid_with_a_few_errors_agrees_and_with_a_tenth_mixed_does_not():
    chance = np.full(200, 0.4)
    plant = np.zeros(200, dtype=np.int8)
    plant[:3] = 1
    assert check_heterozygosity(plant, chance, None).verdict == "agrees"
    plant[:20] = 1
    found = check_heterozygosity(plant, chance, None)
    assert found.verdict == "disagrees"
    assert "2 selfings" in found.why


def test_of_too_few_markers_nothing_is_told():
    plant = np.zeros(6, dtype=np.int8)
    assert check_heterozygosity(plant, np.full(6, 0.3), 3).verdict == "cannot_tell"
    assert check_heterozygosity(-np.ones(6, dtype=np.int8), np.full(6, 0.3), 3).verdict == "cannot_tell"
    assert check_heterozygosity(plant, np.full(6, np.nan), 3).verdict == "cannot_tell"


def test_bounds_fall_with_each_selfing_and_end_at_none():
    bounds = [bound_heterozygosity(one) for one in range(8)]
    assert bounds[0] == 1.0
    assert all(one > other for one, other in pairwise(bounds))
    assert bound_heterozygosity(None) == 0.0


def test_a_first_cross_is_expected_to_be_mixed_where_its_parents_differ():
    mother = np.array([0, 0, 2, 1, 1, -1], dtype=np.int8)
    father = np.array([2, 0, 2, 0, 1, 2], dtype=np.int8)
    assert expect_first_cross(mother, father)[:5].tolist() == [1.0, 0.0, 0.0, 0.5, 0.5]
    assert np.isnan(expect_first_cross(mother, father)[5])


@pytest.mark.parametrize("selfings", [1, 2, 4])
def test_two_plants_of_a_line_differ_as_often_as_two_selfs_of_one_plant(selfings):
    dice = np.random.default_rng(selfings)
    # Locus by locus: the plant selfed t - 1 times is heterozygous with chance 1/2^(t-1), and has two selfs.
    loci = 400_000
    mixed = dice.random(loci) < 0.5 ** (selfings - 1)
    one, other = (np.where(mixed, dice.binomial(2, 0.5, loci), 0) for _ in range(2))
    told = share_still_differing(np.ones(10), selfings)
    assert (one != other).mean() == pytest.approx(told, abs=0.004)
    assert share_still_differing(np.ones(10), None) == share_still_differing(np.ones(10), -1) == 0.0

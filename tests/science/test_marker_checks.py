"""Do markers refute false claims, spare true ones, and own up where they cannot tell?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.marker_checks import (
    check_descent,
    check_parent,
    compare_samples,
    find_contradicting,
    find_limit,
)
from firstsilk.science.lineage.marker_cross import check_cross

P = 2_000
ERROR = 0.01


def inbred(dice: np.random.Generator, frequency: np.ndarray) -> np.ndarray:
    return (2 * (dice.random(len(frequency)) < frequency)).astype(np.int8)


def read(dice: np.random.Generator, doses: np.ndarray, error: float = ERROR, unread: float = 0.03) -> np.ndarray:
    """A reading of a plant: some doses wrong, any of the two others; some not read."""
    wrong = dice.random(len(doses)) < error
    seen = np.where(wrong, (doses + dice.integers(1, 3, len(doses))) % 3, doses)
    return np.where(dice.random(len(doses)) < unread, -1, seen).astype(np.int8)


def doubled_haploid(dice: np.random.Generator, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.where(dice.random(len(one)) < 0.5, one, other)


@pytest.fixture
def cast() -> tuple[np.random.Generator, np.ndarray, list[np.ndarray]]:
    dice = np.random.default_rng(7)
    frequency = dice.uniform(0.2, 0.8, P)
    return dice, frequency, [inbred(dice, frequency) for _ in range(4)]


def test_limit_is_the_smallest_count_that_errors_pass_rarely_enough() -> None:
    # Binomial sums written out with the chance 1 - (1 - e)^2 = 0.0199.
    chance = find_contradicting(2, ERROR)
    assert chance == pytest.approx(0.0199, abs=1e-12)

    def beyond(limit: int) -> float:
        return 1.0 - sum(math.comb(100, k) * chance**k * (1 - chance) ** (100 - k) for k in range(limit + 1))

    limit = find_limit(100, 2, ERROR, 0.001)
    assert beyond(limit) <= 0.001 < beyond(limit - 1)
    assert find_limit(0, 2) == 0
    for bad in (0.0, 1.0, -0.1):
        with pytest.raises(InputRefused, match="error rate"):
            find_limit(10, 2, bad)


def test_true_claims_are_refuted_no_oftener_than_stated(cast) -> None:
    dice, frequency, (a, b, *_) = cast
    refuted = np.zeros(4, dtype=int)
    for _ in range(300):
        one, other = read(dice, a), read(dice, b)
        cross = read(dice, ((a + b) // 2).astype(np.int8))
        refuted += [
            compare_samples(one, read(dice, a), frequency, ERROR, 0.05).verdict == "disagrees",
            check_parent(one, cross, frequency, ERROR, 0.05).verdict == "disagrees",
            check_descent(one, other, read(dice, doubled_haploid(dice, a, b)), frequency, ERROR, 0.05).verdict
            == "disagrees",
            check_cross(one, other, cross, frequency, ERROR, 0.05).verdict == "disagrees",
        ]
    # 300 tries at 0.05: 15 expected, 27 or fewer in 999 of 1,000 such tests.
    assert refuted.max() <= 27


def test_samples_of_one_line_and_of_two(cast) -> None:
    dice, frequency, (a, b, *_) = cast
    same = compare_samples(read(dice, a), read(dice, a), frequency)
    assert same.verdict == "agrees"
    assert same.share < 0.03
    other = compare_samples(read(dice, a), read(dice, b), frequency)
    assert other.verdict == "disagrees"
    # Unrelated inbreds differ at 2 p (1 - p) of the markers.
    assert other.mismatches == pytest.approx(other.if_false, rel=0.1)
    sister = compare_samples(a, doubled_haploid(dice, a, b), frequency)
    assert sister.verdict == "disagrees"


def test_two_plants_of_a_line_that_still_segregates_agree_when_told_so(cast) -> None:
    _, frequency, (a, b, *_) = cast
    other = a.copy()
    other[:200] = b[:200]
    assert compare_samples(a, other, frequency).verdict == "disagrees"
    assert compare_samples(a, other, frequency, segregating=0.1).verdict == "agrees"


def test_few_markers_cannot_tell(cast) -> None:
    _, frequency, (a, b, *_) = cast
    assert compare_samples(a[:5], a[:5], frequency[:5]).verdict == "cannot_tell"
    nothing = np.full(5, -1, dtype=np.int8)
    found = compare_samples(a[:5], nothing, frequency[:5])
    assert (found.compared, found.verdict) == (0, "cannot_tell")
    assert math.isnan(found.share)
    assert check_parent(a[:4], b[:4], np.full(4, np.nan)).verdict in ("cannot_tell", "disagrees")


def test_opposing_homozygotes_refute_a_parent_and_spare_the_true_one(cast) -> None:
    dice, frequency, (a, b, c, _) = cast
    cross = read(dice, ((a + b) // 2).astype(np.int8))
    for parent in (a, b):
        assert check_parent(read(dice, parent), cross, frequency).verdict == "agrees"
    wrong = check_parent(read(dice, c), cross, frequency)
    assert wrong.verdict == "disagrees"
    assert "contradict that this is its parent" in wrong.why
    # Counted by hand: of six markers two are not homozygous twice, one of the other four opposes.
    hand = check_parent(np.array([0, 0, 1, 2, 2, 2]), np.array([0, 2, 0, 2, 1, 2]), np.full(6, 0.5))
    assert (hand.compared, hand.mismatches) == (4, 1)


def test_descent_of_a_doubled_haploid(cast) -> None:
    dice, frequency, (a, b, c, _) = cast
    child = read(dice, doubled_haploid(dice, a, b))
    assert check_descent(a, b, child, frequency).verdict == "agrees"
    assert check_descent(a, c, child, frequency).verdict == "disagrees"
    # The rule of opposing homozygotes is not for such a line: half of its markers are the other parent's.
    assert check_parent(a, child, frequency).verdict == "disagrees"


def test_hybrid_and_what_went_wrong_where_it_is_not_the_cross(cast) -> None:
    dice, frequency, (a, b, c, d) = cast

    def judge(plant: np.ndarray) -> tuple[str, str]:
        found = check_cross(read(dice, a), read(dice, b), read(dice, plant.astype(np.int8)), frequency)
        return found.verdict, found.likelier

    assert judge((a + b) // 2) == ("agrees", "")
    assert judge(a) == ("disagrees", "self_of_mother")
    assert judge(b) == ("disagrees", "self_of_father")
    assert judge((a + c) // 2) == ("disagrees", "other_father")
    assert judge((c + b) // 2) == ("disagrees", "other_mother")
    assert judge((c + d) // 2) == ("disagrees", "neither")
    second = (doubled_haploid(dice, a, b) + doubled_haploid(dice, a, b)) // 2
    assert judge(second) == ("disagrees", "later_generation")


def test_counts_of_a_cross_by_hand() -> None:
    mother = np.array([0, 0, 2, 2, 1, 0, -1], dtype=np.int8)
    father = np.array([0, 2, 0, 2, 0, 2, 0], dtype=np.int8)
    hybrid = np.array([1, 1, 2, 2, 1, 2, 0], dtype=np.int8)
    found = check_cross(mother, father, hybrid, np.full(7, 0.5))
    assert (found.compared, found.telling, found.heterozygous) == (5, 3, 1)
    assert (found.like_mother, found.like_father, found.foreign, found.mismatches) == (1, 1, 1, 3)


def test_parents_that_hardly_differ_cannot_tell(cast) -> None:
    _, frequency, (a, *_) = cast
    other = a.copy()
    other[:10] = 2 - other[:10]
    found = check_cross(a, other, ((a + other) // 2).astype(np.int8), frequency)
    assert (found.telling, found.verdict) == (10, "cannot_tell")
    assert "fewer than the 20" in found.why

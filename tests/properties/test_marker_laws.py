"""Do the laws of markers hold: which allele is counted, the order of lines and markers, who is called mother?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.lineage.marker_checks import check_parent, compare_samples, find_limit
from firstsilk.science.lineage.marker_cross import check_cross
from firstsilk.science.lineage.marker_relationship import find_marker_relationship
from firstsilk.science.lineage.markers import MarkerTable
from firstsilk.science.lineage.prediction import fit_genomic_values

SEEDS = st.integers(0, 2**32 - 1)
HALF = np.full(60, 0.5)


def deal(seed: int, n: int, p: int = 60) -> tuple[np.random.Generator, np.ndarray]:
    dice = np.random.default_rng(seed)
    return dice, dice.choice([-1, 0, 1, 2], size=(n, p), p=[0.05, 0.4, 0.1, 0.45]).astype(np.int8)


def turn(doses: np.ndarray) -> np.ndarray:
    """The same readings with the other allele counted."""
    return np.where(doses < 0, doses, 2 - doses).astype(np.int8)


@given(SEEDS, st.floats(0.001, 0.2))
def test_checks_do_not_care_which_allele_is_counted(seed: int, error: float) -> None:
    _, (one, other, third) = deal(seed, 3)
    assert compare_samples(one, other, HALF, error) == compare_samples(turn(one), turn(other), HALF, error)
    assert check_parent(one, other, HALF, error) == check_parent(turn(one), turn(other), HALF, error)
    told = check_cross(one, other, third, HALF, error)
    assert told == check_cross(turn(one), turn(other), turn(third), HALF, error)
    assert told.heterozygous + told.like_mother + told.like_father == told.telling
    assert told.mismatches == told.like_mother + told.like_father + told.foreign


@given(SEEDS)
def test_identity_and_parentage_are_mutual_and_a_cross_has_no_order(seed: int) -> None:
    _, (one, other, third) = deal(seed, 3)
    assert compare_samples(one, other, HALF) == compare_samples(other, one, HALF)
    there, back = check_parent(one, other, HALF), check_parent(other, one, HALF)
    assert (there.mismatches, there.verdict) == (back.mismatches, back.verdict)
    told, turned = check_cross(one, other, third, HALF), check_cross(other, one, third, HALF)
    assert (told.mismatches, told.verdict) == (turned.mismatches, turned.verdict)
    assert (told.like_mother, told.like_father) == (turned.like_father, turned.like_mother)


@given(st.integers(1, 5_000), st.floats(0.0005, 0.2), st.floats(0.0001, 0.1))
def test_limit_rises_with_markers_and_error_and_falls_with_alarm(compared: int, error: float, alarm: float) -> None:
    limit = find_limit(compared, 2, error, alarm)
    assert limit <= find_limit(compared + 100, 2, error, alarm)
    assert limit <= find_limit(compared, 2, 1.5 * error, alarm)
    assert limit <= find_limit(compared, 3, error, alarm)
    assert limit >= find_limit(compared, 2, error, 2 * alarm)


@given(SEEDS)
def test_prediction_follows_its_lines_in_any_order_and_unit(seed: int) -> None:
    dice, doses = deal(seed, 16)
    table = MarkerTable(tuple(f"L{at}" for at in range(16)), tuple(f"m{at}" for at in range(60)), doses)
    matrix = find_marker_relationship(table).matrix
    tested, response = np.arange(12), dice.normal(size=12)
    fit = fit_genomic_values(matrix, tested, response)
    order, columns = dice.permutation(16), dice.permutation(60)
    mixed = MarkerTable(
        tuple(table.samples[at] for at in order),
        tuple(table.markers[at] for at in columns),
        turn(doses)[np.ix_(order, columns)],
    )
    places = np.argsort(order)[:12]
    again = fit_genomic_values(find_marker_relationship(mixed).matrix, places, 100.0 + 7.0 * response)
    # A share at its bound 1 - 1e-6 leaves equations that are told to some 1e-6 only.
    if fit.at_bound and fit.genetic_variance > 0:
        return
    assert again.genetic_variance == pytest.approx(49.0 * fit.genetic_variance, rel=1e-4, abs=1e-4)
    assert again.values == pytest.approx(7.0 * fit.values[order], abs=1e-3)
    assert again.reliability == pytest.approx(fit.reliability[order], abs=1e-3)

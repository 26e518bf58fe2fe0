"""Is the relationship by markers the same however it is summed, and does the blend keep its promises?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage import marker_relationship
from firstsilk.science.lineage.marker_relationship import (
    align_relationship,
    blend_relationships,
    choose_frequencies,
    find_marker_relationship,
)
from firstsilk.science.lineage.markers import MarkerTable
from tests.science.test_markers import deal_table


def slow(table: MarkerTable, frequency: np.ndarray) -> np.ndarray:
    """Pair by pair, marker by marker."""
    n, p = table.doses.shape
    found = np.zeros((n, n))
    for i in range(n):
        for j in range(n):
            for m in range(p):
                if table.doses[i, m] >= 0 and table.doses[j, m] >= 0:
                    one, other = (float(table.doses[at, m]) - 2 * frequency[m] for at in (i, j))
                    found[i, j] += one * other
    return found / (2 * (frequency * (1 - frequency)).sum())


def test_relationship_is_that_of_the_formula_pair_by_pair() -> None:
    table = deal_table(5, 60)
    for kind in ("data", "half", list(np.linspace(0.1, 0.9, 60))):
        found = find_marker_relationship(table, kind)
        assert found.matrix == pytest.approx(slow(table, choose_frequencies(table, kind)), abs=1e-12)
        assert (found.matrix == found.matrix.T).all()


def test_single_precision_agrees_with_double(monkeypatch) -> None:
    table = deal_table(60, 9_000)
    double = find_marker_relationship(table).matrix
    monkeypatch.setattr(marker_relationship, "DOUBLE_UP_TO", 0)
    single = find_marker_relationship(table).matrix
    assert single.dtype == np.float64
    assert 0 < np.abs(single - double).max() < 1e-5


def test_counting_the_other_allele_changes_nothing() -> None:
    table = deal_table(6, 100)
    turned = MarkerTable(table.samples, table.markers, np.where(table.doses < 0, table.doses, 2 - table.doses))
    for kind in ("data", "half"):
        one, other = (find_marker_relationship(each, kind).matrix for each in (table, turned))
        assert other == pytest.approx(one, abs=1e-12)


def test_aligned_relationship_has_both_means_of_the_pedigree() -> None:
    table = deal_table(8, 300)
    by_markers = find_marker_relationship(table).matrix
    by_pedigree = np.full((8, 8), 0.5) + 1.5 * np.eye(8)
    aligned = align_relationship(by_markers, by_pedigree)
    assert aligned.mean() == pytest.approx(by_pedigree.mean())
    assert np.trace(aligned) == pytest.approx(np.trace(by_pedigree))
    blend = blend_relationships(by_markers, by_pedigree, 0.25, align=True)
    assert blend == pytest.approx(0.75 * aligned + 0.25 * by_pedigree)
    assert blend_relationships(by_markers, by_pedigree, 1.0, align=False) == pytest.approx(by_pedigree)


def test_what_cannot_be_used_is_refused() -> None:
    table = deal_table(3, 4)
    with pytest.raises(InputRefused, match="frequency of 0 to 1"):
        find_marker_relationship(table, [0.5, 0.5, 1.5, 0.5])
    alike = MarkerTable(("a", "b"), ("x",), np.array([[2], [2]], dtype=np.int8))
    with pytest.raises(InputRefused, match="No marker varies"):
        find_marker_relationship(alike)
    unread = MarkerTable(("a", "b"), ("x", "y"), np.array([[2, -1], [0, -1]], dtype=np.int8))
    with pytest.raises(InputRefused, match="'y' was read in no line"):
        find_marker_relationship(unread)
    with pytest.raises(InputRefused, match="weight"):
        blend_relationships(np.eye(2), np.eye(2), 1.2, align=False)
    with pytest.raises(InputRefused, match="same lines"):
        blend_relationships(np.eye(2), np.eye(3), 0.2, align=False)
    with pytest.raises(InputRefused, match="no difference"):
        align_relationship(np.eye(2), np.ones((2, 2)))

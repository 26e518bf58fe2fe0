"""Are call rate, heterozygosity and frequency counted right, and markers kept by them?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.markers import (
    MISSING,
    MarkerTable,
    judge_markers,
    keep_markers,
    pick_samples,
    walk_chunks,
)


def deal_table(n: int, p: int, seed: int = 1) -> MarkerTable:
    doses = np.random.default_rng(seed).choice([0, 1, 2, MISSING], size=(n, p), p=[0.4, 0.1, 0.4, 0.1]).astype(np.int8)
    return MarkerTable(tuple(f"L{at}" for at in range(n)), tuple(f"m{at}" for at in range(p)), doses)


def test_counts_agree_with_a_slow_count_one_reading_at_a_time() -> None:
    table = deal_table(7, 5_000)  # three chunks
    found = judge_markers(table)
    for at in (0, 2_047, 2_048, 4_999):
        read = [int(dose) for dose in table.doses[:, at] if dose >= 0]
        assert found.marker_call_rate[at] == pytest.approx(len(read) / 7)
        assert found.marker_heterozygosity[at] == pytest.approx(read.count(1) / len(read))
        assert found.frequency[at] == pytest.approx(sum(read) / (2 * len(read)))
    for at in range(7):
        read = [int(dose) for dose in table.doses[at] if dose >= 0]
        assert found.sample_call_rate[at] == pytest.approx(len(read) / 5_000)
        assert found.sample_heterozygosity[at] == pytest.approx(read.count(1) / len(read))


def test_what_was_never_read_has_no_rate() -> None:
    table = MarkerTable(("A", "B"), ("x", "y"), np.array([[-1, 2], [-1, 0]], dtype=np.int8))
    found = judge_markers(table)
    assert np.isnan(found.frequency[0])
    assert np.isnan(found.marker_heterozygosity[0])
    assert (found.marker_call_rate[0], found.minor_frequency[1]) == (0.0, 0.5)


def test_counting_the_other_allele_changes_only_the_frequency() -> None:
    table = deal_table(9, 40)
    turned = MarkerTable(table.samples, table.markers, np.where(table.doses < 0, table.doses, 2 - table.doses))
    one, other = judge_markers(table), judge_markers(turned)
    assert other.frequency == pytest.approx(1.0 - one.frequency)
    assert other.minor_frequency == pytest.approx(one.minor_frequency)
    assert (other.marker_heterozygous == one.marker_heterozygous).all()


def test_markers_rarely_read_or_rare_are_left_out() -> None:
    doses = np.array([[0, 0, -1, 2], [0, 0, -1, 2], [0, 2, 2, -1], [0, 2, 0, 0]], dtype=np.int8)
    table = MarkerTable(("a", "b", "c", "d"), ("still", "good", "half", "most"), doses)
    quality = judge_markers(table)
    assert keep_markers(table, quality) is table
    assert keep_markers(table, quality, least_minor_frequency=0.05).markers == ("good", "half", "most")
    assert keep_markers(table, quality, 0.75, 0.05).markers == ("good", "most")
    with pytest.raises(InputRefused, match="None of the 4 markers"):
        keep_markers(table, quality, 1.0, 0.51)


def test_samples_are_picked_in_the_order_asked() -> None:
    table = deal_table(4, 6)
    picked = pick_samples(table, ["L3", "L0"])
    assert picked.samples == ("L3", "L0")
    assert (picked.doses[0] == table.find("L3")).all()
    with pytest.raises(KeyError):
        table.find("nobody")


def test_chunks_cover_all_markers_once() -> None:
    assert [(part.start, part.stop) for part in walk_chunks(5, 2)] == [(0, 2), (2, 4), (4, 5)]


def test_an_empty_table_is_refused() -> None:
    with pytest.raises(InputRefused, match="no sample or no marker"):
        judge_markers(MarkerTable((), (), np.zeros((0, 0), dtype=np.int8)))

"""Do the invented lines carry the genes that their pedigrees give them, and values that the trade would believe?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.invented.dice import roll
from firstsilk.invented.genes import (
    CHROMOSOME_MORGAN,
    GCA_YIELD_SD_KG_HA,
    HYBRID_YIELD_KG_HA,
    LOCI_A_CHROMOSOME,
    SCA_YIELD_SD_KG_HA,
    draw_gamete,
    drop_genes,
    value_hybrid,
)
from firstsilk.invented.pedigrees import (
    GROUPS,
    InventedLine,
    LineBook,
    build_line_book,
    find_truth,
    learn_lines,
    list_hybrid,
)
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.notation import parse_pedigree


@pytest.fixture(scope="module")
def book() -> LineBook:
    return build_line_book(1)


def test_book_when_the_seed_is_the_same_then_all_values_are_the_same(book: LineBook) -> None:
    again = build_line_book(1)
    assert again.lines == book.lines
    assert again.truth.lines == book.truth.lines
    assert again.truth.hybrids == book.truth.hybrids
    assert build_line_book(2).truth.lines != book.truth.lines


def test_book_when_counted_then_it_holds_what_the_station_should(book: LineBook) -> None:
    assert len(book.inbreds()) == 60
    assert sum(line.check for line in book.lines) == 5
    for group in GROUPS.values():
        assert len(book.inbreds(group)) == 30
        assert len(book.testers(group)) == 2


def test_pedigrees_when_given_to_kinship_then_they_are_valid_and_groups_are_unrelated(book: LineBook) -> None:
    lines = [line for line in book.lines if line.kind == "line"]
    kinship = find_coancestry([line.as_member() for line in lines])
    at = {group: [i for i, line in enumerate(lines) if line.group == group] for group in GROUPS.values()}
    assert not kinship.coancestry[np.ix_(at["Esker"], at["Holm"])].any()
    inbreeding = dict(zip(kinship.lines, kinship.inbreeding, strict=True))
    assert inbreeding["EK201"] == pytest.approx(1 - 0.5**6)
    assert inbreeding["EK209"] == 1.0
    assert inbreeding["EK301"] > 1 - 0.5**4 - 1e-12


def test_pedigrees_when_written_then_each_can_be_read(book: LineBook) -> None:
    for line in book.lines:
        if line.pedigree:
            parse_pedigree(line.pedigree)


def test_genes_when_dropped_then_a_line_has_none_that_its_parents_lack(book: LineBook) -> None:
    genomes = book.truth.genomes
    for line in book.lines:
        if line.kind == "line" and line.mother:
            mother = genomes[line.mother]
            theirs = np.concatenate([mother, genomes[line.father]]) if line.father else mother
            low, high = theirs.min(axis=0), theirs.max(axis=0)
            assert ((genomes[line.name] >= low) & (genomes[line.name] <= high)).all()


def test_selfing_when_repeated_then_heterozygous_loci_halve_each_time(book: LineBook) -> None:
    first = book.truth.genomes["EKF101"]
    before = np.mean(first[0] != first[1])
    for times in (1, 2, 3):
        selfed = [drop_genes("self", first, None, times, roll(1, "test", times, at)) for at in range(600)]
        share = np.mean([np.mean(one[0] != one[1]) for one in selfed]) / before
        assert share == pytest.approx(0.5**times, abs=0.03)


def test_doubled_haploid_when_made_then_it_is_fully_inbred(book: LineBook) -> None:
    doubled = drop_genes("dh", book.truth.genomes["EKF101"], None, 1, roll(1, "test"))
    assert np.array_equal(doubled[0], doubled[1])


def test_gametes_when_drawn_then_neighbours_recombine_as_haldane_says() -> None:
    marked = np.array([np.zeros(140, np.int8), np.ones(140, np.int8)])
    gametes = np.array([draw_gamete(marked, roll(1, "gamete", at)) for at in range(2000)])
    by_chromosome = gametes.reshape(2000, -1, LOCI_A_CHROMOSOME)
    distance = CHROMOSOME_MORGAN / (LOCI_A_CHROMOSOME - 1)
    expected = (1 - np.exp(-2 * distance)) / 2
    assert np.mean(by_chromosome[:, :, 1:] != by_chromosome[:, :, :-1]) == pytest.approx(expected, abs=0.005)
    assert np.mean(gametes) == pytest.approx(0.5, abs=0.02)


def test_genes_when_the_method_is_not_known_then_it_is_refused(book: LineBook) -> None:
    with pytest.raises(ValueError, match="bulk"):
        drop_genes("bulk", book.truth.genomes["EK101"], None, 1, roll(1))


def test_line_values_when_listed_then_they_lie_in_the_published_ranges(book: LineBook) -> None:
    inbreds = [book.truth.lines[line.name] for line in book.inbreds()]
    success = np.array([line.success_frac for line in inbreds])
    kernels = np.array([line.kernels_per_ear for line in inbreds])
    assert ((success >= 0.34) & (success <= 0.83)).all()
    assert ((kernels >= 44) & (kernels <= 298)).all()
    # Thayer & Down 1942: means 67.6 % and 146.5.
    assert success.mean() == pytest.approx(0.676, abs=0.03)
    assert kernels.mean() == pytest.approx(146.5, abs=12)
    assert kernels.max() > 3 * kernels.min()


def test_combining_ability_when_taken_over_the_lines_then_it_varies_as_stated(book: LineBook) -> None:
    gca = {
        g: np.array([book.truth.lines[line.name].gca_yield_kg_ha for line in book.inbreds(g)])
        for g in ("Esker", "Holm")
    }
    for values in gca.values():
        assert values.mean() == pytest.approx(0, abs=1e-6)
    pooled = np.sqrt(sum((values**2).sum() for values in gca.values()) / 58)
    assert pooled == pytest.approx(GCA_YIELD_SD_KG_HA, rel=1e-9)


def test_hybrids_when_valued_then_they_are_their_parts_added_up(book: LineBook) -> None:
    lines = book.truth.lines
    pairs = [(lines[a.name], lines[b.name]) for a in book.inbreds("Esker") for b in book.inbreds("Holm")]
    hybrids = [value_hybrid(1, "x", mother, father) for mother, father in pairs]
    for hybrid, (mother, father) in zip(hybrids, pairs, strict=True):
        parts = HYBRID_YIELD_KG_HA + mother.gca_yield_kg_ha + father.gca_yield_kg_ha + hybrid.sca_yield_kg_ha
        assert hybrid.yield_kg_ha == pytest.approx(parts)
    assert np.std([hybrid.sca_yield_kg_ha for hybrid in hybrids]) == pytest.approx(SCA_YIELD_SD_KG_HA, rel=0.08)
    assert value_hybrid(1, "y", pairs[0][1], pairs[0][0]).yield_kg_ha == pytest.approx(hybrids[0].yield_kg_ha)


def test_lines_when_learnt_in_another_order_then_their_values_are_the_same(book: LineBook) -> None:
    one = list_hybrid(book.find("EK301"), book.find("HM101"))
    cross = InventedLine("NEW1", "line", "family", "cross", "EK301", "EK302", group="Esker")
    selfed = InventedLine("NEW2", "line", "family", "self", "NEW1", selfings=2, group="Esker")
    forth = learn_lines(book, [cross, selfed, one])
    back = learn_lines(learn_lines(book, [one]), [selfed, cross])
    for name in ("NEW1", "NEW2"):
        assert forth.truth.lines[name] == back.truth.lines[name]
    assert forth.truth.hybrids[one.name] == back.truth.hybrids[one.name]
    assert len(learn_lines(forth, [cross, one]).lines) == len(forth.lines)
    assert "NEW1" not in book.truth.lines


def test_lines_when_a_parent_is_unknown_then_learning_fails(book: LineBook) -> None:
    stray = InventedLine("NEW3", "hybrid", "family", "cross", "EK301", "NOBODY")
    with pytest.raises(KeyError, match="NOBODY"):
        learn_lines(book, [stray])


def test_hybrid_in_a_row_when_valued_then_it_is_earlier_than_its_parents_mean(book: LineBook) -> None:
    check = next(line for line in book.lines if line.check)
    value = find_truth(book.truth, check.name)
    parents = [book.truth.lines[name].units_to_silk_chu for name in (check.mother, check.father)]
    assert value.units_to_silk_chu < np.mean(parents)

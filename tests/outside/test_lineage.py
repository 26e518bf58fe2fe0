"""Do pedigrees, kinship and plant numbers agree with what was published or worked out by hand elsewhere?"""

import math
from fractions import Fraction

import numpy as np
import pytest

from firstsilk.science.lineage import chances, inbreeding
from firstsilk.science.lineage.kinship import Kinship, find_coancestry, find_relationship
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.notation import Cross, find_shares, parse_pedigree, write_pedigree
from firstsilk.science.lineage.relationship import (
    find_gene_flow,
    find_mendelian_variance,
    find_relationship_inverse,
)

# --- pedigree-notation: Purdy, Loegering, Konzak, Peterson & Allan 1968, Crop Science 8:405-406 ---------------------


def test_shares_of_a_published_tree_when_halved_down_the_tree_then_quarters_and_eighths():
    # Halving down the tree of the published Scout pedigree; by hand.
    shares = find_shares(parse_pedigree("Nebred/2/Hope/Turkey Red/3/Cheyenne/Ponca"))
    assert shares == {
        "Nebred": Fraction(1, 4),
        "Hope": Fraction(1, 8),
        "Turkey Red": Fraction(1, 8),
        "Cheyenne": Fraction(1, 4),
        "Ponca": Fraction(1, 4),
    }


def test_published_tree_when_parsed_then_pairs_as_published():
    # Scout = ((Nebred x (Hope x Turkey Red)) x (Cheyenne x Ponca)), published tree.
    left = Cross("Nebred", Cross("Hope", "Turkey Red"))
    assert parse_pedigree("Nebred/2/Hope/Turkey Red/3/Cheyenne/Ponca") == Cross(left, Cross("Cheyenne", "Ponca"))


def test_three_way_when_parsed_then_the_cross_is_the_female():
    # Plant-breeding course page "Pedigree records".
    assert parse_pedigree("A/B//C") == Cross(Cross("A", "B"), "C")


def test_backcross_to_the_male_when_expanded_then_as_the_course_page_prints_it():
    # Plant-breeding course page "Pedigree records": A/B*3 = A/B//B///B; B gives 1 - 0.5^3.
    tree = parse_pedigree("A/B*3")
    assert tree == parse_pedigree("A/B//B///B") == Cross(Cross(Cross("A", "B"), "B"), "B")
    assert find_shares(tree)["B"] == Fraction(7, 8)


def test_backcross_to_the_female_when_expanded_then_the_mirror_image():
    # Mirror image of the rule above; Purdy et al. 1968: A*3/B = A///A//A/B, BC2.
    tree = parse_pedigree("A*3/B")
    assert tree == parse_pedigree("A///A//A/B") == Cross("A", Cross("A", Cross("A", "B")))
    assert find_shares(tree)["A"] == Fraction(7, 8)
    assert float(find_shares(tree)["A"]) == inbreeding.find_backcross_recovery(2)


def test_second_cross_when_written_with_a_number_then_the_same_tree():
    # Purdy et al. 1968, from memory: // = /2/.
    assert parse_pedigree("A//B/C") == parse_pedigree("A/2/B/C") == Cross("A", Cross("B", "C"))


@pytest.mark.parametrize(
    ("given", "normal"),
    [
        # Purdy et al. 1968, from memory, as collected for parsers of the notation.
        ("A/B", "A/B"),
        ("A/B/2/C", "A/B//C"),
        ("A/B//C/D", "A/B//C/D"),
        ("A/B//C/3/D", "A/B//C/3/D"),
        ("A*3/B", "A*3/B"),
        ("B/3*A", "B/A*3"),
        ("A/B-3-1", "A/B-3-1"),
    ],
)
def test_accepted_pedigree_when_written_again_then_normal(given, normal):
    assert write_pedigree(parse_pedigree(given)) == normal


# --- numerator-relationship ------------------------------------------------------------------------------------------

# Mrode 2014, Linear Models for the Prediction of Animal Breeding Values, 3rd ed., Table 2.1 p. 25 (id: sire, dam).
MRODE = ("1:0,0", "2:0,0", "3:1,2", "4:1,0", "5:4,3", "6:5,2")
# Royal Vet. & Agric. University Copenhagen, genetics course, sec. 4.4.
COPENHAGEN = ("1:0,0", "2:1,0", "3:1,0", "4:1,0", "5:2,3", "6:4,3", "7:5,6")


def _animals(rows: tuple[str, ...]) -> list[Member]:
    members = []
    for row in rows:
        line, _, parents = row.partition(":")
        one, other = (parent if parent != "0" else "" for parent in parents.split(","))
        members.append(Member(line, "cross" if one or other else "founder", one, other))
    return members


def test_inbreeding_when_book_pedigree_then_as_printed():
    # Mrode 2014 sec. 2.2: F of animals 5 and 6.
    assert find_coancestry(_animals(MRODE)).inbreeding[4:] == pytest.approx([0.125, 0.125], abs=1e-12)


def test_gene_flow_when_book_pedigree_then_row_as_printed():
    # Mrode 2014 Table 2.1: row 6 of T.
    assert find_gene_flow(_animals(MRODE))[5] == pytest.approx([0.25, 0.625, 0.25, 0.25, 0.5, 1], abs=1e-12)


def test_relationship_when_book_pedigree_then_whole_matrix_by_hand():
    # Tabular method by hand; F and T as printed by Mrode 2014.
    expected = [
        [1, 0, 0.5, 0.5, 0.5, 0.25],
        [0, 1, 0.5, 0, 0.25, 0.625],
        [0.5, 0.5, 1, 0.25, 0.625, 0.5625],
        [0.5, 0, 0.25, 1, 0.625, 0.3125],
        [0.5, 0.25, 0.625, 0.625, 1.125, 0.6875],
        [0.25, 0.625, 0.5625, 0.3125, 0.6875, 1.125],
    ]
    assert np.max(np.abs(find_relationship(_animals(MRODE)) - expected)) <= 1e-12


def test_mendelian_variance_when_book_pedigree_then_as_printed():
    # Mrode 2014 sec. 2.3 prints 1, 1, 0.5, 0.75, 0.5, 0.469.
    found = find_mendelian_variance(_animals(MRODE))
    assert found == pytest.approx([1, 1, 0.5, 0.75, 0.5, 0.46875], abs=1e-12)


def test_relationship_when_course_pedigree_then_as_printed():
    # Copenhagen course sec. 4.4 prints three decimals, cut off: 0.218 and 0.437.
    members = _animals(COPENHAGEN)
    assert find_coancestry(members).inbreeding == pytest.approx([0, 0, 0, 0, 0.125, 0.125, 0.21875], abs=1e-12)
    relationship = find_relationship(members)
    assert relationship[1] == pytest.approx([0.5, 1, 0.25, 0.25, 0.625, 0.25, 0.4375], abs=1e-12)
    assert relationship[6] == pytest.approx([0.5, 0.4375, 0.625, 0.4375, 0.78125, 0.78125, 1.21875], abs=1e-12)


def test_inverse_when_book_pedigree_then_by_the_rules_with_inbreeding():
    # Quaas 1976, Biometrics 32:949, rules by hand; equal to the numeric inverse.
    expected = [
        [1.8333333, 0.5, -1, -0.6666667, 0, 0],
        [0.5, 2.0333333, -1, 0, 0.5333333, -1.0666667],
        [-1, -1, 2.5, 0.5, -1, 0],
        [-0.6666667, 0, 0.5, 1.8333333, -1, 0],
        [0, 0.5333333, -1, -1, 2.5333333, -1.0666667],
        [0, -1.0666667, 0, 0, -1.0666667, 2.1333333],
    ]
    assert np.max(np.abs(find_relationship_inverse(_animals(MRODE)) - expected)) <= 1e-6


def test_mendelian_variance_when_one_parent_is_inbred_then_fifteen_thirty_seconds():
    # Schaeffer 1999, Guelph course lesson 7 (Meuwissen & Luo 1992): F_F = 0.125, F_B = 0 gives 15/32.
    rows = ("X:0,0", "Y:0,0", "P:X,Y", "Q:X,0", "F:Q,P", "B:0,0", "G:F,B")
    assert find_coancestry(_animals(rows)).inbreeding[4] == 0.125
    assert find_mendelian_variance(_animals(rows))[6] == pytest.approx(15 / 32, abs=1e-12)


# --- inbreeding, selfing, systems, backcross -------------------------------------------------------------------------


def test_inbreeding_when_parents_share_a_grandparent_then_one_eighth():
    # Exercise pedigree of an ETH course page: 4:(1,2) 5:(3,2) 6:(4,5).
    rows = ("1:0,0", "2:0,0", "3:0,0", "4:1,2", "5:3,2", "6:4,5")
    assert find_coancestry(_animals(rows)).inbreeding[5] == pytest.approx(0.125, abs=1e-12)


def test_inbreeding_when_relatives_mate_then_the_encyclopedia_values():
    # Encyclopedia entry "inbreeding, coefficient": selfing 1/2, full sibs 1/4, uncle x niece 1/8, first cousins 1/16.
    rows = ("A:0,0", "B:0,0", "C:0,0", "D:0,0", "P:A,B", "Q:A,B", "FS:P,Q", "N:Q,C", "UN:P,N", "M:P,D", "FC:M,N")
    members = [*_animals(rows), Member("S", "self", "A")]
    kinship = find_coancestry(members)
    found = dict(zip(kinship.lines, kinship.inbreeding, strict=True))
    assert [found[line] for line in ("S", "FS", "UN", "FC")] == pytest.approx([0.5, 0.25, 0.125, 0.0625], abs=1e-12)


def test_selfing_when_one_to_six_times_then_halves_the_open_loci():
    # Falconer & Mackay 1996, ch. 5; also the share of loci still segregating 50, 25, 12.5, 6.25, 3.1, 1.6 %.
    expected = [0.5, 0.75, 0.875, 0.9375, 0.96875, 0.984375]
    assert [inbreeding.find_selfing_inbreeding(t) for t in range(1, 7)] == pytest.approx(expected, abs=1e-12)
    chain = [Member("P", "founder"), *(Member(f"S{t}", "self", "P", "", t) for t in range(1, 7))]
    assert find_coancestry(chain).inbreeding[1:] == pytest.approx(expected, abs=1e-12)


def test_full_sibs_when_five_generations_then_the_classic_series():
    # Wright 1921; Falconer & Mackay 1996 Table 5.1 (from memory).
    expected = [0.25, 0.375, 0.5, 0.59375, 0.671875]
    assert inbreeding.find_full_sib_inbreeding(5) == pytest.approx(expected, abs=1e-12)
    members = [Member("A", "founder"), Member("B", "founder"), Member("G0", "cross", "A", "B")]
    members += [Member(f"G{t}", "sib", f"G{t - 1}") for t in range(1, 6)]
    assert find_coancestry(members).inbreeding[3:] == pytest.approx(expected, abs=1e-12)


def test_half_sibs_when_four_generations_then_the_series_of_the_recurrence():
    # Crow & Kimura 1970: F_t = (1 + 6 F_{t-1} + F_{t-2}) / 8.
    expected = [0.125, 0.21875, 0.3046875, 0.38085938]
    assert inbreeding.find_half_sib_inbreeding(4) == pytest.approx(expected, abs=1e-7)


def test_backcross_recovery_when_one_to_six_then_expected_recurrent_genome():
    # 1 - (1/2)^(n+1), by hand.
    expected = [0.75, 0.875, 0.9375, 0.96875, 0.984375, 0.9921875]
    assert [inbreeding.find_backcross_recovery(n) for n in range(1, 7)] == pytest.approx(expected, abs=1e-12)


def test_repeated_backcross_when_the_parent_is_one_plant_or_inbred_then_both_series():
    # Falconer & Mackay 1996 ch. 5: to a non-inbred plant 1/4, 3/8, 7/16, 15/32; to an inbred line 1 - (1/2)^n.
    for method, expected in (("founder", [1 / 4, 3 / 8, 7 / 16, 15 / 32]), ("founder_inbred", [1 / 2, 3 / 4, 7 / 8])):
        members = [Member("A", method), Member("B", method), Member("X0", "cross", "A", "B")]
        members += [Member(f"X{t}", "cross", "A", f"X{t - 1}") for t in range(1, len(expected) + 1)]
        assert find_coancestry(members).inbreeding[3:] == pytest.approx(expected, abs=1e-12)


# --- plant-pedigree: A, B, C unrelated inbred lines; coancestry rules by hand ----------------------------------------

PLANTS = [
    Member("A", "founder_inbred"),
    Member("B", "founder_inbred"),
    Member("C", "founder_inbred"),
    Member("F1", "cross", "A", "B"),
    Member("F2", "self", "F1"),
    Member("F3", "self", "F2"),
    Member("DH1", "dh", "F1"),
    Member("DH2", "dh", "F1"),
    Member("TWC", "cross", "F1", "C"),
    Member("DH3", "dh", "TWC"),
    Member("BC1", "cross", "A", "F1"),
    Member("DH4", "dh", "BC1"),
    Member("HYB", "cross", "DH1", "DH3"),
]


def _plants() -> tuple[Kinship, dict[str, int]]:
    kinship = find_coancestry(PLANTS)
    return kinship, {line: at for at, line in enumerate(kinship.lines)}


@pytest.mark.parametrize(
    ("line", "inbreeding_wanted", "with_a", "with_b", "with_c", "with_dh1"),
    [
        ("F1", 0, 0.5, 0.5, 0, 0.5),
        ("F2", 0.5, 0.5, 0.5, 0, 0.5),
        ("F3", 0.75, 0.5, 0.5, 0, 0.5),
        ("DH1", 1, 0.5, 0.5, 0, 1),
        ("DH2", 1, 0.5, 0.5, 0, 0.5),
        ("TWC", 0, 0.25, 0.25, 0.5, 0.25),
        ("DH3", 1, 0.25, 0.25, 0.5, 0.25),
        ("BC1", 0.5, 0.75, 0.25, 0, 0.5),
        ("DH4", 1, 0.75, 0.25, 0, 0.5),
    ],
)
def test_plant_when_from_inbred_founders_then_the_table_by_hand(
    line, inbreeding_wanted, with_a, with_b, with_c, with_dh1
):
    kinship, place = _plants()
    assert kinship.inbreeding[place[line]] == pytest.approx(inbreeding_wanted, abs=1e-12)
    found = [kinship.coancestry[place[line], place[other]] for other in ("A", "B", "C", "DH1")]
    assert found == pytest.approx([with_a, with_b, with_c, with_dh1], abs=1e-12)


def test_selfed_plant_when_paired_with_its_parent_then_as_the_parent_with_itself():
    kinship, place = _plants()
    assert kinship.coancestry[place["F2"], place["F3"]] == pytest.approx(0.75, abs=1e-12)
    assert kinship.coancestry[place["F1"], place["F1"]] == pytest.approx(0.5, abs=1e-12)


def test_hybrid_when_parents_are_related_then_its_inbreeding_is_their_coancestry():
    kinship, place = _plants()
    assert kinship.inbreeding[place["HYB"]] == pytest.approx(0.25, abs=1e-12)


# --- plant-pedigree-inverse: 1, 2 non-inbred; 3 = 1 x 2; 4 = self 3; 5 = self 4; 6 = DH of 3; 7 = 5 x 6; by hand ------

SEVEN = [
    Member("1", "founder"),
    Member("2", "founder"),
    Member("3", "cross", "1", "2"),
    Member("4", "self", "3"),
    Member("5", "self", "4"),
    Member("6", "dh", "3"),
    Member("7", "cross", "5", "6"),
]


def test_mendelian_variance_when_selfed_and_doubled_then_by_hand():
    assert find_mendelian_variance(SEVEN) == pytest.approx([1, 1, 0.5, 0.5, 0.25, 1, 0.0625], abs=1e-12)


def test_inverse_when_selfed_and_doubled_then_by_hand():
    inverse = find_relationship_inverse(SEVEN)
    expected = [
        [1.5, 0.5, -1, 0, 0, 0, 0],
        [0.5, 1.5, -1, 0, 0, 0, 0],
        [-1, -1, 5, -2, 0, -1, 0],
        [0, 0, -2, 6, -4, 0, 0],
        [0, 0, 0, -4, 8, 4, -8],
        [0, 0, -1, 0, 4, 5, -8],
        [0, 0, 0, 0, -8, -8, 16],
    ]
    assert np.max(np.abs(inverse - expected)) <= 1e-6
    assert np.linalg.slogdet(find_relationship(SEVEN))[1] == pytest.approx(-5.5451774, abs=1e-6)


# --- sample sizes and chances ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("assurance", "expected"),
    [
        # ceil(ln(1-P) / ln(1-p)) for p = 1/2, 1/4, 1/8, 1/16, 1/32, 1/64, 1/256, by hand.
        (0.95, [5, 11, 23, 47, 95, 191, 766]),
        (0.99, [7, 17, 35, 72, 146, 293, 1177]),
    ],
)
def test_plants_to_recover_a_genotype_when_rounded_up_then_by_hand(assurance, expected):
    assert [chances.plan_plants(1 / p, assurance) for p in (2, 4, 8, 16, 32, 64, 256)] == expected


def test_plants_before_rounding_when_published_then_agree():
    # Agronomy blog page (190) and NDSU genetics notes (10.4, 16).
    found = [chances.find_plants_unrounded(*pair) for pair in ((1 / 64, 0.95), (1 / 4, 0.95), (1 / 4, 0.99))]
    assert found == pytest.approx([190.2, 10.4, 16.0], abs=0.06)


RECOVER_R = """
0.5,0.95,5,8,11,13,16,18,23,28,40
0.5,0.99,7,11,14,17,19,22,27,33,45
0.25,0.95,11,18,23,29,34,40,50,60,84
0.25,0.99,17,24,31,37,43,49,60,70,96
0.125,0.95,23,37,49,60,71,82,103,123,172
0.125,0.99,35,51,64,77,89,101,124,146,198
0.0625,0.95,47,75,99,122,144,166,208,248,347
0.0625,0.99,72,104,132,158,182,206,252,296,402
0.75,0.95,3,5,6,8,9,11,14,17,25
0.75,0.99,4,6,8,9,11,13,16,19,27
"""


@pytest.mark.parametrize("row", RECOVER_R.split())
def test_plants_to_recover_several_when_exact_binomial_then_the_table(row):
    # Exact binomial tail by hand; Sedcole 1977, Crop Science 17:667, for the question.
    chance, assurance, *expected = row.split(",")
    found = [chances.plan_plants(float(chance), float(assurance), r) for r in (1, 2, 3, 4, 5, 6, 8, 10, 15)]
    assert found == [int(number) for number in expected]


def test_seeds_for_a_stand_when_exact_binomial_then_by_hand():
    # Smallest n with binomial tail >= P, by hand: 20 plants at .90, 40 at .85, 10 at .80, 40 at .95.
    asked = ((0.90, 0.95, 20), (0.85, 0.95, 40), (0.80, 0.99, 10), (0.95, 0.99, 40))
    assert [chances.plan_plants(*question) for question in asked] == [25, 52, 18, 46]


def test_carriers_kept_when_several_generations_then_product_by_hand():
    found = [chances.find_chance_carrier_kept(n, t) for n, t in ((4, 6), (5, 6), (6, 3), (8, 6))]
    assert found == pytest.approx([0.67893416, 0.82655221, 0.95385361, 0.97679019], abs=1e-8)


def test_recombinants_when_near_the_gene_then_haldane_and_carriers_by_hand():
    # Haldane 1919: r = (1 - e^-2d) / 2 at 5, 10, 20 cM; carriers for at least one at P = .95.
    distances = (0.05, 0.10, 0.20)
    found = [chances.find_recombination(d) for d in distances]
    assert found == pytest.approx([0.047581291, 0.090634623, 0.16483998], abs=1e-8)
    assert [chances.plan_carriers(d, 0.95) for d in distances] == [62, 32, 17]


def test_donor_length_when_backcrossed_then_hanson():
    # Hanson 1959; Stam & Zeven 1981: 100 (1 - e^-t) / t cM on an arm of 100 cM.
    found = [100 * chances.find_donor_length_morgan(t, 1.0) for t in (1, 2, 3, 6)]
    assert found == pytest.approx([63.212056, 43.233236, 31.673764, 16.625354], abs=1e-6)


def test_allele_kept_when_sampled_then_binomial_by_hand():
    found = [chances.find_chance_allele_kept(p, n) for p, n in ((0.05, 30), (0.05, 60), (0.10, 20))]
    assert found == pytest.approx([0.95393020, 0.99787757, 0.98521912], abs=1e-8)


def test_carrier_plants_when_one_or_two_dominant_alleles_then_seven_and_seventeen():
    # n = ln(1-P) / ln(1-f), f = 0.5 and 0.25, P = 0.99, rounded up; by hand.
    assert [chances.plan_plants(f, 0.99) for f in (0.5, 0.25)] == [7, 17]
    assert math.ceil(chances.find_plants_unrounded(0.25, 0.99)) == 17

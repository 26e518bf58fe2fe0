"""Does the fast table of coancestry agree with gene dropping, and is what is no pedigree refused?"""

import re
from collections.abc import Callable

import numpy as np
import pytest

from firstsilk.answers import InputRefused, Place
from firstsilk.science.lineage.kinship import MEMBERS_MAX, find_coancestry
from firstsilk.science.lineage.members import METHODS, Member, order_members
from firstsilk.science.lineage.relationship import find_gene_flow, find_mendelian_variance, find_relationship_inverse

EVERY_METHOD = [
    Member("A", "founder"),
    Member("B", "founder_inbred"),
    Member("C", "founder"),
    Member("F1", "cross", "A", "B"),
    Member("S1", "self", "F1"),
    Member("S3", "self", "F1", "", 3),
    Member("SIB", "sib", "F1"),
    Member("SIB2", "sib", "F1"),
    Member("SIBSIB", "sib", "SIB"),
    Member("S1SIB", "sib", "S1"),
    Member("S3SIB", "sib", "S3"),
    Member("S3X", "self", "S3SIB"),
    Member("DH", "dh", "SIB"),
    Member("DHSIB", "sib", "DH"),
    Member("BULK", "bulk", "SIB"),
    Member("BULK2", "bulk", "BULK"),
    Member("MIX", "bulk", "SIB", "S1"),
    Member("OP", "open", "S1"),
    Member("OPSIB", "sib", "OP"),
    Member("HALF", "cross", "C", ""),
    Member("HALFSIB", "sib", "HALF"),
    Member("LAST", "cross", "SIBSIB", "BULK2"),
    Member("LASTSIB", "sib", "LAST"),
]


def _drop_genes(members: list[Member], drops: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Drop genes through the pedigree as its rules say in words: each plant is made, gene by gene, `drops` times."""
    dice = np.random.default_rng(seed)
    labels = iter(range(1, 100_000))
    plants: dict[str, np.ndarray] = {}
    families: dict[str, Callable[[], np.ndarray]] = {}

    def founder() -> np.ndarray:
        return np.tile([next(labels), next(labels)], (drops, 1))

    def gamete(plant: np.ndarray) -> np.ndarray:
        return plant[np.arange(drops), dice.integers(0, 2, drops)]

    def child(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        return np.column_stack([gamete(one), gamete(other)])

    for row in members:
        plants[row.line], families[row.line] = _made(row, plants, families, founder, gamete, child)
    inbreeding = np.array([np.mean(plants[row.line][:, 0] == plants[row.line][:, 1]) for row in members])
    genes = [plants[row.line] for row in members]
    shared = np.array([[_alike(one, other) for other in genes] for one in genes])
    return inbreeding, shared


def _made(row, plants, families, founder, gamete, child):
    """The row's own plant, and a maker of further members of its family."""
    mother = plants[row.mother] if row.mother else founder()
    if row.method == "founder":
        return founder(), None
    if row.method in ("founder_inbred", "dh"):
        one = founder()[:, 0] if row.method == "founder_inbred" else gamete(mother)
        plant = np.column_stack([one, one])
        return plant, lambda: plant
    if row.method == "self":
        for _ in range(row.selfings - 1):
            mother = child(mother, mother)
        return child(mother, mother), lambda: child(mother, mother)
    if row.method == "cross":
        father = plants[row.father] if row.father else founder()
        return child(mother, father), lambda: child(mother, father)
    if row.method == "open":
        return child(mother, founder()), lambda: child(mother, founder())
    if row.method == "sib":
        one, other = families[row.mother](), families[row.mother]()
        return child(one, other), lambda: child(one, other)
    assert row.method == "bulk"

    def member():
        return child(families[row.mother](), families[row.father or row.mother]())

    return member(), member


def _alike(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.mean(one[:, :, None] == other[:, None, :]))


def test_coancestry_when_every_method_is_used_then_as_genes_dropped():
    drops = 20_000
    inbreeding, shared = _drop_genes(EVERY_METHOD, drops, seed=20_310_518)
    kinship = find_coancestry(EVERY_METHOD)
    # A share seen in n drops has a standard error of at most 1 / (2 sqrt n); of the 552 values compared, one beyond
    # 4.5 of them is expected once in 270 such tests. The dice are fixed.
    tolerance = 4.5 * 0.5 / np.sqrt(drops)
    assert np.max(np.abs(kinship.inbreeding - inbreeding)) < tolerance
    assert np.max(np.abs(kinship.coancestry - shared)) < tolerance


def test_methods_when_tested_by_gene_dropping_then_all_of_them():
    assert {member.method for member in EVERY_METHOD} == set(METHODS)


@pytest.mark.parametrize(
    ("family", "expected"),
    [
        # Two members of the family, by hand from the rules of identity; founders unrelated.
        (Member("M", "cross", "A", "B"), 0.25),  # full sibs of two non-inbred plants
        (Member("M", "cross", "I", "J"), 0.5),  # an F2 by sibbing the F1 of two inbred lines
        (Member("M", "cross", "A", ""), 0.25),  # full sibs, father unknown but one plant
        (Member("M", "open", "A"), 0.125),  # half sibs
        (Member("M", "self", "A"), 0.5),  # progeny of one plant
        (Member("M", "self", "A", "", 3), 0.875),  # ear-to-row: progeny of one S2 plant
        (Member("M", "dh", "A"), 1.0),
        (Member("M", "founder_inbred"), 1.0),
    ],
)
def test_sib_when_the_family_is_known_then_inbred_as_two_members_are_related(family, expected):
    founders = [Member("A", "founder"), Member("B", "founder")]
    founders += [Member("I", "founder_inbred"), Member("J", "founder_inbred")]
    kinship = find_coancestry([*founders, family, Member("S", "sib", "M")])
    assert kinship.inbreeding[-1] == expected
    assert kinship.coancestry[-1, -2] == expected  # neither of the two plants is the one M stands for


def test_bulk_when_repeated_then_holds_the_inbreeding_of_its_family():
    members = [Member("A", "founder"), Member("B", "founder"), Member("M0", "cross", "A", "B")]
    members += [Member(f"M{t}", "bulk", f"M{t - 1}") for t in range(1, 6)]
    assert list(find_coancestry(members).inbreeding[3:]) == [0.25] * 5


def test_order_when_rows_are_reversed_then_the_same_values():
    forward, backward = find_coancestry(EVERY_METHOD), find_coancestry(EVERY_METHOD[::-1])
    assert backward.lines == forward.lines[::-1]
    assert np.array_equal(backward.inbreeding, forward.inbreeding[::-1])
    assert np.array_equal(backward.coancestry, forward.coancestry[::-1, ::-1])


def test_long_chain_when_thousands_of_generations_then_no_fault():
    members = [Member(f"S{t}", "self", f"S{t - 1}") for t in range(1500, 0, -1)] + [Member("S0", "founder")]
    found = find_coancestry(members).inbreeding
    assert found[-2] == 0.5
    assert found[0] == 1.0
    assert order_members(members)[0] == len(members) - 1


A, B = Member("A", "founder"), Member("B", "founder")
X = Member("X", "cross", "A", "B")


@pytest.mark.parametrize(
    ("members", "code", "column"),
    [
        ([A, B, A], "line_twice", "line"),
        ([Member("", "founder")], "line_nameless", "line"),
        ([Member("A", "clone")], "method_unknown", "method"),
        ([A, Member("X", "cross", "A", "Z")], "parent_has_no_row", "father"),
        ([A, Member("X", "self")], "mother_missing", "mother"),
        ([A, B, X, Member("Y", "bulk", "", "X")], "mother_missing", "mother"),
        ([A, B, Member("X", "self", "A", "B")], "father_not_wanted", "father"),
        ([A, B, Member("X", "dh", "A", "B")], "father_not_wanted", "father"),
        ([A, B, X, Member("Y", "sib", "X", "B")], "father_not_wanted", "father"),
        ([A, B, Member("X", "open", "A", "B")], "father_not_wanted", "father"),
        ([A, Member("B", "founder", "A")], "founder_with_parent", "mother"),
        ([A, Member("X", "self", "A", "", 0)], "selfings_below_one", "selfings"),
        ([A, Member("X", "dh", "A", "", 2)], "selfings_not_wanted", "selfings"),
        ([A, Member("X", "sib", "A")], "founder_is_no_family", "mother"),
        ([A, B, X, Member("Y", "bulk", "X", "A")], "founder_is_no_family", "father"),
        ([A, Member("X", "cross", "A", "A")], "cross_with_itself", "father"),
        ([Member("X", "self", "X")], "pedigree_loop", "mother"),
        ([A, Member("P", "cross", "A", "Q"), Member("Q", "cross", "A", "P")], "pedigree_loop", "father"),
    ],
)
def test_members_when_no_pedigree_then_refused_at_the_column(members, code, column):
    with pytest.raises(InputRefused) as caught:
        find_coancestry(members)
    assert [(finding.code, finding.place.column) for finding in caught.value.findings] == [(code, column)]


def test_loop_when_long_then_the_whole_ring_is_named():
    ring = [Member("P", "self", "Q"), Member("Q", "cross", "A", "R"), Member("R", "dh", "P"), A]
    with pytest.raises(InputRefused, match=re.escape("P <- Q <- R <- P")):
        find_coancestry([Member("T", "self", "P"), *ring])


def test_cross_with_itself_when_fully_inbred_then_allowed():
    members = [A, Member("D", "dh", "A"), Member("X", "cross", "D", "D")]
    assert find_coancestry(members).inbreeding[-1] == 1.0
    assert list(find_gene_flow(members)[-1]) == [1.0, 1.0, 1.0]
    assert find_mendelian_variance(members)[-1] == 0.0


def test_place_when_known_then_named_in_the_complaint():
    with pytest.raises(InputRefused, match=r"p.csv, line 4, column mother: line 'X': .*'a'.*Did you mean 'A'"):
        find_coancestry([A, Member("X", "self", "a", place=Place("p.csv", 4))])


def test_inverse_when_several_selfings_then_the_numeric_inverse():
    members = [A, B, X, Member("S", "self", "X", "", 4), Member("O", "open", "S"), Member("Y", "cross", "O", "X")]
    expected = np.linalg.inv(2 * find_coancestry(members).coancestry)
    assert np.max(np.abs(find_relationship_inverse(members) - expected)) < 1e-10


def test_inverse_when_a_member_adds_no_variance_then_refused_by_name():
    lines = [Member("I", "founder_inbred"), Member("J", "founder_inbred"), Member("H", "cross", "I", "J")]
    with pytest.raises(InputRefused, match="line 'H' adds no variance"):
        find_relationship_inverse(lines)


def test_inverse_when_a_family_was_sibbed_then_refused():
    with pytest.raises(InputRefused, match="made by sib"):
        find_relationship_inverse([A, B, X, Member("Y", "sib", "X")])


def test_pedigree_when_too_large_then_refused():
    members = [Member(str(number), "founder") for number in range(MEMBERS_MAX + 1)]
    with pytest.raises(InputRefused, match="more than 10000"):
        find_coancestry(members)

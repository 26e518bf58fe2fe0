"""Are large pedigrees refused like small ones, singular ones made of combinations, and long ones well-behaved?"""

import numpy as np
import pytest

from firstsilk.answers import InputRefused, Place
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm
from firstsilk.science.lineage import plant_kernels
from firstsilk.science.lineage.kinship import MEMBERS_MAX, find_coancestry
from firstsilk.science.lineage.large_pedigree import find_coancestry_of_pairs, find_inbreeding
from firstsilk.science.lineage.members import METHODS, Member
from firstsilk.science.lineage.plants import CODE, lay_out_plants, read_members
from firstsilk.science.lineage.relationship_inverse import NO_VARIANCE, as_matrix, find_sparse_relationship
from tests.science.test_kinship import EVERY_METHOD

A, B = Member("A", "founder"), Member("B", "founder")
P, Q = Member("P", "founder_inbred"), Member("Q", "founder_inbred")
X = Member("X", "cross", "A", "B")


@pytest.mark.parametrize(
    ("members", "code", "column"),
    [
        ([A, B, A], "line_twice", "line"),
        ([Member("", "founder")], "line_nameless", "line"),
        ([Member("A", "clone")], "method_unknown", "method"),
        ([Member("X", "self", "Z")], "parent_has_no_row", "mother"),
        ([A, Member("X", "cross", "A", "Z")], "parent_has_no_row", "father"),
        ([A, Member("X", "self")], "mother_missing", "mother"),
        ([A, Member("X", "open")], "mother_missing", "mother"),
        ([A, B, X, Member("Y", "bulk", "", "X")], "mother_missing", "mother"),
        ([A, B, Member("X", "self", "A", "B")], "father_not_wanted", "father"),
        ([A, B, Member("X", "dh", "A", "B")], "father_not_wanted", "father"),
        ([A, B, X, Member("Y", "sib", "X", "B")], "father_not_wanted", "father"),
        ([A, B, Member("X", "open", "A", "B")], "father_not_wanted", "father"),
        ([A, Member("B", "founder", "A")], "founder_with_parent", "mother"),
        ([A, Member("B", "founder_inbred", "", "A")], "founder_with_parent", "father"),
        ([A, Member("X", "self", "A", "", 0)], "selfings_below_one", "selfings"),
        ([A, Member("X", "dh", "A", "", 2)], "selfings_not_wanted", "selfings"),
        ([A, Member("X", "sib", "A")], "founder_is_no_family", "mother"),
        ([A, B, X, Member("Y", "bulk", "X", "A")], "founder_is_no_family", "father"),
        ([A, Member("X", "cross", "A", "A")], "cross_with_itself", "father"),
        ([Member("X", "self", "X")], "pedigree_loop", "mother"),
        ([A, Member("P", "cross", "A", "Q"), Member("Q", "cross", "A", "P")], "pedigree_loop", "father"),
    ],
)
def test_members_when_no_pedigree_then_refused_as_by_the_table(members, code, column):
    told = []
    for find in (
        find_coancestry,
        find_inbreeding,
        find_sparse_relationship,
        lambda rows: find_coancestry_of_pairs(rows, []),
    ):
        with pytest.raises(InputRefused) as caught:
            find(members)
        told.append([finding.as_text() for finding in caught.value.findings])
        assert [(finding.code, finding.place.column) for finding in caught.value.findings] == [(code, column)]
    assert told == [told[0]] * 4


def test_loop_when_outside_of_what_is_wanted_then_refused_all_the_same():
    members = [A, Member("P", "cross", "A", "Q"), Member("Q", "cross", "A", "P", place=Place("p.csv", 4))]
    with pytest.raises(InputRefused, match="P <- Q <- P"):
        find_sparse_relationship(members, ["A"])


def test_wanted_when_not_in_the_pedigree_then_named():
    with pytest.raises(InputRefused, match=r"'Z' is not in the pedigree \(1 such lines\)"):
        find_sparse_relationship([A, B], ["A", "Z"])


def test_pair_when_of_a_line_that_is_not_there_then_named():
    with pytest.raises(InputRefused, match="'Z' is not in the pedigree"):
        find_coancestry_of_pairs([A, B], [("A", "B"), ("A", "Z")])


def test_nobody_when_asked_then_empty():
    assert find_inbreeding([]).shape == (0,)
    assert find_sparse_relationship([]).precision.shape == (0, 0)
    assert as_matrix(find_sparse_relationship([A], [])).matrix.shape == (0, 0)


def test_every_method_when_used_then_the_table():
    assert {member.method for member in EVERY_METHOD} == set(METHODS)
    kinship = find_coancestry(EVERY_METHOD)
    assert np.array_equal(find_inbreeding(EVERY_METHOD), kinship.inbreeding)
    written = as_matrix(find_sparse_relationship(EVERY_METHOD)).matrix
    assert np.max(np.abs(written - 2 * kinship.coancestry)) < 1e-12


def test_cross_of_inbreds_when_singular_then_the_mean_of_its_parents():
    members = [P, Q, Member("F1", "cross", "P", "Q"), Member("S", "self", "F1"), Member("D", "dh", "F1")]
    found = find_sparse_relationship(members)
    # By hand: sources P, Q, S, D with d = 2, 2, 1/2, 1; S and D draw half and half on P and Q through the F1.
    assert found.to_level.toarray().tolist() == [
        [1, 0, 0, 0],
        [0, 1, 0, 0],
        [0.5, 0.5, 0, 0],
        [0, 0, 1, 0],
        [0, 0, 0, 1],
    ]
    expected = [[1.25, 0.75, -1, -0.5], [0.75, 1.25, -1, -0.5], [-1, -1, 2, 0], [-0.5, -0.5, 0, 1]]
    assert found.precision.toarray().tolist() == expected
    assert found.log_size == pytest.approx(np.log(2 * 2 * 0.5 * 1), abs=1e-15)
    assert found.diagonal.tolist() == [2, 2, 1, 1.5, 2]


def test_selfs_and_doubled_haploids_of_a_pure_line_when_related_then_that_line():
    members = [P, Member("S", "self", "P", "", 3), Member("D", "dh", "S"), Member("T", "cross", "D", "S"), Q]
    members += [Member("F1", "cross", "T", "Q"), Member("AGAIN", "cross", "P", "Q"), Member("SIB", "sib", "D")]
    found = find_sparse_relationship(members)
    assert found.to_level.toarray().tolist() == [[1, 0]] * 4 + [[0, 1], [0.5, 0.5], [0.5, 0.5], [1, 0]]
    assert found.precision.toarray().tolist() == [[0.5, 0], [0, 0.5]]


def test_double_cross_when_of_two_hybrids_then_draws_on_four_lines():
    lines = [Member(name, "founder_inbred") for name in "PQRS"]
    hybrids = [Member("H", "cross", "P", "Q"), Member("K", "cross", "R", "S")]
    found = find_sparse_relationship([*lines, *hybrids, Member("DC", "cross", "H", "K")])
    # d = 1 - (1 + 1) / 4 = 1/2: its row is 2 at itself and -2/4 at each of the four.
    assert found.precision.toarray()[4].tolist() == [-0.5, -0.5, -0.5, -0.5, 2]


def test_selfings_when_in_one_row_or_one_row_each_then_the_same_variance():
    chain = [A, *(Member(f"S{t}", "self", f"S{t - 1}" if t > 1 else "A") for t in range(1, 6))]
    row = [A, Member("S5", "self", "A", "", 5)]
    one, other = find_sparse_relationship(chain, ["A", "S5"]), find_sparse_relationship(row)
    # (1 - F)(1 - 1/2^5) with F = 0; the chain's own four between are merged with the last.
    assert other.precision.toarray().tolist() == one.precision.toarray().tolist()
    assert 1 / other.precision.toarray()[1, 1] == pytest.approx(1 - 0.5**5, rel=1e-15)


def test_line_when_selfed_for_ever_then_no_number_runs_away():
    members = [A, B, X, *(Member(f"S{t}", "self", f"S{t - 1}" if t > 1 else "X") for t in range(1, 80))]
    found = find_sparse_relationship(members)
    assert found.precision.max() < 3 / NO_VARIANCE
    assert found.to_level.toarray()[-1].tolist() == found.to_level.toarray()[40].tolist()
    assert np.max(np.abs(as_matrix(found).matrix - 2 * find_coancestry(members).coancestry)) < 1e-7


def test_wanted_when_few_of_many_then_only_ancestors_and_merged():
    members = [P, Q, Member("F1", "cross", "P", "Q"), *(Member(f"D{k}", "dh", "F1") for k in range(100))]
    found = find_sparse_relationship(members, ["D5", "D7"])
    # Both founders lead to the F1 only, and are merged with it: sources F1, D5, D7.
    assert found.names == ("D5", "D7")
    assert found.precision.toarray().tolist() == [[3, -1, -1], [-1, 1, 0], [-1, 0, 1]]
    assert found.to_level.toarray().tolist() == [[0, 1, 0], [0, 0, 1]]


def _bulk_of(lines: int) -> list[Member]:
    """So many inbreds bulked two by two until one bulk is left: `B`, and three bulks within it."""
    members, names = [Member(f"L{k}", "founder_inbred") for k in range(lines)], [f"L{k}" for k in range(lines)]
    while len(names) > 1:
        made = [
            Member(f"{one}+{other}", "bulk", one, other) for one, other in zip(names[::2], names[1::2], strict=True)
        ]
        members += made
        names = [row.line for row in made]
    return [*members, *(Member(f"B{k}", "bulk", names[0]) for k in range(3))]


def test_bulk_when_of_many_lines_then_every_plant_draws_on_all():
    members = _bulk_of(256)
    found = find_sparse_relationship(members)
    at = found.names.index("B0")
    assert found.precision[[found.to_level[[at]].indices[0]]].nnz == 257
    assert np.max(np.abs(as_matrix(found).matrix - 2 * find_coancestry(members).coancestry)) < 1e-12


def test_bulks_when_of_very_many_lines_then_refused_before_memory_is_full(monkeypatch):
    # By hand: 16 lines, 4 plants that draw on 4 lines, 2 on 8, 4 on 16 (a bulk of two inbreds is their mean):
    # 16 + 4 x 5 x 5 + 2 x 9 x 9 + 4 x 17 x 17 = 1,434.
    monkeypatch.setattr("firstsilk.science.lineage.relationship_inverse.ENTRIES_MAX", 1_434)
    assert find_sparse_relationship(_bulk_of(16)).precision.shape == (26, 26)
    monkeypatch.setattr("firstsilk.science.lineage.relationship_inverse.ENTRIES_MAX", 1_433)
    with pytest.raises(InputRefused, match="draws on up to 16 lines at once"):
        find_sparse_relationship(_bulk_of(16))


def test_fit_when_only_lines_with_records_are_wanted_then_the_same_predictions():
    dice = np.random.default_rng(8)
    parents = [Member(f"P{k}", "founder_inbred") for k in range(6)]
    crosses = [Member(f"F{k}", "cross", f"P{k}", f"P{(k + 1) % 6}") for k in range(6)]
    lines = [
        Member(f"S{k}", "self", f"F{k % 6}", "", 4) if k % 3 else Member(f"S{k}", "dh", f"F{k % 6}") for k in range(60)
    ]
    members = [*parents, *crosses, *lines]
    seen = [row.line for row in lines[:50]]
    worth = dict(zip(seen, dice.normal(0, 2, 50), strict=True))
    data: dict[str, list[object]] = {
        "line": [*seen, *seen],
        "y": [worth[line] + dice.normal() for line in [*seen, *seen]],
    }
    whole, part = (
        fit_mixed_model(data, Model("y", (), (RandomTerm(("line",), related),)))
        for related in (find_sparse_relationship(members), find_sparse_relationship(members, seen))
    )
    assert whole.variance("line") > 0.5
    assert part.reml_log_likelihood == pytest.approx(whole.reml_log_likelihood, abs=1e-8)
    told = {line.level: (line.value, line.se) for line in whole.random}
    assert sorted(told) == sorted(row.line for row in members)
    for line in part.random:
        assert (line.value, line.se) == pytest.approx(told[line.level], abs=1e-5)


def test_order_when_progeny_come_first_then_parents_are_put_first():
    table = read_members(EVERY_METHOD[::-1])
    plants = lay_out_plants(table)
    assert np.all(plants.one < np.arange(len(plants.one)))
    assert np.all(plants.other < np.arange(len(plants.one)))
    assert len(set(plants.of_member.tolist())) == len(EVERY_METHOD)


def test_codes_when_compiled_then_those_of_the_methods():
    names = ("FOUNDER", "INBRED", "CROSS", "SELF", "SIB", "DH", "BULK", "OPEN")
    assert [getattr(plant_kernels, name) for name in names] == list(CODE.values())


def test_inbreeding_when_more_members_than_the_table_holds_then_full_sibs_as_the_series():
    # 2,000 lines of six generations of brother-sister mating: F = 0, 1/4, 3/8, 1/2, 19/32 (Wright 1921).
    members = [A, B]
    for line in range(2_000):
        pair = ("A", "B")
        for generation in range(5):
            sibs = (f"{line}.{generation}a", f"{line}.{generation}b")
            members += [Member(name, "cross", *pair) for name in sibs]
            pair = sibs
    assert len(members) > MEMBERS_MAX
    inbreeding, coancestry = find_coancestry_of_pairs(members, [("0.0a", "1999.0b"), ("A", "1.4a"), ("7.4a", "7.4a")])
    assert set(map(tuple, inbreeding[2:].reshape(-1, 10).tolist())) == {
        (0.0, 0.0, 0.25, 0.25, 0.375, 0.375, 0.5, 0.5, 19 / 32, 19 / 32)
    }
    assert coancestry.tolist() == [0.25, 0.25, (1 + 19 / 32) / 2]

"""Are inbreeding and relationship of large pedigrees those of the table of all pairs, for any pedigree?"""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.large_pedigree import find_coancestry_of_pairs, find_inbreeding
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.relationship_inverse import NO_VARIANCE, as_matrix, find_sparse_relationship
from tests.properties.test_kinship_laws import pedigrees

DICE = st.randoms(use_true_random=False)
# What is left out along a line is below NO_VARIANCE + half of it + a quarter ...; beside 1/d, 1 keeps some eps/d.
CLOSE = 2 * NO_VARIANCE + 4 * np.finfo(np.float64).eps / NO_VARIANCE


@st.composite
def crowds(draw) -> list[Member]:
    """Some hundred members in six generations, so that many parents are worked out side by side; still exact."""
    dice = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    wide = draw(st.integers(5, 60))
    founders = [Member(f"0.{k}", str(dice.choice(["founder", "founder_inbred"]))) for k in range(wide)]
    members, inbred = list(founders), {row.line for row in founders if row.method == "founder_inbred"}
    sibbed = set(inbred)
    for generation in range(1, 7):
        before = [row.line for row in members]
        made = [_draw_member(f"{generation}.{k}", dice, before, inbred, sorted(sibbed)) for k in range(wide)]
        members += made
        inbred |= {row.line for row in made if row.method == "dh"}
        sibbed |= {row.line for row in made}
    return members


def _draw_member(line: str, dice, before: list[str], inbred: set[str], sibbed: list[str]) -> Member:
    method = str(dice.choice(["cross", "cross", "cross", "cross", "self", "dh", "open", "sib", "bulk"]))
    if method in ("sib", "bulk") and not sibbed:
        method = "open"
    mother, father = (str(name) for name in dice.choice(sibbed if method in ("sib", "bulk") else before, 2))
    if method == "cross":
        mother = mother if dice.random() < 0.9 else ""
        father = "" if father == mother and mother not in inbred else father
    elif method != "bulk":
        father = ""
    return Member(line, method, mother, father, int(dice.integers(1, 4)) if method == "self" else 1)


@given(pedigrees() | crowds(), DICE)
@settings(max_examples=200, deadline=None)
def test_inbreeding_when_any_pedigree_in_any_order_then_exactly_that_of_the_table(members, dice):
    members = list(members)
    dice.shuffle(members)
    assert np.array_equal(find_inbreeding(members), find_coancestry(members).inbreeding)


@given(pedigrees() | crowds(), st.data())
@settings(max_examples=150, deadline=None)
def test_coancestry_of_pairs_when_any_pedigree_then_exactly_that_of_the_table(members, data):
    kinship = find_coancestry(members)
    at = data.draw(st.lists(st.tuples(*[st.integers(0, len(members) - 1)] * 2), max_size=80))
    inbreeding, coancestry = find_coancestry_of_pairs(members, [(kinship.lines[k], kinship.lines[j]) for k, j in at])
    assert np.array_equal(inbreeding, kinship.inbreeding)
    assert coancestry.tolist() == [float(kinship.coancestry[k, j]) for k, j in at]


@given(pedigrees() | crowds(), DICE)
@settings(max_examples=150, deadline=None)
def test_sparse_relationship_when_any_pedigree_then_twice_the_coancestry_of_all_members(members, dice):
    members = list(members)
    dice.shuffle(members)
    kinship, found = find_coancestry(members), find_sparse_relationship(members)
    assert found.names == kinship.lines
    assert np.array_equal(found.diagonal, 1 + kinship.inbreeding)
    precision, to_level = found.precision.toarray(), found.to_level.toarray()
    assert np.max(np.abs(to_level @ np.linalg.solve(precision, to_level.T) - 2 * kinship.coancestry)) < 1e-7
    written = as_matrix(found)
    assert written.names == kinship.lines
    assert np.max(np.abs(written.matrix - 2 * kinship.coancestry)) < CLOSE


@given(pedigrees() | crowds())
@settings(max_examples=100, deadline=None)
def test_sparse_relationship_when_any_pedigree_then_its_inverse_is_whole_and_its_size_the_determinant(members):
    found = find_sparse_relationship(members)
    precision = found.precision.toarray()
    assert np.array_equal(precision, precision.T)
    columns = [found.precision.indices[a:b].tolist() for a, b in zip(*_stretches(found.precision), strict=True)]
    assert all(row == sorted(set(row)) for row in columns)
    sign, size = np.linalg.slogdet(precision)
    assert sign == 1
    assert abs(size + found.log_size) < 1e-6 * (1 + abs(size))


@given(pedigrees() | crowds(), st.data())
@settings(max_examples=150, deadline=None)
def test_sparse_relationship_when_some_lines_are_wanted_then_that_part_of_the_whole(members, data):
    kinship = find_coancestry(members)
    wanted = data.draw(st.sets(st.sampled_from(kinship.lines), min_size=1, max_size=20))
    at = [k for k, line in enumerate(kinship.lines) if line in wanted]
    whole, found = find_sparse_relationship(members), find_sparse_relationship(members, wanted)
    assert found.names == tuple(kinship.lines[k] for k in at)
    assert np.array_equal(found.diagonal, 1 + kinship.inbreeding[at])
    assert found.precision.shape[0] <= whole.precision.shape[0]
    expected = 2 * kinship.coancestry[np.ix_(at, at)]
    assert np.max(np.abs(as_matrix(found).matrix - expected)) < CLOSE


def _stretches(matrix):
    return matrix.indptr[:-1].tolist(), matrix.indptr[1:].tolist()

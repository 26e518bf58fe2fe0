"""Does the sparse inverse of the relationship agree with what was published or worked out by hand elsewhere?"""

import numpy as np
import pytest

from firstsilk.science.lineage.large_pedigree import find_inbreeding
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.relationship_inverse import as_matrix, find_sparse_relationship


def _animals(*rows: str) -> list[Member]:
    """`id:one,other` with 0 for an unknown parent."""
    members = []
    for row in rows:
        line, _, parents = row.partition(":")
        one, other = (parent if parent != "0" else "" for parent in parents.split(","))
        members.append(Member(line, "cross" if one or other else "founder", one, other))
    return members


# Mrode 2014, Linear Models for the Prediction of Animal Breeding Values, 3rd ed., Table 2.1 p. 25 (id: sire, dam).
BOOK = _animals("1:0,0", "2:0,0", "3:1,2", "4:1,0", "5:4,3", "6:5,2")
# Plants: 1, 2 non-inbred; 3 = 1 x 2; 4 = self 3; 5 = self 4; 6 = DH of 3; 7 = 5 x 6.
SEVEN = [
    *_animals("1:0,0", "2:0,0", "3:1,2"),
    Member("4", "self", "3"),
    Member("5", "self", "4"),
    Member("6", "dh", "3"),
    Member("7", "cross", "5", "6"),
]


def test_inverse_when_book_pedigree_then_by_the_rules_with_inbreeding():
    # Quaas 1976, Biometrics 32:949, rules by hand; Mrode 2014 sec. 2.3 prints D = 1, 1, 0.5, 0.75, 0.5, 0.469.
    expected = [
        [1.8333333, 0.5, -1, -0.6666667, 0, 0],
        [0.5, 2.0333333, -1, 0, 0.5333333, -1.0666667],
        [-1, -1, 2.5, 0.5, -1, 0],
        [-0.6666667, 0, 0.5, 1.8333333, -1, 0],
        [0, 0.5333333, -1, -1, 2.5333333, -1.0666667],
        [0, -1.0666667, 0, 0, -1.0666667, 2.1333333],
    ]
    found = find_sparse_relationship(BOOK)
    assert found.to_level.toarray().tolist() == np.eye(6).tolist()
    assert np.max(np.abs(found.precision.toarray() - expected)) <= 1e-7
    assert found.log_size == pytest.approx(np.log(0.5 * 0.75 * 0.5 * 0.46875), abs=1e-12)
    assert found.diagonal.tolist() == [1, 1, 1, 1, 1.125, 1.125]


def test_relationship_when_book_pedigree_then_whole_matrix_by_hand():
    # Tabular method by hand; F as printed by Mrode 2014 sec. 2.2.
    expected = [
        [1, 0, 0.5, 0.5, 0.5, 0.25],
        [0, 1, 0.5, 0, 0.25, 0.625],
        [0.5, 0.5, 1, 0.25, 0.625, 0.5625],
        [0.5, 0, 0.25, 1, 0.625, 0.3125],
        [0.5, 0.25, 0.625, 0.625, 1.125, 0.6875],
        [0.25, 0.625, 0.5625, 0.3125, 0.6875, 1.125],
    ]
    assert np.max(np.abs(as_matrix(find_sparse_relationship(BOOK)).matrix - expected)) <= 1e-12


def test_inbreeding_when_course_pedigree_then_as_printed():
    # Royal Vet. & Agric. University Copenhagen, genetics course, sec. 4.4: F printed as .125, .125, .218 (cut off).
    course = _animals("1:0,0", "2:1,0", "3:1,0", "4:1,0", "5:2,3", "6:4,3", "7:5,6")
    assert find_inbreeding(course).tolist() == [0, 0, 0, 0, 0.125, 0.125, 0.21875]


def test_inverse_when_selfed_and_doubled_then_by_hand():
    # By hand with the plants' own Mendelian variances, D = 1, 1, 1/2, 1/2, 1/4, 1, 1/16.
    expected = [
        [1.5, 0.5, -1, 0, 0, 0, 0],
        [0.5, 1.5, -1, 0, 0, 0, 0],
        [-1, -1, 5, -2, 0, -1, 0],
        [0, 0, -2, 6, -4, 0, 0],
        [0, 0, 0, -4, 8, 4, -8],
        [0, 0, -1, 0, 4, 5, -8],
        [0, 0, 0, 0, -8, -8, 16],
    ]
    found = find_sparse_relationship(SEVEN)
    assert found.precision.toarray().tolist() == expected
    assert found.log_size == pytest.approx(-5.5451774, abs=1e-7)


def test_relationship_when_selfed_and_doubled_then_by_hand():
    expected = [
        [0.5, 0.5, 1, 1, 1, 1, 1],
        [0.5, 0.5, 1, 1.5, 1.5, 1, 1.25],
        [0.5, 0.5, 1, 1.5, 1.75, 1, 1.375],
        [0.5, 0.5, 1, 1, 1, 2, 1.5],
        [0.5, 0.5, 1, 1.25, 1.375, 1.5, 1.5],
    ]
    assert np.max(np.abs(as_matrix(find_sparse_relationship(SEVEN)).matrix[2:] - expected)) <= 1e-12


def test_coancestry_when_from_inbred_founders_then_the_table_by_hand():
    # A, B, C unrelated inbred lines; coancestry with A, B, C and DH1, and F, by the rules of Malecot 1948 by hand.
    members = [Member(name, "founder_inbred") for name in "ABC"]
    members += [Member("F1", "cross", "A", "B"), Member("F2", "self", "F1"), Member("F3", "self", "F2")]
    members += [Member("DH1", "dh", "F1"), Member("DH2", "dh", "F1"), Member("TWC", "cross", "F1", "C")]
    members += [Member("DH3", "dh", "TWC"), Member("BC1", "cross", "A", "F1"), Member("DH4", "dh", "BC1")]
    expected = {
        "F1": (0, 0.5, 0.5, 0, 0.5),
        "F2": (0.5, 0.5, 0.5, 0, 0.5),
        "F3": (0.75, 0.5, 0.5, 0, 0.5),
        "DH1": (1, 0.5, 0.5, 0, 1),
        "DH2": (1, 0.5, 0.5, 0, 0.5),
        "TWC": (0, 0.25, 0.25, 0.5, 0.25),
        "DH3": (1, 0.25, 0.25, 0.5, 0.25),
        "BC1": (0.5, 0.75, 0.25, 0, 0.5),
        "DH4": (1, 0.75, 0.25, 0, 0.5),
    }
    found = find_sparse_relationship(members)
    half = as_matrix(found).matrix / 2
    at = {name: place for place, name in enumerate(found.names)}
    for line, (inbreeding, *shared) in expected.items():
        assert found.diagonal[at[line]] == 1 + inbreeding
        assert half[at[line], [at[name] for name in ("A", "B", "C", "DH1")]] == pytest.approx(shared, abs=1e-12)


def test_predictions_when_by_the_sparse_inverse_then_as_the_book_solves_them():
    # Mrode 2014 Ex 3.1 (solutions from memory, recomputed): s2a 20, s2e 40; gains of calves 4-8 and their sexes.
    animals = _animals("1:0,0", "2:0,0", "3:0,0", "4:1,0", "5:3,2", "6:1,2", "7:4,5", "8:3,6")
    found = find_sparse_relationship(animals)
    X = np.array([[1, 0], [0, 1], [0, 1], [1, 0], [1, 0]], dtype=float)
    Z = found.to_level.toarray()[3:]
    y = np.array([4.5, 2.9, 3.9, 3.5, 5.0])
    left = np.block([[X.T @ X, X.T @ Z], [Z.T @ X, Z.T @ Z + 2 * found.precision.toarray()]])
    solved = np.linalg.solve(left, np.concatenate([X.T @ y, Z.T @ y]))
    assert solved[:2] == pytest.approx([4.358502, 3.404430], abs=1e-6)
    expected = [0.098445, -0.018770, -0.041084, -0.008663, -0.185732, 0.176872, -0.249459, 0.182615]
    assert solved[2:] == pytest.approx(expected, abs=1e-6)
    reliability = 1 - np.diag(np.linalg.inv(left))[2:] * 2 / found.diagonal
    expected = [0.0578, 0.0158, 0.0871, 0.1446, 0.1438, 0.1154, 0.1163, 0.1553]
    assert reliability == pytest.approx(expected, abs=6e-5)

"""Does a pedigree file read sparsely say the same as one read in full, and is a wrong one refused at its place?"""

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.pedigrees import read_pedigree
from firstsilk.faces.files.relationships import read_pedigree_relationship
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship
from firstsilk.science.lineage.kinship import find_relationship
from firstsilk.science.lineage.relationship_inverse import as_matrix

PEDIGREE = """line,mother,father,method,selfings
D1,F1,,dh,
D2,F1,,dh,
F1,A,B,cross,
A,,,founder_inbred,
B,,,founder_inbred,
S3,F1,F1,self,3
SIB,F1,,sib,
OP,S3,,open,
"""


@pytest.fixture
def pedigree(tmp_path):
    path = tmp_path / "pedigree.csv"
    path.write_text(PEDIGREE, encoding="utf-8")
    return path


def _read_in_full(path):
    members = read_pedigree(path)
    return Relationship(tuple(member.line for member in members), find_relationship(members))


def test_pedigree_when_read_sparsely_then_the_matrix_of_the_full_reading(pedigree):
    sparse, full = read_pedigree_relationship(pedigree), _read_in_full(pedigree)
    assert sparse.names == full.names == ("D1", "D2", "F1", "A", "B", "S3", "SIB", "OP")
    assert sparse.precision.shape == (7, 7)  # the F1 of two inbreds is their mean
    assert np.max(np.abs(as_matrix(sparse).matrix - full.matrix)) < 1e-12


def test_lines_when_some_are_wanted_then_these_alone(pedigree):
    sparse, full = read_pedigree_relationship(pedigree, {"D2", "OP"}), _read_in_full(pedigree)
    assert sparse.names == ("D2", "OP")
    assert np.max(np.abs(as_matrix(sparse).matrix - full.matrix[np.ix_([1, 7], [1, 7])])) < 1e-12


def test_fit_when_the_relationship_is_sparse_or_written_out_then_as_with_the_full_one(pedigree):
    dice = np.random.default_rng(3)
    lines = ["D1", "D2", "F1", "A", "B", "S3", "SIB", "OP"] * 3
    shift = dict(zip(sorted(set(lines)), dice.normal(0, 2, 8), strict=True))
    data = {"line": lines, "yield": [10 + shift[line] + dice.normal() for line in lines]}
    sparse = read_pedigree_relationship(pedigree)
    full, *others = [
        fit_mixed_model(data, Model("yield", (), (RandomTerm(("line",), related),)))
        for related in (_read_in_full(pedigree), sparse, as_matrix(sparse))
    ]
    assert full.variance("line") > 0.1
    for fit in others:
        assert fit.reml_log_likelihood == pytest.approx(full.reml_log_likelihood, abs=1e-8)
        assert fit.variance("line") == pytest.approx(full.variance("line"), rel=1e-5)
        assert [line.level for line in fit.random] == [line.level for line in full.random]
        assert [line.value for line in fit.random] == pytest.approx([line.value for line in full.random], abs=1e-5)
        told = [line.reliability for line in full.random]
        assert [line.reliability for line in fit.random] == pytest.approx(told, abs=1e-5)


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("A,B,,self,\nB,A,,self,\n", "bad.csv, line 2, column mother: .*A <- B <- A"),
        ("A,,,founder,\nX,A,A,cross,\n", "bad.csv, line 3, column father: .*fully inbred"),
        ("A,Z,,self,\n", "bad.csv, line 2, column mother: .*no row of its own"),
    ],
)
def test_pedigree_when_wrong_then_refused_at_its_place(tmp_path, monkeypatch, rows, says):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.csv").write_text("line,mother,father,method,selfings\n" + rows, encoding="utf-8")
    with pytest.raises(InputRefused, match=says):
        read_pedigree_relationship("bad.csv")


def test_matrix_when_given_for_a_pedigree_then_its_columns_are_asked_for(tmp_path):
    (tmp_path / "matrix.csv").write_text("name,A,B\nA,1,0\nB,0,1\n", encoding="utf-8")
    with pytest.raises(InputRefused, match="line"):
        read_pedigree_relationship(tmp_path / "matrix.csv")

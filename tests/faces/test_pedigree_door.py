"""Does the door `pedigree` give the normal form, the nested tree and the shares?"""

import json

import pytest

from firstsilk.faces.command.main import run


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_pedigree_when_read_then_one_object_with_normal_tree_and_shares(capsys, more):
    assert run(["pedigree", "A*2/B//C", *more]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "normal": "A*2/B//C",
        "tree": [["A", ["A", "B"]], "C"],
        "shares": {"A": 0.375, "B": 0.125, "C": 0.5},
    }


def test_pedigree_when_one_name_then_the_tree_is_that_name(capsys):
    assert run(["pedigree", "XA26-0417-3"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "normal": "XA26-0417-3",
        "tree": "XA26-0417-3",
        "shares": {"XA26-0417-3": 1.0},
    }


def test_pedigree_when_out_is_given_then_the_shares_are_written_as_a_table(tmp_path, capsys):
    assert run(["pedigree", "A/B", "--out", str(tmp_path / "shares.csv")]) == 0
    assert (tmp_path / "shares.csv").read_text(encoding="utf-8") == "founder,share\nA,0.5\nB,0.5\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [("A/B/C", "character 4"), ("A//B", "character 2"), ("", "character 1"), ("A/(B", "character 3")],
)
def test_pedigree_when_it_cannot_be_meant_then_exit_one_with_the_character(capsys, text, says):
    assert run(["pedigree", text]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert says in told.err
    assert told.err.count("\n") == 1


def test_pedigree_when_refused_with_json_then_the_refusal_as_an_object(capsys):
    assert run(["pedigree", "A/B/C", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["code"] == "cross_order_unknown"
    assert found["facts"] == {"position": "4"}


def test_pedigree_when_nothing_is_given_then_exit_two(capsys):
    assert run(["pedigree"]) == 2

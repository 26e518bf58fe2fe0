"""Does the door `pedigree` give the normal form, the nested tree and the shares?"""

import json

import pytest

from firstsilk.faces.command.main import run


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_pedigree_when_read_then_one_object_with_normal_tree_and_shares(capsys, more):
    assert run(["pedigree", "A*2/B//C", *more]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {key: found[key] for key in ("normal", "tree", "shares")} == {
        "normal": "A*2/B//C",
        "tree": [["A", ["A", "B"]], "C"],
        "shares": {"A": 0.375, "B": 0.125, "C": 0.5},
    }


def test_pedigree_when_one_name_then_the_tree_is_that_name(capsys):
    assert run(["pedigree", "XA26-0417-3"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {key: found[key] for key in ("normal", "tree", "shares")} == {
        "normal": "XA26-0417-3",
        "tree": "XA26-0417-3",
        "shares": {"XA26-0417-3": 1.0},
    }


def test_pedigree_when_ear_to_row_then_advances_generation_inbreeding_and_what_it_stands_for(capsys):
    assert run(["pedigree", "((A/B)-3)-1-B-B"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found == {
        "normal": "(A/B)-3-1-B*2",
        "tree": ["A", "B"],
        "shares": {"A": 0.5, "B": 0.5},
        "source": "A/B",
        "advances": [
            {"written": "3", "kind": "ear", "number": 3, "generations": 1},
            {"written": "1", "kind": "ear", "number": 1, "generations": 1},
            {"written": "B*2", "kind": "bulk", "number": None, "generations": 2},
        ],
        "generation": "F5",
        "inbreeding": 0.9375,
        "inbreeding_by_kin": 0.9375,
        "stands_for": "bulk",
        "derived_from": {"line": "(A/B)-3", "plant": "1", "generation": "F2"},
        "assumed": ["A, B are taken as inbred and unrelated"],
        "doubts": [],
    }


def test_pedigree_when_a_bare_name_then_what_it_does_not_tell_is_null(capsys):
    assert run(["pedigree", "EK12"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [found[key] for key in ("generation", "inbreeding", "stands_for", "derived_from")] == [None] * 4


def test_pedigree_when_rows_of_kinship_are_written_then_kin_reads_them_and_gives_its_inbreeding(tmp_path, capsys):
    rows = tmp_path / "rows.csv"
    assert run(["pedigree", "(A*2/B)-3-B*2-#", "--kin", str(rows)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert run(["kin", str(rows), "--json"]) == 0
    found = {one["line"]: one["inbreeding"] for one in json.loads(capsys.readouterr().out)["rows"]}
    assert found[told["normal"]] == told["inbreeding"] == 0.9375


def test_pedigree_when_out_is_given_then_the_shares_are_written_as_a_table(tmp_path, capsys):
    assert run(["pedigree", "A/B", "--out", str(tmp_path / "shares.csv")]) == 0
    assert (tmp_path / "shares.csv").read_text(encoding="utf-8") == "founder,share\nA,0.5\nB,0.5\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("A/B/C", "character 4"),
        ("A//B", "character 2"),
        ("", "character 1"),
        ("A/(B", "character 3"),
        ("(A/B)-03", "character 7"),
    ],
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

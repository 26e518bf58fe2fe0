"""Does the door `kin` keep its word: columns, pairs, JSON, exit codes, and complaints that name the place?"""

import csv
import json

import pytest

from firstsilk.faces.command.main import run

PEDIGREE = """line,mother,father,method,selfings
DH1,F1,,dh,
F1,A,B,cross,
A,,,founder_inbred,
B,,,founder_inbred,
S2,F1,F1,self,2
SIB,F1,,sib,
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pedigree.csv").write_text(PEDIGREE, encoding="utf-8")
    return tmp_path


def test_kin_when_a_pedigree_is_given_then_inbreeding_in_the_order_of_the_file(folder, capsys):
    assert run(["kin", "pedigree.csv"]) == 0
    assert capsys.readouterr().out == "line,inbreeding\nDH1,1\nF1,0\nA,1\nB,1\nS2,0.75\nSIB,0.5\n"


def test_kin_when_pairs_are_asked_then_every_unordered_pair_once_and_each_line_with_itself(folder, capsys):
    assert run(["kin", "pedigree.csv", "--pairs", "pairs.csv", "--out", "lines.csv"]) == 0
    assert capsys.readouterr().out == ""
    rows = list(csv.DictReader((folder / "pairs.csv").read_text(encoding="utf-8").splitlines()))
    assert list(rows[0]) == ["line_a", "line_b", "coancestry"]
    assert len(rows) == 6 * 7 // 2
    assert len({frozenset((row["line_a"], row["line_b"])) for row in rows}) == len(rows)
    found = {(row["line_a"], row["line_b"]): float(row["coancestry"]) for row in rows}
    assert found["DH1", "F1"] == 0.5
    assert found["F1", "F1"] == 0.5
    assert found["A", "B"] == 0
    assert (folder / "lines.csv").read_text(encoding="utf-8").startswith("line,inbreeding\nDH1,1\n")


def test_kin_when_among_is_given_then_only_those_pairs_in_that_order(folder, capsys):
    (folder / "among.csv").write_text("line_a,line_b\nS2,DH1\nA,A\n", encoding="utf-8")
    assert run(["kin", "pedigree.csv", "--pairs", "pairs.csv", "--among", "among.csv"]) == 0
    assert (folder / "pairs.csv").read_text(encoding="utf-8") == "line_a,line_b,coancestry\nS2,DH1,0.5\nA,A,1\n"


def test_kin_when_json_then_one_object_with_rows_and_pairs(folder, capsys):
    (folder / "among.csv").write_text("line_a,line_b\nS2,DH1\n", encoding="utf-8")
    assert run(["kin", "pedigree.csv", "--among", "among.csv", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["rows"][4] == {"line": "S2", "inbreeding": 0.75}
    assert found["pairs"] == [{"line_a": "S2", "line_b": "DH1", "coancestry": 0.5}]


def test_kin_when_run_twice_then_the_same_bytes(folder, capsys):
    run(["kin", "pedigree.csv", "--pairs", "one.csv"])
    run(["kin", "pedigree.csv", "--pairs", "two.csv"])
    assert (folder / "one.csv").read_bytes() == (folder / "two.csv").read_bytes()


@pytest.mark.parametrize("suffix", ["xlsx", "parquet"])
def test_kin_when_spreadsheet_or_parquet_then_read_and_written(folder, capsys, suffix):
    from firstsilk.faces.files.tables import read_table, write_table

    table = read_table("pedigree.csv")
    write_table(f"p.{suffix}", table.columns, [[row.text(column) for column in table.columns] for row in table.rows])
    assert run(["kin", f"p.{suffix}", "--out", f"lines.{suffix}"]) == 0
    assert [row.text("inbreeding") for row in read_table(f"lines.{suffix}").rows] == ["1", "0", "1", "1", "0.75", "0.5"]


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("A,B,,self,\nB,A,,self,\n", ["line 2, column mother", "A <- B <- A"]),
        ("A,,,founder,\nA,,,founder,\n", ["line 3, column line", "has a row already (first in line 2)", "'A'"]),
        ("A,,,clone,\n", ["line 2, column method", "'clone'", "founder_inbred"]),
        ("A,Z,,self,\n", ["line 2, column mother", "no row of its own", "'Z'", "Add a row for it"]),
        ("A,,,self,\n", ["line 2, column mother", "needs a mother"]),
        ("A,,,founder,\nB,,,founder,\nX,A,B,self,\n", ["line 4, column father", "one parent", "'B'"]),
        ("A,,,founder,\nX,A,A,cross,\n", ["line 3, column father", "fully inbred", "Use self"]),
        ("A,,,founder,\nX,A,,self,some\n", ["line 3, column selfings", "'some'"]),
        ("A,,,founder,\nX,A,,self,1.5\n", ["line 3, column selfings", "whole number"]),
        ("A,,,founder,\nX,A,,self,0\n", ["line 3, column selfings", "1 or more"]),
    ],
)
def test_kin_when_no_pedigree_then_exit_one_with_the_place_and_no_file(folder, capsys, rows, says):
    (folder / "bad.csv").write_text("line,mother,father,method,selfings\n" + rows, encoding="utf-8")
    assert run(["kin", "bad.csv", "--out", "lines.csv", "--pairs", "pairs.csv"]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("bad.csv, ")
    assert "Traceback" not in told.err
    for part in says:
        assert part in told.err
    assert not (folder / "lines.csv").exists()
    assert not (folder / "pairs.csv").exists()


def test_kin_when_a_column_is_missing_then_named(folder, capsys):
    (folder / "bad.csv").write_text("line,mother,father\nA,,\n", encoding="utf-8")
    assert run(["kin", "bad.csv"]) == 1
    assert "column 'method' is missing" in capsys.readouterr().err


def test_kin_when_among_names_an_unknown_line_then_refused_with_its_place(folder, capsys):
    (folder / "among.csv").write_text("line_a,line_b\nA,Q\n", encoding="utf-8")
    assert run(["kin", "pedigree.csv", "--pairs", "pairs.csv", "--among", "among.csv"]) == 1
    assert "among.csv, line 2, column line_b: this line is not in the pedigree" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments",
    [
        ["kin"],
        ["kin", "pedigree.csv", "--among", "pedigree.csv"],
        ["kin", "pedigree.csv", "--pairs", "-"],
        ["kin", "pedigree.csv", "--no-such-option"],
    ],
)
def test_kin_when_used_wrongly_then_exit_two(folder, capsys, arguments):
    assert run(arguments) == 2
    assert capsys.readouterr().out == ""


def test_kin_when_selfings_column_is_absent_then_one_generation(folder, capsys):
    (folder / "p.csv").write_text("method,line,father,mother\nself,X,,A\nfounder,A,,\n", encoding="utf-8")
    assert run(["kin", "p.csv"]) == 0
    assert capsys.readouterr().out == "line,inbreeding\nX,0.5\nA,0\n"


def _write_line_of_sibs(path, generations):
    rows = ["line,mother,father,method", "a0,,,founder", "b0,,,founder"]
    for at in range(1, generations + 1):
        rows += [f"{sib}{at},a{at - 1},b{at - 1},cross" for sib in "ab"]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def test_kin_when_large_then_the_same_answers_as_by_the_table(folder, capsys, monkeypatch):
    _write_line_of_sibs(folder / "sibs.csv", 30)
    (folder / "among.csv").write_text("line_a,line_b\na30,b30\na0,b1\nb7,b7\na30,b30\n", encoding="utf-8")
    asked = ["kin", "sibs.csv", "--among", "among.csv", "--pairs", "pairs.csv"]
    told = []
    for bound in (2_000, 10):
        monkeypatch.setattr("firstsilk.faces.command.lineage.TABLE_UP_TO", bound)
        assert run(asked) == 0
        told.append((capsys.readouterr().out, (folder / "pairs.csv").read_text(encoding="utf-8")))
        assert run(["kin", "sibs.csv"]) == 0
        assert capsys.readouterr().out == told[-1][0]
    assert told[0] == told[1]
    assert told[0][1].splitlines()[2:4] == ["a0,b1,0.25", "b7,b7,0.8671875"]  # (1 + F) / 2 with F = 0.734375


def test_kin_when_more_than_the_table_holds_then_told_without_all_pairs_and_refused_with(folder, capsys):
    _write_line_of_sibs(folder / "sibs.csv", 5_001)
    assert run(["kin", "sibs.csv", "--out", "lines.csv"]) == 0
    rows = (folder / "lines.csv").read_text(encoding="utf-8").splitlines()
    # The series of brother-sister mating (Wright 1921): 0, 0, 1/4, 3/8, 1/2, 19/32.
    assert rows[1:14:2] == ["a0,0", "a1,0", "a2,0.25", "a3,0.375", "a4,0.5", "a5,0.59375", "a6,0.671875"]
    assert len(rows) == 10_005
    assert run(["kin", "sibs.csv", "--pairs", "pairs.csv"]) == 1
    assert "more than 10000. Name the pairs you ask for" in capsys.readouterr().err

"""Does `firstsilk design` keep its promises?"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

from firstsilk.faces.command.main import run
from tests.faces.calling import rows_of

ENTRIES = "entry,check,copies\nE-1,,\nE-2,,\nE-3,0,\nCHECK,1,2\n"


@pytest.fixture
def design(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    """Run the door on an entry list; give exit code, output and complaint."""
    monkeypatch.chdir(tmp_path)

    def call(*options: str, kind: str = "complete", entries: str = ENTRIES) -> tuple[int, str, str]:
        Path("entries.csv").write_text(entries, encoding="utf-8")
        code = run(["design", kind, "entries.csv", *options])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


def test_design_when_complete_then_each_entry_in_each_replicate_in_field_order(design) -> None:
    code, out, err = design("--reps", "4")
    rows = rows_of(out)
    assert (code, err) == (0, "")
    assert list(rows[0]) == ["plot", "rep", "block", "field_row", "field_col", "entry"]
    assert [int(row["plot"]) for row in rows] == list(range(1, 21))
    for rep in "1234":
        inside = Counter(row["entry"] for row in rows if row["rep"] == rep)
        assert inside == {"E-1": 1, "E-2": 1, "E-3": 1, "CHECK": 2}
    assert [row["field_col"] for row in rows[:10]] == list("1234554321")
    assert {row["field_row"] for row in rows if row["rep"] == "2"} == {"2"}


def test_design_when_the_seed_is_the_same_then_the_same_bytes_and_1_by_default(design) -> None:
    assert design()[1] == design("--seed", "1")[1]
    assert design("--seed", "5")[1] == design("--seed", "5")[1]
    assert design("--seed", "5")[1] != design("--seed", "6")[1]


def test_design_when_json_then_efficiency_bound_connected_and_plots(design) -> None:
    code, out, _ = design("--reps", "2", "--json")
    answer = json.loads(out)
    assert code == 0
    assert list(answer) == ["efficiency", "bound", "connected", "plots"]
    assert (answer["efficiency"], answer["bound"], answer["connected"]) == (1.0, 1.0, True)
    assert [str(value) for value in answer["plots"][0].values()] == list(rows_of(design("--reps", "2")[1])[0].values())


def test_design_when_json_and_out_then_both(design) -> None:
    code, out, _ = design("--json", "--out", "plots.csv")
    assert code == 0
    assert len(json.loads(out)["plots"]) == len(rows_of(Path("plots.csv").read_text(encoding="utf-8"))) == 15


def test_design_when_rows_and_columns_are_given_then_the_walk_fills_them(design) -> None:
    rows = rows_of(design("--reps", "2", "--rows", "5", "--columns", "2")[1])
    assert max(int(row["field_row"]) for row in rows) == 5
    assert [row["field_col"] for row in rows[:4]] == ["1", "2", "2", "1"]
    rows = rows_of(design("--reps", "2", "--rows", "5")[1])
    assert max(int(row["field_col"]) for row in rows) == 2


def test_design_when_cells_are_left_over_then_it_says_so(design) -> None:
    code, out, err = design("--reps", "2", "--columns", "4")
    assert code == 0
    assert len(rows_of(out)) == 10
    assert "2 cells at the end of the field are left over" in err


@pytest.mark.parametrize(
    "kind", ["alpha", "square-lattice", "rectangular-lattice", "row-column", "augmented", "some-twice"]
)
def test_design_when_a_kind_is_not_built_yet_then_it_says_so(design, kind: str) -> None:
    code, out, err = design(kind=kind)
    assert (code, out) == (1, "")
    assert f"design {kind}: not built yet" in err


def test_design_when_the_kind_or_an_option_is_unknown_then_wrong_usage(design) -> None:
    assert design(kind="round")[0] == 2
    assert design("--reps", "0")[0] == 2
    assert design("--pattern", "x")[0] == 2


NO = {
    "entry,check\nA,1\nA,\n": "entries.csv, line 3, column entry: this entry stood in line 2 (found: 'A')",
    "entry,check\nA,yes\nB,\n": "entries.csv, line 2, column check: check is 1 or 0 (found: 'yes')",
    "entry,copies\nA,0\nB,\n": "entries.csv, line 2, column copies: copies must be 1 or more (found: '0')",
    "entry,copies\nA,1.5\nB,\n": "entries.csv, line 2, column copies: a whole number is wanted here (found: '1.5')",
    "entry,check\n,1\nB,\n": "entries.csv, line 2, column entry: the entry has no name",
    "line\nA\nB\n": "column 'entry' is missing",
    "entry\nA\n": "a trial needs at least two entries; 1 found",
}


@pytest.mark.parametrize("entries", NO)
def test_design_when_the_list_is_bad_then_exit_1_and_one_sentence_that_names_it(design, entries: str) -> None:
    code, out, err = design("--out", "plots.csv", entries=entries)
    assert (code, out) == (1, "")
    assert NO[entries] in err
    assert not Path("plots.csv").exists()


def test_design_when_the_field_is_too_small_or_blocks_are_asked_for_then_refused(design) -> None:
    code, _, err = design("--rows", "2", "--columns", "3")
    assert code == 1
    assert "2 rows x 3 columns cannot hold 15 plots" in err
    code, _, err = design("--blocks", "2")
    assert code == 1
    assert "a replicate is one block of all 5 plots" in err

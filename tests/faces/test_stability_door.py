"""Does `firstsilk stability` keep its promises: keys, table, and one clear sentence for each no?"""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from firstsilk.faces.files.tables import write_table
from tests.faces.calling import call, one_object, rows_of, write

CELLS = {
    ("A", "x"): 5.0,
    ("A", "y"): 7.5,
    ("A", "z"): 9.0,
    ("B", "x"): 4.0,
    ("B", "y"): 8.5,
    ("B", "z"): 12.0,
    ("C", "x"): 6.0,
    ("C", "y"): 6.5,
    ("C", "z"): 7.0,
}
GOOD = "entry,environment,mean\n" + "".join(f"{a},{b},{value}\n" for (a, b), value in CELLS.items())
ENTRY_KEYS = ["entry", "mean", "slope", "deviation_ms", "s2d", "wricke", "shukla", "superiority", "slope_se", "r2"]
AXIS_KEYS = ["singular_values", "percent", "entry_scores", "environment_scores", "tests", "kept", "kept_f"]


def ask(folder: Path, capsys, text: str = GOOD, *more: object):
    code, out, err = call(capsys, "stability", write(folder, text, "means.csv"), *more)
    assert code == 0, err
    return one_object(out)


def test_one_object_with_the_keys_of_the_door(tmp_path, capsys) -> None:
    answer = ask(tmp_path, capsys)
    assert list(answer) == ["entries", "ammi", "gge", "anova", "joint_regression", "estimated", "ranks", "retention"]
    assert [list(one) for one in answer["entries"]] == [ENTRY_KEYS] * 3
    assert list(answer["ammi"]) == list(answer["gge"]) == AXIS_KEYS
    assert list(answer["ammi"]["entry_scores"]) == ["A", "B", "C"]
    assert list(answer["gge"]["environment_scores"]) == ["x", "y", "z"]
    assert len(answer["ammi"]["singular_values"]) == len(answer["ammi"]["entry_scores"]["A"]) == 2
    assert [line["source"] for line in answer["anova"]] == [
        "environments",
        "entries",
        "interaction",
        "regressions",
        "deviations",
    ]
    assert answer["estimated"] == []


def test_figures_worked_by_hand(tmp_path, capsys) -> None:
    """Environment means 5, 7.5, 28/3; entry C rises by 1 while the index rises by 13/3."""
    answer = ask(tmp_path, capsys, GOOD, "--mse", "3", "--reps", "2")
    one = answer["entries"][2]
    index = [5 - 65.5 / 9, 7.5 - 65.5 / 9, 28 / 3 - 65.5 / 9]
    slope = (index[2] - index[0]) * 0.5 / sum(x * x for x in index)
    assert one["slope"] == pytest.approx(slope)
    assert one["s2d"] == pytest.approx(one["deviation_ms"] - 1.5)
    assert one["superiority"] == pytest.approx(((6 - 6) ** 2 + (6.5 - 8.5) ** 2 + (7 - 12) ** 2) / 6)


def test_s2d_is_null_without_the_error_and_f_without_it_too(tmp_path, capsys) -> None:
    answer = ask(tmp_path, capsys)
    assert {one["s2d"] for one in answer["entries"]} == {None}
    assert {one["f"] for one in answer["ammi"]["tests"]} == {None}
    tested = ask(tmp_path, capsys, GOOD, "--mse", "0.5", "--mse-df", "12")["ammi"]["tests"]
    assert all(one["f"] is not None and 0 <= one["p_f"] <= 1 for one in tested)


def test_the_table_holds_the_entries_and_the_same_seed_gives_the_same_bytes(tmp_path, capsys) -> None:
    out = tmp_path / "entries.csv"
    path = write(tmp_path, GOOD, "means.csv")
    first = call(capsys, "stability", path, "--out", out, "--json")
    assert first == call(capsys, "stability", path)
    rows = rows_of(out.read_text())
    assert list(rows[0]) == ENTRY_KEYS
    told = json.loads(first[1])["entries"]
    assert [float(row["slope"]) for row in rows] == [one["slope"] for one in told]
    assert rows[0]["s2d"] == ""


def test_empty_cells_are_refused_by_name_or_estimated_and_told(tmp_path, capsys) -> None:
    text = GOOD.replace("B,y,8.5\n", "B,y,\n")
    path = write(tmp_path, text, "means.csv")
    code, out, err = call(capsys, "stability", path)
    assert (code, out) == (1, "")
    assert err.startswith("means.csv: 1 of 9 cells have no mean: B in y.")
    code, out, err = call(capsys, "stability", path, "--gaps", "estimate")
    assert code == 0
    assert "1 of 9 cells were estimated" in err
    answer = one_object(out)
    (cell,) = answer["estimated"]
    # Two entries with both their other cells: by main effects alone, worked by hand with 3 x 3 cells and one gap,
    # (3 x row total + 3 x column total - grand total) / ((3 - 1) x (3 - 1)), Yates 1933.
    assert cell == {"entry": "B", "environment": "y", "mean": pytest.approx((3 * 16 + 3 * 14 - 57) / 4)}
    assert (answer["anova"], answer["ammi"]["tests"]) == (None, [])


def test_spreadsheet_parquet_and_standard_input_give_the_same_object(tmp_path, capsys, monkeypatch) -> None:
    plain = ask(tmp_path, capsys)
    rows = [[*cell, value] for cell, value in CELLS.items()]
    for kind in ("xlsx", "parquet"):
        path = tmp_path / f"means.{kind}"
        write_table(path, ("entry", "environment", "mean"), rows)
        code, out, _ = call(capsys, "stability", path)
        assert (code, one_object(out)) == (0, plain)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(GOOD.encode())))
    code, out, _ = call(capsys, "stability", "-")
    assert (code, one_object(out)) == (0, plain)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(GOOD.replace("B,y,8.5\n", "").encode())))
    code, out, err = call(capsys, "stability", "-")
    assert (code, out) == (1, "")
    assert err.startswith("standard input: 1 of 9 cells have no mean: B in y.")


def test_order_of_lines_changes_nothing(tmp_path, capsys) -> None:
    head, *lines = GOOD.strip().split("\n")
    assert ask(tmp_path, capsys) == ask(tmp_path, capsys, "\n".join([head, *lines[::-1]]) + "\n")


def test_singular_values_go_where_they_are_sent(tmp_path, capsys) -> None:
    plain, told = ask(tmp_path, capsys), ask(tmp_path, capsys, GOOD, "--scaling", "entry")
    size = plain["ammi"]["singular_values"][0]
    assert told["ammi"]["entry_scores"]["B"][0] == pytest.approx(plain["ammi"]["entry_scores"]["B"][0] * size**0.5)
    scaled = ask(tmp_path, capsys, GOOD, "--scale-environments")
    assert sum(value**2 for value in scaled["gge"]["singular_values"]) == pytest.approx(2 * 3)
    assert scaled["gge"]["tests"] == []


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (GOOD.replace("9.0", "9,0", 1), "means.csv, line 4: the line has 4 cells, the header names 3 columns"),
        (GOOD.replace("9.0", "high"), "means.csv, line 4, column mean: this is not a number (found: 'high')"),
        (GOOD.replace("9.0", "1e300"), "means.csv, line 4, column mean: this number is too large (found: '1e300')"),
        (GOOD.replace("B,y", ",y"), "means.csv, line 6, column entry: this cell is empty, but its line has a mean"),
        (GOOD.replace("B,y", "B,"), "means.csv, line 6, column environment: this cell is empty"),
        (
            GOOD.replace("B,y", "B,x"),
            "means.csv, line 6, column mean: entry B has a mean in x already, on line 5 (found: '8.5')",
        ),
        (GOOD.replace("mean\n", "yield\n"), "means.csv, line 1, column mean: column 'mean' is missing"),
        ("entry,environment,mean\n", "means.csv: there is no line under the header"),
        ("entry,environment,mean\nA,x,1\nA,y,2\n", "means.csv: Stability needs at least two entries"),
        (GOOD.replace("C,", "2,").replace("B,", "2.0,").replace("A,", "1,"), "means.csv: Column 'entry': '2"),
    ],
)
def test_a_bad_table_is_refused_with_its_place(wrong: str, says: str, tmp_path, capsys) -> None:
    out = tmp_path / "out.csv"
    code, told, err = call(capsys, "stability", write(tmp_path, wrong, "means.csv"), "--out", out)
    assert (code, told) == (1, "")
    assert err.startswith(says), err
    assert len(err.splitlines()) == 1
    assert not out.exists()


@pytest.mark.parametrize(
    "words",
    [
        ["--gaps", "guess"],
        ["--scaling", "round"],
        ["--mse", "-1"],
        ["--mse", "nan"],
        ["--reps", "0"],
        ["--reps", "inf"],
        ["--axes", "-1"],
        ["--draws", "-5"],
        ["--seed", "-1"],
    ],
)
def test_wrong_words_end_without_an_answer(words: list[str], tmp_path, capsys) -> None:
    code, out, err = call(capsys, "stability", write(tmp_path, GOOD, "means.csv"), *words)
    assert code in (1, 2)
    assert out == ""
    assert "Traceback" not in err
    assert err.strip()


def test_ranks_anova_and_hidden_cells(tmp_path, capsys) -> None:
    answer = ask(tmp_path, capsys, GOOD, "--mse", 2, "--reps", 4, "--mse-df", 10, "--hide", 2)
    assert [(one["entry"], one["rank"]) for one in answer["ranks"]] == [("A", 2.0), ("B", 1.0), ("C", 3.0)]
    lines = {line["source"]: line for line in answer["anova"]}
    assert lines["interaction"]["f"] == pytest.approx(lines["interaction"]["ms"] / 0.5)
    assert lines["regressions"]["f"] == pytest.approx(lines["regressions"]["ms"] / lines["deviations"]["ms"])
    assert [line["against"] for line in answer["anova"]] == ["", "interaction", "error", "deviations", "error"]
    assert [one["axes"] for one in answer["retention"]] == [0, 1]
    assert answer["ammi"]["kept_f"] == 1
    assert ask(tmp_path, capsys)["retention"] is None


def test_more_axes_than_the_cells_carry_are_refused_by_the_file(tmp_path, capsys) -> None:
    path = write(tmp_path, GOOD.replace("B,y,8.5\n", ""), "means.csv")
    code, out, err = call(capsys, "stability", path, "--gaps", "estimate", "--axes", "9")
    assert (code, out) == (1, "")
    assert "means.csv: 9 axes are more than the cells with a mean can carry. Ask for fewer." in err

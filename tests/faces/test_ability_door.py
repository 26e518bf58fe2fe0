"""Does `firstsilk ability` keep its promises: keys, table, and one clear sentence for each no?"""

from __future__ import annotations

import io
import itertools
from pathlib import Path

import pytest

from firstsilk.faces.files.tables import write_table
from tests.faces.calling import call, one_object, rows_of, write

# Two lines, two testers, two replicates; line A gives 3 more than the mean with each tester but 1 more with U.
FACTORIAL = "rep,line,tester,y\n1,A,T,14\n1,A,U,20\n1,B,T,10\n1,B,U,12\n2,A,T,16\n2,A,U,22\n2,B,T,12\n2,B,U,16\n"
LINE_TESTER = ["--mother", "line", "--father", "tester", "--response", "y", "--kind", "line-tester"]
DIALLEL = ["--mother", "mother", "--father", "father", "--response", "y", "--kind", "diallel"]
VARIANCES = ["gca_mother", "gca_father", "gca", "sca", "reciprocal", "residual"]
MORE = ["percent", "griffing", "variances_by", "below_zero", "at_bound", "missing", "n", "n_dropped", "n_left_out"]
MORE += ["genetic", "predictions", "environments"]


def full_diallel(reps: int = 2) -> str:
    lines = ["rep,mother,father,y"]
    for rep, (at, a), (bt, b) in itertools.product(range(reps), enumerate("KLM"), enumerate("KLM")):
        lines.append(f"{rep},{a},{b},{50 + 3 * at + bt - 4 * (a == b) + rep + (at * 5 + bt * 3 + rep * 7) % 4}")
    return "\n".join(lines) + "\n"


def ask(folder: Path, capsys, text: str, *words: object):
    code, out, err = call(capsys, "ability", write(folder, text, "plots.csv"), *words)
    assert code == 0, err
    return one_object(out)


def test_line_x_tester_worked_by_hand(tmp_path, capsys) -> None:
    """Cross means 15, 21, 11, 14; mean 15.25; error: within crosses after replicates 1.5 on 3 df."""
    answer = ask(tmp_path, capsys, FACTORIAL, *LINE_TESTER, "--block", "rep")
    start = ["mean", "gca_mother", "gca_father", "sca", "reciprocal", "variances", "anova", "se"]
    assert list(answer) == [*start, "gca_mother_se", "gca_father_se", *MORE]
    assert list(answer["variances"]) == VARIANCES
    assert answer["mean"] == pytest.approx(15.25)
    assert answer["gca_mother"] == pytest.approx({"A": 2.75, "B": -2.75})
    assert answer["gca_father"] == pytest.approx({"T": -2.25, "U": 2.25})
    assert [list(one) for one in answer["sca"]] == [["mother", "father", "value", "se"]] * 4
    assert [one["value"] for one in answer["sca"]] == pytest.approx([-0.75, 0.75, 0.75, -0.75])
    assert answer["reciprocal"] == []
    assert [list(line)[:4] for line in answer["anova"]] == [["source", "df", "ss", "ms"]] * 5
    told = {line["source"]: (line["df"], line["ss"]) for line in answer["anova"]}
    assert told == {
        "block": (1, pytest.approx(12.5)),
        "gca_mother": (1, pytest.approx(60.5)),
        "gca_father": (1, pytest.approx(40.5)),
        "sca": (1, pytest.approx(4.5)),
        "residual": (3, pytest.approx(1.5)),
    }
    # (Ml - Mlt) / rt, (Mt - Mlt) / rl, (Mlt - Me) / r.
    assert answer["variances"] == {
        "gca_mother": pytest.approx((60.5 - 4.5) / 4),
        "gca_father": pytest.approx((40.5 - 4.5) / 4),
        "gca": None,
        "sca": pytest.approx((4.5 - 0.5) / 2),
        "reciprocal": None,
        "residual": pytest.approx(0.5),
    }
    assert answer["se"]["gca_mother"] == pytest.approx((0.5 / 4) ** 0.5)
    assert answer["variances_by"] == "moments"


def test_a_diallel_gives_one_gca_and_reciprocal_effects(tmp_path, capsys) -> None:
    answer = ask(tmp_path, capsys, full_diallel(), *DIALLEL, "--block", "rep", "--griffing", "1")
    start = ["mean", "gca", "sca", "reciprocal", "variances", "anova", "se"]
    assert list(answer) == [*start, "gca_se", *MORE]
    assert [(one["mother"], one["father"]) for one in answer["reciprocal"]] == [("K", "L"), ("K", "M"), ("L", "M")]
    assert len(answer["sca"]) == 6
    assert sum(answer["gca"].values()) == pytest.approx(0, abs=1e-9)
    assert answer["griffing"] == 1
    assert ask(tmp_path, capsys, full_diallel(), *DIALLEL, "--block", "rep") == answer


def test_parents_themselves_are_left_out_by_methods_3_and_4_and_it_is_told(tmp_path, capsys) -> None:
    path = write(tmp_path, full_diallel(), "plots.csv")
    code, out, err = call(capsys, "ability", path, *DIALLEL, "--griffing", "3")
    assert code == 0
    assert "6 records of parents themselves are left out by method 3" in err
    answer = one_object(out)
    assert (answer["n"], answer["n_left_out"], answer["griffing"]) == (12, 6, 3)
    assert all(one["mother"] != one["father"] for one in answer["sca"])


def test_unequal_plots_are_by_reml_and_missing_crosses_are_told(tmp_path, capsys) -> None:
    text = full_diallel(3).replace("2,K,M,", "2,K,M,#").replace("0,M,K,", "0,M,K,#")
    text = "\n".join(line.split("#")[0] for line in text.split("\n"))
    answer = ask(tmp_path, capsys, text, *DIALLEL, "--block", "rep")
    assert (answer["n"], answer["n_dropped"], answer["variances_by"]) == (25, 2, "reml")
    assert ask(tmp_path, capsys, text, *DIALLEL, "--variances", "moments")["variances_by"] == "moments"
    lost = "\n".join(line for line in full_diallel(3).split("\n") if ",K,M," not in line)
    code, out, err = call(capsys, "ability", write(tmp_path, lost, "plots.csv"), *DIALLEL, "--griffing", "1")
    assert code == 0
    assert "Crosses missing from the full set: 1." in err
    answer = one_object(out)
    assert answer["missing"] == [{"mother": "K", "father": "M"}]
    assert [one["value"] is None for one in answer["reciprocal"]] == [False, True, False]


def test_an_error_from_elsewhere_stands_in_where_crosses_stand_once(tmp_path, capsys) -> None:
    plain = ask(tmp_path, capsys, full_diallel(1), *DIALLEL)
    assert (plain["variances"]["residual"], plain["se"]["gca"], plain["anova"][-1]["ms"]) == (None, None, None)
    told = ask(tmp_path, capsys, full_diallel(1), *DIALLEL, "--mse", "2", "--mse-df", "16")
    assert told["variances"]["residual"] == 2
    # Griffing's method 1: root ((p - 1) / (2 p^2) Me').
    assert told["se"]["gca"] == pytest.approx((2 / 18 * 2) ** 0.5)
    assert told["anova"][0]["f"] == pytest.approx(told["anova"][0]["ms"] / 2)


def test_the_table_holds_all_effects_and_the_bytes_are_the_same_each_time(tmp_path, capsys) -> None:
    path, out = write(tmp_path, full_diallel(), "plots.csv"), tmp_path / "effects.csv"
    words = ["ability", path, *DIALLEL, "--block", "rep"]
    assert call(capsys, *words, "--out", out, "--json") == call(capsys, *words)
    rows = rows_of(out.read_text())
    assert list(rows[0]) == ["effect", "mother", "father", "value", "se"]
    assert [row["effect"] for row in rows] == ["mean"] + ["gca"] * 3 + ["sca"] * 6 + ["reciprocal"] * 3
    two = call(capsys, "ability", write(tmp_path, FACTORIAL, "p.csv"), *LINE_TESTER, "--out", out)
    assert two[0] == 0
    rows = rows_of(out.read_text())
    assert [(row["mother"], row["father"]) for row in rows[1:5]] == [("A", ""), ("B", ""), ("", "T"), ("", "U")]


def test_spreadsheet_parquet_and_standard_input_give_the_same_object(tmp_path, capsys, monkeypatch) -> None:
    plain = ask(tmp_path, capsys, FACTORIAL, *LINE_TESTER, "--block", "rep")
    head, *lines = [line.split(",") for line in FACTORIAL.strip().split("\n")]
    for kind in ("xlsx", "parquet"):
        path = tmp_path / f"plots.{kind}"
        write_table(path, head, [[int(rep), line, tester, float(y)] for rep, line, tester, y in lines])
        code, out, _ = call(capsys, "ability", path, *LINE_TESTER, "--block", "rep")
        assert (code, one_object(out)) == (0, plain)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(FACTORIAL.encode())))
    code, out, _ = call(capsys, "ability", "-", *LINE_TESTER, "--block", "rep")
    assert (code, one_object(out)) == (0, plain)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (FACTORIAL.replace("A,U,20", "A,U,many"), "plots.csv, line 3, column y: this is not a number (found: 'many')"),
        (FACTORIAL.replace("A,U,20", "A,U,1e200"), "plots.csv, line 3, column y: this number is too large"),
        (FACTORIAL.replace("A,U,20", ",U,20"), "plots.csv, line 3, column line: this cell is empty, but its record"),
        (FACTORIAL.replace("A,U,20", "A,,20"), "plots.csv, line 3, column tester: this cell is empty"),
        (FACTORIAL.replace("1,A,U,20", ",A,U,20"), "plots.csv, line 3, column rep: this cell is empty"),
        (FACTORIAL.replace("tester", "other"), "plots.csv, line 1, column tester: column 'tester' is missing"),
        ("rep,line,tester,y\n", "plots.csv: there is no line under the header"),
        ("rep,line,tester,y\n1,A,T,\n", "plots.csv: No record has a value of 'y'"),
        (FACTORIAL.replace("U", "T"), "plots.csv: Line x tester needs at least two mothers and two fathers"),
        ("rep,line,tester,y\n1,A,T,4\n1,B,U,5\n", "plots.csv: The crosses there are do not join these parents"),
        (
            "rep,line,tester,y\n1,A,T,4\n1,A,U,5\n2,B,T,4\n2,B,U,5\n",
            "plots.csv: No chain of blocks joins these crosses with A x T: B x T, B x U",
        ),
    ],
)
def test_a_bad_table_is_refused_with_its_place(wrong: str, says: str, tmp_path, capsys) -> None:
    out = tmp_path / "out.csv"
    words = [*LINE_TESTER, "--block", "rep", "--out", out]
    code, told, err = call(capsys, "ability", write(tmp_path, wrong, "plots.csv"), *words)
    assert (code, told) == (1, "")
    assert err.startswith(says), err
    assert len(err.splitlines()) == 1
    assert not out.exists()


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (2, ["--kind", "round"]),
        (2, ["--griffing", "2"]),
        (2, ["--griffing", "5", "--kind", "diallel"]),
        (2, ["--variances", "luck"]),
        (2, ["--mse", "-1"]),
        (1, ["--mse", "0"]),
        (2, ["--mse", "nan"]),
        (1, ["--father", "line"]),
        (1, ["--block", "y"]),
        (1, ["--kind", "diallel", "--griffing", "1"]),
    ],
)
def test_wrong_words_end_without_an_answer(code: int, words: list[str], tmp_path, capsys) -> None:
    found, out, err = call(capsys, "ability", write(tmp_path, FACTORIAL, "plots.csv"), *LINE_TESTER, *words)
    assert (found, out) == (code, ""), err
    assert "Traceback" not in err
    assert err.strip()


def test_a_column_that_is_not_named_is_wrong_usage(tmp_path, capsys) -> None:
    assert call(capsys, "ability", write(tmp_path, FACTORIAL, "plots.csv"), "--kind", "line-tester")[0] == 2


def test_inbreeding_gives_genetic_variances_and_heritability(tmp_path, capsys) -> None:
    """Variances 14, 9, 1.75 and error 0.5 (`test_line_x_tester_worked_by_hand`): additive twice that of GCA, F = 1."""
    plain = ask(tmp_path, capsys, FACTORIAL, *LINE_TESTER, "--block", "rep")
    told = plain["variances"]
    answer = ask(tmp_path, capsys, FACTORIAL, *LINE_TESTER, "--block", "rep", "--inbreeding", 1)
    genetic = answer["genetic"]
    assert plain["genetic"]["additive"] == {"mother": None, "father": None, "both": None}
    assert genetic["additive"]["mother"] == pytest.approx(2 * told["gca_mother"])
    assert genetic["dominance"] == pytest.approx(told["sca"])
    whole = sum(value for value in told.values() if value is not None)
    assert genetic["heritability"]["father"] == pytest.approx(2 * told["gca_father"] / whole)
    assert genetic["cross_mean"] == pytest.approx((whole - told["residual"]) / (whole - told["residual"] / 2))


def test_predictions_come_with_unequal_plots_by_themselves_and_else_when_asked_for(tmp_path, capsys) -> None:
    assert ask(tmp_path, capsys, FACTORIAL, *LINE_TESTER)["predictions"] is None
    asked = ask(tmp_path, capsys, FACTORIAL, *LINE_TESTER, "--predictions")["predictions"]
    assert list(asked) == ["gca_mother", "gca_father", "sca", "reml_log_likelihood", "remark"]
    assert [one["mother"] for one in asked["gca_mother"]] == ["A", "B"]
    header, first, *rest = full_diallel().splitlines(keepends=True)
    answer = ask(tmp_path, capsys, "".join([header, first, *rest[1:]]), *DIALLEL, "--griffing", 1)
    assert answer["variances_by"] == "reml"
    assert [one["mother"] for one in answer["predictions"]["gca"]] == ["K", "L", "M"]
    assert list(answer["predictions"]["gca"][0]) == ["mother", "father", "value", "se", "df", "low", "high"]


def test_environment_gives_gca_by_place_and_errors_over_places(tmp_path, capsys) -> None:
    lines = FACTORIAL.splitlines()
    there = [f"P1,{line}" for line in lines[1:]]
    there += [
        f"P2,{line.rsplit(',', 1)[0]},{float(line.rsplit(',', 1)[1]) + 2 * at}" for at, line in enumerate(lines[1:])
    ]
    text = "\n".join(["place," + lines[0], *there]) + "\n"
    words = [*LINE_TESTER, "--block", "rep", "--environment", "place"]
    code, out, err = call(capsys, "ability", write(tmp_path, text, "plots.csv"), *words)
    assert code == 0
    assert "the records are the means of a cross at a place" in err
    answer = one_object(out)
    assert answer["n"] == 8
    first = [one for one in answer["environments"]["gca"] if one["environment"] == "P1"]
    assert [list(one) for one in first] == [["environment", "parents", "parent", "value", "se"]] * 4
    assert {one["parent"]: one["value"] for one in first} == pytest.approx(
        {"A": 2.75, "B": -2.75, "T": -2.25, "U": 2.25}
    )
    code, _, err = call(capsys, "ability", write(tmp_path, text, "plots.csv"), *words[:-1], "rep")
    assert code == 1
    assert "Column 'rep' cannot be the environment as well" in err

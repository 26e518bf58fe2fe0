"""Do the doors of markers keep their word: columns, verdicts, files beside, JSON, exit codes?"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.faces.calling import call, one_object, rows_of, write

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def station(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The worked examples, where what is written does no harm."""
    for name in ("marker-parents", "predict-lines", "marker-kin", "marker-identity"):
        shutil.copytree(EXAMPLES / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_quality_by_marker_counts_what_the_file_holds(tmp_path, capsys) -> None:
    path = write(tmp_path, "line,m1,m2,m3\nA,0,1,\nB,2,1,\nC,2,,\n", "m.csv")
    code, out, _ = call(capsys, "markers", path, "--by", "marker")
    assert code == 0
    assert rows_of(out)[0]["minor_frequency"] == "0.33333333333333337"
    assert out.splitlines()[2:] == ["m2,2,0.6666666666666666,1,0.5,0.5", "m3,0,0,,,"]
    told = one_object(call(capsys, "markers", path, "--json")[1])
    assert (told["lines"], told["markers"]) == (3, 3)
    assert told["rows"][0] == {"line": "A", "called": 2, "call_rate": 2 / 3, "heterozygosity": 0.5}


def test_planted_swaps_are_found_and_true_claims_stand(station, capsys) -> None:
    # How the samples were made: AB-2 is a self of A, AB-3 is A x C, AB-4 a self of the cross, DH2 from A x C.
    code, out, _ = call(capsys, "marker-parents", "marker-parents/markers.vcf", "marker-parents/claims.csv")
    assert code == 0
    found = {(row["child"], row["mother"], row["check"]): (row["verdict"], row["likelier"]) for row in rows_of(out)}
    assert found == {
        ("E-AB", "E-A", "parent"): ("agrees", ""),
        ("E-AB", "E-C", "parent"): ("disagrees", ""),
        ("E-AB", "E-A", "cross"): ("agrees", ""),
        ("E-AB-2", "E-A", "cross"): ("disagrees", "self_of_mother"),
        ("E-AB-3", "E-A", "cross"): ("disagrees", "other_father"),
        ("E-AB-4", "E-A", "cross"): ("disagrees", "later_generation"),
        ("E-DH1", "E-A", "descent"): ("agrees", ""),
        ("E-DH2", "E-A", "descent"): ("disagrees", ""),
    }


def test_a_lower_error_rate_lowers_the_limit(station, capsys) -> None:
    words = ("marker-identity", "marker-identity/markers.vcf", "marker-identity/pairs.csv", "--error")
    limits = [int(rows_of(call(capsys, *words, error)[1])[0]["limit"]) for error in ("0.001", "0.01", "0.05")]
    assert limits == sorted(set(limits))


def test_relationship_goes_straight_into_a_fit(station, capsys) -> None:
    code, out, _ = call(
        capsys, "marker-kin", "predict-lines/markers.csv", "--out", "g.csv", "--json", "--least-minor", "0.05"
    )
    assert code == 0
    told = one_object(out)
    assert told["frequencies"] == "data"
    values = rows_of((station / "predict-lines/values.csv").read_text(encoding="utf-8"))
    plots = "line,value\n" + "".join(f"{row['line']},{row['value']}\n" for row in values)
    write(station, plots, "plots.csv")
    write(
        station,
        'response = "value"\nfixed = []\n[[random]]\ncolumns = ["line"]\nrelationship = "g.csv"\n',
        "model.toml",
    )
    code, out, err = call(capsys, "fit", "plots.csv", "model.toml")
    assert code == 0, err
    by_fit = one_object(out)
    write(station, "line,value\n" + plots.split("\n", 1)[1], "unweighted.csv")
    code, out, _ = call(
        capsys, "predict-lines", "predict-lines/markers.csv", "unweighted.csv", "--json", "--least-minor", "0.05"
    )
    by_door = one_object(out)
    variances = {one["term"]: one["value"] for one in by_fit["variances"]}
    assert by_door["variances"]["genetic"] == pytest.approx(variances["line"], rel=1e-3)
    assert by_door["variances"]["residual"] == pytest.approx(variances["residual"], rel=1e-3)
    assert by_door["reml_log_likelihood"] == pytest.approx(by_fit["reml_log_likelihood"], abs=1e-6)


def test_effects_add_up_to_the_predictions(station, capsys) -> None:
    words = ("predict-lines", "predict-lines/markers.csv", "predict-lines/values.csv", "--effects", "e.csv", "--json")
    code, out, err = call(capsys, *words)
    assert code == 0
    told = one_object(out)
    effects = rows_of((station / "e.csv").read_text(encoding="utf-8"))
    worth = {row["marker"]: (float(row["frequency"]), float(row["effect"])) for row in effects}
    markers = {row["line"]: row for row in rows_of((station / "predict-lines/markers.csv").read_text(encoding="utf-8"))}
    for line in told["rows"][:5]:
        added = sum(
            (float(markers[line["line"]][name]) - 2 * frequency) * effect
            for name, (frequency, effect) in worth.items()
            if markers[line["line"]][name] != ""
        )
        assert told["mean"] + added == pytest.approx(line["predicted"], abs=1e-6)
    trust = {family["family"]: family["trust"] for family in told["families"]}
    assert trust == {"AB": "ranks_well", "AC": "ranks_well", "BC": "ranks_well", "CD": "not_measured"}
    assert err.splitlines() == [family["words"] for family in told["families"]]


def test_same_seed_same_bytes_another_seed_other_folds(station, capsys) -> None:
    words = ("predict-lines", "predict-lines/markers.csv", "predict-lines/values.csv", "--json", "--seed")
    one, again, other = (call(capsys, *words, seed)[1] for seed in (1, 1, 2))
    assert one == again
    first, second = one_object(one), one_object(other)
    assert [row["predicted"] for row in first["rows"]] == [row["predicted"] for row in second["rows"]]
    assert first["validation"]["within"] != second["validation"]["within"]
    assert first["validation"]["across"] == second["validation"]["across"]


def test_few_tested_lines_are_predicted_without_a_judgement(station, capsys) -> None:
    rows = (station / "predict-lines/values.csv").read_text(encoding="utf-8").splitlines()
    write(station, "\n".join(rows[:8]) + "\nE-NOBODY,7000,,\n", "few.csv")
    code, out, err = call(capsys, "predict-lines", "predict-lines/markers.csv", "few.csv", "--json")
    assert code == 0
    assert "1 lines of the values have no markers" in err
    told = one_object(out)
    assert (told["validation"], told["families"], told["tested"]) == (None, [], 7)


def test_pedigree_weight_of_one_is_the_pedigree_alone(station, capsys) -> None:
    words = ("marker-kin", "marker-kin/markers.csv", "--pedigree", "marker-kin/pedigree.csv", "--pedigree-weight", "1")
    code, out, _ = call(capsys, *words)
    assert code == 0
    found = np.array([[float(value) for name, value in row.items() if name != "line"] for row in rows_of(out)])
    # Doubled haploids of crosses among three unrelated inbreds: 2 with itself, 1 with a sister, 1/2 with a half sister.
    sister, half = np.kron(np.eye(3), np.ones((2, 2))), 0.5
    assert found == pytest.approx(np.eye(6) + sister + half * (1 - sister))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("marker-identity m.csv pairs.csv", "pairs.csv, line 2, column sample_b: this sample has no markers"),
        ("marker-parents m.csv none.csv", "none.csv, line 2, column mother: no parent is named"),
        ("marker-parents m.csv odd.csv", "odd.csv, line 2, column check: with one parent the check is parent"),
        ("predict-lines m.csv values.csv", "values.csv, line 2, column value: this is not a number"),
        ("predict-lines m.csv twice.csv", "twice.csv, line 3, column line: this line is there twice"),
        ("predict-lines m.csv few.csv", "2 tested lines have markers; 5 are the least"),
        ("predict-lines m.csv few.csv --trait oil", "column 'oil' is missing"),
        ("predict-lines m.csv weight.csv", "weight.csv, line 2, column weight: a weight is above 0"),
        ("marker-kin m.csv --pedigree ped.csv", "1 of the lines with markers are not in the pedigree, such as 'B'"),
        ("marker-kin alike.csv", "No marker varies"),
        ("marker-kin alike.csv --least-minor 0.1", "None of the 1 markers"),
        ("marker-identity m.csv ok.csv --error 0", "The error rate is 0, not between 0 and 1"),
        ("markers none.vcf", "none.vcf: there is no such file"),
    ],
)
def test_bad_input_is_told_in_one_sentence_and_nothing_is_written(tmp_path, monkeypatch, capsys, words, says) -> None:
    monkeypatch.chdir(tmp_path)
    for name, text in {
        "m.csv": "line,m1,m2\nA,0,2\nB,2,1\n",
        "alike.csv": "line,m1\nA,2\nB,2\n",
        "pairs.csv": "sample_a,sample_b\nA,Q\n",
        "ok.csv": "sample_a,sample_b\nA,B\n",
        "none.csv": "child,mother,father\nA,,\n",
        "odd.csv": "child,mother,father,check\nA,B,,cross\n",
        "values.csv": "line,value\nA,high\n",
        "twice.csv": "line,value\nA,1\nA,2\n",
        "few.csv": "line,value\nA,1\nB,2\n",
        "weight.csv": "line,value,weight\nA,1,0\n",
        "ped.csv": "line,mother,father,method\nA,,,founder\n",
    }.items():
        write(tmp_path, text, name)
    before = sorted(tmp_path.iterdir())
    code, out, err = call(capsys, *words.split(), "--out", "result.csv")
    assert (code, out) == (1, "")
    assert says in err
    assert "Traceback" not in err
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    "words",
    ["markers m.csv --by plant", "marker-kin m.csv --frequencies some", "marker-kin m.csv --align", "markers"],
)
def test_wrong_use_ends_with_two(tmp_path, monkeypatch, capsys, words) -> None:
    monkeypatch.chdir(tmp_path)
    write(tmp_path, "line,m1\nA,0\nB,2\n", "m.csv")
    assert call(capsys, *words.split())[:2] == (2, "")

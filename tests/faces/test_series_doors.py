"""Do the doors of many traits and of two stages answer with their keys, in order, and refuse in one sentence?"""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest

from firstsilk.faces.command.main import run

EXAMPLES = Path(__file__).parents[2] / "examples"
TRAITS = "yield_kg_ha_15_5,moisture_pct,lodged_pct"


@pytest.fixture
def traits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(EXAMPLES / "fit-traits", tmp_path / "here")
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "here"


@pytest.fixture
def series(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(EXAMPLES / "two-stage", tmp_path / "here")
    monkeypatch.chdir(tmp_path / "here")
    return tmp_path / "here"


def fit_traits(capsys, *more: str) -> tuple[int, str, str]:
    code = run(["fit-traits", "plots.csv", "model.toml", *more])
    told = capsys.readouterr()
    return code, told.out, told.err


def two_stage(capsys, *more: str) -> tuple[int, str, str]:
    code = run(["two-stage", "plots.csv", "stage1.toml", "stage2.toml", "--trial", "site", "--workers", "1", *more])
    told = capsys.readouterr()
    return code, told.out, told.err


def without_seconds(text: str) -> dict[str, object]:
    answer: dict[str, object] = json.loads(text)
    assert isinstance(answer.pop("seconds"), float)
    return answer


def test_fit_traits_when_workers_differ_then_the_answer_does_not(traits, capsys) -> None:
    here = fit_traits(capsys, "--traits", TRAITS, "--workers", "1", "--out", "one.csv")
    there = fit_traits(capsys, "--traits", TRAITS, "--workers", "2", "--out", "two.csv")
    assert here[0] == there[0] == 0
    assert without_seconds(here[1]) == without_seconds(there[1])
    assert Path("one.csv").read_bytes() == Path("two.csv").read_bytes()
    assert Path("one.csv").read_text(encoding="utf-8").startswith("trait,term,level,value,se,reliability\n")


def test_fit_traits_when_one_is_alone_then_as_the_fit_door_tells_it(traits, capsys) -> None:
    answer = without_seconds(fit_traits(capsys, "--traits", "moisture_pct", "--workers", "1")[1])
    (one,) = answer["traits"]  # type: ignore[misc]
    text = Path("model.toml").read_text(encoding="utf-8").replace("yield_kg_ha_15_5", "moisture_pct")
    Path("model.toml").write_text(text, encoding="utf-8")
    assert run(["fit", "plots.csv", "model.toml"]) == 0
    alone = json.loads(capsys.readouterr().out)
    del alone["seconds"]
    assert one == {"trait": "moisture_pct", **alone}


def test_fit_traits_when_one_cannot_be_fitted_then_it_says_why_and_the_others_stand(traits, capsys) -> None:
    text = Path("plots.csv").read_text(encoding="utf-8").replace(",24.0,0\n", ",wet,0\n", 1)
    Path("plots.csv").write_text(text, encoding="utf-8")
    code, out, err = fit_traits(capsys, "--traits", TRAITS, "--workers", "1")
    assert code == 0
    yields, moisture, lodged = json.loads(out)["traits"]
    assert yields["converged"] is True
    assert "line 2, column moisture_pct" in moisture["refused"]["message"]
    assert lodged["refused"]["code"] == "no_variation"
    assert "moisture_pct: " in err
    code, out, err = fit_traits(capsys, "--traits", "lodged_pct", "--workers", "1")
    assert (code, out) == (1, "")
    assert "None of the traits could be fitted" in err


@pytest.mark.parametrize(
    ("traits_text", "code", "said"),
    [(" , ", 2, "names no column"), ("moisture_pct,sweetness", 1, "sweetness"), ("block,block", 1, "named twice")],
)
def test_fit_traits_when_a_name_is_wrong_then_one_sentence(traits, capsys, traits_text, code, said) -> None:
    found, out, err = fit_traits(capsys, "--traits", traits_text, "--workers", "1")
    assert (found, out) == (code, "")
    assert said in err


def test_two_stage_when_asked_then_trials_and_the_keys_of_fit(series, capsys) -> None:
    code, out, err = two_stage(capsys, "--out", "means.csv")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    assert list(answer) == ["trials", "left_out", "n_dropped", "weights", "stage_two", "seconds"]
    assert [trial["trial"] for trial in answer["trials"]] == ["home", "ridge", "valley"]
    assert list(answer["trials"][0]) == ["trial", "n", "means", "variances", "at_bound", "converged"]
    assert sum(trial["n"] for trial in answer["trials"]) + answer["n_dropped"] == 48
    assert answer["stage_two"]["n"] == 24
    assert [v["term"] for v in answer["stage_two"]["variances"]] == ["line", "line:site"]
    lines = Path("means.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "trial,level,mean,se,weight"
    assert len(lines) == 25


def test_two_stage_when_weights_are_diagonal_then_near_the_full_covariance(series, capsys) -> None:
    full, diagonal = (json.loads(two_stage(capsys, "--weights", w)[1])["stage_two"] for w in ("full", "diagonal"))
    worth = [{r["level"]: r["value"] for r in one["random"] if r["term"] == "line"} for one in (full, diagonal)]
    spread = max(worth[0].values()) - min(worth[0].values())
    for level, value in worth[0].items():
        assert worth[1][level] == pytest.approx(value, abs=0.05 * spread)
    assert two_stage(capsys, "--weights", "half")[0] == 2


def test_two_stage_when_a_trial_cannot_be_fitted_then_named_or_left_out(series, capsys) -> None:
    lines = Path("plots.csv").read_text(encoding="utf-8").splitlines()
    flat = [line.rpartition(",")[0] + ",7000" if line.startswith("ridge") else line for line in lines]
    Path("plots.csv").write_text("\n".join(flat) + "\n", encoding="utf-8")
    code, out, err = two_stage(capsys)
    assert (code, out) == (1, "")
    assert "1 of 3 trials could not be fitted (ridge: " in err
    code, out, err = two_stage(capsys, "--leave-out")
    assert code == 0
    assert [one["trial"] for one in json.loads(out)["left_out"]] == ["ridge"]
    assert "Trial ridge was left out" in err


@pytest.mark.parametrize(
    ("file", "line", "other", "said"),
    [
        ("stage1.toml", 'genotype = "line"', "", "names no genotype"),
        ("stage1.toml", 'fixed = [["line"], ["rep"]]', 'fixed = [["rep"]]', "fixed main effect"),
        ("stage2.toml", 'response = "yield_kg_ha_15_5"', 'response = "rep"', "same response"),
        ("stage2.toml", '"line", "site"]', '"line", "site"]\n[residual]\nvariance = 1.0', "takes its residual"),
        ("stage2.toml", 'fixed = [["site"]]', 'fixed = [["site"]]\nnumeric = ["rep"]', "a number in one model"),
        ("stage2.toml", 'fixed = [["site"]]', 'fixed = [["site"], ["rep"]]', "more than one value"),
    ],
)
def test_two_stage_when_the_models_do_not_fit_then_one_sentence(series, capsys, file, line, other, said) -> None:
    text = Path(file).read_text(encoding="utf-8")
    assert line in text
    Path(file).write_text(text.replace(line, other), encoding="utf-8")
    code, out, err = two_stage(capsys)
    assert (code, out) == (1, "")
    assert said in err


def test_two_stage_without_the_package_of_a_cluster_then_how_to_install_it(series, capsys, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    code, out, err = two_stage(capsys, "--cluster", "local")
    assert (code, out) == (1, "")
    assert "pip install 'firstsilk[cluster]'" in err

"""Does the door that compares two mixed models answer with its keys, and refuse what cannot be compared?"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from firstsilk.faces.command.main import run

EXAMPLE = Path(__file__).parents[2] / "examples" / "compare-models"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("plots.csv", "small.toml", "large.toml"):
        shutil.copy(EXAMPLE / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_compare_models_when_one_variance_is_added_then_half_and_half(here, capsys) -> None:
    text = (here / "small.toml").read_text(encoding="utf-8")
    (here / "large.toml").write_text(text + '\n[[random]]\ncolumns = ["site", "rep", "block"]\n', encoding="utf-8")
    assert run(["compare-models", "plots.csv", "small.toml", "large.toml"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert list(answer) == [
        "smaller",
        "larger",
        "ratio",
        "on_bound",
        "interior",
        "weights",
        "weights_from",
        "p",
        "p_plain",
    ]
    assert answer["on_bound"] == ["site:rep:block"]
    assert answer["weights"] == [{"df": 0, "weight": 0.5}, {"df": 1, "weight": 0.5}]
    assert answer["p"] == pytest.approx(answer["p_plain"] / 2)
    gain = answer["larger"]["reml_log_likelihood"] - answer["smaller"]["reml_log_likelihood"]
    assert answer["ratio"] == pytest.approx(2 * gain)


@pytest.mark.parametrize(
    ("line", "other", "said"),
    [
        ('fixed = [["site"]]', "", "fixed terms"),
        ('response = "yield_kg_ha_15_5"', 'response = "plot"', "response"),
        ('columns = ["line"]\n', 'columns = ["rep"]\n', "no term 'line'"),
    ],
)
def test_compare_models_when_models_do_not_fit_together_then_one_sentence(here, capsys, line, other, said) -> None:
    text = (here / "large.toml").read_text(encoding="utf-8")
    (here / "large.toml").write_text(text.replace(line, other), encoding="utf-8")
    assert run(["compare-models", "plots.csv", "small.toml", "large.toml"]) == 1
    told = capsys.readouterr()
    assert said in told.err
    assert told.out == ""

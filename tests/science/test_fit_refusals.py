"""Is what cannot be estimated refused, naming it?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship, Residual


def trial() -> dict[str, list[object]]:
    """Three nitrogen steps by three lines, two replicates, an effect of each."""
    dice = np.random.default_rng(2)
    cells = [(n, line, rep) for n in ("0", "60", "120") for line in "ABC" for rep in ("1", "2")]
    return {
        "nitrogen": [n for n, _, _ in cells],
        "line": [line for _, line, _ in cells],
        "rep": [rep for _, _, rep in cells],
        "plot": [str(at) for at in range(len(cells))],
        "yield": [5 + int(n) / 60 + ord(line) % 3 + dice.normal() for n, line, _ in cells],
    }


def without(data: dict[str, list[object]], **cell: str) -> dict[str, list[object]]:
    keep = [at for at in range(len(data["yield"])) if any(data[name][at] != value for name, value in cell.items())]
    return {name: [values[at] for at in keep] for name, values in data.items()}


CROSSED = (("nitrogen",), ("line",), ("nitrogen", "line"))


def test_fit_when_a_cell_of_an_interaction_is_empty_then_refused_naming_the_cell() -> None:
    with pytest.raises(InputRefused, match=r"no record has nitrogen:line 120:B") as refused:
        fit_mixed_model(without(trial(), nitrogen="120", line="B"), Model("yield", CROSSED))
    assert refused.value.refusal is not None
    assert refused.value.refusal.code == "not_estimable"
    assert dict(refused.value.refusal.facts)["columns"] == "nitrogen:line"


def test_fit_when_two_columns_say_the_same_then_refused_naming_the_later() -> None:
    data = trial()
    data["dose"] = [f"d{n}" for n in data["nitrogen"]]
    with pytest.raises(InputRefused, match=r"dose d120, dose d60 cannot be told from the terms before"):
        fit_mixed_model(data, Model("yield", (("nitrogen",), ("dose",))))


def test_fit_when_a_term_has_a_level_for_each_record_then_refused_as_the_residual() -> None:
    with pytest.raises(InputRefused, match="variance of plot and residual cannot be told from each other"):
        fit_mixed_model(trial(), Model("yield", random=(RandomTerm(("plot",)),)))


def test_fit_when_weights_differ_then_a_term_with_a_level_for_each_record_can_be_told_from_the_residual() -> None:
    dice = np.random.default_rng(4)
    w = np.repeat([0.2, 1.0, 20.0], 60)
    data = {"y": dice.normal(size=180) + dice.normal(size=180) / np.sqrt(w), "plot": range(180), "w": w}
    fit = fit_mixed_model(data, Model("y", random=(RandomTerm(("plot",)),), weights="w"))
    assert fit.converged
    assert fit.variance("plot") == pytest.approx(1.0, abs=0.5)
    assert fit.variance("residual") == pytest.approx(1.0, abs=0.5)


def test_fit_when_a_term_for_each_record_takes_all_of_the_residual_then_refused() -> None:
    data = trial()
    data["w"] = [1.0 + at % 4 for at in range(len(data["yield"]))]
    with pytest.raises(InputRefused, match="residual falls to 0"):
        fit_mixed_model(data, Model("yield", CROSSED[:2], (RandomTerm(("plot",)),), weights="w"))


def test_fit_when_a_column_is_fixed_and_random_then_refused() -> None:
    with pytest.raises(InputRefused, match="variance of line cannot be told from the fixed terms"):
        fit_mixed_model(trial(), Model("yield", (("line",),), (RandomTerm(("line",)),)))


def test_fit_when_two_random_terms_have_the_same_levels_then_refused_naming_both() -> None:
    data = trial()
    data["entry"] = [f"entry {line}" for line in data["line"]]
    with pytest.raises(InputRefused, match="variance of line and entry cannot be told from each other"):
        fit_mixed_model(data, Model("yield", random=(RandomTerm(("line",)), RandomTerm(("entry",)))))


def test_fit_when_the_model_explains_records_wholly_then_refused() -> None:
    data = trial()
    data["yield"] = [float(str(n)) for n in data["nitrogen"]]
    with pytest.raises(InputRefused, match="explain the response wholly"):
        fit_mixed_model(data, Model("yield", (("nitrogen",),)))


def test_fit_when_a_group_of_the_residual_has_no_spread_then_refused_naming_it() -> None:
    data = trial()
    data["yield"] = [7.0 if n == "60" else y for n, y in zip(data["nitrogen"], data["yield"], strict=True)]
    with pytest.raises(InputRefused, match="residual 60 falls to 0"):
        fit_mixed_model(data, Model("yield", (("nitrogen",),), residual=Residual("nitrogen")))


def test_fit_when_too_few_records_then_refused() -> None:
    data = {name: values[:2] for name, values in trial().items()}
    with pytest.raises(InputRefused, match="2 records leave nothing"):
        fit_mixed_model(data, Model("yield", (("rep",),)))


def test_fit_when_a_level_is_not_in_the_relationship_then_refused_naming_it() -> None:
    with pytest.raises(InputRefused, match="'C' is not in its relationship"):
        fit_mixed_model(trial(), Model("yield", random=(RandomTerm(("line",), Relationship(("A", "B"), np.eye(2))),)))


@pytest.mark.parametrize(
    ("matrix", "told"),
    [
        ([[1, 2, 0], [2, 1, 0], [0, 0, 1]], "negative eigenvalue"),
        ([[1, 0.5, 0], [0, 1, 0], [0, 0, 1]], "must be symmetric"),
        ([[1, 0, 0], [0, np.nan, 0], [0, 0, 1]], "missing values"),
        ([[1, 0], [0, 1]], "must be square"),
    ],
)
def test_fit_when_a_relationship_is_no_covariance_then_refused(matrix: list[list[float]], told: str) -> None:
    related = Relationship(("A", "B", "C"), np.array(matrix, dtype=float))
    with pytest.raises(InputRefused, match=told):
        fit_mixed_model(trial(), Model("yield", random=(RandomTerm(("line",), related),)))


def test_fit_when_variance_by_is_not_nested_then_refused_with_what_would_do() -> None:
    with pytest.raises(InputRefused, match="Add 'nitrogen' to the term's columns"):
        fit_mixed_model(trial(), Model("yield", random=(RandomTerm(("line",), variance_by="nitrogen"),)))


def test_fit_when_a_number_is_written_in_two_ways_then_refused() -> None:
    data = trial()
    data["nitrogen"][0] = "0.0"
    with pytest.raises(InputRefused, match=r"'0' and '0\.0' are the same number"):
        fit_mixed_model(data, Model("yield", (("nitrogen",),)))


@pytest.mark.parametrize(
    ("column", "value", "told"),
    [("line", "", "class is missing"), ("yield", "high", "not a number"), ("yield", "inf", "not finite")],
)
def test_fit_when_a_value_is_not_usable_then_refused_with_its_record(column: str, value: str, told: str) -> None:
    data = trial()
    data[column][4] = value
    with pytest.raises(InputRefused, match=rf"'{column}', record 5.*{told}"):
        fit_mixed_model(data, Model("yield", (("line",),)))


def test_fit_when_a_known_covariance_has_too_many_records_then_refused_before_any_work(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    model = Model("yield", random=(RandomTerm(("line",)),), residual=Residual(covariance=np.eye(18)))
    monkeypatch.setattr(mixed_models, "DENSE_RECORDS", 10)
    with pytest.raises(InputRefused, match=r"18 records .* are too many beside a wholly known residual covariance"):
        fit_mixed_model(trial(), model)
    monkeypatch.setattr(mixed_models, "DENSE_RECORDS", 18)
    monkeypatch.setattr(mixed_models, "DENSE_LEVELS", 1)
    with pytest.raises(InputRefused, match="random levels are too many beside a wholly known residual covariance"):
        fit_mixed_model(trial(), model)


def test_fit_when_weights_are_not_positive_then_refused() -> None:
    data = {**trial(), "w": [1.0] * 17 + [0.0]}
    with pytest.raises(InputRefused, match="record 18: a weight must be above 0"):
        fit_mixed_model(data, Model("yield", weights="w"))


def test_fit_when_a_known_covariance_is_not_positive_definite_then_refused() -> None:
    with pytest.raises(InputRefused, match="positive definite"):
        fit_mixed_model(trial(), Model("yield", residual=Residual(covariance=np.ones((18, 18)))))


def test_levels_when_all_are_numbers_then_by_size_and_else_in_text_order() -> None:
    data = trial()
    fit = fit_mixed_model(data, Model("yield", (("nitrogen",),)))
    assert [line.level for line in fit.means] == ["0", "60", "120"]
    data["nitrogen"] = [f"N{n}" for n in data["nitrogen"]]
    fit = fit_mixed_model(data, Model("yield", (("nitrogen",),)))
    assert [line.level for line in fit.means] == ["N0", "N120", "N60"]


def test_interaction_when_its_parts_are_not_in_the_model_then_the_same_space_as_with_them() -> None:
    whole = fit_mixed_model(trial(), Model("yield", CROSSED))
    cells = fit_mixed_model(trial(), Model("yield", (("nitrogen", "line"),)))
    nested = fit_mixed_model(trial(), Model("yield", (("nitrogen",), ("nitrogen", "line"))))
    wanted = [line.value for line in whole.means if line.term == "nitrogen:line"]
    for other in (cells, nested):
        assert other.variance("residual") == pytest.approx(whole.variance("residual"), rel=1e-9)
        assert [line.value for line in other.means if line.term == "nitrogen:line"] == pytest.approx(wanted)
    assert [line.level for line in cells.fixed][:2] == ["", "0:B"]


def test_slopes_when_a_number_meets_a_class_alone_then_one_slope_for_each_class() -> None:
    model = Model("yield", (("line",), ("nitrogen", "line")), numeric=("nitrogen",))
    fit = fit_mixed_model(trial(), model)
    assert [line.level for line in fit.fixed if line.term == "nitrogen:line"] == ["A", "B", "C"]
    one = {
        name: [v for v, line in zip(values, trial()["line"], strict=True) if line == "B"]
        for name, values in trial().items()
    }
    alone = fit_mixed_model(one, Model("yield", (("nitrogen",),), numeric=("nitrogen",)))
    assert fit.fixed[4].estimate == pytest.approx(alone.fixed[1].estimate, rel=1e-9)


def test_sum_coding_when_used_then_coefficients_are_deviations_from_the_middle() -> None:
    fit = fit_mixed_model(trial(), Model("yield", CROSSED, sum_coded=("nitrogen", "line")))
    means = [line.value for line in fit.means if line.term == "line"]
    assert fit.fixed[0].estimate == pytest.approx(np.mean(means))
    effects = [line.estimate for line in fit.fixed if line.term == "line"]
    assert [*effects, -sum(effects)] == pytest.approx(np.array(means) - np.mean(means))

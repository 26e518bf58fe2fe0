"""Do two stages carry what stage two needs, weigh as they should, and refuse by name what cannot be?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis import two_stages
from firstsilk.science.analysis.mean_weights import weigh_means
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Residual
from firstsilk.science.analysis.two_stages import StageOne, fit_stage_one, fit_stage_two, plan_stage_two

Data = dict[str, list[object]]
ONE = Model("y", (("line",), ("rep",)), genotype="line")
TWO = Model("y", (("trial",),), (RandomTerm(("line",)),))


def lay(seed: int, sites: int = 4, lines: int = 8, reps: int = 3) -> Data:
    dice = np.random.default_rng(seed)
    data: Data = {"trial": [], "rep": [], "line": [], "group": [], "y": []}
    worth = dice.normal(0, 1, lines)
    for s in range(sites):
        for r in range(reps):
            for k in range(lines):
                row = (f"T{s}", f"R{r}", f"L{k}", f"G{k % 2}", s + r + worth[k] + dice.normal(0, 0.6))
                for name, cell in zip(data, row, strict=True):
                    data[name].append(cell)
    return data


def one_trial(data: Data, trial: str) -> Data:
    at = [k for k, one in enumerate(data["trial"]) if one == trial]
    return {name: [values[k] for k in at] for name, values in data.items()}


def all_stages(data: Data) -> list[StageOne]:
    return [fit_stage_one(one_trial(data, trial), ONE, trial, ("group",)) for trial in ("T0", "T1", "T2", "T3")]


def test_balanced_trials_of_one_error_give_the_predictions_of_one_stage() -> None:
    # Equal error variances known to both: then all that two stages do is what one does.
    data = lay(1)
    known = replace(ONE, residual=Residual(variance=0.36))
    stages = [fit_stage_one(one_trial(data, trial), known, trial) for trial in ("T0", "T1", "T2", "T3")]
    whole = Model("y", (("trial",), ("trial", "rep")), (RandomTerm(("line",), variance=1.0),), Residual(variance=0.36))
    second = replace(TWO, random=(RandomTerm(("line",), variance=1.0),))
    one = fit_mixed_model(data, whole)
    two = fit_stage_two(stages, second, "trial", "line")
    assert [(r.level, r.value, r.se) for r in two.random] == [
        (r.level, pytest.approx(r.value, rel=1e-9), pytest.approx(r.se, rel=1e-9)) for r in one.random
    ]


def test_a_column_of_the_lines_goes_on_to_stage_two() -> None:
    stages = all_stages(lay(2))
    data, model = plan_stage_two(stages, replace(TWO, fixed=(("trial",), ("group",))), "trial", "line")
    assert list(data["group"])[:8] == ["G0", "G1"] * 4
    fit = fit_mixed_model(data, model)
    assert [line.level for line in fit.fixed if line.term == "group"] == ["G1"]


def test_weights_are_the_diagonal_of_the_inverse() -> None:
    stage = all_stages(lay(3))[0]
    assert stage.covariance is not None
    assert stage.weights == pytest.approx(np.diag(np.linalg.inv(stage.covariance)), rel=1e-9)
    assert stage.errors == pytest.approx(np.sqrt(np.diag(stage.covariance)), rel=1e-9)
    data, model = plan_stage_two(all_stages(lay(3)), TWO, "trial", "line", "diagonal")
    assert model.weights in data
    assert model.residual == Residual(variance=1.0)


BESIDE = [
    ONE,
    Model("y", (("line",),), (), genotype="line"),
    Model("y", (("line",), ("rep",)), (RandomTerm(("rep", "place")),), genotype="line"),
    Model(
        "y",
        (("line",), ("depth",)),
        (RandomTerm(("rep",)), RandomTerm(("place",))),
        Residual("group"),
        numeric=("depth",),
        genotype="line",
    ),
    Model("y", (("rep",), ("place",), ("rep", "place"), ("line",)), (), genotype="line", weights="depth"),
]


@pytest.mark.parametrize("model", BESIDE, ids=["fixed", "bare", "blocks", "number and groups", "interaction"])
def test_weights_without_the_covariance_are_those_of_its_inverse(model: Model) -> None:
    data = one_trial(lay(8, lines=16), "T1")
    dice = np.random.default_rng(8)
    data["place"] = [f"P{k}" for k in dice.integers(0, 3, len(data["y"]))]
    data["depth"] = dice.uniform(1, 9, len(data["y"])).tolist()
    whole = fit_mixed_model(data, replace(model, genotype=None))
    found = weigh_means(data, model, whole)
    assert found == pytest.approx(np.diag(np.linalg.inv(whole.mean_covariance["line"])), rel=1e-7)


def test_a_trial_whose_covariance_is_not_kept_has_weights_and_no_full_covariance(monkeypatch) -> None:
    data = lay(9)
    kept = all_stages(data)
    fit = two_stages.fit_mixed_model
    monkeypatch.setattr(two_stages, "fit_mixed_model", lambda d, m: replace(fit(d, m), mean_covariance={}))
    bare = all_stages(data)
    monkeypatch.undo()
    for one, two in zip(kept, bare, strict=True):
        assert two.covariance is None
        assert two.weights == pytest.approx(one.weights, rel=1e-8)
    with pytest.raises(InputRefused, match="is not kept"):
        plan_stage_two(bare, TWO, "trial", "line")


def test_weights_that_are_not_known_are_refused() -> None:
    data = one_trial(lay(10), "T1")
    fit = fit_mixed_model(data, replace(ONE, genotype=None))
    with pytest.raises(InputRefused, match="another fixed term"):
        weigh_means(data, replace(ONE, fixed=(("line",), ("line", "rep"))), fit)
    with pytest.raises(InputRefused, match="plain random terms"):
        weigh_means(data, replace(ONE, residual=Residual(covariance=np.eye(24))), fit)


def test_a_mean_carries_a_column_that_varies_within_its_line_no_further() -> None:
    data = one_trial(lay(4), "T0")
    with pytest.raises(InputRefused, match="'rep' has more than one value for 'L0'"):
        fit_stage_one(data, ONE, "T0", ("rep",))
    with pytest.raises(InputRefused, match="column 'soil'"):
        fit_stage_one(data, ONE, "T0", ("soil",))


def test_a_genotype_that_is_random_is_refused() -> None:
    random = Model("y", (("rep",),), (RandomTerm(("line",)),), genotype="line")
    with pytest.raises(InputRefused, match="must not be shrunk twice"):
        fit_stage_one(one_trial(lay(5), "T0"), random, "T0")


def test_a_residual_of_stage_two_is_refused() -> None:
    with pytest.raises(InputRefused, match="takes its residual from stage one"):
        plan_stage_two(all_stages(lay(6)), replace(TWO, residual=Residual("trial")), "trial", "line")


def test_more_means_than_their_full_covariance_allows_ask_for_the_diagonal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(two_stages, "DENSE_RECORDS", 31)
    stages = all_stages(lay(7))
    with pytest.raises(InputRefused, match="diagonal weights"):
        fit_stage_two(stages, TWO, "trial", "line")
    assert fit_stage_two(stages, TWO, "trial", "line", "diagonal").converged

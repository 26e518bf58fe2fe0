"""Genetic variances, predictions and places of combining ability: against plain formulas and slow full matrices."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.ability import estimate_ability
from firstsilk.science.analysis.ability_genetics import estimate_genetics
from firstsilk.science.analysis.ability_places import arrange_cells, split_by_place
from firstsilk.science.analysis.ability_predictions import predict_abilities
from firstsilk.science.analysis.ability_variances import NAMES, Variances
from firstsilk.science.analysis.matings import Matings, arrange_matings
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm

Columns = dict[str, list[object]]
FULL = {
    1: lambda a, b: True,
    2: lambda a, b: a <= b,
    3: lambda a, b: a != b,
    4: lambda a, b: a < b,
}


def grow_factorial(
    lines: int = 8, testers: int = 3, places: int = 1, reps: int = 2, lost: int = 0, seed: int = 1
) -> Columns:
    """Lines x testers at places in replicates, some plots lost."""
    dice = np.random.default_rng(seed)
    line, tester = dice.normal(0, 2, lines), dice.normal(0, 1, testers)
    cross, at = dice.normal(0, 0.7, (lines, testers)), dice.normal(0, 0.8, (lines, places))
    cells = list(itertools.product(range(places), range(reps), range(lines), range(testers)))
    kept = sorted(dice.choice(len(cells), len(cells) - lost, replace=False))
    data: Columns = {"line": [], "tester": [], "place": [], "rep": [], "y": []}
    for p, r, a, b in (cells[k] for k in kept):
        y = 50 + 5 * p + r + line[a] + tester[b] + cross[a, b] + at[a, p] + dice.normal()
        for name, value in zip(data, (f"L{a}", f"T{b}", f"P{p}", f"r{r}", float(y)), strict=True):
            data[name].append(value)
    return data


def grow_diallel(method: int, p: int = 6, reps: int = 2, lost: int = 0, seed: int = 1) -> Columns:
    dice = np.random.default_rng(seed)
    g, s, turn = dice.normal(0, 2, p), dice.normal(size=(p, p)), dice.normal(0, 0.5, (p, p))
    pairs = [(a, b) for a, b in itertools.product(range(p), repeat=2) if FULL[method](a, b)]
    cells = list(itertools.product(range(reps), pairs))
    kept = sorted(dice.choice(len(cells), len(cells) - lost, replace=False))
    data: Columns = {"line": [], "tester": [], "rep": [], "y": []}
    for r, (a, b) in (cells[k] for k in kept):
        sca, other = s[min(a, b), max(a, b)], np.sign(b - a) * turn[min(a, b), max(a, b)]
        for name, value in zip(
            data, (f"P{a}", f"P{b}", f"r{r}", float(9 + g[a] + g[b] + sca + other + r + dice.normal())), strict=True
        ):
            data[name].append(value)
    return data


def arrange(data: Columns, kind: str = "line-tester", griffing: int | None = None) -> Matings:
    return arrange_matings(data, "line", "tester", "y", "rep", kind, griffing)


def variances_of(**values: float) -> Variances:
    return Variances({name: values.get(name) for name in NAMES}, "reml", {}, (), "")


def test_inbred_parents_give_twice_the_gca_and_once_the_sca_others_four_times() -> None:
    matings = arrange(grow_factorial())
    told = variances_of(gca_mother=3.0, gca_father=2.0, sca=1.0, residual=4.0)
    inbred, free = (estimate_genetics(matings, told, F) for F in (1.0, 0.0))
    assert inbred.additive == {"mother": 6.0, "father": 4.0, "both": 5.0}
    assert (inbred.dominance, free.dominance) == (1.0, 4.0)
    assert free.additive == {"mother": 12.0, "father": 8.0, "both": 10.0}
    assert inbred.heritability == pytest.approx({"mother": 0.6, "father": 0.4, "both": 0.5})
    assert inbred.cross_mean == pytest.approx(6 / (6 + 4 / 2))
    mixed = estimate_genetics(matings, told, 1.0, 0.0)
    assert (mixed.additive["father"], mixed.dominance) == (8.0, 2.0)
    assert estimate_genetics(matings, told, 1.0, None, 0.0).heritability["both"] == pytest.approx(5 / 6)


def test_without_inbreeding_only_the_repeatability_of_a_cross_is_told() -> None:
    matings = arrange(grow_factorial())
    found = estimate_genetics(matings, variances_of(gca_mother=3.0, gca_father=2.0, sca=1.0, residual=4.0))
    assert set(found.additive.values()) == {None}
    assert found.dominance is None
    assert found.cross_mean == pytest.approx(0.75)
    assert estimate_genetics(matings, variances_of(gca_mother=3.0), 1.0).cross_mean is None


def test_a_diallel_counts_the_gca_of_both_parents_among_its_crosses() -> None:
    matings = arrange(grow_diallel(3), "diallel", 3)
    found = estimate_genetics(matings, variances_of(gca=2.0, sca=1.0, reciprocal=0.5, residual=4.0), 1.0)
    assert found.additive == {"gca": 4.0}
    assert found.heritability["gca"] == pytest.approx(4 / (2 * 2 + 1 + 0.5 + 4))
    assert found.cross_mean == pytest.approx(5.5 / (5.5 + 4 / 2))


@pytest.mark.parametrize("words", [{"inbreeding": 2.0}, {"inbreeding_father": 0.5}, {"plant_variance": -1.0}], ids=str)
def test_inbreeding_and_variance_without_meaning_are_refused(words: dict[str, float]) -> None:
    with pytest.raises(InputRefused, match=r"between 0 and 1|needs that|must not be below 0"):
        estimate_genetics(arrange(grow_factorial()), variances_of(), **words)


def predict_slowly(
    matings: Matings, parts: dict[str, np.ndarray], variances: dict[str, float]
) -> dict[str, np.ndarray]:
    """BLUPs by full matrices: variance x part' P y."""
    X = (matings.block[:, None] == np.unique(matings.block)).astype(float)
    of_records = {name: part[matings.cross] for name, part in parts.items()}
    V = sum(variances[name] * Z @ Z.T for name, Z in of_records.items()) + variances["residual"] * np.eye(len(X))
    inverse = np.linalg.inv(V)
    P = inverse - inverse @ X @ np.linalg.inv(X.T @ inverse @ X) @ X.T @ inverse
    return {name: variances[name] * Z.T @ P @ matings.response for name, Z in of_records.items()}


def one_hot(codes: np.ndarray, size: int) -> np.ndarray:
    return (codes[:, None] == np.arange(size)).astype(float)


def test_predictions_of_unequal_line_x_tester_then_those_of_full_matrices() -> None:
    matings = arrange(grow_factorial(lost=9))
    assert not matings.balanced
    found = predict_abilities(matings)
    told = estimate_ability(matings).variances.values
    parts = {
        "gca_mother": one_hot(matings.crosses[:, 0], 8),
        "gca_father": one_hot(matings.crosses[:, 1], 3),
        "sca": np.eye(len(matings.crosses)),
    }
    wanted = predict_slowly(matings, parts, {name: told[name] or 0.0 for name in (*parts, "residual")})
    for name, lines in (*found.gca.items(), ("sca", found.sca)):
        assert [one.value for one in lines] == pytest.approx(wanted[name], abs=1e-5)
    assert [one.mother for one in found.gca["gca_mother"]] == [f"L{at}" for at in range(8)]
    assert [one.father for one in found.gca["gca_father"]] == ["T0", "T1", "T2"]
    assert all(one.low < one.value < one.high for one in found.gca["gca_mother"])


@pytest.mark.parametrize("method", [1, 2, 3, 4])
def test_predictions_of_unequal_diallels_then_those_of_full_matrices(method: int) -> None:
    matings = arrange(grow_diallel(method, lost=5), "diallel", method)
    found = predict_abilities(matings)
    told = estimate_ability(matings).variances.values
    mother, father = matings.crosses.T
    pairs = np.unique(np.sort(matings.crosses, axis=1), axis=0, return_inverse=True)[1].ravel()
    parts = {"gca": one_hot(mother, 6) + one_hot(father, 6), "sca": one_hot(pairs, pairs.max() + 1)}
    if method in (1, 3):
        parts["reciprocal"] = parts["sca"] * np.sign(father - mother)[:, None]
    wanted = predict_slowly(matings, parts, {name: told[name] or 0.0 for name in (*parts, "residual")})
    assert [one.value for one in found.gca["gca"]] == pytest.approx(wanted["gca"], abs=1e-5)
    assert [one.value for one in found.sca] == pytest.approx(wanted["sca"], abs=1e-5)


@pytest.mark.parametrize("method", [1, 2, 3, 4])
def test_gca_of_diallels_with_crosses_missing_then_that_of_slow_least_squares(method: int) -> None:
    data = grow_diallel(method, p=7)
    gone = {("P0", "P3"), ("P1", "P4"), ("P2", "P6"), ("P3", "P5"), ("P3", "P0")}
    kept = [k for k, pair in enumerate(zip(data["line"], data["tester"], strict=True)) if pair not in gone]
    data = {name: [values[k] for k in kept] for name, values in data.items()}
    matings = arrange(data, "diallel", method)
    assert len(matings.missing) == (5 if method in (1, 3) else 4)
    found = estimate_ability(matings)
    # Cross means by one least squares, GCA with sum 0 by another: nothing shared with what is tested.
    cross, block = one_hot(matings.cross, len(matings.crosses)), one_hot(matings.block, 2)
    y = matings.response
    fitted = np.linalg.lstsq(np.hstack([cross, block[:, :1] - block[:, 1:]]), y, rcond=None)[0]
    means = fitted[: cross.shape[1]]
    sums = one_hot(matings.crosses[:, 0], 7) + one_hot(matings.crosses[:, 1], 7)
    design = np.vstack([np.hstack([np.ones((len(means), 1)), sums]), [[0.0] + [1e6] * 7]])
    wanted = np.linalg.lstsq(design, np.append(means, 0.0), rcond=None)[0]
    assert found.mean == pytest.approx(wanted[0], rel=1e-6)
    assert list(found.gca["gca"].values()) == pytest.approx(wanted[1:], abs=1e-6)
    left = means - wanted[0] - sums @ wanted[1:]
    if method in (2, 4):
        assert [one.value for one in found.sca] == pytest.approx(left, abs=1e-6)


def test_places_then_each_by_itself_and_variances_of_the_plain_mixed_model() -> None:
    data = grow_factorial(lines=7, places=4)
    found = split_by_place(data, ("line", "tester", "y", "rep"), "place", "line-tester")
    inside = [k for k, place in enumerate(data["place"]) if place == "P2"]
    alone = estimate_ability(arrange({name: [values[k] for k in inside] for name, values in data.items()}))
    told = {one.parent: one for one in found.gca if (one.environment, one.parents) == ("P2", "gca_mother")}
    assert {parent: one.value for parent, one in told.items()} == pytest.approx(alone.gca["gca_mother"])
    assert {parent: one.se for parent, one in told.items()} == pytest.approx(alone.gca_se["gca_mother"])
    terms = [("line",), ("tester",), ("line", "tester")]
    random = [RandomTerm(term) for term in [*terms, *((*term, "place") for term in terms)]]
    data["cell"] = [f"{p} {r}" for p, r in zip(data["place"], data["rep"], strict=True)]
    plain = fit_mixed_model(data, Model("y", (("cell",),), tuple(random)))
    named = ["gca_mother", "gca_father", "sca"]
    named += [f"{name}:environment" for name in named]
    assert list(found.variances or {}) == [*named, "residual"]
    assert list((found.variances or {}).values()) == pytest.approx(
        [v.value for v in plain.variances], rel=1e-4, abs=1e-6
    )


def test_places_then_means_of_crosses_and_their_errors_count_how_crosses_differ_between_places() -> None:
    data = grow_factorial(lines=7, places=4)
    found = split_by_place(data, ("line", "tester", "y", "rep"), "place", "line-tester")
    assert len(found.means.response) == 7 * 3 * 4
    over = estimate_ability(found.means)
    residual = over.anova[-1]
    assert (residual.source, residual.df) == ("residual", (4 - 1) * (21 - 1))
    plain = np.array(data["y"]).reshape(4, 2, 7, 3).mean(axis=1)
    centred = plain - plain.mean(axis=0) - plain.mean(axis=(1, 2), keepdims=True) + plain.mean()
    assert residual.ss == pytest.approx(np.sum(centred**2))
    assert list(over.gca["gca_mother"].values()) == pytest.approx(plain.mean(axis=(0, 2)) - plain.mean())


def test_places_when_one_cannot_be_told_then_left_out_by_name() -> None:
    data = grow_factorial(lines=4, places=3)
    kept = [k for k in range(len(data["y"])) if data["place"][k] != "P1" or data["tester"][k] == "T0"]
    data = {name: [values[k] for k in kept] for name, values in data.items()}
    found = split_by_place(data, ("line", "tester", "y", "rep"), "place", "line-tester")
    assert list(found.left_out) == ["P1"]
    assert "at least two mothers and two fathers" in found.left_out["P1"]
    assert {one.environment for one in found.gca} == {"P0", "P2"}


def test_places_when_there_is_one_then_refused() -> None:
    with pytest.raises(InputRefused, match="names one place only"):
        split_by_place(grow_factorial(), ("line", "tester", "y", "rep"), "place", "line-tester")
    with pytest.raises(InputRefused, match="no column 'site'"):
        split_by_place(grow_factorial(), ("line", "tester", "y", "rep"), "site", "line-tester")


def test_cells_of_a_place_then_means_at_the_average_block() -> None:
    part = {"mother": ["A", "A", "B"], "father": ["T", "T", "T"], "block": ["1", "2", "2"], "mean": [1.0, 3.0, 5.0]}
    assert arrange_cells(part, True) == [(("A", "T"), pytest.approx(2.0)), (("B", "T"), pytest.approx(4.0))]
    assert arrange_cells(part, False) == [(("A", "T"), pytest.approx(2.0)), (("B", "T"), pytest.approx(5.0))]

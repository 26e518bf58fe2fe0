"""Does the prediction of untested lines agree with the engine, with dense equations and with refitting?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship
from firstsilk.science.lineage import variances
from firstsilk.science.lineage.marker_relationship import find_marker_relationship
from firstsilk.science.lineage.markers import MarkerTable
from firstsilk.science.lineage.prediction import (
    find_marker_effects,
    fit_genomic_values,
    predict_left_out,
    score_lines,
)
from firstsilk.science.lineage.variances import estimate_variances


def world(n: int = 60, tested: int = 45, p: int = 400, noise: float = 1.0, seed: int = 3):
    dice = np.random.default_rng(seed)
    founders = dice.integers(0, 2, (5, p)) * 2
    picks = dice.integers(0, 5, (n, p // 20)).repeat(20, axis=1)
    doses = np.take_along_axis(founders, picks, axis=0).astype(np.int8)
    doses[dice.random((n, p)) < 0.05] = -1
    table = MarkerTable(tuple(f"L{at}" for at in range(n)), tuple(f"m{at}" for at in range(p)), doses)
    found = find_marker_relationship(table)
    genes = np.where(table.doses < 0, 2 * found.frequency, table.doses) @ dice.normal(0.0, 1.0, p)
    genes = (genes - genes.mean()) / genes.std()
    places = np.sort(dice.permutation(n)[:tested])
    return table, found, places, 5.0 + genes[places] + dice.normal(0.0, noise, tested), genes


def test_variances_values_and_reliabilities_are_those_of_the_engine() -> None:
    table, found, places, response, _ = world()
    matrix = found.matrix + 0.01 * np.eye(len(found.matrix))
    fit = fit_genomic_values(matrix, places, response)
    lines = [table.samples[at] for at in places]
    related = Relationship(tuple(lines), matrix[np.ix_(places, places)])
    engine = fit_mixed_model(
        {"line": lines, "y": response.tolist()}, Model("y", random=(RandomTerm(("line",), relationship=related),))
    )
    assert fit.log_likelihood == pytest.approx(engine.reml_log_likelihood, abs=1e-6)
    told = {(one.term, one.level): one.value for one in engine.variances}
    assert fit.genetic_variance == pytest.approx(told["line", ""], rel=1e-4)
    assert fit.residual_variance == pytest.approx(told["residual", ""], rel=1e-4)
    by_name = {one.level: one for one in engine.random}
    assert fit.values[places] == pytest.approx([by_name[line].value for line in lines], abs=1e-4)
    assert fit.reliability[places] == pytest.approx([by_name[line].reliability for line in lines], abs=1e-4)


def test_untested_lines_come_out_of_the_full_equations_alike() -> None:
    # All lines, tested or not, in one dense set of equations with the inverse of K.
    _, found, places, response, _ = world()
    n, m = len(found.matrix), len(places)
    matrix = found.matrix + 0.05 * np.eye(n)
    weights = np.random.default_rng(5).uniform(0.5, 2.0, m)
    fit = fit_genomic_values(matrix, places, response, weights=weights, variances=(0.8, 1.3))
    design = np.column_stack([np.ones(m), np.eye(n)[places]])
    sums = design.T @ (design * (weights / 1.3)[:, None])
    sums[1:, 1:] += np.linalg.inv(matrix) / 0.8
    inverse = np.linalg.inv(sums)
    solved = inverse @ (design.T @ (response * weights / 1.3))
    assert fit.effects[0] == pytest.approx(solved[0], abs=1e-9)
    assert fit.effects_se[0] == pytest.approx(np.sqrt(inverse[0, 0]), abs=1e-9)
    assert fit.values == pytest.approx(solved[1:], abs=1e-9)
    assert fit.reliability == pytest.approx(1 - np.diag(inverse)[1:] / (0.8 * np.diag(matrix)), abs=1e-9)


def test_single_precision_moves_the_variances_by_next_to_nothing(monkeypatch) -> None:
    for noise in (0.3, 1.0, 3.0):
        _, found, places, response, _ = world(300, 250, 1_000, noise)
        among = found.matrix[np.ix_(places, places)]
        double = estimate_variances(among, np.ones((250, 1)), response)
        monkeypatch.setattr(variances, "DOUBLE_UP_TO", 0)
        single = estimate_variances(among, np.ones((250, 1)), response)
        monkeypatch.undo()
        assert single != double
        assert single == pytest.approx(double, rel=1e-5)


def test_where_next_to_no_residual_is_left_double_precision_is_taken(monkeypatch) -> None:
    _, found, places, _, genes = world(80, 60, 400, 0.0)
    among = found.matrix[np.ix_(places, places)]
    double = estimate_variances(among, np.ones((60, 1)), genes[places])
    monkeypatch.setattr(variances, "DOUBLE_UP_TO", 0)
    assert estimate_variances(among, np.ones((60, 1)), genes[places]) == double
    assert double[1] < 1e-3 * double[0]


def test_no_other_variances_have_a_higher_likelihood() -> None:
    _, found, places, response, _ = world()
    best = fit_genomic_values(found.matrix, places, response)
    for genetic in (0.9, 0.999, 1.001, 1.1):
        for residual in (0.9, 0.999, 1.001, 1.1):
            tried = (best.genetic_variance * genetic, best.residual_variance * residual)
            other = fit_genomic_values(found.matrix, places, response, variances=tried)
            assert other.log_likelihood <= best.log_likelihood + 1e-9


def test_genes_without_effect_come_out_as_exactly_nothing() -> None:
    _, found, places, _, _ = world()
    # Values that run against the relationship: neighbours in K are pushed apart.
    values, vectors = np.linalg.eigh(found.matrix[np.ix_(places, places)])
    response = vectors[:, 1] * 10.0
    fit = fit_genomic_values(found.matrix, places, response)
    assert values[1] < values.mean()
    assert (fit.genetic_variance, fit.at_bound) == (0.0, True)
    assert not fit.values.any()
    assert not fit.reliability.any()


def test_left_out_groups_are_predicted_as_by_refitting_without_them() -> None:
    _, found, places, response, _ = world()
    design = np.column_stack([np.ones(45), np.linspace(-1, 1, 45)])
    weights = np.random.default_rng(2).uniform(0.5, 2.0, 45)
    fit = fit_genomic_values(found.matrix, places, response, design, weights)
    groups = np.arange(45) % 4
    predicted = predict_left_out(fit, groups)
    for group in range(4):
        kept, out = groups != group, groups == group
        held = (fit.genetic_variance, fit.residual_variance)
        again = fit_genomic_values(found.matrix, places[kept], response[kept], design[kept], weights[kept], held)
        wanted = design[out] @ again.effects + again.values[places[out]]
        assert predicted[out] == pytest.approx(wanted, abs=1e-8)


def test_a_group_without_which_the_mean_is_not_told_has_no_prediction() -> None:
    _, found, places, response, _ = world()
    fit = fit_genomic_values(found.matrix, places, response)
    assert np.isnan(predict_left_out(fit, np.zeros(45, dtype=int))).all()


def test_effects_and_values_agree_also_where_readings_are_missing() -> None:
    table, found, places, response, _ = world()
    fit = fit_genomic_values(found.matrix, places, response)
    effects = find_marker_effects(table, found.frequency, found.divisor, fit)
    assert score_lines(table, found.frequency, effects) == pytest.approx(fit.values, abs=1e-8)


def test_untested_lines_are_told_better_than_by_chance() -> None:
    # 12 worlds, 75 tested lines bred from few founders; a correlation of 0 would have a standard error of 0.07.
    found = []
    for seed in range(12):
        dice = np.random.default_rng(seed)
        founders = dice.integers(0, 2, (4, 300)) * 2
        picks = dice.integers(0, 4, (90, 30)).repeat(10, axis=1)
        doses = np.take_along_axis(founders, picks, axis=0).astype(np.int8)
        genes = doses @ dice.normal(0, 1, 300)
        genes = (genes - genes.mean()) / genes.std()
        centred = doses - doses.mean(axis=0)
        fit = fit_genomic_values(centred @ centred.T / 300, np.arange(75), genes[:75] + dice.normal(0, 0.7, 75))
        found.append(np.corrcoef(fit.values[75:], genes[75:])[0, 1])
    assert np.mean(found) > 0.6


def test_alike_lines_without_residual_and_other_odd_input_are_refused() -> None:
    _, found, places, response, _ = world()
    with pytest.raises(InputRefused, match="5 are the least"):
        fit_genomic_values(found.matrix, places[:4], response[:4])
    with pytest.raises(InputRefused, match="same value"):
        fit_genomic_values(found.matrix, places, np.ones(45))
    with pytest.raises(InputRefused, match="same thing twice"):
        fit_genomic_values(found.matrix, places, response, np.ones((45, 2)))
    with pytest.raises(InputRefused, match="weight"):
        fit_genomic_values(found.matrix, places, response, weights=np.zeros(45))
    with pytest.raises(InputRefused, match="times the smallest"):
        fit_genomic_values(found.matrix, places, response, weights=np.append(np.ones(44), 1e11))
    with pytest.raises(InputRefused, match="beyond 1e"):
        fit_genomic_values(found.matrix, places, 1e70 * response)
    with pytest.raises(InputRefused, match="residual not above 0"):
        fit_genomic_values(found.matrix, places, response, variances=(1.0, 0.0))


def test_lines_without_relationship_give_all_to_the_residual() -> None:
    genetic, residual = estimate_variances(np.zeros((6, 6)), np.ones((6, 1)), np.arange(6.0))
    assert (genetic, residual) == (0.0, pytest.approx(3.5))

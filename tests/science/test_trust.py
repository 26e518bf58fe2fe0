"""Are abilities, intervals and the words about each family what the left-out lines bear out?"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.prediction import fit_genomic_values
from firstsilk.science.lineage.trust import (
    Ability,
    deal_folds,
    measure_ability,
    pool_abilities,
    shrink_abilities,
    validate_predictions,
)


def families_world(noise: float, seed: int = 4):
    """Three families of 40 doubled haploids on 10 chromosomes, 25 tested each; a fourth untested but for 3 lines."""
    dice = np.random.default_rng(seed)
    founders = dice.integers(0, 2, (5, 200)) * 2
    names, rows = [], []
    for family, parents in (("AB", (0, 1)), ("AC", (0, 2)), ("BC", (1, 2)), ("DE", (3, 4))):
        for _ in range(40):
            picks = np.repeat(dice.integers(0, 2, 20), 10)
            rows.append(np.where(picks == 0, founders[parents[0]], founders[parents[1]]))
            names.append(family)
    doses = np.array(rows, dtype=float)
    genes = doses @ dice.normal(0, 1, 200)
    genes = (genes - genes.mean()) / genes.std()
    centred = doses - doses.mean(axis=0)
    matrix = centred @ centred.T / 100
    tested = np.array([at for at in range(160) if at % 40 < (25 if at < 120 else 3)])
    return names, matrix, tested, genes[tested] + dice.normal(0, noise, len(tested)), genes


def test_folds_take_every_family_apart_evenly() -> None:
    families = ["a"] * 16 + ["b"] * 7 + ["c"]
    dealt = deal_folds(families, 5, np.random.default_rng(1))
    for name, parts in (("a", [4, 3, 3, 3, 3]), ("b", [4, 3]), ("c", [1])):
        counts = np.bincount(dealt[[one == name for one in families]], minlength=5)
        assert sorted(counts[counts > 0], reverse=True) == parts
    assert (dealt == deal_folds(families, 5, np.random.default_rng(1))).all()
    for folds in (1, 25):
        with pytest.raises(InputRefused, match="cannot be dealt"):
            deal_folds(families, folds, np.random.default_rng(1))


def test_ability_and_interval_are_those_of_the_formula() -> None:
    # Fisher's z for r = 0.5, n = 28: atanh 0.5 = 0.549306, standard error 0.2; 0.1560 to 0.7358 (by hand).
    x = np.arange(28.0)
    other = np.random.default_rng(0).normal(size=28)
    other -= np.polyval(np.polyfit(x, other, 1), x)
    y = (x - x.mean()) / x.std() * 0.5 + other / other.std() * math.sqrt(0.75)
    found = measure_ability(x[None], y, np.zeros((1, 28), dtype=int))
    assert found.ability == pytest.approx(0.5)
    assert (found.low, found.high) == (pytest.approx(0.1560, abs=1e-4), pytest.approx(0.7358, abs=1e-4))
    assert found.slope == pytest.approx(np.polyfit(x, y, 1)[0])


def test_ability_is_not_told_of_few_lines_or_of_none_that_differ() -> None:
    def measure(predicted: np.ndarray) -> Ability:
        zeros = np.zeros((1, len(predicted)), dtype=int)
        return measure_ability(predicted[None], np.arange(len(predicted), dtype=float), zeros)

    assert math.isnan(measure(np.arange(7.0)).ability)
    assert math.isnan(measure(np.ones(20)).ability)
    assert measure(np.where(np.arange(20) < 10, np.nan, 1.0 * np.arange(20))).lines == 10


def test_ability_within_folds_does_not_see_their_means() -> None:
    dice = np.random.default_rng(1)
    x, y = dice.normal(size=(2, 30))
    y += x
    folds = np.arange(30) % 5
    found = measure_ability(x[None], y, folds[None])
    moved = measure_ability((x - 10.0 * folds)[None], y + 7.0 * folds, folds[None])
    assert moved.ability == pytest.approx(found.ability)
    assert moved.freedom == 25
    # By hand: the correlation of what is left when each fold's mean is taken out.
    left = [values - np.array([values[folds == fold].mean() for fold in folds]) for values in (x, y)]
    assert found.ability == pytest.approx(np.corrcoef(*left)[0, 1])


def test_pooled_ability_lies_between_and_is_surer() -> None:
    one, other = Ability(20, 19, 0.2, -0.27, 0.59, 0.8), Ability(40, 39, 0.6, 0.35, 0.77, 1.0)
    pooled = pool_abilities([one, other, Ability(3, 0, math.nan, math.nan, math.nan, math.nan)])
    z = (17 * math.atanh(0.2) + 37 * math.atanh(0.6)) / 54
    assert pooled.ability == pytest.approx(math.tanh(z))
    assert pooled.lines == 60
    assert pooled.high - pooled.low < other.high - other.low
    assert math.isnan(pool_abilities([]).ability)


def test_abilities_of_families_are_drawn_together_as_their_spread_tells() -> None:
    def told(z: float, freedom: float) -> Ability:
        return Ability(20, freedom, math.tanh(z), -1, 1, 1)

    # Spread as chance alone would, Q = 18 x 0.02 < 1: the least, 0.0225; own weight 0.405 / 1.405, mean 0.3.
    alike = shrink_abilities([told(0.2, 20), told(0.4, 20)])
    own = 0.405 / 1.405
    assert [math.atanh(one.ability) for one in alike] == pytest.approx([0.3 - 0.1 * own, 0.3 + 0.1 * own])
    # By hand: weights 50, mean 0.6, Q = 50 x 0.72 = 36, spread (36 - 1) / (100 - 50) = 0.7; own weight 35 / 36.
    apart = shrink_abilities([told(0.0, 52), told(1.2, 52)])
    assert [math.atanh(one.ability) for one in apart] == pytest.approx([0.6 / 36, 1.2 - 0.6 / 36])
    variance = 35 / 36 / 50 + (1 / 36) ** 2 * (1 / 50 + 0.7) / 2
    assert math.atanh(apart[0].high) == pytest.approx(0.6 / 36 + 1.959964 * math.sqrt(variance), abs=1e-6)
    untold = Ability(3, 0, math.nan, math.nan, math.nan, math.nan)
    alone = (told(0.5, 20), untold)
    assert shrink_abilities(alone) == alone
    assert shrink_abilities([told(0.2, 20), untold, told(0.4, 20)])[1] is untold


def test_families_with_sisters_tested_are_ranked_and_the_new_one_is_not_vouched_for() -> None:
    names, matrix, tested, response, _ = families_world(noise=0.4)
    fit = fit_genomic_values(matrix, tested, response)
    found = validate_predictions(fit, matrix, names, 5, np.random.default_rng(1))
    told = {one.family: one for one in found.families}
    assert list(told) == ["AB", "AC", "BC", "DE"]
    for name in ("AB", "AC", "BC"):
        assert (told[name].tested, told[name].untested) == (25, 15)
        assert told[name].trust == "ranks_well"
        assert told[name].relatives >= 25
        assert told[name].within.low > 0
        assert "can be ranked by it" in told[name].words
    new = told["DE"]
    assert (new.tested, new.untested, new.trust) == (3, 37, "not_measured")
    assert new.relatives < 10
    assert math.isnan(new.within.ability)
    assert "fewer than 8 of its lines were tested" in new.words
    assert "Other families left out whole (3)" in new.words
    assert new.reliability < told["AB"].reliability
    # A family left out whole is told worse than one with sisters among the tested.
    assert found.across.ability < found.within.ability


def test_abilities_left_out_bear_out_what_untested_sisters_show() -> None:
    left_out, real = [], []
    for seed in range(15):
        names, matrix, tested, response, genes = families_world(0.4, seed)
        fit = fit_genomic_values(matrix, tested, response)
        found = validate_predictions(fit, matrix, names, 5, np.random.default_rng(seed))
        left_out.append(found.within.ability)
        untested = np.setdiff1d(np.arange(120), tested)
        measured = genes + np.random.default_rng(seed + 100).normal(0, 0.4, 160)
        for start in (0, 40, 80):
            at = untested[(untested >= start) & (untested < start + 40)]
            real.append(np.corrcoef(fit.values[at], measured[at])[0, 1])
    # Standard error of either mean is about 0.03.
    assert np.mean(left_out) == pytest.approx(np.mean(real), abs=0.1)


def test_noise_is_called_noise() -> None:
    names, matrix, tested, _, _ = families_world(0.4)
    response = np.random.default_rng(9).normal(size=len(tested))
    fit = fit_genomic_values(matrix, tested, response)
    found = validate_predictions(fit, matrix, names, 5, np.random.default_rng(1))
    assert {one.trust for one in found.families if one.tested > 8} == {"not_shown"}


def test_lines_without_a_family_count_in_training_only() -> None:
    names, matrix, tested, response, _ = families_world(0.4)
    unnamed = ["" if name == "BC" else name for name in names]
    fit = fit_genomic_values(matrix, tested, response)
    found = validate_predictions(fit, matrix, unnamed, 5, np.random.default_rng(1))
    assert [one.family for one in found.families] == ["AB", "AC", "DE"]
    among = [unnamed[at] for at in fit.tested]
    assert np.isnan(found.left_out_across[[name == "" for name in among]]).all()
    assert np.isfinite(found.left_out_within).all()

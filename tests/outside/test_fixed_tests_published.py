"""Do tests of fixed effects give the degrees of freedom, F and chances of general reference programs?

lmerTest 3.1.3 (Satterthwaite, type III) and pbkrtest 0.5.2 (Kenward and Roger) under R 4.2.2, fits by lme4 1.1.31 with
its optimiser held to 1e-10. Balanced trials have exact degrees of freedom from the analysis of variance.
"""

from __future__ import annotations

import pytest
from trial_tables import OATS_ALPHA, WHEAT_ALPHA, Columns, alpha_trial, needs_checks, outside

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.fixed_tests import (
    EffectTest,
    Way,
    find_differences,
    judge_contrast,
    judge_fixed_terms,
)
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm

BLOCKS = (RandomTerm(("Block",)), RandomTerm(("Variety", "Block")))
SPLIT_PLOT = Model("yield", (("nitro",), ("Variety",), ("nitro", "Variety")), BLOCKS)
ALPHA = Model("yield", (("rep",), ("gen",)), (RandomTerm(("rep", "block")),))
# Records left out so that the split plot is unbalanced, counted from 1.
HOLES = (1, 5, 14, 22, 30, 31, 47, 60, 61, 62)
SLEEP_HOLES = (3, 50, 51, 52, 120, 121, 122, 123, 124)


def without(data: Columns, holes: tuple[int, ...]) -> Columns:
    return {name: [v for at, v in enumerate(values, 1) if at not in holes] for name, values in data.items()}


def judged(data: Columns, model: Model, way: Way = "satterthwaite") -> tuple[EffectTest, ...]:
    return judge_fixed_terms(data, model, fit_mixed_model(data, model), way)


def as_numbers(tests: tuple[EffectTest, ...]) -> list[tuple[int, float, float, float]]:
    return [(test.df, test.denominator_df, test.f, test.p) for test in tests]


def agree(found: tuple[EffectTest, ...], printed: list[tuple[int, float, float, float]]) -> None:
    """Degrees of freedom were printed to 6 decimals, F to 5, p to 5 digits."""
    for (df, denominator, f, p), (df_, denominator_, f_, p_) in zip(as_numbers(found), printed, strict=True):
        assert df == df_
        assert denominator == pytest.approx(denominator_, rel=2e-6)
        assert f == pytest.approx(f_, abs=6e-6)
        assert p == pytest.approx(p_, rel=3e-5)


@needs_checks
@pytest.mark.parametrize("way", ["satterthwaite", "kenward-roger"])
def test_split_plot_of_oats_gives_the_exact_degrees_of_freedom_both_ways(way: Way) -> None:
    # 6 blocks, 3 varieties on whole plots, 4 nitrogen levels: (6-1)(3-1) = 10 and 3 x 15 = 45; F from lmerTest.
    found = judged(outside("nlme_Oats.csv"), SPLIT_PLOT, way)
    assert [test.term for test in found] == ["nitro", "Variety", "nitro:Variety"]
    assert [test.df for test in found] == [3, 2, 6]
    assert [test.denominator_df for test in found] == pytest.approx([45.0, 10.0, 45.0], rel=1e-6)
    assert [test.f for test in found] == pytest.approx([37.68565, 1.48534, 0.302824], rel=2e-6)
    assert [test.p for test in found] == pytest.approx([2.4577e-12, 0.27239, 0.93220], rel=3e-5)


@needs_checks
def test_unbalanced_split_plot_by_satterthwaite() -> None:
    found = judged(without(outside("nlme_Oats.csv"), HOLES), SPLIT_PLOT)
    agree(
        found,
        [
            (3, 35.286918, 30.27175, 7.2315e-10),
            (2, 9.728828, 0.98477, 0.40788),
            (6, 35.458437, 0.19822, 0.97515),
        ],
    )


@needs_checks
def test_unbalanced_split_plot_by_kenward_and_roger() -> None:
    # lme4's own optimiser setting here: variances good to 2e-6.
    found = judged(without(outside("nlme_Oats.csv"), HOLES), SPLIT_PLOT, "kenward-roger")
    printed = [(3, 35.950185, 30.06450), (2, 9.897800, 0.98239), (6, 36.120450, 0.19681)]
    for test, (df, denominator, f) in zip(found, printed, strict=True):
        assert (test.df, test.denominator_df) == (df, pytest.approx(denominator, rel=1e-6))
        assert test.f == pytest.approx(f, abs=2e-5)


@needs_checks
def test_a_number_is_judged_at_its_mean() -> None:
    # The number was centred before it was given to lmerTest.
    model = Model("yield", SPLIT_PLOT.fixed, BLOCKS, numeric=("nitro",))
    data = without(outside("nlme_Oats.csv"), HOLES)
    agree(
        judged(data, model),
        [
            (1, 41.351462, 98.11915, 1.7648e-12),
            (2, 9.868887, 0.89218, 0.44039),
            (2, 41.559503, 0.21886, 0.80435),
        ],
    )
    found = judged(data, model, "kenward-roger")
    assert [t.denominator_df for t in found] == pytest.approx([41.825462, 9.982850, 42.028117], rel=1e-6)
    assert [t.f for t in found] == pytest.approx([97.59945, 0.89078, 0.21811], abs=5e-5)


@needs_checks
def test_random_slopes_of_an_unbalanced_study() -> None:
    model = Model(
        "Reaction", (("Days",),), (RandomTerm(("Subject",)), RandomTerm(("Subject", "Days"))), numeric=("Days",)
    )
    data = without(outside("lme4_sleepstudy.csv"), SLEEP_HOLES)
    one = judged(data, model)[0]
    assert (one.denominator_df, one.f) == (pytest.approx(18.420001, rel=3e-6), pytest.approx(40.54163, rel=2e-6))
    two = judged(data, model, "kenward-roger")[0]
    assert (two.denominator_df, two.f) == (pytest.approx(18.176811, rel=1e-6), pytest.approx(40.47592, rel=2e-6))
    assert two.p == pytest.approx(5.1715e-6, rel=3e-5)


def test_entries_of_the_oat_alpha_trial_both_ways() -> None:
    data = alpha_trial(OATS_ALPHA)
    agree(judged(data, ALPHA), [(2, 10.394199, 9.21243, 0.0049919), (23, 34.735506, 5.44779, 4.3762e-6)])
    agree(
        judged(data, ALPHA, "kenward-roger"),
        [(2, 11.519087, 9.21243, 0.0040777), (23, 35.498261, 5.36278, 4.4956e-6)],
    )


def test_entries_of_the_wheat_trial_by_kenward_and_roger() -> None:
    # Satterthwaite's denominator for many contrasts depends on how they are written; lmerTest prints 24.61, here 24.51.
    model = Model("yield", (("gen",),), (RandomTerm(("rep",)), RandomTerm(("rep", "block"))))
    data = alpha_trial(WHEAT_ALPHA)
    found = judged(data, model, "kenward-roger")[0]
    assert (found.df, found.denominator_df) == (15, pytest.approx(23.951842, rel=1e-6))
    assert (found.f, found.p) == (pytest.approx(2.56808, abs=2e-5), pytest.approx(0.019152, rel=5e-5))
    assert judged(data, model)[0].denominator_df == pytest.approx(24.611766, rel=5e-3)


def test_differences_of_entries_with_errors_degrees_of_freedom_and_chances() -> None:
    # lmerTest difflsmeans; df printed to one decimal.
    data = alpha_trial(OATS_ALPHA)
    fit = fit_mixed_model(data, ALPHA)
    gen = next(found for found in find_differences(data, ALPHA, fit) if found.term == "gen")
    assert (gen.pairs, len(gen.each)) == (276, 276)
    first = gen.each[:4]
    assert [(d.level_a, d.level_b) for d in first] == [("G01", f"G0{k}") for k in range(2, 6)]
    assert [d.value for d in first] == pytest.approx([0.629167415, 1.608499877, 0.617604999, 0.070489188], abs=5e-9)
    assert [d.se for d in first] == pytest.approx([0.269184163, 0.268125598, 0.268125598, 0.257503125], abs=5e-9)
    assert [d.df for d in first] == pytest.approx([38.2, 37.7, 37.7, 34.8], abs=0.051)
    assert [d.p for d in first] == pytest.approx([0.02475836, 5.9046e-7, 0.02687305, 0.78590121], rel=2e-5)
    # Piepho & Mohring 2007 Example 1: mean variance of a difference .07010875; extremes from lme4.
    assert gen.se_average**2 == pytest.approx(0.07010875, abs=1e-7)
    assert (gen.se_min, gen.se_max) == pytest.approx((0.25745016, 0.26993025), rel=1e-6)


def test_one_contrast_is_the_difference_it_writes_down() -> None:
    data = alpha_trial(OATS_ALPHA)
    fit = fit_mixed_model(data, ALPHA)
    found = judge_contrast(data, ALPHA, fit, "gen", {"G01": 1.0, "G02": -1.0})
    assert (found.level_a, found.level_b) == ("G01", "G02")
    assert (found.value, found.se) == pytest.approx((0.629167415, 0.269184163), abs=5e-9)
    assert found.p == pytest.approx(0.02475836, rel=2e-5)
    with pytest.raises(InputRefused, match="no level 'G99'"):
        judge_contrast(data, ALPHA, fit, "gen", {"G99": 1.0})

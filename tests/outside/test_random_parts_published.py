"""Do comparisons of random parts give the likelihood ratios of general reference programs and published chances?

lmerTest 3.1.3 (`ranova`), lme4 1.1.31 and nlme 3.1.162 under R 4.2.2; these print the chance of a plain chi-square.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.special
from trial_tables import Columns, needs_checks, outside

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixtures import find_mixture_chance, weigh_mixture
from firstsilk.science.analysis.models import Model, RandomTerm, Residual
from firstsilk.science.analysis.random_parts import compare_models

OATS = Model("yield", (("nitro",), ("Variety",), ("nitro", "Variety")))
BLOCK, WHOLE_PLOT = RandomTerm(("Block",)), RandomTerm(("Variety", "Block"))


def with_random(model: Model, *random: RandomTerm, residual: Residual | None = None) -> Model:
    return Model(model.response, model.fixed, random, residual or Residual(), model.numeric)


@pytest.mark.parametrize(
    ("interior", "weights", "critical"),
    [
        # 5 % points, Fitzmaurice, Laird & Ware 2004 Applied Longitudinal Analysis, Appendix C.
        (0, (0.5, 0.5), 2.71),
        (1, (0.5, 0.5), 5.14),
        (2, (0.5, 0.5), 7.05),
        (3, (0.5, 0.5), 8.76),
    ],
)
def test_critical_values_of_equal_mixtures(interior: int, weights: tuple[float, ...], critical: float) -> None:
    low, high = (find_mixture_chance(critical + step, interior, weights) for step in (0.005, -0.005))
    assert low < 0.05 < high


def test_two_independent_variances_are_a_quarter_a_half_a_quarter() -> None:
    # Self & Liang 1987, section 4: two parameters on the bound.
    assert weigh_mixture(np.diag([3.0, 0.2])) == pytest.approx([0.25, 0.5, 0.25], abs=1e-12)


@needs_checks
def test_one_variance_of_the_oat_split_plot() -> None:
    data = outside("nlme_Oats.csv")
    whole = with_random(OATS, BLOCK, WHOLE_PLOT)
    for left, ratio, plain in ((WHOLE_PLOT, 4.9782041, 0.0256686), (BLOCK, 7.6614597, 0.0056413)):
        found = compare_models(data, with_random(OATS, left), whole)
        assert found.ratio == pytest.approx(ratio, abs=2e-6)
        assert found.p_plain == pytest.approx(plain, rel=2e-5)
        assert found.p == pytest.approx(plain / 2, rel=2e-5)
        assert (found.interior, found.weights) == (0, (0.5, 0.5))


@needs_checks
def test_both_variances_of_the_oat_split_plot() -> None:
    # nlme: REML log-likelihood without random terms -282.1821048.
    found = compare_models(outside("nlme_Oats.csv"), OATS, with_random(OATS, BLOCK, WHOLE_PLOT))
    assert found.ratio == pytest.approx(2 * (282.1821048 - 264.5142535), abs=2e-6)
    assert found.on_bound == ("Block", "Variety:Block")
    none, one, both = found.weights
    assert one == 0.5
    assert none + both == pytest.approx(0.5)
    # Blocks hold the whole plots, so that the two estimates are negatively correlated: both are seldom positive.
    assert both < 0.25 < none
    by_hand = one * scipy.special.chdtrc(1, found.ratio) + both * scipy.special.chdtrc(2, found.ratio)
    assert found.p == pytest.approx(by_hand, rel=1e-12)
    assert found.p < found.p_plain


@needs_checks
def test_crossed_plates_and_samples() -> None:
    data = outside("lme4_Penicillin.csv")
    model = Model("diameter")
    plate, sample = RandomTerm(("plate",)), RandomTerm(("sample",))
    for left, ratio, plain in ((sample, 105.0572727, 1.186561523e-24), (plate, 282.3954350, 2.257340857e-63)):
        found = compare_models(data, with_random(model, left), with_random(model, plate, sample))
        assert found.ratio == pytest.approx(ratio, rel=1e-8)
        assert found.p == pytest.approx(plain / 2, rel=1e-6)


def by_environment(data: Columns) -> Columns:
    data["env"] = [f"{site} {year}" for site, year in zip(data["site"], data["year"], strict=True)]
    return data


@needs_checks
def test_a_residual_for_each_of_six_barley_sites() -> None:
    # nlme: L.Ratio 11.14503243 on 5, p 0.0486.
    data = by_environment(outside("lattice_barley.csv"))
    small = Model("yield", (("env",),), (RandomTerm(("variety",)),))
    found = compare_models(data, small, with_random(small, *small.random, residual=Residual("site")))
    assert found.ratio == pytest.approx(11.14503243, abs=2e-6)
    assert (found.interior, found.on_bound, found.weights) == (5, (), (1.0,))
    assert found.p == pytest.approx(0.0486, abs=5e-5)
    assert found.p == found.p_plain


@needs_checks
def test_a_residual_for_girls_and_one_for_boys() -> None:
    # nlme: L.Ratio 18.53676963 on 1, p 1.66658e-5.
    small = Model("distance", (("age",), ("Sex",), ("age", "Sex")), (RandomTerm(("Subject",)),), numeric=("age",))
    large = with_random(small, *small.random, residual=Residual("Sex"))
    found = compare_models(outside("nlme_Orthodont.csv"), small, large)
    assert found.ratio == pytest.approx(18.53676963, abs=2e-6)
    assert found.p == pytest.approx(1.66658e-5, rel=1e-5)
    assert not math.isnan(found.p_plain)


@needs_checks
def test_correlated_ground_and_its_nugget_in_a_wheat_nursery() -> None:
    # Stroup, Baenziger & Mulitze 1994; log-likelihoods by nlme with correlations exponential in each axis (its distance
    # sums the axes): independent -620.37089, correlated -553.70545, with a nugget -533.59892.
    data = outside("nlme_Wheat2.csv")
    data["row"] = [round(float(str(v)) / 4.3) for v in data["latitude"]]
    data["col"] = [round(float(str(v)) / 1.2) for v in data["longitude"]]
    plain = Model("yield", (("variety",),))
    ground = with_random(plain, residual=Residual(grid=("row", "col")))
    nugget = with_random(plain, residual=Residual(grid=("row", "col"), nugget=True))
    first = compare_models(data, plain, ground)
    assert first.ratio == pytest.approx(2 * (620.37089 - 553.70545), abs=3e-5)
    assert (first.interior, first.on_bound) == (2, ())
    second = compare_models(data, ground, nugget)
    assert second.ratio == pytest.approx(2 * (553.70545 - 533.59892), abs=3e-5)
    assert (second.interior, second.on_bound, second.weights) == (0, ("nugget",), (0.5, 0.5))
    assert second.p == pytest.approx(second.p_plain / 2)
    with pytest.raises(InputRefused, match="two steps"):
        compare_models(data, plain, nugget)

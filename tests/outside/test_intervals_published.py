"""Do intervals agree with a general program, and with the published closed form for predictions of batches?"""

from __future__ import annotations

import pytest
import scipy.stats
from trial_tables import DYE, OATS_ALPHA, WHEAT_ALPHA, alpha_trial, batches

from firstsilk.science.analysis.intervals import estimate_contrasts
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm


@pytest.mark.parametrize(
    ("table", "blocks", "a", "b", "value", "se", "df"),
    [
        (OATS_ALPHA, ("rep", "block"), "G02", "G03", 0.9793324601, 0.2740562309, 38.53560647),
        (OATS_ALPHA, ("rep", "block"), "G05", "G24", 0.8833363511, 0.2754108588, 39.07260547),
        (WHEAT_ALPHA, ("block",), "G02", "G05", -1147.68248, 343.5113942, 25.77890747),
    ],
)
def test_difference_of_means_in_incomplete_blocks_then_as_by_kenward_and_roger(
    table: str, blocks: tuple[str, ...], a: str, b: str, value: float, se: float, df: float
) -> None:
    """lmerTest 3.1-3 with pbkrtest, contest1D(..., ddf = "Kenward-Roger") on lmer(yield ~ rep + gen + (1 | block))."""
    data = alpha_trial(table)
    model = Model("yield", (("rep",), ("gen",)), (RandomTerm(blocks),))
    (found,) = estimate_contrasts(data, model, fit_mixed_model(data, model), "gen", [{a: 1, b: -1}])
    assert found.value == pytest.approx(value, rel=1e-5)
    assert found.se == pytest.approx(se, rel=1e-6)
    assert found.df == pytest.approx(df, rel=1e-5)


def test_prediction_of_batches_then_as_the_closed_form_of_prasad_and_rao() -> None:
    """Prasad & Rao 1990 JASA 85:163 (from memory), nested error model, m areas of n records each.

    For a difference of two areas the mean takes no part, and g1 and g3 are twice those of one area:
    g1 = sv (1 - gamma), g3 = n^-2 (sv + se / n)^-3 h, h = se^2 var(sv) + sv^2 var(se) - 2 se sv cov(se, sv), with the
    variances of the estimates from balanced mean squares: var(se) = 2 se^2 / m(n - 1), var(t) = 2 t^2 / (m - 1) for
    t = se + n sv.
    """
    data = batches(DYE)
    model = Model("yield", (), (RandomTerm(("batch",)),))
    fit = fit_mixed_model(data, model)
    sv, se, m, n = fit.variance("batch"), fit.variance("residual"), 6, 5
    t = se + n * sv
    var_se, var_t = 2 * se**2 / (m * (n - 1)), 2 * t**2 / (m - 1)
    var_sv, cov = (var_se + var_t) / n**2, -var_se / n
    h = se**2 * var_sv + sv**2 * var_se - 2 * se * sv * cov
    g1, g3 = sv * (1 - sv / (sv + se / n)), h / n**2 / (sv + se / n) ** 3
    (found,) = estimate_contrasts(data, model, fit, "batch", [{"B1": 1, "B5": -1}])
    assert found.plain_se**2 == pytest.approx(2 * g1, rel=1e-6)
    assert found.se**2 == pytest.approx(2 * g1 + 4 * g3, rel=1e-6)
    half = scipy.stats.t.ppf(0.975, found.df) * found.se
    assert found.high - found.value == pytest.approx(half)

"""Do ground, factors, groups and slopes come out as published or by general programs, on data small enough to type in?

`test_reference_values.py` goes on with larger data kept outside the project.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from reference_ground import effective
from trial_tables import Columns, corn_means, wheat_grid, winter_wheat

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Residual, Surface
from tests.dense_reml import evaluate, values_of

# Potthoff & Roy 1964 Biometrika 51:313, Table 1: distance (mm) from the pituitary to the pterygomaxillary fissure of 16
# boys and 11 girls at 8, 10, 12 and 14 years.
BOYS = """26,25,29,31 21.5,22.5,23,26.5 23,22.5,24,27.5 25.5,27.5,26.5,27 20,23.5,22.5,26 24.5,25.5,27,28.5
22,22,24.5,26.5 24,21.5,24.5,25.5 23,20.5,31,26 27.5,28,31,31.5 23,23,23.5,25 21.5,23.5,24,28
17,24.5,26,29.5 22.5,25.5,25.5,26 23,24.5,26,30 22,21.5,23.5,25"""
GIRLS = """21,20,21.5,23 21,21.5,24,25.5 20.5,24,24.5,26 23.5,24.5,25,26.5 21.5,23,22.5,23.5 20,21,21,22.5
21.5,22.5,23,25 23,23,23.5,24 20,21,22,21.5 16.5,19,19,19.5 24.5,25,28,28"""
GROWTH = (("year",), ("sex",), ("year", "sex"))


def children() -> Columns:
    """Years are counted from 11."""
    data: Columns = {"child": [], "sex": [], "year": [], "distance": [], "weight": []}
    for sex, rows in (("M", BOYS), ("F", GIRLS)):
        for number, row in enumerate(rows.split()):
            for year, value in zip((-3, -1, 1, 3), row.split(","), strict=True):
                cells = (f"{sex}{number + 1:02d}", sex, year, float(value), (year + 11) / 10)
                for name, cell in zip(data, cells, strict=True):
                    data[name].append(cell)
    return data


def coefficients(fit: Fit) -> list[tuple[float, float]]:
    return [(line.estimate, line.se) for line in fit.fixed]


def test_slopes_of_children_as_lme4_fits_them() -> None:
    # lme4 1.1.31, optimiser held to 1e-9.
    terms = (RandomTerm(("child",)), RandomTerm(("child", "year")))
    fit = fit_mixed_model(children(), Model("distance", GROWTH, terms, numeric=("year",)))
    assert fit.reml_log_likelihood == pytest.approx(-216.4212972, abs=1e-7)
    assert [line.value for line in fit.variances] == pytest.approx([3.3500965881, 0.0325244657, 1.7162037756], rel=2e-6)
    wanted = [(22.647727273, 0.586138948), (0.479545455, 0.103719313), (2.321022727, 0.761416829)]
    for found, (estimate, error) in zip(coefficients(fit), wanted, strict=False):
        assert found == (pytest.approx(estimate, rel=1e-8), pytest.approx(error, rel=1e-6))


def test_children_of_two_groups_with_a_variance_each_as_lme4_fits_them() -> None:
    # lme4 1.1.31: two terms, each for one sex.
    term = (RandomTerm(("child",), variance_by="sex"),)
    fit = fit_mixed_model(children(), Model("distance", GROWTH, term, numeric=("year",)))
    assert fit.reml_log_likelihood == pytest.approx(-216.7581936, abs=1e-7)
    found = [fit.variance("child", "M"), fit.variance("child", "F"), fit.variance("residual")]
    assert found == pytest.approx([2.86427788, 3.95016827, 1.92205481], rel=2e-6)
    assert fit.fixed[0].se == pytest.approx(0.6346568131, rel=1e-6)


def test_children_with_a_residual_variance_for_each_group_as_nlme_fits_them() -> None:
    # nlme 3.1.162 stops a little short of the top: its variances are good to some 1e-6.
    model = Model("distance", GROWTH, (RandomTerm(("child",)),), Residual("sex"), numeric=("year",))
    fit = fit_mixed_model(children(), model)
    assert fit.reml_log_likelihood == pytest.approx(-207.6102398, abs=1e-7)
    found = [fit.variance("residual", "F"), fit.variance("residual", "M"), fit.variance("child")]
    assert found == pytest.approx([0.610430787, 2.788308761, 3.413518748], rel=1e-5)


def test_children_with_weights_as_lme4_fits_them() -> None:
    # lme4 1.1.31, weights = age / 10.
    model = Model("distance", GROWTH, (RandomTerm(("child",)),), numeric=("year",), weights="weight")
    fit = fit_mixed_model(children(), model)
    assert fit.reml_log_likelihood == pytest.approx(-216.4416638, abs=1e-7)
    assert [line.value for line in fit.variances] == pytest.approx([3.40681701, 2.01840068], rel=2e-6)
    assert coefficients(fit)[1] == (pytest.approx(0.478683386, rel=1e-7), pytest.approx(0.0932738063, rel=1e-6))


def test_ground_correlated_along_rows_and_columns_as_the_guide_printed_it() -> None:
    # Burgueno et al. 2000, guide to spatial analysis, p.36: -221.47 without the constant (n-p)/2 ln 2 pi.
    fit = fit_mixed_model(wheat_grid(), Model("yield", (("gen",),), residual=Residual(grid=("row", "col"))))
    assert fit.reml_log_likelihood + 16 * math.log(2 * math.pi) == pytest.approx(-221.47, abs=5e-3)
    # Dense code of another hand in R 4.2.2.
    assert fit.reml_log_likelihood == pytest.approx(-250.87848, abs=6e-6)
    assert fit.variance("residual") == pytest.approx(415846.36, rel=1e-6)
    assert {line.axis: line.value for line in fit.correlations} == pytest.approx(
        {"row": 0.22330842, "col": 0.75544503}, rel=1e-6
    )
    assert fit.fixed[0].estimate == pytest.approx(1102.4703, rel=1e-6)


# mgcv 1.8.41, gam(method="REML"), smooths bs="ps", m=c(2, 2): effects worth (edf), scale, what records 1, 17 and 33 are
# fitted as.
GENOTYPES = (("gen",),)
SMOOTH = {
    "two axes, added": (
        Model("yield", GENOTYPES, surfaces=(Surface(("row",), (6,)), Surface(("col",), (8,)))),
        21.29149442, 113448.6525, None,
    ),
    "a surface, entries fixed": (
        Model("yield", GENOTYPES, surfaces=(Surface(("row", "col"), (4, 6)),)), 24.31992356, 129011.0824, None,
    ),
    "a surface, entries random": (
        Model("yield", (("rep",),), (RandomTerm(("gen",)),), surfaces=(Surface(("row", "col"), (4, 6)),)),
        17.26470384, 130984.0061, [2249.323461, 1490.721989, 1408.490580],
    ),
    "one axis": (Model("yield", surfaces=(Surface(("col",), (8,)),)), 3.212368583, 397109.7203, None),
    "one axis in each replicate": (
        Model("yield", (("rep",),), surfaces=(Surface(("col",), (6,), within="rep"),)),
        8.827103018, 254356.9835, [2075.309341, 1130.366586, 1544.984928],
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", SMOOTH)
def test_smooth_ground_as_a_general_library_fits_it(kind: str) -> None:
    model, edf, scale, fitted = SMOOTH[kind]
    fit = fit_mixed_model(wheat_grid(), model)
    assert fit.variance("residual") == pytest.approx(scale, rel=1e-6)
    assert fit.reml_log_likelihood == pytest.approx(
        evaluate(wheat_grid(), model, values_of(fit)).log_likelihood, abs=1e-7
    )
    assert effective(wheat_grid(), model, fit)[""] == pytest.approx(edf, rel=1e-6)
    assert fit.records is not None
    if fitted:
        assert fit.records.fitted[[0, 16, 32]] == pytest.approx(fitted, rel=1e-6)


def test_factors_of_maize_hybrids_in_six_counties_are_those_of_factor_analysis() -> None:
    # Maximum-likelihood factor analysis of the covariance (factanal of R 4.2.2, polished by Newton's method). Of the
    # specific variances 1 is given to the residual: with one mean a cell the two cannot be told apart.
    model = Model("mean", (("county",),), (RandomTerm(("gen", "county"), factors=1),), Residual(variance=1.0))
    fit = fit_mixed_model(corn_means(), model)
    assert fit.reml_log_likelihood == pytest.approx(-1433.6702, abs=6e-5)
    loadings = np.array([line.value for line in fit.loadings])
    wanted = [6.4848348, 6.9773185, 7.8708915, 5.3588673, 8.8788698, 3.6047765]
    assert loadings * np.sign(loadings.sum()) == pytest.approx(wanted, rel=1e-6)
    specific = [fit.variance("gen:county", f"C{k}") + 1 for k in range(1, 7)]
    assert specific == pytest.approx([71.052254, 78.981851, 96.540211, 86.134299, 49.318755, 141.07428], rel=1e-6)


def test_factors_of_winter_wheat_are_those_of_factor_analysis() -> None:
    model = Model("yield", (("env",),), (RandomTerm(("gen", "env"), factors=1),), Residual(variance=0.01))
    fit = fit_mixed_model(winter_wheat(), model)
    assert fit.reml_log_likelihood == pytest.approx(-80.886723, abs=6e-6)
    loadings = {line.level: abs(line.value) for line in fit.loadings}
    found = [loadings["BH93"], loadings["EA93"], loadings["OA93"], fit.variance("gen:env", "OA93") + 0.01]
    assert found == pytest.approx([0.48003446, 0.40302618, 0.3049199, 0.36377932], rel=1e-5)

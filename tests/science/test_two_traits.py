"""Do two traits fitted together tell the genetic correlation that full matrices and balanced tables tell?"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.models import Model, RandomTerm, Residual
from firstsilk.science.analysis.two_traits import fit_two_traits
from tests.dense_reml import textbook

Array = NDArray[np.float64]
Data = dict[str, list[object]]
MODEL = Model("yield", (("site",),), (RandomTerm(("line",)),), genotype="line")


def trial(seed: int, lines: int = 40, correlation: float = -0.6, gone: float = 0.0, sites: int = 2) -> Data:
    """Each line twice at each site; yield in tonnes, moisture in per cent, with plots that lack one."""
    dice = np.random.default_rng(seed)
    c = correlation * np.sqrt(1.0 * 4.0)
    genes = dice.multivariate_normal([0, 0], [[1.0, c], [c, 4.0]], size=lines)
    data: Data = {"site": [], "line": [], "yield": [], "moisture": []}
    for j in range(sites):
        for _ in range(2):
            for k in range(lines):
                left = dice.multivariate_normal([0, 0], [[1.5, 0.4], [0.4, 2.0]])
                values = [8 + j + genes[k, 0] + left[0], 22 - j + genes[k, 1] + left[1]]
                told = [None if dice.random() < gone else float(v) for v in values]
                for name, value in zip(data, (f"S{j}", f"L{k:02d}", *told), strict=True):
                    data[name].append(value)
    return data


def sums_of_products(data: Data) -> tuple[Array, Array]:
    """Mean squares and products of lines, and of what is left, in a balanced trial with sites fixed."""
    y = np.column_stack([np.array(data[name], dtype=float) for name in ("yield", "moisture")])
    site, line = (np.unique(np.array(data[name]), return_inverse=True)[1] for name in ("site", "line"))
    y = y - np.array([y[site == j].mean(axis=0) for j in range(site.max() + 1)])[site]
    means = np.array([y[line == k].mean(axis=0) for k in range(line.max() + 1)])
    times = len(y) // len(means)
    between = times * means.T @ means / (len(means) - 1)
    rest = y - means[line]
    return between, rest.T @ rest / (len(y) - len(means) - site.max())


def test_two_traits_when_balanced_then_the_mean_squares_and_products_say_it() -> None:
    data = trial(1)
    found = fit_two_traits(data, MODEL, ("yield", "moisture"))
    between, within = sums_of_products(data)
    genetic = (between - within) / 4
    line, left = found.line("line"), found.line("residual")
    told = [line.variance_a, line.variance_b, line.covariance, left.variance_a, left.variance_b, left.covariance]
    expected = [genetic[0, 0], genetic[1, 1], genetic[0, 1], within[0, 0], within[1, 1], within[0, 1]]
    assert told == pytest.approx(expected, rel=1e-5)
    assert line.correlation == pytest.approx(genetic[0, 1] / np.sqrt(genetic[0, 0] * genetic[1, 1]), rel=1e-5)
    assert (found.n_plots, found.n_both) == (160, 160)


def test_two_traits_when_units_change_then_variances_follow_and_the_correlation_stays() -> None:
    data = trial(2, gone=0.2)
    one = fit_two_traits(data, MODEL, ("yield", "moisture"))
    data["kilograms"] = [None if v is None else 1000.0 * float(str(v)) - 500 for v in data["yield"]]
    two = fit_two_traits(data, MODEL, ("moisture", "kilograms"))
    a, b = one.line("line"), two.line("line")
    assert (b.variance_b, b.variance_a, b.covariance) == pytest.approx(
        (1e6 * a.variance_a, a.variance_b, 1e3 * a.covariance), rel=1e-4
    )
    assert b.correlation == pytest.approx(a.correlation, abs=1e-5)
    assert b.correlation_se == pytest.approx(a.correlation_se, rel=0.05)


def test_two_traits_when_plots_lack_one_then_the_likelihood_of_full_matrices_is_at_its_top() -> None:
    data = trial(3, lines=20, gone=0.25)
    found = fit_two_traits(data, MODEL, ("yield", "moisture"))
    seen = [(k, t) for t, name in enumerate(("yield", "moisture")) for k, v in enumerate(data[name]) if v is not None]
    plot, trait = (np.array(part) for part in zip(*seen, strict=True))
    y = np.array([float(str(data[("yield", "moisture")[t]][k])) for k, t in seen])
    line, site = (np.array(data[name])[plot] for name in ("line", "site"))
    X = np.column_stack([(trait == t) & (site == s) for t in range(2) for s in ("S0", "S1")]).astype(float)

    def log_likelihood(g: Array, r: Array) -> float:
        pick = np.ix_(trait, trait)
        same_line, same_plot = line[:, None] == line, plot[:, None] == plot
        return textbook(y, X, np.where(same_line, g[pick], 0.0) + np.where(same_plot, r[pick], 0.0))

    g, r = ([[x.variance_a, x.covariance], [x.covariance, x.variance_b]] for x in found.lines)
    best = log_likelihood(np.array(g), np.array(r))
    for matrix, other, first in ((g, r, True), (r, g, False)):
        for at in ((0, 0), (1, 1), (0, 1)):
            for change in (0.98, 1.02):
                moved = np.array(matrix)
                moved[at] *= change
                moved[at[::-1]] = moved[at]
                pair = (moved, np.array(other)) if first else (np.array(other), moved)
                assert log_likelihood(*pair) < best


def test_two_traits_when_many_trials_are_fitted_then_the_error_of_the_correlation_is_what_it_says() -> None:
    told = [fit_two_traits(trial(100 + k), MODEL, ("yield", "moisture")).line("line") for k in range(60)]
    values = np.array([one.correlation for one in told], dtype=float)
    errors = np.array([one.correlation_se for one in told if one.correlation_se is not None])
    assert np.mean(values) == pytest.approx(-0.6, abs=0.06)
    assert np.sqrt(np.mean(errors**2)) == pytest.approx(np.std(values), rel=0.35)


def test_two_traits_when_lines_also_differ_by_site_then_each_term_has_its_own_correlation() -> None:
    model = Model("yield", (("site",),), (RandomTerm(("line",)), RandomTerm(("line", "site"))))
    found = fit_two_traits(trial(4, sites=4), model, ("yield", "moisture"))
    assert [one.term for one in found.lines] == ["line", "line:site", "residual"]
    assert found.fit.converged
    assert found.line("line").correlation == pytest.approx(-0.6, abs=0.3)


SPLIT, BY_SITE = Residual("site"), RandomTerm(("line",), variance_by="site")
BOTH = ("yield", "moisture")
BAD = {
    "one trait twice": (MODEL, ("yield", "yield"), "Two different traits"),
    "a trait that is no column": (MODEL, ("yield", "protein"), "no column 'protein'"),
    "a split residual": (Model("y", residual=SPLIT), BOTH, "no surface, weights, grid"),
    "a term by site": (Model("y", (), (BY_SITE,)), BOTH, "plain random"),
    "a trait that does not vary": (MODEL, ("yield", "flat"), "does not vary"),
    "a trait of words": (MODEL, ("yield", "line"), "is not a number"),
}


@pytest.mark.parametrize("name", BAD)
def test_two_traits_when_the_question_is_wrong_then_refused_in_words(name: str) -> None:
    model, traits, told = BAD[name]
    data = trial(5, lines=6)
    data["flat"] = [1.0] * len(data["yield"])
    with pytest.raises(InputRefused, match=told):
        fit_two_traits(data, model, traits)

"""Do lines, ecovalence, stability variance, superiority and axes give published and independent values?

Small tables are typed in; larger ones lie outside the project. Values named "by R" were read off lm and svd of R 4.2.2.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

import numpy as np
import pytest
from trial_tables import needs_checks, outside, reference

from firstsilk.science.analysis.axes import check_axes, draw_chance, find_ammi_axes, find_gge_axes
from firstsilk.science.analysis.stability import (
    analyse_joint_regression,
    describe_stability,
    fit_joint_regression,
)
from firstsilk.science.analysis.two_way import TwoWayTable, fill_missing_cells, fit_additive, lay_out_two_way

# Lu & Tien 1993 J. Agric. Assoc. China 164:1; Lu 1995 Agron. J. 87:888: maize, 5 entries x 6 environments x 4 blocks.
MAIZE = """
G1,E1,3679,3175,3597,2704 G1,E2,1875,2016,2820,1939 G1,E3,3418,3829,3573,3951 G1,E4,4071,3650,3907,4055
G1,E5,2384,2071,1254,646 G1,E6,1574,1502,1998,2147 G2,E1,3799,3246,3279,3625 G2,E2,1913,1522,1543,1660
G2,E3,3407,2793,2969,3424 G2,E4,3667,3910,3932,4080 G2,E5,1763,1672,3134,1177 G2,E6,1618,1829,1067,1102
G3,E1,2497,2750,3091,2267 G3,E2,2007,2015,2482,1481 G3,E3,2792,2130,2080,2496 G3,E4,3526,3035,2056,3062
G3,E5,1361,824,1125,620 G3,E6,979,978,1132,1543 G4,E1,2125,2604,2687,2452 G4,E2,2038,2109,2434,1800
G4,E3,3209,2764,1975,2350 G4,E4,4007,3855,3808,3302 G4,E5,1612,2208,1615,1948 G4,E6,1266,1327,1873,1489
G5,E1,2844,2624,2424,3118 G5,E2,1674,2099,1476,1796 G5,E3,4041,3534,3846,4230 G5,E4,3645,5367,4061,3642
G5,E5,1803,2524,1237,1994 G5,E6,2259,1490,1429,1534
"""
BLOCKS, MSE = 4, 179336.75
"""SS of the error 12912246 on 72 df, rounded: a quarter of the mean square is known to 0.002."""


def maize() -> TwoWayTable:
    rows = [record.split(",") for record in MAIZE.split()]
    return lay_out_two_way(
        [row[0] for row in rows],
        [row[1] for row in rows],
        [float(np.mean([float(y) for y in row[2:]])) for row in rows],
    )


def stored(name: str) -> TwoWayTable:
    """Cell means of a data set kept outside the project."""
    data = outside(name)
    cells = defaultdict(list)
    for entry, environment, value in zip(data["gen"], data["env"], data["yield"], strict=True):
        if value not in (None, "", "NA"):
            cells[entry, environment].append(float(str(value)))
    return lay_out_two_way(*zip(*cells, strict=True), [float(np.mean(values)) for values in cells.values()])


def test_maize_gives_the_slopes_deviations_and_variances_by_r() -> None:
    found = describe_stability(maize(), MSE, BLOCKS)
    assert [one.slope for one in found] == pytest.approx(
        [1.09533754, 1.11405796, 0.81110773, 0.80677889, 1.17271789], abs=6e-9
    )
    assert [one.deviation_ms for one in found] == pytest.approx(
        [41878.521, 96428.687, 107299.21, 92001.037, 136976.48], rel=1e-7
    )
    assert [one.s2d for one in found] == pytest.approx(
        [-2955.6672, 51594.499, 62465.026, 47166.849, 92142.295], abs=2e-3
    )
    assert [one.wricke for one in found] == pytest.approx(
        [205151.69, 439584.55, 576945.17, 522601.95, 671434.90], rel=1e-7
    )
    assert [one.shukla for one in found] == pytest.approx(
        [28121.926, 106266.21, 152053.09, 133938.68, 183549.66], rel=1e-7
    )


def test_maize_gives_the_sums_of_squares_of_means_and_of_plots_by_r() -> None:
    found = {line.source: line for line in analyse_joint_regression(maize())}
    wanted = [20704472, 2143271.1, 2415718.3, 517382.49, 1898335.8]
    assert [line.ss for line in found.values()] == pytest.approx(wanted, rel=1e-7)
    assert [line.df for line in found.values()] == [5, 4, 20, 4, 16]
    plots = [BLOCKS * found[source].ss for source in ("environments", "entries", "interaction")]
    assert plots == pytest.approx([82817889, 8573084, 9662873], abs=1)


@needs_checks
@pytest.mark.parametrize(
    ("file", "dataset"),
    [
        ("lu.stability.csv", "lu.stability (Lu & Tien 1993; Lu 1995"),
        ("yan.winterwheat.csv", "yan.winterwheat"),
        ("kang.maize.csv", "kang.maize"),
    ],
)
def test_stored_tables_give_every_figure_of_each_entry_by_r(file: str, dataset: str) -> None:
    wanted = reference(dataset, "stability statistics")
    error = (MSE, BLOCKS) if file.startswith("lu") else (None, 1)
    table = stored(file)
    seen = 0
    for one in describe_stability(table, *error):
        df = len(table.environments) - 2
        told = {
            "mean": one.mean,
            "Finlay-Wilkinson/Eberhart-Russell b": one.slope,
            "SS deviations from regression": df * one.deviation_ms,
            "MS deviations": one.deviation_ms,
            "Eberhart-Russell S2d = MS deviations - MSE/r": one.s2d,
            "r2": one.r2,
            "Wricke ecovalence": one.wricke,
            "Shukla stability variance (cell-mean scale)": one.shukla,
            "Lin-Binns superiority P": one.superiority,
        }
        for name, value in told.items():
            if f"{name} {one.entry}" in wanted:
                assert value == pytest.approx(wanted[f"{name} {one.entry}"], rel=1e-6, abs=1e-7), (name, one.entry)
                seen += 1
    assert seen == len(wanted)
    joint = reference(dataset, "joint regression ANOVA on means")
    names = ["environments", "genotypes", "GxE", "heterogeneity of regressions", "pooled deviations"]
    assert [line.ss for line in analyse_joint_regression(table)] == pytest.approx(
        [joint[f"SS {name}"] for name in names], rel=1e-6
    )


@needs_checks
@pytest.mark.parametrize(
    ("file", "dataset", "view"),
    [
        ("lu.stability.csv", "lu.stability (Lu & Tien 1993; Lu 1995", "AMMI"),
        ("yan.winterwheat.csv", "yan.winterwheat", "AMMI"),
        ("kang.maize.csv", "kang.maize", "AMMI"),
        ("lu.stability.csv", "lu.stability (Lu & Tien 1993; Lu 1995", "GGE"),
        ("yan.winterwheat.csv", "yan.winterwheat", "GGE"),
        ("yan.winterwheat.csv", "yan.winterwheat", "GGE scaled"),
    ],
)
def test_stored_tables_give_singular_values_percent_and_scores_by_r(file: str, dataset: str, view: str) -> None:
    table = stored(file)
    if view == "AMMI":
        axes, scores = find_ammi_axes(table), find_ammi_axes(table)
        wanted = reference(dataset, "AMMI: SVD of double-centred means")
        firsts = reference(dataset, "AMMI: IPCA1 scores")
    else:
        scaled = view.endswith("scaled")
        axes, scores = find_gge_axes(table, scale_environments=scaled), find_gge_axes(table, "environment", scaled)
        models = {str(one) for one in _models(dataset) if "GGE" in str(one) and ("scaled" in str(one)) is scaled}
        first = next(one for one in models if "unit-length" in one)
        firsts = reference(dataset, first)
        wanted = {k: v for one in models - {first} for k, v in _exactly(dataset, one).items()}
    for k, (size, percent) in enumerate(zip(axes.singular_values, axes.percent, strict=True), 1):
        assert size == pytest.approx(wanted[f"singular value {k}"], rel=1e-6)
        (part,) = [value for name, value in wanted.items() if name.endswith(f"axis {k}")]
        assert percent == pytest.approx(part, rel=1e-6)
    assert len(wanted) == 2 * len(axes.singular_values)
    told = {name: row[0] for name, row in zip(table.entries, scores.entry_scores, strict=True)}
    if view == "AMMI":
        told = {f"gen {name}": value for name, value in told.items()}
        pairs = zip(table.environments, scores.environment_scores, strict=True)
        told |= {f"env {name}": row[0] for name, row in pairs}
    assert told == pytest.approx(firsts, rel=1e-6, abs=1e-7)


def _models(dataset: str) -> set[str]:
    from trial_tables import _reference

    return {str(one["model"]) for one in _reference() if str(one["dataset"]).startswith(dataset)}


def _exactly(dataset: str, model: str) -> dict[str, float]:
    from trial_tables import _reference

    found = [r for r in _reference() if str(r["dataset"]).startswith(dataset) and r["model"] == model]
    return {str(r["quantity"]): float(str(r["value"])) for r in found}


@needs_checks
def test_winter_wheat_gives_the_published_share_of_two_axes() -> None:
    """Yan, Kang, Ma, Woods & Cornelius 2007 Crop Science 47:643, caption of figure 1: 78 %."""
    percent = find_gge_axes(stored("yan.winterwheat.csv")).percent
    assert percent[0] + percent[1] == pytest.approx(78, abs=0.5)


@needs_checks
def test_lines_fitted_jointly_with_gaps_are_the_published_ones() -> None:
    """Digby 1979 J. agric. Sci. 93:81 Table 2; his slopes are scaled by a constant."""
    table = stored("digby.jointregression.csv")
    found = fit_joint_regression(table)
    exact = [0.95613255, 0.74178535, 1.0860219, 1.0281864, 1.1463623, 0.88004576, 1.0926669, 0.91714329, 1.2007282]
    assert list(found.slopes) == pytest.approx([*exact, 0.95092728], rel=1e-6)
    assert found.residual_ss == pytest.approx(7.9639614, rel=1e-6)
    published = np.array([0.953, 0.739, 1.082, 1.024, 1.142, 0.877, 1.089, 0.914, 1.196, 0.947])
    constant = published.mean() / found.slopes.mean()
    assert found.slopes * constant == pytest.approx(published, abs=6e-4)
    adjusted, _ = fit_additive(table)
    means = np.array([3.272, 3.268, 4.051, 3.724, 3.641, 3.195, 3.232, 3.268, 3.749, 3.179])
    assert adjusted - adjusted.mean() == pytest.approx(means - means.mean(), abs=6e-4)
    filled = fill_missing_cells(table)
    assert filled.means.mean(axis=1) == pytest.approx(adjusted)


# Cornelius, Crossa & Seyedsadr 1996: maize, 9 entries x 20 environments. Percent of the interaction by axis, by R.
PERCENT_9_X_20 = (56.1952, 15.101, 10.4384)
TEST_STATISTIC = (0.561952, 0.344733, 0.363659, 0.47218)
CHANCE = (0.00, 0.156, 0.272, 0.046)
"""Forkman & Piepho 2014 Biometrics 70:639, as the page of the data quotes them."""


def test_test_statistic_is_the_share_of_what_the_axes_before_left() -> None:
    left = [100.0]
    for percent in PERCENT_9_X_20:
        left.append(left[-1] - percent)
    shares = [1 - after / before for before, after in pairwise(left)]
    assert shares == pytest.approx(TEST_STATISTIC[:3], abs=1e-5)
    tests = check_axes(find_ammi_axes(maize()), "ammi", np.random.default_rng(1), draws=0)
    squares = find_ammi_axes(maize()).singular_values ** 2
    assert [one.share_of_rest for one in tests] == pytest.approx(
        [squares[k] / squares[k:].sum() for k in range(len(squares))]
    )


@pytest.mark.parametrize("k", [1, 2, 3, 4])
def test_chance_of_an_axis_by_drawing_is_the_published_one(k: int) -> None:
    """To 0.02: his draws and ours both have a standard error of up to 0.005 with 10,000 draws."""
    found = draw_chance(TEST_STATISTIC[k - 1], 9 - k, 20 - k, 10_000, np.random.default_rng(k))
    assert found == pytest.approx(CHANCE[k - 1], abs=0.02)


def test_degrees_of_freedom_of_an_axis_are_those_of_gollob() -> None:
    """Zobel, Wright & Gauch 1988 Agron. J. 80:388, soybean 7 x 35: 39, 37, 35 (g + e - 1 - 2k; from memory)."""
    dice = np.random.default_rng(7)
    names = [(f"G{i}", f"E{j}") for i in range(7) for j in range(35)]
    table = lay_out_two_way(*zip(*names, strict=True), list(dice.normal(size=len(names))))
    tests = check_axes(find_ammi_axes(table), "ammi", dice, 0)
    assert [one.df for one in tests[:3]] == [39, 37, 35]

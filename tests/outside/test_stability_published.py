"""Do lines, ecovalence, stability variance, superiority and axes give published and independent values?

Small tables are typed in; larger ones lie outside the project, most of their values in
`test_reference_values.py`. Values named "by R" were read off lm and svd of R 4.2.2.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from reference_tables import cell_means
from trial_tables import needs_checks, winter_wheat

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


def test_winter_wheat_gives_the_published_share_of_two_axes() -> None:
    """Yan, Kang, Ma, Woods & Cornelius 2007 Crop Science 47:643, caption of figure 1: 78 %."""
    data = winter_wheat()
    columns = (data["gen"], data["env"], [float(str(value)) for value in data["yield"]])
    percent = find_gge_axes(lay_out_two_way(*columns)).percent
    assert percent[0] + percent[1] == pytest.approx(78, abs=0.5)


@needs_checks
def test_lines_fitted_jointly_with_gaps_are_the_published_ones() -> None:
    """Digby 1979 J. agric. Sci. 93:81 Table 2; his slopes are scaled by a constant."""
    table = cell_means("digby.jointregression.csv")
    found = fit_joint_regression(table)
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

"""Do moments of a cut normal law, and draws from it, agree with scipy's, near the mean and far out?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kstest, norm, truncnorm

from firstsilk.science.flowering.censored import cut_moments, draw_between

INF = np.inf
CUTS = (
    (0.0, 1.0, -1.0, 1.0),
    (0.0, 1.0, -INF, INF),
    (0.0, 1.0, -INF, 0.7),
    (0.0, 1.0, -0.2, INF),
    (1300.0, 14.0, 1310.0, 1332.0),
    (1300.0, 14.0, -INF, 1240.0),
    (1300.0, 14.0, 1360.0, INF),
    (50.0, 5.0, 49.9, 50.1),
    (0.0, 2.0, -13.0, -12.0),
    (0.0, 2.0, 12.0, 13.0),
)


def _of_scipy(mean, sd, low, high):
    return truncnorm((low - mean) / sd, (high - mean) / sd, loc=mean, scale=sd)


@pytest.mark.parametrize("cut", CUTS)
def test_moments_are_those_of_scipy(cut):
    mean, sd, low, high = cut
    log_chance, found, variance = (float(one[0]) for one in cut_moments(*(np.array([each]) for each in cut)))
    other = _of_scipy(*cut)
    assert found == pytest.approx(other.mean(), rel=1e-9, abs=1e-9 * sd)
    assert variance == pytest.approx(other.var(), rel=1e-6)
    chance = norm.cdf(high, mean, sd) - norm.cdf(low, mean, sd)
    if chance > 1e-9 and low <= mean:
        assert np.exp(log_chance) == pytest.approx(chance, rel=1e-9)


@pytest.mark.parametrize("far", [8.0, 20.0, 35.0, 100.0])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_far_out_the_law_hugs_its_nearer_limit(far, side):
    # Beyond a far limit a normal law is nearly exponential: mean a + 1/a, variance 1/a^2 (first terms of Mills' ratio).
    low, high = (far, INF) if side > 0 else (-INF, -far)
    log_chance, found, variance = cut_moments(*(np.array([one]) for one in (0.0, 1.0, low, high)))
    assert side * float(found[0]) == pytest.approx(far + 1.0 / far - 2.0 / far**3, abs=12.0 / far**5 + 1e-9)
    assert float(variance[0]) == pytest.approx(1.0 / far**2, rel=max(8.0 / far**2, 0.02))
    assert float(log_chance[0]) == pytest.approx(float(norm.logcdf(-far)), rel=1e-12)


def test_no_cut_changes_nothing_and_both_sides_mirror():
    mean, sd = np.array([10.0]), np.array([3.0])
    whole = cut_moments(mean, sd, np.array([-INF]), np.array([INF]))
    assert [float(one[0]) for one in whole] == pytest.approx([0.0, 10.0, 9.0])
    up = cut_moments(mean, sd, np.array([14.0]), np.array([19.0]))
    down = cut_moments(mean, sd, np.array([1.0]), np.array([6.0]))
    assert float(up[0][0]) == pytest.approx(float(down[0][0]))
    assert float(up[1][0]) - 10.0 == pytest.approx(10.0 - float(down[1][0]))
    assert float(up[2][0]) == pytest.approx(float(down[2][0]))


@given(
    st.floats(-60.0, 60.0),
    st.floats(0.01, 30.0),
    st.floats(-60.0, 60.0),
    st.floats(0.001, 60.0),
    st.sampled_from(["both", "low", "high"]),
)
def test_cut_laws_lie_between_their_limits_and_are_never_wider(mean, sd, low, width, kept):
    limits = (-INF if kept == "high" else low, INF if kept == "low" else low + width)
    log_chance, found, variance = (
        float(one[0]) for one in cut_moments(*(np.array([each]) for each in (mean, sd, *limits)))
    )
    assert np.isfinite([log_chance, found, variance]).all()
    assert log_chance <= 1e-12
    assert limits[0] <= found <= limits[1]
    assert 0.0 < variance <= sd**2 * (1.0 + 1e-9)


@pytest.mark.parametrize("cut", CUTS)
def test_draws_follow_the_cut_law(cut):
    mean, sd, low, high = cut
    n = 4000
    drawn = draw_between(np.full(n, mean), sd, np.full(n, low), np.full(n, high), (np.arange(n) + 0.5) / n)
    assert (drawn >= low).all()
    assert (drawn <= high).all()
    # Evenly spread uniforms give evenly spread quantiles: nearer than any sample of this size.
    assert kstest(drawn, _of_scipy(*cut).cdf).statistic < 1e-3


def test_draws_lost_in_rounding_are_given_the_nearer_limit():
    found = draw_between(np.zeros(2), 1.0, np.array([60.0, -INF]), np.array([INF, -60.0]), np.array([0.5, 0.5]))
    assert found.tolist() == [60.0, -60.0]
    # Dice may show 0 itself.
    zero = draw_between(np.zeros(3), 1.0, np.array([-INF, 60.0, -1.0]), np.array([INF, INF, 1.0]), np.zeros(3))
    assert -10.0 < zero[0] < -8.0
    assert zero[1:] == pytest.approx([60.0, -1.0])


@given(st.floats(-9.0, 9.0), st.floats(0.01, 12.0), st.lists(st.floats(1e-9, 1.0 - 1e-9), min_size=2, max_size=9))
def test_draws_rise_with_the_uniform_number_or_fall_but_keep_their_limits(low, width, uniform):
    each = np.sort(np.array(uniform))
    n = len(each)
    drawn = draw_between(np.zeros(n), 1.0, np.full(n, low), np.full(n, low + width), each)
    assert ((drawn >= low) & (drawn <= low + width)).all()
    steps = np.diff(drawn)
    assert (steps >= -1e-9).all() or (steps <= 1e-9).all()

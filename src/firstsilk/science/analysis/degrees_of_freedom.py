"""How many degrees of freedom has a test whose variances are estimated?

Values only: combinations of fixed effects, their covariance, how it moves with each variance, and how sure the
variances are. Dense and sparse fits can both hand these in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.special

from firstsilk.science.analysis.models import Array

# An eigenvalue of a covariance of contrasts below this share of the largest counts as 0.
FLAT = 1e-10
# Degrees of freedom that differ by less than this are the same, and exact.
SAME = 1e-8
# An F with two denominator degrees of freedom or fewer has no mean, so that nothing can be matched to it.
LEAST_DF = 2.0


@dataclass(frozen=True, slots=True)
class Contrasts:
    """Combinations of fixed effects that are 0 if there is nothing to find (m of them, K variances).

    `values` (m,) and their `covariance` (m, m), in the response's unit and its square; `slopes` (K, m, m) the
    derivative of that covariance by each variance; `variance_covariance` (K, K) how sure the variances are.
    """

    values: Array
    covariance: Array
    slopes: Array
    variance_covariance: Array


@dataclass(frozen=True, slots=True)
class FTest:
    """One F test: degrees of freedom above and below the line (inf where all variances are known), F and p."""

    df: int
    denominator_df: float
    f: float
    p: float


def estimate_df(variances: Array, slopes: Array, variance_covariance: Array) -> Array:
    """Degrees of freedom of single contrasts, by matching a scaled chi-square to the estimated variance.

    Parameters
    ----------
    variances
        Variance of each contrast, (m,).
    slopes
        Its derivative by each of the K variances, (K, m).
    variance_covariance
        Covariance of the estimated variances, (K, K).

    Returns
    -------
    array
        Degrees of freedom (m,): inf where the variance does not depend on anything estimated.

    Notes
    -----
    df = 2 v^2 / (g' A g), g the slopes and A the covariance of the variances.

    References
    ----------
    Satterthwaite 1946 Biometrics Bulletin 2:110; Giesbrecht & Burns 1985 Biometrics 41:477.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    spread = np.einsum("km,kl,lm->m", slopes, variance_covariance, slopes)
    df = np.full(len(variances), np.inf)
    np.divide(2.0 * variances**2, spread, out=df, where=spread > 0)
    return df


def judge_together(contrasts: Contrasts) -> FTest:
    """Test several contrasts at once by F with approximate denominator degrees of freedom.

    Parameters
    ----------
    contrasts
        What is 0 if there is nothing to find.

    Returns
    -------
    FTest
        `df` is the rank of the contrasts.

    Notes
    -----
    The covariance is turned to independent contrasts (eigenvectors), each of which has its own degrees of freedom
    v_i (`estimate_df`); F is the mean of their squared t values. With E = sum v_i / (v_i - 2) the denominator is
    2E / (E - m), so that the mean of F is matched. Where one v_i is 2 or less it is 2; where all are alike it is v_i.

    References
    ----------
    Fai & Cornelius 1996 J Stat Comput Simul 54:363.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    roots, directions = np.linalg.eigh(contrasts.covariance)
    used = roots > FLAT * max(float(roots[-1]), 0.0)
    roots, directions = roots[used], directions[:, used]
    m = len(roots)
    t_squared = (directions.T @ contrasts.values) ** 2 / roots
    f = float(np.mean(t_squared))
    own = np.array([np.sum(directions * (slope @ directions), axis=0) for slope in contrasts.slopes])
    df = estimate_df(roots, own.reshape(len(contrasts.slopes), m), contrasts.variance_covariance)
    return give_f(m, _match_mean(df), f)


def _match_mean(df: Array) -> float:
    if np.all(np.isinf(df)):
        return math.inf
    if float(np.min(df)) <= LEAST_DF:
        return float(df[0]) if len(df) == 1 else LEAST_DF
    if float(np.max(df) - np.min(df)) < SAME * float(np.min(df)):
        return float(np.mean(df))
    # v / (v - 2) written so that infinite degrees of freedom are 1.
    excess = float(np.sum(2.0 / (df - 2.0)))
    return 2.0 * (len(df) + excess) / excess


def give_f(df: int, denominator_df: float, f: float) -> FTest:
    """An F value with its chance."""
    if math.isinf(denominator_df):
        return FTest(df, denominator_df, f, float(scipy.special.chdtrc(df, df * f)))
    return FTest(df, denominator_df, f, float(scipy.special.fdtrc(df, denominator_df, f)))


def judge_adjusted(contrasts: Contrasts, adjusted: Array) -> FTest:
    """Test several contrasts by a scaled F whose covariance counts that the variances were estimated.

    Parameters
    ----------
    contrasts
        What is 0 if there is nothing to find; its `variance_covariance` is the inverse of the expected information.
    adjusted
        Covariance of the values with what estimating the variances adds, (m, m).

    Returns
    -------
    FTest
        `f` is the scaled one, to be set against the denominator degrees of freedom beside it.

    Notes
    -----
    With v the unadjusted covariance, D_k its slopes and A the covariance of the variances: A1 = sum A_kl tr(v^-1 D_k)
    tr(v^-1 D_l), A2 = sum A_kl tr(v^-1 D_k v^-1 D_l); mean and variance of F follow from them (formulas of section 2
    of the reference, which are exact for one-way and split-plot anova and Hotelling's T), and scale and denominator
    from mean and variance.

    References
    ----------
    Kenward & Roger 1997 Biometrics 53:983.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py
    """
    m = len(contrasts.values)
    f = float(contrasts.values @ np.linalg.solve(adjusted, contrasts.values)) / m
    turned = np.array([np.linalg.solve(contrasts.covariance, slope) for slope in contrasts.slopes])
    if not len(turned):
        return give_f(m, math.inf, f)
    traces = np.trace(turned, axis1=1, axis2=2)
    A = contrasts.variance_covariance
    a1 = float(traces @ A @ traces)
    a2 = float(np.einsum("kl,kij,lji->", A, turned, turned))
    scale, denominator = _match_two(a1, a2, m)
    return give_f(m, denominator, scale * f)


def _match_two(a1: float, a2: float, m: int) -> tuple[float, float]:
    """The scale and the denominator degrees of freedom that give F its approximate mean and variance."""
    if a2 <= 0.0:
        return 1.0, math.inf
    b = (a1 + 6.0 * a2) / (2.0 * m)
    g = ((m + 1) * a1 - (m + 4) * a2) / ((m + 2) * a2)
    low = 3.0 * m + 2.0 * (1.0 - g)
    c1, c2, c3 = g / low, (m - g) / low, (m + 2 - g) / low
    first, second, third = 1.0 + c1 * b, 1.0 - c2 * b, 1.0 - c3 * b
    left = 1.0 - a2 / m
    # Both are 0 for a single contrast with exactly two degrees of freedom; their ratio is then 1.
    share = left / second if max(abs(left), abs(second)) > SAME else 1.0
    denominator = 4.0 + (m + 2) * third / (share**2 * first - third)
    scale = denominator * left / (denominator - 2.0) if abs(denominator - LEAST_DF) > 0.01 else 1.0
    return scale, denominator

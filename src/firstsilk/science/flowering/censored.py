"""What do "not yet", "seen" and "seen between two visits" say about a number that is known only to lie between limits?

Moments of a normal law cut to an interval, and draws from it, steady far out in the tails.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri

FloatArray = NDArray[np.float64]

_LOG_ROOT_2PI = 0.5 * float(np.log(2.0 * np.pi))
_LEAST_SHARE = 1e-10
"""A cut law keeps at least this share of its variance: rounding far out must not make it negative."""
_LEAST_UNIFORM = 2.0**-54


def cut_moments(
    mean: FloatArray, sd: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Chance, mean and variance of normal laws between two limits.

    Parameters
    ----------
    mean, sd
        Of the laws before they are cut (n,).
    low, high
        Limits (n,), ``low < high``; -inf and inf where there is none.

    Returns
    -------
    log_chance, mean, variance
        Natural logarithm of the chance of lying between, and the moments given that (n,).

    Notes
    -----
    With ``a, b`` the limits in standard deviations and ``Z = Phi(b) - Phi(a)``: mean ``(phi(a) - phi(b)) / Z``,
    variance ``1 + (a phi(a) - b phi(b)) / Z - mean^2``. Laws whose interval lies above the mean are turned round
    first, so that both chances are small and none is lost in 1. Good to 100 standard deviations out; further the
    variance loses digits to rounding.

    References
    ----------
    Johnson N.L., Kotz S., Balakrishnan N. 1994, Continuous Univariate Distributions, vol. 1, ch. 13.

    Checked by ``tests/science/test_censored.py`` against scipy.stats.truncnorm.
    """
    a, b = (low - mean) / sd, (high - mean) / sd
    turned = a > 0.0
    a, b = np.where(turned, -b, a), np.where(turned, -a, b)
    log_b = log_ndtr(b)
    with np.errstate(invalid="ignore", over="ignore"):
        log_chance = log_b + np.log1p(-np.exp(np.minimum(log_ndtr(a) - log_b, -1e-16)))
        at_a = np.exp(-0.5 * a * a - _LOG_ROOT_2PI - log_chance)
        at_b = np.exp(-0.5 * b * b - _LOG_ROOT_2PI - log_chance)
        shift = at_a - at_b
        bend = np.where(np.isinf(a), 0.0, a * at_a) - np.where(np.isinf(b), 0.0, b * at_b)
    variance = np.clip(1.0 + bend - shift * shift, _LEAST_SHARE, 1.0)
    found = mean + sd * np.where(turned, -shift, shift)
    return log_chance, np.clip(found, low, high), variance * sd * sd


def draw_between(mean: FloatArray, sd: float, low: FloatArray, high: FloatArray, uniform: FloatArray) -> FloatArray:
    """Draw from normal laws cut to intervals, by turning uniform numbers over.

    Parameters
    ----------
    mean
        Of the laws before they are cut, any shape.
    sd
        Their standard deviation.
    low, high
        Limits that go with `mean`; -inf and inf where there is none.
    uniform
        Numbers between 0 and 1, in the shape of `mean`.

    Notes
    -----
    Where the interval lies so far out that its chance is lost in rounding, its nearer limit is given.

    Checked by ``tests/science/test_censored.py``.
    """
    a, b = (low - mean) / sd, (high - mean) / sd
    turned = a > 0.0
    a, b = np.where(turned, -b, a), np.where(turned, -a, b)
    from_a, to_b = ndtr(a), ndtr(b)
    with np.errstate(divide="ignore"):
        # A uniform number may be 0, and no draw infinite.
        z = ndtri(from_a + np.maximum(uniform, _LEAST_UNIFORM) * (to_b - from_a))
    z = np.where(np.isinf(z), b, np.clip(z, a, b))
    return mean + sd * np.where(turned, -z, z)

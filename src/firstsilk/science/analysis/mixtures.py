"""What is a likelihood ratio worth when what is tested cannot be negative? Mixtures of chi-squares."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import scipy.optimize
import scipy.special
import scipy.stats

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array

# Points at which the weights of four variances or more are summed up, 2 to this power.
POINTS = 14


def weigh_mixture(information: Array) -> Array:
    """Weights of the chi-squares of 0, 1, ... k degrees of freedom where k variances are truly 0.

    Parameters
    ----------
    information
        Information on the k variances, what else is estimated taken out, (k, k).

    Returns
    -------
    array
        (k + 1,), summing to 1.

    Raises
    ------
    InputRefused
        If the information is not positive definite.

    Notes
    -----
    A normal value with the inverse information as covariance is brought to the nearest one without negative parts, as
    the information measures; the weight of j is the chance that j parts are then positive. One variance: 1/2, 1/2.
    Two, with correlation r of the estimates: 1/4 - asin(r)/2pi, 1/2, 1/4 + asin(r)/2pi. Three: by angles. Four
    and more: summed over 16,384 evenly spread points (good to 0.003). Independent variances: binomial.

    References
    ----------
    Chernoff 1954 Ann Math Stat 25:573; Self & Liang 1987 J Am Stat Assoc 82:605; Stram & Lee 1994 Biometrics 50:1171;
    Shapiro 1985 Biometrika 72:133.

    Checked by
    ----------
    tests/science/test_random_parts.py
    """
    J = np.asarray(information, dtype=np.float64)
    k = len(J)
    if k and float(np.linalg.eigvalsh(J / np.sqrt(np.outer(np.diag(J), np.diag(J))))[0]) <= 1e-10:
        raise refuse("information_singular", "The variances that are tested cannot be told apart")
    if k == 0:
        return np.ones(1)
    if k <= 3:
        covariance: Array = np.asarray(np.linalg.inv(J), dtype=np.float64)
        whole, none = _all_positive(covariance), _all_positive(J)
        if k == 1:
            return np.array([none, whole])
        if k == 2:
            return np.array([none, 0.5, whole])
        # Even and odd counts share the weight equally.
        return np.array([none, 0.5 - whole, 0.5 - none, whole])
    return _weigh_by_points(J)


def _all_positive(covariance: Array) -> float:
    """The chance that up to three normal values of mean 0 are all positive."""
    size = np.sqrt(np.diag(covariance))
    upper = np.triu_indices(len(covariance), 1)
    angles = float(np.sum(np.arcsin((covariance / size[:, None] / size)[upper])))
    return {1: 0.5, 2: 0.25 + angles / (2.0 * math.pi), 3: 0.125 + angles / (4.0 * math.pi)}[len(covariance)]


def _weigh_by_points(J: Array) -> Array:
    k, n = len(J), 2**POINTS
    even = scipy.stats.qmc.Sobol(k, scramble=False).random_base2(POINTS) + 0.5 / n
    upper = np.linalg.cholesky(J).T
    positive = np.zeros(k + 1)
    for point in scipy.special.ndtri(even):
        # The nearest value without negative parts: least squares on the root of the information.
        nearest, _ = scipy.optimize.nnls(upper, point)
        positive[int(np.sum(nearest > 0))] += 1.0
    return np.asarray(positive / n, dtype=np.float64)


def find_mixture_chance(ratio: float, interior: int, weights: Sequence[float] | Array) -> float:
    """The chance of a likelihood ratio as large or larger, if nothing is there.

    Parameters
    ----------
    ratio
        Twice the gain in log-likelihood, 0 or more.
    interior
        How many of the added parameters are free in both directions (correlations, variances that are split).
    weights
        Of 0, 1, ... k further degrees of freedom (`weigh_mixture`).

    Returns
    -------
    float
        In [0, 1]; 1 for a ratio of 0 where a chi-square of 0 degrees of freedom takes part.

    Checked by
    ----------
    tests/science/test_random_parts.py
    """
    chance = 0.0
    for more, weight in enumerate(weights):
        df = interior + more
        if df == 0:
            chance += float(weight) * (ratio <= 0.0)
        else:
            chance += float(weight) * float(scipy.special.chdtrc(df, ratio))
    return min(chance, 1.0)

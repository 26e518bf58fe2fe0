"""How much of the variance between tested lines is in their genes?

Reduced maximum likelihood with one relationship K costs one reduction of K to a tridiagonal matrix T = Q' K Q (the
first and dearest half of an eigen-decomposition; the eigenvectors are never needed). The covariance of Q'y is then
tridiagonal for every ratio of variances, so that each trial of one costs a few passes over n numbers.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack
from scipy.optimize import minimize_scalar

from firstsilk.answers import NotConverged

LARGEST_SHARE = 1.0 - 1e-6
"""Largest share of the variance given to the genes: at 1 the covariance of lines alike by markers has no inverse."""
DOUBLE_UP_TO = 2_000
"""Records up to which the reduction is in double precision; single halves the time beyond. Ours."""
SINGLE_UP_TO = 0.99
"""Share of the genes up to which a reduction in single precision is trusted: its errors are about 1e-6 of the largest
eigenvalue of K, small beside a residual of a hundredth. Ours."""
GRID = 41
"""Shares tried before the best is polished, so that a second hump of the likelihood is not missed: ours."""

Numbers = NDArray[np.float64]


def estimate_variances(relationship: Numbers, design: Numbers, response: Numbers) -> tuple[float, float]:
    """Genetic and residual variance by reduced maximum likelihood.

    Parameters
    ----------
    relationship
        K (m, m) of the records; design (m, q); response (m,).

    Returns
    -------
    tuple of float
        s2u (exactly 0 if its likelihood is highest there) and s2e, in the square of the unit of the response.

    Raises
    ------
    NotConverged
        If the reduction of the matrix fails.

    Notes
    -----
    The likelihood is profiled over the size of both variances and searched over the share h of s2u, from 0 to 1 - 1e-6,
    with K divided by the mean of its diagonal: 41 shares, then Brent's method between the neighbours of the best.
    Beyond 2,000 records K is reduced in single precision, which moved the variances by 1e-6 of themselves where it was
    tried (1,500 records, residual a twentieth to sixteen times the genes); their standard errors are some 1e-2.

    References
    ----------
    Patterson & Thompson 1971, Biometrika 58:545; Golub & Van Loan 2013, Matrix Computations, 8.3 (tridiagonal
    reduction).

    Checked by
    ----------
    tests/outside/test_markers_published.py; tests/science/test_prediction.py
    """
    size = float(np.trace(relationship)) / len(relationship)
    if size <= 0.0:
        return 0.0, _profile(np.zeros(len(design)), np.zeros(len(design) - 1), design, response)(0.0)[1]
    columns = np.column_stack([design, response])
    single = len(relationship) > DOUBLE_UP_TO
    share, total = _climb(*_reduce(relationship / size, columns, single))
    if single and share > SINGLE_UP_TO:
        share, total = _climb(*_reduce(relationship / size, columns, False))
    return share * total / size, (1.0 - share) * total


def _climb(diagonal: Numbers, beside: Numbers, turned: Numbers) -> tuple[float, float]:
    """The share of the highest likelihood, and the total variance there."""
    judge = _profile(diagonal, beside, turned[:, :-1], turned[:, -1])
    shares = np.linspace(0.0, LARGEST_SHARE, GRID)
    found = [judge(share)[0] for share in shares]
    best = int(np.argmin(found))
    low, high = shares[max(best - 1, 0)], shares[min(best + 1, GRID - 1)]
    polished = minimize_scalar(lambda h: judge(h)[0], bounds=(low, high), method="bounded", options={"xatol": 1e-10})
    share = _settle(lambda h: judge(h)[0], float(polished.x))
    # The polish stays a hair within its bounds; a bound is taken if it is as good.
    for bound in (0.0, LARGEST_SHARE):
        if bound in (low, high) and judge(bound)[0] <= polished.fun:
            share = bound
    return share, judge(share)[1]


def _settle(miss: Callable[[float], float], share: float) -> float:
    """Two steps of Newton with slopes over five points.

    Comparing values places the bottom of a flat valley to some 1e-7 only, and not alike on all machines.
    """
    for _ in range(2):
        step = 0.01 * min(share, 1.0 - share)
        far, near, here, beyond, out = (miss(share + at * step) for at in (-2, -1, 0, 1, 2))
        slope = (far - 8.0 * near + 8.0 * beyond - out) / (12.0 * step)
        bend = (-far + 16.0 * near - 30.0 * here + 16.0 * beyond - out) / (12.0 * step**2)
        if not (np.isfinite(bend) and bend > 0.0 and abs(slope) < bend * step):
            return share
        share -= slope / bend
    return share


def _reduce(matrix: Numbers, columns: Numbers, single: bool) -> tuple[Numbers, Numbers, Numbers]:
    """Diagonal and side diagonal of Q' M Q, and Q' times some columns; the place of M may be written over."""
    if len(matrix) < 2:
        return np.diag(matrix).copy(), np.zeros(0), columns
    kind = np.float32 if single else np.float64
    reduce, reflect, room = (
        (lapack.ssytrd, lapack.sormqr, lapack.ssytrd_lwork)
        if single
        else (lapack.dsytrd, lapack.dormqr, lapack.dsytrd_lwork)
    )
    turned = np.array(columns, dtype=np.float64, order="F")
    given = np.asfortranarray(matrix.T, dtype=kind)
    lwork = int(room(len(matrix), lower=1)[0])
    vectors, diagonal, beside, factors, wrong = reduce(given, lower=1, lwork=lwork, overwrite_a=1)
    below = np.asfortranarray(turned[1:], dtype=kind)
    below, _, fault = reflect("L", "T", np.asfortranarray(vectors[1:, :-1]), factors, below, 64 * columns.shape[1])
    if wrong or fault:
        raise NotConverged("The relationship of the tested lines could not be reduced. Look for odd values in it.")
    turned[1:] = below
    return diagonal.astype(np.float64), beside.astype(np.float64), turned


def _profile(
    diagonal: Numbers, beside: Numbers, design: Numbers, response: Numbers
) -> Callable[[float], tuple[float, float]]:
    """A function of the share h: minus twice the reduced log-likelihood but for a constant, and the best total."""
    both = np.column_stack([design, response])
    freedom = len(response) - design.shape[1]

    def judge(share: float) -> tuple[float, float]:
        main, side, wrong = lapack.dpttrf(share * diagonal + (1.0 - share), share * beside)
        if wrong:
            return np.inf, np.nan
        solved, _ = lapack.dpttrs(main, side, both)
        products = both.T @ solved
        information = products[:-1, :-1]
        misfit = products[-1, -1] - products[-1, :-1] @ np.linalg.solve(information, products[:-1, -1])
        total = float(misfit) / freedom
        if total <= 0.0:
            return np.inf, np.nan
        size = np.log(main).sum() + np.linalg.slogdet(information)[1]
        return float(size + freedom * np.log(total)), total

    return judge

"""Where does the climb of a large fit begin?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.parameters import LOADING, RESIDUAL, TURNED, VARIANCE, WIGGLE, Parameter

# With fewer records ground and factors are climbed from several starts, since the likelihood may have several tops.
FEW = 500
# For each start: the correlation of neighbours, and what wiggles and loadings are of their plain share.
PLAIN_START = (0.5, 1.0, 1.0)
OTHER_STARTS = ((0.9, 0.01, 0.3), (0.1, 0.1, -0.6))


def plan_starts(parameters: Sequence[Parameter], total: float, n: int) -> list[Array]:
    """Where to begin: half of the variance to the residual, the rest shared; more than once where that helps.

    Parameters
    ----------
    parameters
        All of them.
    total
        The variance of the response.
    n
        Records.

    Returns
    -------
    list
        Parameters to begin at, (K,) each; known ones have their value.
    """
    several = n <= FEW and any(one.kind in (TURNED, WIGGLE, LOADING) for one in parameters)
    return [_start_at(parameters, total, *way) for way in (PLAIN_START, *(OTHER_STARTS if several else ()))]


def _start_at(
    parameters: Sequence[Parameter], total: float, correlation: float, wiggles: float, loadings: float
) -> Array:
    terms = len({(one.kind, one.term) for one in parameters if one.kind in (VARIANCE, WIGGLE)})
    variances = sum(1 for one in parameters if one.kind == VARIANCE)
    start = np.empty(len(parameters))
    for k, one in enumerate(parameters):
        if not math.isnan(one.known):
            start[k] = one.known
        elif one.kind == TURNED:
            start[k] = math.atanh(correlation)
        elif one.kind == RESIDUAL:
            start[k] = total / 2.0
        elif one.kind == VARIANCE:
            start[k] = total / (2.0 * variances * one.unit)
        elif one.kind == WIGGLE:
            start[k] = wiggles * total / (2.0 * terms * one.unit)
        else:
            # Later factors begin smaller, with signs that alternate, so that they are not alike.
            turn = 1.0 if one.axis == "1" and loadings > 0 else math.cos(float(one.axis) * (1.0 + k))
            start[k] = turn * abs(loadings) * math.sqrt(total / (4.0 * terms * float(one.axis)))
    return start

"""What is estimated in a large fit besides effects: variances, loadings, correlations of neighbours?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.science.analysis.climbing import Kinds
from firstsilk.science.analysis.models import Array

VARIANCE = "variance"
WIGGLE = "wiggle"
RESIDUAL = "residual"
LOADING = "loading"
TURNED = "turned"
# The term of what is independent from plot to plot beside correlated ground.
NUGGET = "nugget"
# An atanh of a correlation moves at most this far in one step.
TURN = 1.0
# Correlations are not taken beyond 0.999: further on, only their ratio to the variance could be told.
FURTHEST = math.atanh(0.999)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: a variance of a random term, of wiggles, of the residual; a loading; an atanh of a correlation.

    `axis` names the grid column of a wiggle or correlation, or numbers the factor of a loading; `known` is nan where
    it is to be estimated; `unit` is what a value of 1 adds to the variance of a record.
    """

    kind: str
    term: str
    level: str = ""
    axis: str = ""
    known: float = math.nan
    unit: float = 1.0

    def told(self) -> str:
        """What to call it in a complaint."""
        parts = [self.term, self.level, self.axis]
        return " ".join(part for part in parts if part)


def parameter_kinds(parameters: Sequence[Parameter], total: float) -> Kinds:
    """What the climb must know of them; a loading moves at most four standard deviations of the response."""
    kinds = [one.kind for one in parameters]
    reach = {TURNED: TURN, LOADING: 4.0 * math.sqrt(total)}
    return Kinds(
        np.array([math.isnan(one.known) for one in parameters], dtype=np.bool_),
        np.array([kind in (VARIANCE, WIGGLE, RESIDUAL) for kind in kinds], dtype=np.bool_),
        np.array([kind == RESIDUAL for kind in kinds], dtype=np.bool_),
        np.array([reach.get(kind, math.inf) for kind in kinds]),
        np.array([FURTHEST if kind == TURNED else math.inf for kind in kinds]),
    )


def scale_uses(parameters: Sequence[Parameter], values: Array) -> tuple[Array, Array]:
    """What each parameter scales uses by, and the slope of that, (K + 1,) each; the last stands for no scaling."""
    scale, slope = np.ones(len(parameters) + 1), np.zeros(len(parameters) + 1)
    for k, one in enumerate(parameters):
        if one.kind == VARIANCE:
            scale[k] = math.sqrt(values[k])
            slope[k] = 0.5 / scale[k] if scale[k] > 0 else 0.0
        elif one.kind == LOADING:
            scale[k], slope[k] = values[k], 1.0
    return scale, slope

"""What do tests of fixed effects stand on where levels are many or ground is correlated?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.science.analysis.climbing import parameter_covariance
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.degrees_of_freedom import Contrasts
from firstsilk.science.analysis.large_models import (
    Combined,
    LargeFit,
    arrange_large,
    combine_coefficients,
    move_planes,
)
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.mixed_models import lay_out
from firstsilk.science.analysis.models import Array, Fit, Model
from firstsilk.science.analysis.parameters import NUGGET, RESIDUAL, TURNED, VARIANCE, WIGGLE, Parameter, parameter_kinds
from firstsilk.science.analysis.sparse_columns import Sparse
from firstsilk.science.analysis.sparse_equations import LargeState, find_slopes, solve_large
from firstsilk.science.analysis.sparse_left import Simpler
from firstsilk.science.analysis.sparse_reml import LargeTop, response_variance

# A parameter is moved by this share of its value (a turned correlation by this much) to see how covariances move.
STEP = 1e-4


@dataclass(frozen=True, slots=True)
class LargeStanding:
    """A large fit stood on once more: what was laid out, its top, and which parameters were estimated."""

    large: LargeFit
    moving: tuple[int, ...]

    @property
    def layout(self) -> Layout:
        """Records, terms and random part."""
        return self.large.layout

    def combine_each(self, blocks: Sequence[Array]) -> list[Contrasts]:
        """`combine` of several sets at once, since the equations are solved anew for each parameter."""
        whole, first, parts = self.combine(np.vstack(blocks)), 0, []
        for block in blocks:
            inside = slice(first, first + len(block))
            first = inside.stop
            parts.append(
                Contrasts(
                    whole.values[inside],
                    whole.covariance[inside, inside],
                    whole.slopes[:, inside, inside],
                    whole.variance_covariance,
                )
            )
        return parts

    def combine(self, combinations: Array) -> Contrasts:
        """Combinations (m, p) of the fixed coefficients with all that a test needs of them.

        Notes
        -----
        Slopes of the covariance by central differences: parameters are moved to both sides by 1e-4 of themselves.
        """
        weights = combine_coefficients(self.large, Sparse(combinations))
        top = self.large.top
        slopes = [
            (self._covariance(high, weights) - self._covariance(low, weights)) / width
            for low, high, width in self._steps()
        ]
        m = len(combinations)
        return Contrasts(
            combinations @ self.large.coefficients,
            Combined(self.large.problem, top.state, weights).covariance(),
            np.array(slopes).reshape(len(slopes), m, m),
            top.covariance[np.ix_(self.moving, self.moving)],
        )

    def _steps(self) -> Iterator[tuple[Array, Array, float]]:
        values = self.large.top.state.values
        for k in self.moving:
            turned = self.large.problem.parameters[k].kind == TURNED
            step = STEP if turned else STEP * float(values[k])
            low, high = values.copy(), values.copy()
            low[k] -= step
            high[k] += step
            yield low, high, 2.0 * step

    def _covariance(self, values: Array, weights: Sparse) -> Array:
        problem = self.large.problem
        state = solve_large(problem, values, np.zeros(len(values)))
        return Combined(problem, state, weights).covariance()


def stand_on_large(data: Mapping[str, Column], model: Model, fit: Fit) -> LargeStanding:
    """Solve a large fit's equations once more at its parameters.

    Parameters
    ----------
    data, model, fit
        What was fitted without factors, and what came of it.

    Returns
    -------
    LargeStanding
        With the inverse average information of the parameters.

    Checked by
    ----------
    tests/science/test_fixed_tests.py, tests/outside/test_fixed_tests_published.py
    """
    layout = lay_out(data, model)
    surfaces = {surface.name for surface in model.surfaces}
    gone = [line for line in fit.variances if line.value == 0.0]
    simpler = Simpler(
        frozenset((line.term, line.level) for line in gone if line.term in surfaces),
        frozenset(line.level for line in gone if line.term == NUGGET and model.residual.nugget),
    )
    arranged, problem, least_squares = arrange_large(layout, model, simpler)
    values = _read_values(problem.parameters, fit)
    state: LargeState = find_slopes(problem, solve_large(problem, values, np.zeros(len(values))))
    kinds = parameter_kinds(problem.parameters, response_variance(problem))
    covariance = parameter_covariance(state, kinds)
    top = LargeTop(state, covariance, fit.gradient, fit.converged, fit.iterations)
    moved = move_planes(arranged, problem.fixed)
    large = LargeFit(layout, model, arranged, problem, top, least_squares, moved, simpler)
    return LargeStanding(large, tuple(np.flatnonzero(~np.isnan(np.diag(covariance))).tolist()))


def _read_values(parameters: tuple[Parameter, ...], fit: Fit) -> Array:
    """The parameters as the lines of the fit tell them, in the order of the parameters."""
    variances = {(line.term, line.level): line.value for line in fit.variances}
    correlations = {(line.axis, line.level): line.value for line in fit.correlations}
    values = []
    for one in parameters:
        if one.kind in (VARIANCE, WIGGLE, RESIDUAL):
            values.append(variances[one.term, one.level])
        elif one.kind == TURNED:
            correlation = correlations[one.axis, one.level]
            values.append(0.0 if math.isnan(correlation) else math.atanh(correlation))
    return np.array(values)

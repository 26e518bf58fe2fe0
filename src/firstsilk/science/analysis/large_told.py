"""How are the parameters and effects of a large fit told: variances, correlations, loadings, predictions?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from firstsilk.science.analysis.components import RandomPart
from firstsilk.science.analysis.models import Array, CorrelationLine, LoadingLine, RandomLine, VarianceLine
from firstsilk.science.analysis.parameters import (
    FURTHEST,
    LOADING,
    NUGGET,
    RESIDUAL,
    TURNED,
    VARIANCE,
    WIGGLE,
    Parameter,
)


class Stood(Protocol):
    """Where a climb ended."""

    @property
    def values(self) -> Array:
        """The parameters, (K,)."""


class Reached(Protocol):
    """The top of a likelihood: where it is, and the covariance of the parameters there."""

    @property
    def state(self) -> Stood:
        """Where."""

    @property
    def covariance(self) -> Array:
        """How sure, (K, K), nan where not estimated."""


def tell_variances(
    parameters: Sequence[Parameter], top: Reached, nugget: bool
) -> tuple[tuple[VarianceLine, ...], tuple[str, ...]]:
    """All variances, and those that are exactly 0 though they were to be estimated."""
    lines, at_bound = [], []
    for k, one in enumerate(parameters):
        if one.kind not in (VARIANCE, WIGGLE, RESIDUAL):
            continue
        value = float(top.state.values[k])
        lines.append(VarianceLine(one.term, one.level, value, _error(top, k)))
        if (math.isnan(one.known) or one.kind == WIGGLE) and value == 0.0:
            at_bound.append(f"{one.term}:{one.level}" if one.level else one.term)
    at_bound += [
        f"correlation:{one.axis}:{one.level}" if one.level else f"correlation:{one.axis}"
        for k, one in enumerate(parameters)
        if one.kind == TURNED and abs(top.state.values[k]) >= FURTHEST
    ]
    if nugget:
        told = {line.level: line for line in lines if line.term == NUGGET}
        levels = [line.level for line in lines if line.term == "residual"]
        at_bound += [f"{NUGGET}:{level}" if level else NUGGET for level in levels if level not in told]
        lines = [line for line in lines if line.term != NUGGET]
        lines += [told.get(level, VarianceLine(NUGGET, level, 0.0, None)) for level in levels]
    return tuple(lines), tuple(at_bound)


def _error(top: Reached, k: int) -> float | None:
    error = math.sqrt(max(float(top.covariance[k, k]), 0.0)) if not math.isnan(top.covariance[k, k]) else math.nan
    return None if math.isnan(error) else error


def tell_correlations(parameters: Sequence[Parameter], top: Reached) -> tuple[CorrelationLine, ...]:
    """Correlations of neighbours, or within plots; nan where the variance they belong to is 0."""
    lines = []
    for k, one in enumerate(parameters):
        if one.kind == TURNED:
            r, error = math.tanh(float(top.state.values[k])), _error(top, k)
            idle = any(
                other.kind == VARIANCE
                and other.term == one.term
                and other.level in ("", one.level)
                and top.state.values[m] == 0
                for m, other in enumerate(parameters)
            )
            lines.append(
                CorrelationLine(
                    one.term,
                    one.axis,
                    one.level,
                    math.nan if idle else r,
                    None if error is None or idle else error * (1.0 - r * r),
                )
            )
    return tuple(lines)


def tell_loadings(part: RandomPart, parameters: Sequence[Parameter], top: Reached) -> tuple[LoadingLine, ...]:
    """Loadings of factor-analytic terms: turned to principal axes, signs so that their sum is positive.

    Notes
    -----
    Of several factors only their span is told by data; they are turned so that loadings are at right angles and the
    first explains most. Standard errors are told of a single factor.
    """
    lines = []
    for factored in part.factored:
        loadings = np.zeros((len(factored.names), factored.order))
        errors: dict[str, float | None] = {}
        for k, one in enumerate(parameters):
            if one.kind == LOADING and one.term == factored.term:
                loadings[factored.names.index(one.level), int(one.axis) - 1] = top.state.values[k]
                errors[one.level] = _error(top, k)
        if factored.order > 1:
            left, sizes, _ = np.linalg.svd(loadings, full_matrices=False)
            loadings = left * sizes
        loadings = loadings * np.where(loadings.sum(axis=0) < 0, -1.0, 1.0)
        for f in range(factored.order):
            for name, value in zip(factored.names, loadings[:, f], strict=True):
                error = errors.get(name) if factored.order == 1 else None
                lines.append(LoadingLine(factored.term, f + 1, name, float(value), error))
    return tuple(lines)


def measure_prior(part: RandomPart, parameters: Sequence[Parameter], values: Array) -> Array:
    """The variance of each level before the data are seen, (levels,)."""
    before = values[part.component_of_level] * part.diagonal
    for factored in part.factored:
        squares = np.zeros(len(factored.names))
        for k, one in enumerate(parameters):
            if one.kind == LOADING and one.term == factored.term:
                squares[factored.names.index(one.level)] += values[k] ** 2
        before[factored.levels] += squares[factored.across] * part.diagonal[factored.levels]
    return np.asarray(before, dtype=np.float64)


def tell_random(part: RandomPart, values: Array, spread: Array, before: Array) -> tuple[RandomLine, ...]:
    """The predicted effect of each level, with error and reliability."""
    errors = np.maximum(spread, 0.0)
    return tuple(
        RandomLine(term, level, value, math.sqrt(error), 1.0 - error / prior if prior > 0 else None)
        for (term, level), value, error, prior in zip(
            part.names, values.tolist(), errors.tolist(), before.tolist(), strict=True
        )
    )

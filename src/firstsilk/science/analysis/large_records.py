"""What does a large fit say of each record: fitted, left over, how far out, and how much of it is ground?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import numpy as np

from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import Array, RecordFit
from firstsilk.science.analysis.sparse_columns import Sparse
from firstsilk.science.analysis.sparse_equations import LargeProblem, LargeState, project
from firstsilk.science.analysis.sparse_model import Arranged
from firstsilk.science.analysis.sparse_slopes import quadratic_forms

# Rows so wide in all, that their products would take long, are not judged one by one.
MOST_PAIRS = 200_000_000
# Where records go together each is projected by itself: up to so many.
PROJECTED = 4_000
# A record that is known from others by less than this share of its precision is known by itself only.
KNOWN_BY_ITSELF = 1e-9


def measure_forms(problem: LargeProblem, state: LargeState, weights: Sparse) -> Array:
    """w' C^-1 w of each row of weights (m, size), nan where the selected inverse does not have all that takes."""
    plan = problem.plan
    place = np.empty(plan.n, dtype=np.int64)
    place[plan.order] = np.arange(plan.n)
    out = np.empty(weights.shape[0])
    quadratic_forms(
        weights.indptr.astype(np.int64), weights.indices.astype(np.int64), weights.data.astype(np.float64),
        state.inverse, place, plan.first, plan.owner, plan.row_at, plan.rows, plan.value_at, out,
    )  # fmt: skip
    return out


def tell_records(
    arranged: Arranged, problem: LargeProblem, state: LargeState, layout: Layout, coefficients: Array
) -> tuple[RecordFit, float | None]:
    """The records of a fit, and its effective degrees of freedom (the trace of what makes fitted of observed).

    Notes
    -----
    Studentised is (Py)_i / sqrt(P_ii), that is the conditional residual by its own standard error. With a diagonal
    residual P_ii = r_i - r_i^2 w_i' C^-1 w_i, r_i the precision of the record; else P is applied to each record.
    """
    records = layout.records
    fitted_part = np.asarray(problem.levels @ (state.turned @ state.unit))[problem.place]
    left = problem.response[problem.place] - fitted_part
    precision = problem.left.precision(state.used)
    own = np.full(problem.n, np.nan)
    used_up: float | None = None
    if precision is not None:
        design = Sparse(problem.levels @ state.turned)
        if float(np.sum(np.diff(design.indptr).astype(np.float64) ** 2)) <= MOST_PAIRS:
            own = precision - precision**2 * measure_forms(problem, state, design)
            used_up = float(np.sum(1.0 - own / precision))
            own = np.where(own > KNOWN_BY_ITSELF * precision, own, np.nan)[problem.place]
    elif problem.n <= PROJECTED:
        own = np.diag(project(problem, state, problem.on_rows(np.eye(problem.n)))[problem.place]).copy()
        own = np.where(own > 0, own, np.nan)
    studentised = state.Py[problem.place] / np.sqrt(own)
    ground = _ground(arranged, problem, state, layout, coefficients) + np.where(arranged.bare, left, 0.0)
    left, studentised = np.where(arranged.bare, 0.0, left), np.where(arranged.bare, np.nan, studentised)
    return RecordFit(records.kept, records.response - left, left, studentised, ground), used_up


def _ground(arranged: Arranged, problem: LargeProblem, state: LargeState, layout: Layout, coefficients: Array) -> Array:
    """What surfaces (with the slopes under them) and correlated ground add to each record."""
    ground = np.zeros(problem.n)
    for patch in arranged.patches:
        bent = patch.humps @ state.unit[patch.columns]
        ground[patch.records] += bent - patch.plane @ np.linalg.lstsq(patch.plane, bent, rcond=None)[0]
    named = layout.records.numbers
    at = 0
    for term in layout.terms:
        slope = coefficients[at : at + len(term.levels)]
        at += len(term.levels)
        if term.factors and term.factors[0].column in arranged.slopes:
            ground += named[term.factors[0].column] * float(slope[0])
    if arranged.ground.stop > arranged.ground.start:
        alone = np.zeros(problem.size)
        alone[arranged.ground] = state.unit[arranged.ground]
        ground += np.asarray(problem.levels @ (state.turned @ alone))[problem.place]
    return ground

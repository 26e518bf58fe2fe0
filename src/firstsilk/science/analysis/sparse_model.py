"""How does a laid out model become parameters, unknowns and a residual for the sparse way?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import Model, Surface
from firstsilk.science.analysis.parameters import LOADING, VARIANCE, WIGGLE, Parameter
from firstsilk.science.analysis.patches import Patch
from firstsilk.science.analysis.priors import Smooth, plan_smooth
from firstsilk.science.analysis.records import Records
from firstsilk.science.analysis.residuals import Left
from firstsilk.science.analysis.sparse_columns import PLAIN, Columns, Piece, Sparse, join_columns, random_piece
from firstsilk.science.analysis.sparse_left import PLAIN_MODEL, Made, Simpler, arrange_left
from firstsilk.science.analysis.splines import Axis, plan_axis
from firstsilk.science.analysis.structures import slope_column

# Records over which the spread of a smooth trend is taken to find where to start.
SAMPLE = 200


@dataclass(frozen=True, slots=True)
class Arranged:
    """Parameters, unknowns, residual; `place` (n,) is the row of each record among `n_rows`; `ground` the columns of
    correlated ground with an independent part, if any; `slopes` the number columns that hold the planes of surfaces;
    `bare` (n,) marks records whose nugget came out as 0, so that all that is left over of them is ground.
    """

    parameters: tuple[Parameter, ...]
    columns: Columns
    left: Left
    place: NDArray[np.intp]
    n_rows: int
    patches: tuple[Patch, ...]
    ground: slice
    slopes: frozenset[str]
    bare: NDArray[np.bool_]


def arrange_model(layout: Layout, model: Model, simpler: Simpler = PLAIN_MODEL) -> Arranged:
    """Lay out parameters, unknowns and residual of a model; `simpler` says what is known to be 0.

    Raises
    ------
    InputRefused
        If two records stand on one plot of a grid, a grid has but one plot, or its numbers are not whole.
    """
    records, part = layout.records, layout.random
    made = Made(records.n, [], [], [])
    for k, component in enumerate(part.components):
        own = part.diagonal[part.component_of_level == k]
        known = math.nan if component.known is None else component.known
        unit = max(float(np.mean(own)), 1e-8)
        made.add(Parameter(VARIANCE, component.term, component.level, known=known, unit=unit))
    loadings = _add_loadings(made, layout)
    made.pieces, made.priors = random_piece(part, loadings)
    for surface in model.surfaces:
        _add_surface(made, surface, records, simpler)
    begin = made.next
    left, place, n_rows = arrange_left(made, layout, model.residual, simpler)
    columns = join_columns(made.pieces, made.priors, records.n)
    ground = slice(begin, made.next)
    slopes = frozenset(
        slope_column(name, level)
        for surface in model.surfaces
        for level, _ in surface_levels(surface, records)
        for name in [*surface.grid, surface.name]
    )
    levels = [level for term, level in layout.variance_names if term == "residual"]
    without = np.array([level in simpler.without_nugget for level in levels], dtype=np.bool_)
    bare = without[layout.groups]
    return Arranged(tuple(made.parameters), columns, left, place, n_rows, tuple(made.patches), ground, slopes, bare)


def _add_loadings(made: Made, layout: Layout) -> list[NDArray[np.intp]]:
    """A parameter for each loading; those above the diagonal are 0, so that factors cannot be turned into each other.

    Of two levels only, the first has no variance of its own: loadings and one variance are all that can be told.
    """
    found = []
    for factored in layout.random.factored:
        places = np.full((factored.order, len(factored.names)), -1, dtype=np.intp)
        for k, j in itertools.product(range(factored.order), range(len(factored.names))):
            if j >= k:
                places[k, j] = made.add(Parameter(LOADING, factored.term, factored.names[j], str(k + 1)))[0]
        if len(factored.names) == 2:
            at = next(
                at for at, one in enumerate(made.parameters)
                if (one.kind, one.term, one.level) == (VARIANCE, factored.term, factored.names[0])
            )  # fmt: skip
            made.parameters[at] = Parameter(VARIANCE, factored.term, factored.names[0], known=0.0)
        found.append(places)
    return found


def _add_surface(made: Made, surface: Surface, records: Records, simpler: Simpler) -> None:
    for level, at in surface_levels(surface, records):
        positions = [records.grid[name][at] for name in surface.grid]
        told = [f"{name}:{level}" if level else name for name in surface.grid]
        bent = tuple(k for k, one in enumerate(told) if (surface.name, one) not in simpler.straight)
        axes = [
            plan_axis(float(own.min()), float(own.max()), knots)
            for own, knots in zip(positions, surface.knots, strict=True)
        ]
        axes = [axis if k in bent else axis.straighten() for k, axis in enumerate(axes)]
        places = made.add(
            *(Parameter(WIGGLE, surface.name, one, known=math.nan if k in bent else 0.0) for k, one in enumerate(told))
        )
        if bent:
            _add_patch(made, Patch.plan(surface, level, at, positions, axes, made.next), axes, bent, places)


def _add_patch(made: Made, patch: Patch, axes: Sequence[Axis], bent: tuple[int, ...], places: Sequence[int]) -> None:
    size, n = patch.humps.shape[1], len(patch.records)
    own = tuple(places[k] for k in bent)
    smooth = plan_smooth(patch.columns, tuple(axes), bent, own, max(n / size, 1.0))
    unit = _typical(smooth, patch.humps)
    for place in own:
        made.parameters[place] = replace(made.parameters[place], unit=unit)
    rows = np.repeat(patch.records, np.diff(patch.humps.indptr))
    incidence = Sparse((patch.humps.data, (rows, patch.humps.indices)), shape=(made.n, size))
    columns = np.arange(patch.columns.start, patch.columns.stop)
    made.pieces.append(
        Piece(incidence, Sparse(scipy.sparse.eye_array(size, format="csr")), columns, np.full(size, PLAIN))
    )
    made.priors.append(smooth)
    made.patches.append(patch)


def surface_levels(surface: Surface, records: Records) -> list[tuple[str, NDArray[np.intp]]]:
    """The levels over which a surface is repeated, and the records of each."""
    if surface.within is None:
        return [("", np.arange(records.n))]
    within = records.classes[surface.within]
    return [(level, np.flatnonzero(within.codes == code)) for code, level in enumerate(within.levels)]


def _typical(smooth: Smooth, humps: Sparse) -> float:
    """The variance that wiggles of variance 1 give a record, on average over some."""
    some = np.linspace(0, humps.shape[0] - 1, min(SAMPLE, humps.shape[0])).astype(np.intp)
    rows = humps[some].toarray()
    values = np.ones(max(smooth.parameters) + 1)
    return max(float(np.mean(np.sum(rows.T * smooth.covary(values, rows.T.copy()), axis=0))), 1e-8)

"""How does a laid out model become parameters, unknowns and a residual for the sparse way?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import Array, Model, Residual, Surface
from firstsilk.science.analysis.parameters import LOADING, RESIDUAL, TURNED, VARIANCE, WIGGLE, Parameter
from firstsilk.science.analysis.plot_grids import PlotGrid, find_grids
from firstsilk.science.analysis.priors import Ground, Prior, Smooth, ground_pieces, plan_smooth
from firstsilk.science.analysis.records import Records
from firstsilk.science.analysis.residuals import Field, Fields, Groups, Left, Pairs
from firstsilk.science.analysis.sparse_columns import PLAIN, Columns, Piece, Sparse, join_columns, random_piece
from firstsilk.science.analysis.splines import Axis, plan_axis
from firstsilk.science.analysis.structures import slope_column, span_plane

# Records over which the spread of a smooth trend is taken to find where to start.
SAMPLE = 200


@dataclass(frozen=True, slots=True)
class Patch:
    """Where one surface lies among the unknowns: its level of `within`, its records and their humps (records, humps).

    `plane` (records, 2 or 4) is what it does not count as bending: 1, its columns, their product; `slopes` names the
    number columns of the fixed terms that hold it.
    """

    surface: Surface
    level: str
    records: NDArray[np.intp]
    humps: Sparse
    columns: slice
    plane: Array
    slopes: tuple[str, ...]

    @staticmethod
    def plan(
        surface: Surface,
        level: str,
        at: NDArray[np.intp],
        positions: Sequence[Array],
        axes: Sequence[Axis],
        column: int,
    ) -> Patch:
        """The patch of one level, its unknowns from `column` on."""
        humps = axes[0].humps(positions[0])
        if len(axes) == 2:
            humps = _products(humps, axes[1].humps(positions[1]))
        names = [*surface.grid, *([surface.name] if len(axes) == 2 else [])]
        slopes = tuple(slope_column(name, level) for name in names)
        plane = np.column_stack([np.ones(len(at)), *span_plane(positions)])
        return Patch(surface, level, at, humps, slice(column, column + humps.shape[1]), plane, slopes)


@dataclass(frozen=True, slots=True)
class Arranged:
    """Parameters, unknowns, residual; `place` (n,) is the row of each record among `n_rows`; `ground` the columns of
    correlated ground with an independent part, if any.
    """

    parameters: tuple[Parameter, ...]
    columns: Columns
    left: Left
    place: NDArray[np.intp]
    n_rows: int
    patches: tuple[Patch, ...]
    ground: slice


@dataclass(slots=True)
class _Made:
    """What is being put together."""

    n: int
    parameters: list[Parameter]
    pieces: list[Piece]
    priors: list[Prior]
    patches: list[Patch] = field(default_factory=list)

    @property
    def next(self) -> int:
        """The next free column."""
        return max((prior.columns.stop for prior in self.priors), default=0)

    def add(self, *parameters: Parameter) -> list[int]:
        """Take in parameters; their places."""
        begin = len(self.parameters)
        self.parameters += parameters
        return list(range(begin, len(self.parameters)))


def arrange_model(layout: Layout, model: Model, straight: frozenset[tuple[str, str]] = frozenset()) -> Arranged:
    """Lay out parameters, unknowns and residual of a model; `straight` names the axes (term, level) that do not bend.

    Raises
    ------
    InputRefused
        If two records stand on one plot of a grid, a grid has but one plot, or its numbers are not whole.
    """
    records, part = layout.records, layout.random
    made = _Made(records.n, [], [], [])
    for k, component in enumerate(part.components):
        own = part.diagonal[part.component_of_level == k]
        known = math.nan if component.known is None else component.known
        unit = max(float(np.mean(own)), 1e-8)
        made.add(Parameter(VARIANCE, component.term, component.level, known=known, unit=unit))
    loadings = _add_loadings(made, layout)
    made.pieces, made.priors = random_piece(part, loadings)
    for surface in model.surfaces:
        _add_surface(made, surface, records, straight)
    begin = made.next
    if model.residual.grid is None:
        left, place, n_rows = _plain_residual(made, layout, model.residual)
    elif model.residual.nugget:
        left, place, n_rows = _ground_and_nugget(made, layout, model.residual)
    else:
        left, place, n_rows = _ground_alone(made, layout, model.residual)
    columns = join_columns(made.pieces, made.priors, records.n)
    ground = slice(begin, made.next)
    return Arranged(tuple(made.parameters), columns, left, place, n_rows, tuple(made.patches), ground)


def _add_loadings(made: _Made, layout: Layout) -> list[NDArray[np.intp]]:
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


def _add_surface(made: _Made, surface: Surface, records: Records, straight: frozenset[tuple[str, str]]) -> None:
    for level, at in surface_levels(surface, records):
        positions = [records.grid[name][at] for name in surface.grid]
        told = [f"{name}:{level}" if level else name for name in surface.grid]
        bent = tuple(k for k, one in enumerate(told) if (surface.name, one) not in straight)
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


def _add_patch(made: _Made, patch: Patch, axes: Sequence[Axis], bent: tuple[int, ...], places: Sequence[int]) -> None:
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


def _products(one: Sparse, two: Sparse) -> Sparse:
    """All products of a hump of the first axis with one of the second, the first outermost."""
    n, b = one.shape[0], two.shape[1]
    a_rows, b_rows = one.toarray(), two.toarray()
    return Sparse((a_rows[:, :, None] * b_rows[:, None, :]).reshape(n, a_rows.shape[1] * b))


def _typical(smooth: Smooth, humps: Sparse) -> float:
    """The variance that wiggles of variance 1 give a record, on average over some."""
    some = np.linspace(0, humps.shape[0] - 1, min(SAMPLE, humps.shape[0])).astype(np.intp)
    rows = humps[some].toarray()
    values = np.ones(max(smooth.parameters) + 1)
    return max(float(np.mean(np.sum(rows.T * smooth.covary(values, rows.T.copy()), axis=0))), 1e-8)


def _plain_residual(made: _Made, layout: Layout, residual: Residual) -> tuple[Left, NDArray[np.intp], int]:
    records = layout.records
    levels = [level for term, level in layout.variance_names if term == "residual"]
    known = layout.known[len(layout.known) - len(levels) :]
    at = made.add(
        *(Parameter(RESIDUAL, "residual", one, known=value) for one, value in zip(levels, known, strict=True))
    )
    rows = np.arange(records.n)
    if residual.together is None:
        return Groups(layout.groups, records.weights, tuple(at)), rows, records.n
    turned = made.add(Parameter(TURNED, "residual", axis=str(residual.variance_by)))
    mate = _find_mates(records, residual, layout.groups)
    return Pairs(layout.groups, mate, (at[0], at[1], turned[0])), rows, records.n


def _find_mates(records: Records, residual: Residual, trait: NDArray[np.intp]) -> NDArray[np.intp]:
    """For each record the other one of its plot, -1 if there is none."""
    plots = records.classes[str(residual.together)]
    if len(set(trait.tolist())) != 2:
        raise refuse("pairs_not_two", f"together needs {residual.variance_by!r} with just two levels")
    mate, seen = np.full(records.n, -1, dtype=np.intp), dict[tuple[int, int], int]()
    for at, key in enumerate(zip(plots.codes.tolist(), trait.tolist(), strict=True)):
        if key in seen:
            told = plots.levels[key[0]]
            raise refuse("plot_twice", f"Column {plots.name!r}: {told!r} has two records of the same kind", level=told)
        seen[key] = at
        other = seen.get((key[0], 1 - key[1]))
        if other is not None:
            mate[at], mate[other] = other, at
    if not np.any(mate >= 0):
        raise refuse("pairs_none", f"No level of {plots.name!r} has records of both kinds")
    return mate


def _turned(made: _Made, grid: PlotGrid, residual: Residual) -> tuple[int | None, int | None]:
    """A turned correlation along each axis that has several plots."""
    places = [
        made.add(Parameter(TURNED, "residual", grid.level, name))[0] if size > 1 else None
        for name, size in zip(residual.grid or (), grid.shape, strict=True)
    ]
    return places[0], places[1]


def _ground_and_nugget(made: _Made, layout: Layout, residual: Residual) -> tuple[Left, NDArray[np.intp], int]:
    """Correlated ground as a random term over all cells, and an independent part for each record."""
    records = layout.records
    levels = [level for term, level in layout.variance_names if term == "residual"]
    ground = made.add(*(Parameter(VARIANCE, "residual", level) for level in levels))
    nugget = made.add(*(Parameter(RESIDUAL, "nugget", level) for level in levels))
    for grid in find_grids(layout, residual):
        size = math.prod(grid.shape)
        columns = slice(made.next, made.next + size)
        incidence = Sparse((np.ones(len(grid.records)), (grid.records, grid.cells)), shape=(records.n, size))
        unit = Sparse(scipy.sparse.eye_array(size, format="csr"))
        scaler = np.full(size, ground[grid.group])
        made.pieces.append(Piece(incidence, unit, np.arange(columns.start, columns.stop), scaler))
        made.priors.append(Ground(columns, grid.shape, _turned(made, grid, residual), ground_pieces(grid.shape)))
    return Groups(layout.groups, records.weights, tuple(nugget)), np.arange(records.n), records.n


def _ground_alone(made: _Made, layout: Layout, residual: Residual) -> tuple[Left, NDArray[np.intp], int]:
    """Correlated ground is all that is left over: rows are the cells of all grids."""
    levels = [level for term, level in layout.variance_names if term == "residual"]
    variances = made.add(*(Parameter(RESIDUAL, "residual", level) for level in levels))
    place, at, fields = np.zeros(layout.records.n, dtype=np.intp), 0, []
    for grid in find_grids(layout, residual):
        size = math.prod(grid.shape)
        place[grid.records] = at + grid.cells
        turned = _turned(made, grid, residual)
        fields.append(Field(slice(at, at + size), grid.shape, variances[grid.group], turned))
        at += size
    parameters = [*variances, *sorted(k for one in fields for k in one.turned if k is not None)]
    return Fields(tuple(fields), tuple(parameters)), place, at

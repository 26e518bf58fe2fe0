"""How are the parameters and unknowns of what is left over put together, field by field?

Importing this module imports numba: do it inside the function that needs it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.layouts import Layout
from firstsilk.science.analysis.models import Residual
from firstsilk.science.analysis.parameters import NUGGET, RESIDUAL, TURNED, VARIANCE, Parameter
from firstsilk.science.analysis.patches import Patch
from firstsilk.science.analysis.plot_grids import PlotGrid, find_grids
from firstsilk.science.analysis.priors import Ground, Prior, ground_pieces
from firstsilk.science.analysis.records import Records
from firstsilk.science.analysis.residuals import Field, Fields, Groups, Left, Pairs, Stacked
from firstsilk.science.analysis.sparse_columns import Piece, Sparse

Arrangement = tuple[Left, NDArray[np.intp], int]


@dataclass(frozen=True, slots=True)
class Simpler:
    """What of a model is known to be 0: the axes (term, level) of surfaces that do not bend, and the levels of the
    residual's variances that have no nugget.
    """

    straight: frozenset[tuple[str, str]] = frozenset()
    without_nugget: frozenset[str] = frozenset()


PLAIN_MODEL = Simpler()


@dataclass(slots=True)
class Made:
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


def arrange_left(made: Made, layout: Layout, residual: Residual, simpler: Simpler) -> Arrangement:
    """Put together the residual: itself, the row of each record (n,), and how many rows there are."""
    if residual.grid is not None:
        return _arrange_grids(made, layout, residual, simpler)
    return _plain_residual(made, layout, residual)


def _plain_residual(made: Made, layout: Layout, residual: Residual) -> tuple[Left, NDArray[np.intp], int]:
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


def _turned(made: Made, grid: PlotGrid, residual: Residual) -> tuple[int | None, int | None]:
    """A turned correlation along each axis that has several plots."""
    places = [
        made.add(Parameter(TURNED, "residual", grid.level, name))[0] if size > 1 else None
        for name, size in zip(residual.grid or (), grid.shape, strict=True)
    ]
    return places[0], places[1]


def _arrange_grids(made: Made, layout: Layout, residual: Residual, simpler: Simpler) -> Arrangement:
    """Fields with a nugget are a random term beside independent records; of others the ground is all that is left."""
    levels = [level for term, level in layout.variance_names if term == "residual"]
    mixed = np.array([residual.nugget and level not in simpler.without_nugget for level in levels])
    variances = made.add(
        *(
            Parameter(VARIANCE if both else RESIDUAL, "residual", level)
            for level, both in zip(levels, mixed, strict=True)
        )
    )
    nuggets = made.add(*(Parameter(RESIDUAL, NUGGET, level) for level, both in zip(levels, mixed, strict=True) if both))
    single = np.flatnonzero(mixed[layout.groups])
    place = np.zeros(layout.records.n, dtype=np.intp)
    place[single] = np.arange(len(single))
    at, fields = 0, []
    for grid in find_grids(layout, residual):
        turned = _turned(made, grid, residual)
        if mixed[grid.group]:
            _add_ground(made, grid, variances[grid.group], turned)
            continue
        size = math.prod(grid.shape)
        place[grid.records] = len(single) + at + grid.cells
        fields.append(Field(slice(at, at + size), grid.shape, variances[grid.group], turned, ground_pieces(grid.shape)))
        at += size
    parts: list[tuple[slice, Left]] = []
    if len(single):
        number = np.cumsum(mixed) - 1
        groups = Groups(number[layout.groups[single]], layout.records.weights[single], tuple(nuggets))
        parts.append((slice(0, len(single)), groups))
    if fields:
        own = [k for k, both in zip(variances, mixed, strict=True) if not both]
        own += sorted(k for one in fields for k in one.turned if k is not None)
        parts.append((slice(len(single), len(single) + at), Fields(tuple(fields), tuple(own))))
    return (parts[0][1] if len(parts) == 1 else Stacked(tuple(parts))), place, len(single) + at


def _add_ground(made: Made, grid: PlotGrid, variance: int, turned: tuple[int | None, int | None]) -> None:
    size = math.prod(grid.shape)
    columns = slice(made.next, made.next + size)
    incidence = Sparse((np.ones(len(grid.records)), (grid.records, grid.cells)), shape=(made.n, size))
    unit = Sparse(scipy.sparse.eye_array(size, format="csr"))
    made.pieces.append(Piece(incidence, unit, np.arange(columns.start, columns.stop), np.full(size, variance)))
    made.priors.append(Ground(columns, grid.shape, turned, ground_pieces(grid.shape)))

"""Does a model ask for ground trends, correlated ground, factors or pairs, and do these fit together?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from firstsilk.answers import refuse
from firstsilk.science.analysis.codings import Factor, FixedTerm
from firstsilk.science.analysis.models import Array, Model, SparseRelationship, Surface
from firstsilk.science.analysis.records import Records

# A spline of cubic humps needs this many on each axis.
LEAST_KNOTS = 4
MOST_HUMPS = 5_000


def needs_sparse(model: Model) -> bool:
    """Whether only the sparse way can fit the model."""
    residual = model.residual
    return bool(
        model.surfaces or residual.grid or residual.together or any(term.factors for term in model.random)
    ) or any(isinstance(term.relationship, SparseRelationship) for term in model.random)


def check_structures(model: Model) -> None:
    """Refuse parts of a model that do not fit together.

    Raises
    ------
    InputRefused
        Saying which.
    """
    residual = model.residual
    kinds = [name for name in ("grid", "covariance", "together") if getattr(residual, name) is not None]
    if len(kinds) > 1:
        raise refuse("residual_twice", f"The residual can have {kinds[0]} or {kinds[1]}, not both")
    if residual.covariance is not None and needs_sparse(model):
        raise refuse(
            "residual_twice",
            "A known covariance of the residual cannot stand beside surfaces, factors or a sparse relationship",
            "Give the relationship as a matrix, or fit in one stage.",
        )
    if residual.grid is None and (residual.nugget or residual.within):
        raise refuse("grid_missing", "nugget and within of the residual need its grid: two columns of plot positions")
    if residual.grid is not None and (len(residual.grid) != 2 or len(set(residual.grid)) != 2):
        raise refuse(
            "grid_not_two", "The grid of the residual needs two different columns, such as field_row, field_col"
        )
    if residual.together is not None and residual.variance_by is None:
        raise refuse("pairs_not_two", "together of the residual needs variance_by, a column of two levels")
    if (residual.grid or residual.together) and (model.weights or residual.variance is not None):
        raise refuse(
            "residual_twice", "Weights and known variances do not go with a residual whose records go together"
        )
    names = [surface.name for surface in model.surfaces]
    for surface in model.surfaces:
        _check_surface(surface, names)


def _check_surface(surface: Surface, names: list[str]) -> None:
    if len(surface.grid) not in (1, 2) or len(set(surface.grid)) < len(surface.grid):
        raise refuse("surface_not_usable", "A surface needs one or two different columns as its grid")
    if len(surface.knots) != len(surface.grid) or any(size < LEAST_KNOTS for size in surface.knots):
        raise refuse(
            "knots_too_few",
            f"The surface over {surface.name} needs knots for each of its columns, {LEAST_KNOTS} or more",
        )
    if int(np.prod(surface.knots)) > MOST_HUMPS:
        raise refuse("knots_too_many", f"The surface over {surface.name} asks for more than {MOST_HUMPS:,} humps")
    if names.count(surface.name) > 1:
        raise refuse("term_twice", f"The surface over {surface.name} stands twice")


def lay_surfaces(records: Records, model: Model) -> tuple[Records, tuple[FixedTerm, ...]]:
    """What no surface counts as bending: its slopes along each column and their product, as fixed terms.

    Notes
    -----
    Columns are centred in each level of `within`, so that a slope is that at the middle.
    """
    numbers, terms = dict(records.numbers), []
    for surface in model.surfaces:
        within = records.classes[surface.within] if surface.within else None
        codes = within.codes if within else np.zeros(records.n, dtype=np.intp)
        levels = within.levels if within else ("",)
        for code, level in enumerate(levels):
            inside = codes == code
            parts = []
            for name in surface.grid:
                own = records.grid[name]
                _check_extent(surface, name, level, own[inside])
                parts.append(own[inside])
            names = [*surface.grid, *([surface.name] if len(parts) == 2 else [])]
            for name, own in zip(names, span_plane(parts), strict=True):
                values = np.zeros(records.n)
                values[inside] = own
                column = slope_column(name, level)
                numbers[column] = values
                terms.append(FixedTerm(name, (Factor(column, None, (), 0.0),), 0, (level,)))
    return replace(records, numbers=numbers), tuple(terms)


def span_plane(positions: Sequence[Array]) -> list[Array]:
    """What bends along no axis but its mean: each axis and, of two, their product, all centred, (n,) each."""
    parts = [own - own.mean() for own in positions]
    if len(parts) == 2:
        twist = parts[0] * parts[1]
        parts.append(twist - twist.mean())
    return parts


def _check_extent(surface: Surface, name: str, level: str, positions: Array) -> None:
    if positions.min() == positions.max():
        where = f" at {level}" if level else ""
        raise refuse(
            "surface_flat", f"The surface over {surface.name} has but one {name}{where}: it cannot bend along it"
        )


def slope_column(name: str, level: str) -> str:
    """The name of the number column that holds the slope of a surface along a column at a level."""
    return f"{name} at {level}" if level else f"{name} centred"


def as_matrices(model: Model) -> Model:
    """The model with sparse relationships written out as matrices, for the dense way."""
    if not any(isinstance(term.relationship, SparseRelationship) for term in model.random):
        return model
    # Brings numba in.
    from firstsilk.science.lineage.relationship_inverse import as_matrix

    return replace(
        model,
        random=tuple(
            replace(term, relationship=as_matrix(term.relationship))
            if isinstance(term.relationship, SparseRelationship)
            else term
            for term in model.random
        ),
    )

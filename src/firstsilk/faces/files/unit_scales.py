"""Are the heat units of a table in the scale that the command counts in?

A table may carry a column ``scale``; then every line must be in the scale asked for. Without it the numbers are looked
at, and those that would rather be of another scale are told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import TableRow
from firstsilk.science.climate.heat_forms import Scale
from firstsilk.science.flowering.usual_units import Stage, doubt_units

COLUMN = "scale"


FLOWERING_STAGES: dict[str, Stage] = {"units_to_silk": "silk", "units_to_shed": "shed"}
"""The columns of lines and the stages they lead to."""


def settle_unit_scale(rows: Sequence[TableRow], scale: Scale, stages: Mapping[str, Stage]) -> tuple[Finding, ...]:
    """Refuse rows that say another scale; give the warnings about numbers that look like another."""
    stop_if_any(check_unit_scale(rows, scale))
    return tuple(tell_unusual_units(rows, scale, stages))


def check_unit_scale(rows: Sequence[TableRow], scale: Scale) -> Iterator[Finding]:
    """One finding that stops for each line whose units are in another scale than the one asked for."""
    for row in rows:
        told = row.text(COLUMN)
        if told and told != scale:
            message = f"these units are in {told}, and {scale} is asked for"
            repair = f"Ask for --scale {told}, or give the units in {scale}; one cannot be turned into the other"
            yield row.finding("scale_differs", message, COLUMN, repair)


def tell_unusual_units(rows: Sequence[TableRow], scale: Scale, stages: Mapping[str, Stage]) -> Iterator[Finding]:
    """Warnings for numbers that are unusual in the scale, one for a whole column where most of it is.

    Parameters
    ----------
    rows
        The rows that were read.
    scale
        The scale its units are taken to be in.
    stages
        The stage that each column of units leads to.
    """
    repair = "Check that --scale is the scale of this column; it is taken as it stands"
    for column, stage in stages.items():
        units = [row.number(column, []) for row in rows]
        odd, message = doubt_units(units, stage, scale)
        known = sum(value is not None for value in units)
        if len(odd) > 1 and 2 * len(odd) > known:
            whole = f"{message} (so are {len(odd)} of {known} in this column)"
            yield rows[odd[0]].finding("units_unusual", whole, column, repair, stops=False)
            continue
        for at in odd:
            yield rows[at].finding("units_unusual", message, column, repair, stops=False)

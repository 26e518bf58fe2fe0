"""How do the analyses of trials and series become what pictures and tables are made of?

Pages, papers and commands show through these, so that all say the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstsilk.faces.pictures.field import FieldCell
from firstsilk.faces.pictures.intervals import EntryInterval
from firstsilk.faces.pictures.places import tell_best_places
from firstsilk.faces.pictures.units import TraitUnit
from firstsilk.work.analysis.series import Responses, SeriesAnalysis
from firstsilk.work.analysis.trial_map import TrialMap


@dataclass(frozen=True, slots=True)
class ResponseRow:
    """One entry's response in figures a breeder reads: all in the trait's unit but the slope and the two shares.

    `off_line` root of the mean square of deviations; `from_best` root of the mean square of the distance from the best
    entry of each site; `interaction_share` its part of all interaction.
    """

    entry: str
    is_check: bool
    mean: float
    slope: float | None
    slope_se: float | None
    off_line: float | None
    from_best: float
    interaction_share: float


def make_cells(found: TrialMap) -> tuple[FieldCell, ...]:
    """The plots as cells; only for a trial whose plots all have a place."""
    return tuple(
        FieldCell(
            one.number,
            one.field_row or 0,
            one.field_col or 0,
            one.entry,
            one.is_check,
            one.measured,
            one.ground,
            one.left,
        )
        for one in found.plots
    )


def make_intervals(found: SeriesAnalysis) -> tuple[EntryInterval, ...]:
    """The entries as the picture takes them."""
    return tuple(
        EntryInterval(
            one.entry,
            one.is_check,
            one.value,
            one.low,
            one.high,
            one.difference,
            one.difference_low,
            one.difference_high,
        )
        for one in found.entries
    )


def tell_places(own: Responses, unit: TraitUnit) -> tuple[str, ...]:
    """Who is best where, in sentences."""
    second = own.axis_tests[1].p if len(own.axis_tests) > 1 else None
    return tell_best_places(own.places, unit.short, unit.digits, unit.less_is_better, second)


def list_responses(own: Responses, checks: set[str]) -> list[ResponseRow]:
    """The responses as a table, in the order of the means."""
    whole = sum(one.wricke for one in own.stability) or 1.0
    rows = [
        ResponseRow(
            one.entry,
            one.entry in checks,
            one.mean,
            one.slope,
            one.slope_se,
            None if one.deviation_ms is None else math.sqrt(one.deviation_ms),
            math.sqrt(2.0 * one.superiority),
            one.wricke / whole,
        )
        for one in own.stability
    ]
    return sorted(rows, key=lambda row: row.from_best)

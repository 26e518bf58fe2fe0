"""How does one trial's field look: what was measured, the ground under it, what is left over, and is that still alike
on neighbouring plots?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.lags import LagMap, correlate_lags
from firstsilk.science.trials.stands import measure_lodging
from firstsilk.work.analysis.ground import GroundTrend, find_ground
from firstsilk.work.analysis.plots import TRAIT_WORDS, TRAITS
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.trials.reading import PlotCell, TrialPage, read_trial


@dataclass(frozen=True, slots=True)
class PlotSplit:
    """One plot: its place, and its value split into ground and what is left over; `why` says why it has none."""

    number: int
    rep: str
    field_row: int | None
    field_col: int | None
    entry: str
    is_check: bool
    measured: float | None
    ground: float | None
    left: float | None
    why: str


@dataclass(frozen=True, slots=True)
class TrialMap:
    """One trait of one trial on its field.

    `mean` over the plots; `ground_sd` and `left_sd` the spread of the two parts, all in the trait's unit; `lags` None
    where `no_lags` says why.
    """

    trial: str
    series: str
    site_name: str
    year: int
    trait: str
    plots: tuple[PlotSplit, ...]
    mean: float
    ground_sd: float
    left_sd: float
    model: str
    said: tuple[str, ...]
    lags: LagMap | None
    no_lags: str
    basis: Basis

    @property
    def is_placed(self) -> bool:
        """Whether every plot has a place of its own in the field."""
        places = [(one.field_row, one.field_col) for one in self.plots]
        return all(None not in place for place in places) and len(set(places)) == len(places)


def read_trial_map(on: Occasion, name: str, trait: str = TRAITS[0]) -> TrialMap:
    """One trait of one trial, each plot split into mean, entry, ground and what is left over.

    Parameters
    ----------
    on
        The occasion.
    name
        Of the trial.
    trait
        ``yield_kg_ha_15_5``, ``moisture_pct`` or ``erect_frac``.

    Raises
    ------
    InputRefused
        If there is no such trial or trait, or no plot of it tells the trait.
    """
    _check_trait(trait)
    page = read_trial(on, name)
    values = [read_value(plot, trait) for plot in page.plots]
    if all(value is None for value in values):
        raise refuse("no_plots", f"No plot of {name} tells {TRAIT_WORDS[trait]}.", "Bring the plot data in first.")
    split = split_trial(page, trait)
    plots = tuple(
        _split_plot(plot, value, ground, left)
        for plot, value, ground, left in zip(page.plots, values, split.ground, split.left, strict=True)
    )
    told = [value for value in values if value is not None]
    lags, why = _look_for_lags(plots)
    return TrialMap(
        page.name,
        page.series,
        page.site_name,
        page.year,
        trait,
        plots,
        sum(told) / len(told),
        split.ground_sd,
        split.left_sd,
        split.model,
        split.said,
        lags,
        why,
        _basis(plots),
    )


def _check_trait(trait: str) -> None:
    if trait not in TRAITS:
        raise refuse("trait_unknown", f"There is no trait {trait!r}.", f"Traits: {', '.join(TRAITS)}.")


def split_trial(page: TrialPage, trait: str, entries_fixed: bool = False) -> GroundTrend:
    """The ground of a trial, from the plots that tell the trait."""
    return _split_plots(page.plots, trait, entries_fixed)


# The same plots have the same ground: a page, its print and the page of its series work it out once.
@lru_cache(maxsize=64)
def _split_plots(plots: tuple[PlotCell, ...], trait: str, entries_fixed: bool) -> GroundTrend:
    return find_ground(
        [read_value(plot, trait) for plot in plots],
        [plot.entry for plot in plots],
        [plot.rep for plot in plots],
        [plot.field_row for plot in plots],
        [plot.field_col for plot in plots],
        entries_fixed,
    )


def read_value(plot: PlotCell, trait: str) -> float | None:
    """What a plot tells of a trait; None if it is rejected or silent."""
    if plot.rejected:
        return None
    if trait == "yield_kg_ha_15_5":
        return plot.yield_kg_ha_15_5
    if trait == "moisture_pct":
        return plot.moisture_pct
    if not plot.stand or (plot.root_lodged is None and plot.stalk_lodged is None):
        return None
    return measure_lodging(plot.stand, plot.root_lodged or 0, plot.stalk_lodged or 0).erect_pct / 100.0


def _split_plot(plot: PlotCell, value: float | None, ground: float | None, left: float | None) -> PlotSplit:
    why = ""
    if value is None:
        why = f"rejected: {plot.rejected}" if plot.rejected else "not told" if plot.has_record else "no record"
    told = (plot.number, plot.rep, plot.field_row, plot.field_col, plot.entry, plot.is_check)
    return PlotSplit(*told, value, ground, left, why)


def _look_for_lags(plots: Sequence[PlotSplit]) -> tuple[LagMap | None, str]:
    told = [one for one in plots if one.left is not None]
    if any(one.field_row is None or one.field_col is None for one in told):
        return None, "Some plots have no place in the field, so neighbours cannot be told."
    try:
        rows, cols = [one.field_row or 0 for one in told], [one.field_col or 0 for one in told]
        return correlate_lags(rows, cols, [one.left or 0.0 for one in told]), ""
    except InputRefused as no:
        return None, str(no)


def _basis(plots: Sequence[PlotSplit]) -> Basis:
    told = sum(one.measured is not None for one in plots)
    why: dict[str, int] = {}
    for one in plots:
        if one.why:
            key = one.why.partition(":")[0]
            why[key] = why.get(key, 0) + 1
    missing = tuple(f"{count} plot{'' if count == 1 else 's'}: {reason}" for reason, count in why.items())
    return Basis((("plots with a value", told),), missing)

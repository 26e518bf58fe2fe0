"""Which plots take part in an analysis, and what does each say of the trait?"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import refuse
from firstsilk.records.models import Plot, PlotRecord, Station, Trial
from firstsilk.science.trials.stands import measure_lodging
from firstsilk.work.standing import read_standing
from firstsilk.work.trials.newest import read_newest_records

TRAIT_WORDS = {
    "yield_kg_ha_15_5": "yield at 15.5 % moisture, kg/ha",
    "moisture_pct": "moisture at harvest, %",
    "erect_frac": "plants standing, share",
}
"""The traits that are analysed, and how a person calls them."""
TRAITS = tuple(TRAIT_WORDS)


@dataclass(frozen=True, slots=True)
class PlotValue:
    """One plot that takes part: its trial, replicate within it, entry, the value of the trait, and its number."""

    environment: str
    site: str
    year: int
    rep: str
    entry: str
    line: int
    is_check: bool
    value: float
    number: int = 0


@dataclass(frozen=True, slots=True)
class PlotValues:
    """All plots that take part, and what was missing, in sentences."""

    trait: str
    years: tuple[int, ...]
    plots: tuple[PlotValue, ...]
    missing: tuple[str, ...]

    def hash(self) -> str:
        """What the inputs hash to: the same plots give the same text."""
        rows = sorted((p.environment, p.rep, p.entry, p.is_check, repr(p.value)) for p in self.plots)
        return hashlib.sha256(json.dumps([self.trait, self.years, rows]).encode()).hexdigest()


def read_plot_values(station: Station, years: Sequence[int], trait: str, up_to: date | None = None) -> PlotValues:
    """The newest record, up to a day, of every plot of the years' trials, as far as it tells the trait.

    Raises
    ------
    InputRefused
        If the trait is unknown, or no plot of these years tells it.

    Notes
    -----
    Plots of a record that was merged into another line by the day count for the line kept.
    """
    if trait not in TRAITS:
        raise refuse("trait_unknown", f"There is no trait {trait!r}.", f"Traits: {', '.join(TRAITS)}.")
    trials = {trial.pk: trial for trial in _find_trials(station, years)}
    records = read_newest_records(station, trials, up_to)
    plots = Plot.objects.filter(station=station, trial__in=list(trials)).select_related("entry")
    standing = read_standing(station, up_to)
    values: list[PlotValue] = []
    gone: Counter[str] = Counter()
    for plot in plots.order_by("trial__year", "trial__name", "number"):
        value = _value(records.get(plot.pk), trait, gone)
        if value is not None:
            trial = trials[plot.trial_id]
            entry = standing.get(plot.entry_id, plot.entry)
            check = plot.is_check or plot.entry.is_check or entry.is_check
            told = (trial.name, trial.site.code, trial.year, f"{trial.name} {plot.rep}")
            values.append(PlotValue(*told, entry.name, entry.pk, check, value, plot.number))
    asked = ", ".join(str(year) for year in years) or "all years"
    if not values:
        raise refuse("no_plots", f"No plot of {asked} tells {trait}.", "Bring the plot data in first.")
    missing = [f"{count} plot{'' if count == 1 else 's'} {why}" for why, count in gone.items()]
    silent = {trial.name for trial in trials.values()} - {one.environment for one in values}
    missing += [f"trial {name} tells nothing of it" for name in sorted(silent)]
    used = tuple(sorted({one.year for one in values}))
    return PlotValues(trait, used, tuple(values), tuple(missing))


def _find_trials(station: Station, years: Sequence[int]) -> list[Trial]:
    trials = Trial.objects.filter(station=station).select_related("site").order_by("year", "name")
    return list(trials.filter(year__in=list(years)) if years else trials)


def _value(record: PlotRecord | None, trait: str, gone: Counter[str]) -> float | None:
    """The trait of one record; if it cannot be had, `gone` counts why."""
    if record is None:
        gone["without a record"] += 1
        return None
    if record.rejected:
        gone["rejected"] += 1
        return None
    if trait == "yield_kg_ha_15_5":
        value = record.yield_kg_ha_15_5
    elif trait == "moisture_pct":
        value = record.moisture_pct
    else:
        value = _erect_frac(record)
    if value is None:
        gone["whose record does not tell it"] += 1
    return value


def _erect_frac(record: PlotRecord) -> float | None:
    """The share of plants that stand; None without a stand or where neither kind of lodging was counted."""
    if not record.stand or (record.root_lodged is None and record.stalk_lodged is None):
        return None
    return measure_lodging(record.stand, record.root_lodged or 0, record.stalk_lodged or 0).erect_pct / 100.0

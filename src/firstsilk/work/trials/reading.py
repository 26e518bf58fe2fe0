"""Which trials are there, how does one lie in the field, and what has come in from it?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from django.db.models import Count, Exists, Min, OuterRef, Q

from firstsilk.answers import refuse
from firstsilk.records.models import Plot, PlotRecord, Reservation, Station, Trial
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station, get_trial
from firstsilk.work.standing import end_of_day, promises_on, trials_on
from firstsilk.work.trials.newest import read_newest_records


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One trial on the list."""

    name: str
    series: str
    site: str
    year: int
    design: str
    reps: int
    n_entries: int
    n_plots: int
    n_with_record: int
    holds_seed: bool
    site_name: str

    @property
    def state(self) -> str:
        """Where the trial stands, in words."""
        if self.n_with_record == 0:
            return "packets to fill" if self.holds_seed else "no plot data yet"
        return "plot data in" if self.n_with_record == self.n_plots else "plot data in part"


@dataclass(frozen=True, slots=True)
class TrialList:
    """All trials, the newest year first."""

    trials: tuple[TrialLine, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class PlotCell:
    """One plot: where it lies, what grows on it, and what its newest record says."""

    number: int
    tag: str
    rep: str
    block: str
    field_row: int | None
    field_col: int | None
    entry: str
    is_check: bool
    lot: str
    weight_kg: float | None
    moisture_pct: float | None
    yield_kg_ha_15_5: float | None
    stand: int | None
    root_lodged: int | None
    stalk_lodged: int | None
    rejected: str
    has_record: bool


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One entry of a trial with the plain means of its plots that count."""

    entry: str
    is_check: bool
    n_plots: int
    n_used: int
    yield_kg_ha_15_5: float | None
    moisture_pct: float | None


@dataclass(frozen=True, slots=True)
class TrialPage:
    """One trial whole: its lay-out, its plots and the plain means of its entries."""

    name: str
    series: str
    site: str
    site_name: str
    year: int
    design: str
    reps: int
    plot_area_m2: float | None
    kernels_per_plot: int | None
    seed: int | None
    plots: tuple[PlotCell, ...]
    entries: tuple[EntryLine, ...]
    holds_seed: bool
    basis: Basis

    @property
    def n_with_record(self) -> int:
        """Plots with a record."""
        return sum(plot.has_record for plot in self.plots)


def list_trials(on: Occasion) -> TrialList:
    """All trials of the station, the newest year first."""
    station = get_station(on.station)
    held = promises_on(station, on.today).filter(trial=OuterRef("pk"))
    recorded = PlotRecord.objects.filter(plot=OuterRef("pk"), recorded_at__lt=end_of_day(station, on.today))
    plots = (
        Plot.objects.filter(station=station)
        .annotate(told=Exists(recorded))
        .values("trial")
        .annotate(n=Count("pk"), n_told=Count("pk", filter=Q(told=True)), n_entries=Count("entry", distinct=True))
        .order_by()
    )
    counts = {row["trial"]: row for row in plots}
    trials = trials_on(station, on.today).select_related("site").annotate(held=Exists(held))
    lines = []
    for trial in trials.order_by("-year", "name"):
        row = counts.get(trial.pk, {"n": 0, "n_told": 0, "n_entries": 0})
        lines.append(
            TrialLine(
                trial.name,
                trial.series,
                trial.site.code,
                trial.year,
                trial.design,
                trial.reps,
                row["n_entries"],
                row["n"],
                row["n_told"],
                bool(trial.held),
                trial.site.name,
            )
        )
    used = (("trials", len(lines)), ("plots", sum(line.n_plots for line in lines)))
    waiting = sum(0 < line.n_with_record < line.n_plots for line in lines)
    missing = (f"{waiting} trials have data from part of their plots",) if waiting else ()
    return TrialList(tuple(lines), Basis(used, missing))


def find_trial_on(on: Occasion, station: Station, name: str) -> Trial:
    """The trial of this name, if it was laid out by the occasion's day."""
    trial = get_trial(station, name)
    if not trials_on(station, on.today).filter(pk=trial.pk).exists():
        first = Reservation.objects.filter(station=station, trial=trial).aggregate(first=Min("reserved_on"))["first"]
        raise refuse("trial_not_yet", f"Trial {name} was laid out on {first}.", "Look at it from that day on.")
    return trial


def read_trial(on: Occasion, name: str) -> TrialPage:
    """One trial with every plot.

    Raises
    ------
    InputRefused
        If there is no such trial.
    """
    station = get_station(on.station)
    trial = find_trial_on(on, station, name)
    records = read_newest_records(station, [trial.pk], on.today)
    plots = Plot.objects.filter(station=station, trial=trial).select_related("entry", "lot").order_by("number")
    cells = tuple(_cell(plot, records.get(plot.pk)) for plot in plots)
    held = promises_on(station, on.today).filter(trial=trial).exists()
    return TrialPage(
        trial.name,
        trial.series,
        trial.site.code,
        trial.site.name,
        trial.year,
        trial.design,
        trial.reps,
        trial.plot_area_m2,
        trial.kernels_per_plot,
        trial.seed,
        cells,
        _entry_lines(cells),
        held,
        _basis(cells),
    )


def _cell(plot: Plot, record: PlotRecord | None) -> PlotCell:
    return PlotCell(
        plot.number,
        plot.tag,
        plot.rep,
        plot.block,
        plot.field_row,
        plot.field_col,
        plot.entry.name,
        plot.is_check or plot.entry.is_check,
        plot.lot.name if plot.lot else "",
        record.weight_kg if record else None,
        record.moisture_pct if record else None,
        record.yield_kg_ha_15_5 if record else None,
        record.stand if record else None,
        record.root_lodged if record else None,
        record.stalk_lodged if record else None,
        record.rejected if record else "",
        record is not None,
    )


def _entry_lines(cells: tuple[PlotCell, ...]) -> tuple[EntryLine, ...]:
    counts = Counter(cell.entry for cell in cells)
    lines = []
    for entry, n_plots in counts.items():
        own = [cell for cell in cells if cell.entry == entry and cell.has_record and not cell.rejected]
        grain = [cell.yield_kg_ha_15_5 for cell in own if cell.yield_kg_ha_15_5 is not None]
        water = [cell.moisture_pct for cell in own if cell.moisture_pct is not None]
        check = any(cell.is_check for cell in cells if cell.entry == entry)
        lines.append(EntryLine(entry, check, n_plots, len(grain), _mean(grain), _mean(water)))
    return tuple(sorted(lines, key=lambda line: (-(line.yield_kg_ha_15_5 or 0.0), line.entry)))


def _mean(values: list[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _basis(cells: tuple[PlotCell, ...]) -> Basis:
    silent = sum(not cell.has_record for cell in cells)
    rejected = sum(bool(cell.rejected) for cell in cells)
    no_yield = sum(cell.has_record and not cell.rejected and cell.yield_kg_ha_15_5 is None for cell in cells)
    missing = []
    if silent:
        missing.append(f"{silent} plots have no record yet")
    if no_yield:
        missing.append(f"{no_yield} plots have a record without a yield")
    if rejected:
        missing.append(f"{rejected} plots are rejected and do not count")
    told = sum(cell.has_record for cell in cells)
    return Basis((("plots", len(cells)), ("plot records", told)), tuple(missing))

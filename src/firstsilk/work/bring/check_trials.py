"""Is every plot one plot of one trial, with a known entry, and can its figures be?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date

from firstsilk.answers import Finding
from firstsilk.work.bring.known import Known
from firstsilk.work.bring.names import suggest_name
from firstsilk.work.bring.tables import PlotGiven, StationTables
from firstsilk.work.bring.yields import find_yield

YIELDS_APART = 0.02
"""Share by which a yield given and one reckoned from the weight may differ. Our own choice, no source."""


def check_plots(tables: StationTables, known: Known, today: date) -> Iterator[Finding]:
    """Trials that hold together, entries and sites that exist, plots once, figures that fit one another."""
    entries = frozenset([*known.lines, *(line.line for line in tables.lines)])
    sites = frozenset([*known.sites, *(site.site for site in tables.sites)])
    by_trial: dict[str, list[PlotGiven]] = defaultdict(list)
    for plot in tables.plots:
        by_trial[plot.trial].append(plot)
    for trial, plots in by_trial.items():
        yield from _check_trial(trial, plots, known, today)
        yield from _check_places(plots, known)
        yield from _check_checks(plots)
    for plot in tables.plots:
        if plot.entry and plot.entry not in entries and "lines" not in tables.unread:
            repair = suggest_name(plot.entry, entries, "Add it to lines.csv")
            yield plot.tell("entry", "entry_unknown", "there is no such line or hybrid", repair)
        if plot.site and plot.site not in sites and "sites" not in tables.unread:
            repair = suggest_name(plot.site, sites, "Add it to sites.csv")
            yield plot.tell("site", "site_unknown", "there is no such site", repair)
        yield from _check_figures(plot)


def _check_trial(trial: str, plots: Sequence[PlotGiven], known: Known, today: date) -> Iterator[Finding]:
    """One site, one year and one series in a trial."""
    first = plots[0]
    in_books = known.trials.get(trial)
    for plot in plots:
        for column in ("site", "year", "series"):
            mine, theirs = getattr(plot, column), getattr(first, column)
            if mine and theirs and mine != theirs:
                message = f"trial {trial!r} has {column} {theirs} in line {first.at_line}; a trial is one {column} only"
                yield plot.tell(column, "trial_torn", message, f"Write {theirs}, or name this another trial")
    if in_books and first.site and first.year and in_books != (first.site, first.year):
        column = "site" if in_books[0] != first.site else "year"
        message = f"the books have trial {trial!r} at site {in_books[0]} in {in_books[1]}"
        yield first.tell(column, "trial_other", message, "Correct it, or name this another trial")
    if first.year is not None and first.year > today.year:
        yield first.tell("year", "in_future", f"this year is after {today.year}", "Check it", stops=False)


def _check_places(plots: Sequence[PlotGiven], known: Known) -> Iterator[Finding]:
    numbers: dict[int, PlotGiven] = {}
    places: dict[tuple[int, int], PlotGiven] = {}
    for plot in plots:
        if plot.plot is not None:
            before = numbers.setdefault(plot.plot, plot)
            if before is not plot:
                message = f"this plot of trial {plot.trial!r} is there already, in line {before.at_line}"
                yield plot.tell("plot", "plot_twice", message, "Give it another number, or remove one line")
        if plot.field_row is None or plot.field_col is None:
            continue
        there = places.setdefault((plot.field_row, plot.field_col), plot)
        spot = f"field_row {plot.field_row}, field_col {plot.field_col}"
        if there is not plot:
            message = f"plot {there.plot} (line {there.at_line}) of trial {plot.trial!r} stands at {spot} already"
            yield plot.tell("field_col", "place_taken", message, "Correct one of the two places")
        elif known.places.get((plot.trial, plot.field_row, plot.field_col), plot.plot) != plot.plot:
            taken = known.places[(plot.trial, plot.field_row, plot.field_col)]
            message = f"plot {taken} of the books stands at {spot} already"
            yield plot.tell("field_col", "place_taken", message, "Correct the place")


def _check_checks(plots: Sequence[PlotGiven]) -> Iterator[Finding]:
    """An entry is a check in all plots of a trial or in none."""
    first: dict[str, PlotGiven] = {}
    for plot in plots:
        if plot.check is None or not plot.entry:
            continue
        before = first.setdefault(plot.entry, plot)
        if before.check != plot.check:
            told = "a check" if before.check else "no check"
            message = f"entry {plot.entry!r} is {told} in line {before.at_line}"
            yield plot.tell("check", "check_torn", message, "Write the same in all its plots", stops=False)


def _check_figures(plot: PlotGiven) -> Iterator[Finding]:
    for column in ("root_lodged", "stalk_lodged"):
        lodged: int | None = getattr(plot, column)
        if lodged is not None and plot.stand is not None and lodged > plot.stand:
            message = f"more than the {plot.stand} plants that stood on the plot"
            yield plot.tell(
                column, "more_lodged_than_stand", message, "A count is wanted, not a percentage", stops=False
            )
    if plot.rejected:
        return
    if plot.weight_kg == 0:
        message = "a plot that gave nothing counts as 0 kg"
        yield plot.tell("weight_kg", "weight_zero", message, "Leave it empty if it was not weighed", stops=False)
    reckoned = find_yield(plot.weight_kg, plot.moisture_pct, plot.plot_area_m2)
    given = plot.yield_kg_ha_15_5
    if reckoned is None and given is None:
        if plot.weight_kg is not None:
            lacking = "moisture_pct" if plot.moisture_pct is None else "plot_area_m2"
            message = "no yield can be reckoned from the weight without it"
            yield plot.tell(lacking, "yield_unknown", message, "Fill it if it is known", stops=False, value="")
        return
    if reckoned is not None and given is not None and abs(reckoned - given) > YIELDS_APART * max(reckoned, 1.0):
        message = f"weight, moisture and area give {reckoned:.0f}, and that is what counts"
        yield plot.tell("yield_kg_ha_15_5", "yields_differ", message, "Check all four", stops=False)
    yield from _check_reckoned(plot, reckoned)


def _check_reckoned(plot: PlotGiven, reckoned: float | None) -> Iterator[Finding]:
    from firstsilk.work.bring.layouts import PLOTS

    column = PLOTS.column("yield_kg_ha_15_5")
    if reckoned is None or column.odd_high is None or reckoned <= column.odd_high:
        return
    message = f"weight, moisture and area give {reckoned:.0f} kg/ha, which is unlikely"
    yield plot.tell("weight_kg", "unlikely", message, "Check all three, and their units", stops=False)

"""How do past trials come into the books: the trial, its plots, and what each plot gave?"""

from __future__ import annotations

from collections import defaultdict

from firstsilk.records.models import Plot, PlotRecord, Trial
from firstsilk.work.bring.compare import Wish, differing, fill_record, is_same
from firstsilk.work.bring.storing import CHUNK, Storing
from firstsilk.work.bring.tables import PlotGiven
from firstsilk.work.bring.yields import find_yield

FIGURES = (
    "weight_kg",
    "moisture_pct",
    "yield_kg_ha_15_5",
    "test_weight_kg_hl",
    "stand",
    "root_lodged",
    "stalk_lodged",
    "rejected",
)


def store_plots(storing: Storing) -> None:
    """Trials, new plots with a record each, and a further record where an old plot's lacked something."""
    by_trial: dict[str, list[PlotGiven]] = defaultdict(list)
    for given in storing.tables.plots:
        by_trial[given.trial].append(given)
    there = {trial.name: trial for trial in Trial.objects.filter(station=storing.station, name__in=list(by_trial))}
    for name, plots in by_trial.items():
        trial = there.get(name) or _make_trial(name, plots, storing)
        if name in there:
            _fill_trial(trial, plots, storing)
        _store_plots_of(trial, plots, storing)


def _make_trial(name: str, plots: list[PlotGiven], storing: Storing) -> Trial:
    areas = {plot.plot_area_m2 for plot in plots}
    year = plots[0].year
    assert year is not None
    storing.count("trials", new=1)
    return Trial.objects.create(
        station=storing.station,
        name=name,
        series=next((plot.series for plot in plots if plot.series), ""),
        site=storing.sites[plots[0].site],
        year=year,
        design="as_brought",
        reps=len({plot.rep or "1" for plot in plots}),
        plot_area_m2=areas.pop() if len(areas) == 1 else None,
    )


def _fill_trial(trial: Trial, plots: list[PlotGiven], storing: Storing) -> None:
    first = next((plot for plot in plots if plot.series), plots[0])
    filled = fill_record(trial, first, [("series", "series", first.series)], f"trial {trial.name!r}", storing.findings)
    if filled:
        trial.save(update_fields=filled)
    storing.count_filled("trials", filled)


def _store_plots_of(trial: Trial, plots: list[PlotGiven], storing: Storing) -> None:
    there = {plot.number: plot for plot in Plot.objects.filter(trial=trial).select_related("entry")}
    newest = {
        record.plot_id: record for record in PlotRecord.objects.filter(plot__trial=trial).order_by("recorded_at", "pk")
    }
    new = [given for given in plots if given.plot not in there]
    old = [given for given in plots if given.plot in there]
    made = Plot.objects.bulk_create([_make_plot(given, trial, storing) for given in new], batch_size=CHUNK)
    storing.count("plots", new=len(new))
    records = [_make_record(plot, _figures(given), given, storing) for given, plot in zip(new, made, strict=True)]
    for given in old:
        assert given.plot is not None
        plot = there[given.plot]
        records.append(_fill_plot(given, plot, newest.get(plot.pk), storing))
    kept = [record for record in records if record is not None]
    PlotRecord.objects.bulk_create(kept, batch_size=CHUNK)
    storing.count("plot records", new=len(kept))


def _make_plot(given: PlotGiven, trial: Trial, storing: Storing) -> Plot:
    assert given.plot is not None
    return Plot(
        station=storing.station,
        trial=trial,
        number=given.plot,
        rep=given.rep or "1",
        block=given.block or "1",
        field_row=given.field_row,
        field_col=given.field_col,
        entry=storing.lines[given.entry],
        is_check=bool(given.check),
    )


def _figures(given: PlotGiven) -> dict[str, object]:
    """What the table says of a plot; the yield is reckoned where weight, moisture and area are known."""
    figures: dict[str, object] = {name: getattr(given, name) for name in FIGURES}
    reckoned = find_yield(given.weight_kg, given.moisture_pct, given.plot_area_m2)
    if reckoned is not None:
        figures["yield_kg_ha_15_5"] = reckoned
    return {name: value for name, value in figures.items() if value is not None and value != ""}


def _make_record(plot: Plot, figures: dict[str, object], given: PlotGiven, storing: Storing) -> PlotRecord | None:
    """The record of a plot, or None if nothing was measured."""
    if not figures:
        return None
    record = PlotRecord(
        station=storing.station,
        plot=plot,
        source=given.at_file[:120],
        recorded_at=storing.on.now,
        recorded_by=storing.on.who,
    )
    for name, value in figures.items():
        setattr(record, name, value)
    return record


def _fill_plot(given: PlotGiven, plot: Plot, newest: PlotRecord | None, storing: Storing) -> PlotRecord | None:
    """Fill an old plot; return a further record if the table tells more than the newest one."""
    columns = ("rep", "block", "field_row", "field_col")
    wishes: list[Wish] = [(column, column, getattr(given, column)) for column in columns]
    wishes += [("entry", "entry", storing.lines[given.entry]), ("check", "is_check", given.check)]
    what = f"plot {plot.number} of trial {given.trial!r}"
    filled = fill_record(plot, given, wishes, what, storing.findings)
    if filled:
        plot.save(update_fields=filled)
    told = _figures(given)
    have = {name: getattr(newest, name) for name in FIGURES} if newest else {}
    have = {name: value for name, value in have.items() if value is not None and value != ""}
    other = [name for name in FIGURES if name in told and name in have and not is_same(have[name], told[name])]
    # A reckoned yield that differs only follows from a figure that does.
    for name in [name for name in other if name != "yield_kg_ha_15_5"] or other:
        storing.findings.append(differing(given, name, what, have[name]))
    more = told.keys() - have.keys()
    storing.count_filled("plots", [*filled, *more])
    return _make_record(plot, {**told, **have}, given, storing) if more else None

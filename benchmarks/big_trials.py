"""Trials, analyses and verdicts of the books that a test of their size is made of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from itertools import product

from benchmarks.big_pen import FIRST_TRIALS, INSTANT, TRAITS, YEARS, Drawn, Pen, Size, insert

from firstsilk.records import models as books

_PLOT = ("id", "station_id", "trial_id", "tag", "number", "rep", "block", "entry_id", "is_check")
_RECORD = (
    *("station_id", "plot_id", "weight_kg", "moisture_pct", "yield_kg_ha_15_5", "rejected", "source", "recorded_at"),
    "recorded_by",
)


def fill_trials(pen: Pen, lines: Sequence[Drawn], size: Size) -> None:
    """Trials of hybrids at five places, plots and records; an analysis a year; verdicts on a fifth of the lines."""
    station = books.Station.objects.get(pk=pen.station)
    sites = list(books.Site.objects.filter(station=station, is_home=False))
    years = range(FIRST_TRIALS, YEARS[-1] + 1)
    trials = [
        books.Trial(station=station, name=f"T{at}", site=sites[at % len(sites)], year=years[at % len(years)], reps=2)
        for at in range(size.trials)
    ]
    books.Trial.objects.bulk_create(trials, batch_size=500)
    hybrids = [one for one in lines if one.kind == "hybrid"]
    checks = [one for one in hybrids if one.is_check] or hybrids[:2]
    plots = []
    for trial in books.Trial.objects.filter(station=station).order_by("pk"):
        there = [one for one in hybrids if one.year < trial.year] or hybrids
        for number in range(1, size.plots + 1):
            is_check = number % 20 == 0
            entry = pen.dice.choice(checks if is_check else there)
            plots.append((trial.pk, number, entry.number, is_check))
    insert_plots(pen, plots)
    _fill_results(pen, station, hybrids, size.lines // 50)
    judged = [one for one in lines if one.kind == "line"][::5]
    insert(books.Verdict, VERDICT, (draw_verdict(pen, one.number, max(one.year, YEARS[0]) + 1) for one in judged))


def insert_plots(pen: Pen, plots: Iterable[tuple[int, int, int, bool]]) -> None:
    """Plots, by trial, number, entry and whether it is a check, each with what it gave."""
    made = [(pen.number("plot"), *plot) for plot in plots]
    insert(
        books.Plot,
        _PLOT,
        ((pk, pen.station, trial, "", number, "1", "1", entry, check) for pk, trial, number, entry, check in made),
    )
    yields = ((pk, pen.dice.gauss(8000.0, 700.0)) for pk, *_ in made)
    insert(
        books.PlotRecord,
        _RECORD,
        ((pen.station, pk, got / 1000, 22.0, got, "", "", INSTANT, "") for pk, got in yields),
    )


VERDICT = (
    *("station_id", "line_id", "year", "verdict", "reason", "proposed", "decided_on", "decided_at", "decided_by"),
)
ESTIMATE = ("station_id", "result_id", "line_id", "trait", "kind", "value", "se", "reliability", "n_plots", "n_sites")


def draw_verdict(pen: Pen, line: int, year: int) -> tuple[object, ...]:
    """A verdict as its table wants it."""
    word = pen.dice.choice(("go_on", "wait", "stop"))
    day = date(min(year, YEARS[-1]), 11, 25)
    return (pen.station, line, day.year, word, "By its merit.", word, day, f"{day.isoformat()} 12:00:00+00:00", "")


def _fill_results(pen: Pen, station: books.Station, hybrids: Sequence[Drawn], entries: int) -> None:
    for year in range(FIRST_TRIALS, YEARS[-1] + 1):
        there = pen.dice.sample(hybrids, min(entries, len(hybrids)))
        versus = {f"blup {one.number}": [round(pen.dice.gauss(0, 300), 1), 150.0, 0.5] for one in there}
        result = books.Result.objects.create(
            station=station, kind="trial_analysis", made_on=date(year, 11, 20), made_at=datetime.fromisoformat(INSTANT),
            version="1", inputs_hash="0", settings={"years": [year]}, answer={"versus_checks": versus},
        )  # fmt: skip
        told = product(there, TRAITS[:2])
        insert(books.Estimate, ESTIMATE, (draw_estimate(pen, result.pk, one.number, trait) for one, trait in told))


def draw_estimate(pen: Pen, result: int, line: int, trait: str, kind: str = "blup") -> tuple[object, ...]:
    """An estimate as its table wants it."""
    return (pen.station, result, line, trait, kind, pen.dice.gauss(8000, 300), 200.0, 0.6, 8, 4)

"""How does one line of big books come by thousands of facts? Rows, notes, lots, plots, estimates, verdicts, targets."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import count, islice, product

from benchmarks.big_books import LOT, MOVEMENT, NOTE, ROW, close_books, lot_values, row_values, tell_row
from benchmarks.big_pen import INSTANT, TRAITS, YEARS, Pen, insert
from benchmarks.big_trials import ESTIMATE, VERDICT, draw_estimate, draw_verdict, insert_plots
from django.db import models

from firstsilk.records import models as books

LINE = "ESK-1024"
"""The line whose facts are many."""


def add_facts(pen: Pen, wanted: int, name: str = LINE) -> int:
    """Give one line so many facts more: rows, notes, lots, movements, plots, estimates, verdicts and targets.

    Returns how many it was given. The line is made at the first call: selfed twice from the middle of the years, and
    crossed to ten testers.
    """
    line = books.Line.objects.filter(station=pen.station, name=name).first()
    line = line or _make_line(pen, name)
    hybrids = list(books.Line.objects.filter(station=pen.station, mother=line, kind="hybrid").order_by("pk"))
    given = _add_rows(pen, line, max(1, wanted // 40), wanted * 7 // 10)
    given += _add_lots(pen, line, max(1, wanted // 100))
    given += _add_trials(pen, [line, *hybrids], wanted // 10)
    years = count(int(books.Verdict.objects.filter(line=line).count()))
    told = (draw_verdict(pen, line.pk, YEARS[next(years) % len(YEARS)]) for _ in range(max(1, wanted // 200)))
    given += insert(books.Verdict, VERDICT, told)
    given += _add_targets(pen, line, wanted - given)
    close_books(pen)
    return given


def _make_line(pen: Pen, name: str) -> books.Line:
    mother = (
        books.Line.objects.filter(
            station=pen.station, method="self", generation="S4", lots__year__lte=YEARS[len(YEARS) // 2]
        )
        .order_by("-pk")
        .first()
    )
    assert mother is not None
    made = {"station": mother.station, "selfings": 2, "generation": "S6", "group": mother.group, "mother": mother}
    line = books.Line.objects.create(
        pk=pen.number("line"), name=name, method="self", units_to_silk=1280.0, units_to_shed=1260.0, **made
    )
    for tester in books.Line.objects.filter(station=pen.station, is_tester=True).order_by("pk")[:10]:
        cross = {"kind": "hybrid", "method": "cross", "mother": line, "father": tester, "station": line.station}
        books.Line.objects.create(pk=pen.number("line"), name=f"{name}/{tester.name}", **cross)
    return line


def _add_rows(pen: Pen, line: books.Line, rows: int, notes: int) -> int:
    """Rows in the later half of the seasons, after all that stand there, with their notes."""
    before = pen.position
    seasons = list(books.Season.objects.filter(station=pen.station, year__gt=YEARS[len(YEARS) // 2]).order_by("year"))
    for place, season in enumerate(seasons):
        mine = [one for one in range(rows) if one % len(seasons) == place]
        first = (season.rows.aggregate(models.Max("number"))["number__max"] or 0) + 1
        tags = [pen.tag() for _ in mine]
        told = ((pen.number("row"), first + step, tag, line.pk) for step, tag in enumerate(tags))
        insert(books.Row, ROW, (row_values(pen, season, *row) for row in told))
        insert(books.Note, NOTE, (one for tag in tags for one in tell_row(pen, tag, season.year, notes // rows)))
    return rows + pen.position - before


def _add_lots(pen: Pen, line: books.Line, lots: int) -> int:
    numbers = [pen.number("lot") for _ in range(lots)]
    years = YEARS[len(YEARS) // 2 :]
    of_year = {number: years[at % len(years)] for at, number in enumerate(numbers)}
    told = (lot_values(pen, number, f"{line.name}-{number}", line.pk, of_year[number]) for number in numbers)
    given = insert(books.Lot, LOT, told)
    moves = [
        (pen.station, number, kernels, reason, "", date(of_year[number], 11, day), INSTANT, "")
        for number in numbers
        for kernels, reason, day in ((800, "opening", 1), (-100, "sown", 5), (-100, "sent", 9), (-50, "packed", 12))
    ]
    return given + insert(books.Movement, MOVEMENT, moves)


def _add_trials(pen: Pen, entries: Sequence[books.Line], wanted: int) -> int:
    """Plots in trials of all years, and estimates of analyses of all years."""
    trials = list(books.Trial.objects.filter(station=pen.station).order_by("pk"))
    places = product(range(50), trials)
    before = books.Plot.objects.filter(entry__in=entries).count()
    numbers = count(100_000 + before)
    plots = [
        (trial.pk, next(numbers), entries[(at + trial.pk) % len(entries)].pk, False)
        for at, trial in islice(places, before, before + wanted)
    ]
    insert_plots(pen, plots)
    results = list(books.Result.objects.filter(station=pen.station).order_by("pk"))
    every = product(results, TRAITS, entries, ("blup", "blue"))
    before = books.Estimate.objects.filter(line__in=entries).count()
    told = list(islice(every, before, before + wanted))
    insert(
        books.Estimate,
        ESTIMATE,
        (draw_estimate(pen, result.pk, one.pk, trait, kind) for result, trait, one, kind in told),
    )
    return len(plots) + len(told)


def _add_targets(pen: Pen, line: books.Line, wanted: int) -> int:
    seasons = list(books.Season.objects.filter(station=pen.station, year__gt=YEARS[len(YEARS) // 2]))
    first = books.Target.objects.filter(station=pen.station).count() + 1
    station = books.Station.objects.get(pk=pen.station)
    books.Target.objects.bulk_create(
        books.Target(
            station=station, season=(season := seasons[at % len(seasons)]), number=first + at, kind="self",
            female=line, ears_wanted=4, reason="Seed of it is short.", asked_on=date(season.year, 3, 1),
        )
        for at in range(max(0, wanted))
    )  # fmt: skip
    return max(0, wanted)

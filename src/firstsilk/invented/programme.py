"""What did the invented station do before the demo year: which hybrids in which trials, which rows in the nursery?

Lines x testers of the other group, the better ones twice. The nursery of the last year selfed the lines and made the
testcrosses of the youngest, which have not been in a trial yet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.invented.dice import roll
from firstsilk.invented.nursery import FieldRow, RowFacts, draw_kernels, draw_row_facts
from firstsilk.invented.pedigrees import GROUPS, InventedLine, LineBook, find_truth, learn_lines, list_hybrid
from firstsilk.invented.trials import PlotResult, TrialPlot, lay_out_complete, play_trial
from firstsilk.invented.weather import DEMO_YEAR, SITES, InventedWeather
from firstsilk.science.trials.yields import yield_kg_ha

FIRST_TRIAL_YEAR, SECOND_TRIAL_YEAR = DEMO_YEAR - 2, DEMO_YEAR - 1
SERIES = "early hybrids"
LINES_OF_FIRST_TRIAL = range(201, 211)
LINES_NEW_IN_SECOND = (211, 212, 301, 302, 303, 304)
LINES_NOT_TRIED = range(305, 311)
KEPT_A_GROUP = 5
REPS = 2
TRIAL_COLUMNS = 10

NURSERY_YEAR = DEMO_YEAR - 1
NURSERY_COLUMNS = 20
SELF_KERNELS, FEMALE_KERNELS, MALE_KERNELS = 25, 30, 30
SELFS_A_ROW, CROSSES_A_ROW = 8, 12
SOWN_ON = date(NURSERY_YEAR, 5, 14)
MALES_SOWN_ON = (date(NURSERY_YEAR, 5, 14), date(NURSERY_YEAR, 5, 19), date(NURSERY_YEAR, 5, 24))
NOT_NOTED_SHARE = 0.03
"""Share of what could have been noted in the nursery and was not."""


@dataclass(frozen=True, slots=True)
class PastTrials:
    """Plots and results of all past trials, in the same order."""

    plots: tuple[TrialPlot, ...]
    results: tuple[PlotResult, ...]


@dataclass(frozen=True, slots=True)
class PastRow:
    """One row of the past nursery: where, what, and what was noted of it; None where nothing was."""

    number: int
    field_row: int
    field_col: int
    row: FieldRow
    lot: str
    makes: str
    stand: int | None
    silk_on: date | None
    shed_on: date | None
    ears: int | None
    kernels: int | None


def play_past_trials(seed: int, weather: InventedWeather, book: LineBook) -> tuple[LineBook, PastTrials]:
    """Play the two trial years before the demo year; returns the book with their hybrids, and the trials."""
    first = [hybrid for code in GROUPS for hybrid in _testcross(book, code, LINES_OF_FIRST_TRIAL)]
    book = learn_lines(book, first)
    old = _play_year(seed, weather, book, FIRST_TRIAL_YEAR, first)
    kept = _keep_best(book, old)
    new = [hybrid for code in GROUPS for hybrid in _testcross(book, code, LINES_NEW_IN_SECOND)]
    book = learn_lines(book, new)
    again = [hybrid for hybrid in first if hybrid.mother in kept or hybrid.father in kept]
    late = _play_year(seed, weather, book, SECOND_TRIAL_YEAR, [*again, *new])
    return book, PastTrials((*old.plots, *late.plots), (*old.results, *late.results))


def _testcross(book: LineBook, code: str, numbers: Iterable[int]) -> list[InventedLine]:
    """Lines of one group as females by the testers of the other as males."""
    (other,) = (group for prefix, group in GROUPS.items() if prefix != code)
    return [list_hybrid(book.find(f"{code}{number}"), tester) for number in numbers for tester in book.testers(other)]


def _play_year(
    seed: int, weather: InventedWeather, book: LineBook, year: int, hybrids: Sequence[InventedLine]
) -> PastTrials:
    checks = [line.name for line in book.lines if line.check]
    names = [*(hybrid.name for hybrid in hybrids), *checks]
    plots = tuple(
        plot
        for site in SITES
        for plot in lay_out_complete(seed, f"EH{year % 100}-{site.code}", site.code, year, names, REPS, TRIAL_COLUMNS)
    )
    return PastTrials(plots, play_trial(seed, weather, book.truth.hybrids, plots))


def _keep_best(book: LineBook, trials: PastTrials) -> set[str]:
    """The lines that a plain look at the means keeps: the best of each group, both testers together."""
    yields: dict[str, list[float]] = defaultdict(list)
    for plot, result in zip(trials.plots, trials.results, strict=True):
        line = book.find(plot.entry).mother
        if result.weight_kg is not None and result.moisture_pct is not None and not book.find(plot.entry).check:
            yields[line].append(float(yield_kg_ha(result.weight_kg, plot.plot_area_m2, result.moisture_pct)))
    kept: set[str] = set()
    for code in GROUPS:
        ranked = sorted(
            (line for line in yields if line.startswith(code)), key=lambda line: -sum(yields[line]) / len(yields[line])
        )
        kept |= set(ranked[:KEPT_A_GROUP])
    return kept


def play_past_nursery(
    seed: int, weather: InventedWeather, book: LineBook, trials: PastTrials
) -> tuple[LineBook, tuple[PastRow, ...]]:
    """Play the nursery of the year before the demo year; returns the book with the new hybrids, and the rows."""
    new = [hybrid for code in GROUPS for hybrid in _testcross(book, code, LINES_NOT_TRIED)]
    book = learn_lines(book, new)
    home = next(site.code for site in SITES if site.home)
    rows = []
    for number, (row, makes) in enumerate(_list_rows(book, new), 1):
        field_row, along = (number - 1) // NURSERY_COLUMNS + 1, (number - 1) % NURSERY_COLUMNS + 1
        column = along if field_row % 2 else NURSERY_COLUMNS + 1 - along
        facts = draw_row_facts(seed, weather, home, find_truth(book.truth, row.line), row)
        rows.append(_note_row(seed, number, (field_row, column), row, makes, facts))
    return book, tuple(rows)


def _list_rows(book: LineBook, new: Sequence[InventedLine]) -> list[tuple[FieldRow, str]]:
    """Males first, then testcrosses, then selfs, then filler to the end of the range; each with what it makes."""
    rows: list[tuple[str, str, date, int, str]] = []
    for group in GROUPS.values():
        for tester in book.testers(group):
            rows += [(tester.name, "male", sown, MALE_KERNELS, "") for sown in MALES_SOWN_ON]
    rows += [(hybrid.mother, "female", SOWN_ON, FEMALE_KERNELS, hybrid.name) for hybrid in new]
    selfed = [line for line in book.inbreds() if line.method != "founder_inbred" or line.tester]
    rows += [(line.name, "self", SOWN_ON, SELF_KERNELS, line.name) for line in selfed]
    filler = next(line.name for line in book.lines if line.check)
    rows += [(filler, "filler", SOWN_ON, SELF_KERNELS, "")] * (-len(rows) % NURSERY_COLUMNS)
    return [
        (FieldRow(f"past-{number}", line, sown, purpose, kernels), makes)
        for number, (line, purpose, sown, kernels, makes) in enumerate(rows, 1)
    ]


def _note_row(seed: int, number: int, place: tuple[int, int], row: FieldRow, makes: str, facts: RowFacts) -> PastRow:
    dice = roll(seed, "past row", number)
    ears = kernels = None
    if makes and facts.silk_on is not None:
        tried = min(facts.stand, SELFS_A_ROW if row.purpose == "self" else CROSSES_A_ROW)
        ears = int(dice.binomial(tried, facts.success_frac))
        kernels = draw_kernels(dice, facts.kernels_per_ear, ears)
    noted = dice.random(3) >= NOT_NOTED_SHARE
    looked = row.purpose != "filler"
    return PastRow(
        number=number,
        field_row=place[0],
        field_col=place[1],
        row=row,
        lot=f"{row.line}-{(NURSERY_YEAR - 1) % 100}",
        makes=makes,
        stand=facts.stand if noted[0] else None,
        silk_on=facts.silk_on if noted[1] and looked else None,
        shed_on=facts.shed_on if noted[2] and looked else None,
        ears=ears,
        kernels=kernels,
    )

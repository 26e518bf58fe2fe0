"""What success and set have the station's own notes shown of each line, and how many pollinations does a wish need?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from django.db.models import Q, QuerySet

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Line, Note, Row, Station
from firstsilk.science.nursery.counts import count_rows
from firstsilk.science.seed.line_rates import LineCounts, ProgrammeRates, learn_programme, rate_line
from firstsilk.science.seed.pollinations import EarRates, find_reach_chance, plan_pollinations
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.past_success import TOLD_BY, Sums, count_past_seasons, count_rows_told
from firstsilk.work.shelf import get_line, get_station
from firstsilk.work.standing import read_kept_names, rows_on

MOST_WANTED = 10_000_000
"""More ears or kernels than this are a slip of the keyboard (a choice of ours)."""

MOST_HEDGED = 3
"""A line of which next to nothing is known gets this many times the pollinations of one whose rates are known, and no
more: a plan has other lines too (a choice of ours)."""
MOST_LINES_ASKED = 5_000
"""A database takes only so many values in one question (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class LineSuccess:
    """One line: its own counts, the success and set to plan it with, and pollinations and rows for the wish (None:
    nothing was wished, or more than any season holds) with the chance that they reach it."""

    counts: LineCounts
    success_frac: float
    kernels_per_ear: float
    pollinations: int | None = None
    rows: int | None = None
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class SuccessList:
    """Lines by name (perhaps only the first of `total`), what the programme lends them, and what was wished."""

    lines: tuple[LineSuccess, ...]
    total: int
    programme: ProgrammeRates
    ears: int
    kernels: int
    assurance: float
    basis: Basis


def read_success(
    on: Occasion,
    line: str = "",
    ears: int = 0,
    kernels: int = 0,
    assurance: float = 0.95,
    text: str = "",
    most: int | None = None,
) -> SuccessList:
    """Success and set of the lines that were pollinated here, learnt from notes up to the day.

    Parameters
    ----------
    on
        Notes taken later do not count.
    line
        Only this line, with or without notes of its own; all lines with notes if empty.
    ears, kernels
        Good ears and kernels wished of each line [count]; 0: not asked for.
    assurance
        Chance wanted of reaching them [0 to 1, both ends out].
    text
        Only lines whose name holds it.
    most
        Tell no more lines than these [count]; all if None.

    Returns
    -------
    SuccessList
        One `LineSuccess` for each line, in the order of names.

    Raises
    ------
    InputRefused
        If the line is not in the books, a wish is negative or beyond reason, or the assurance is no chance.

    Notes
    -----
    A row counts under its own line, the mother, with all pollinations noted in it, once ears of it were picked. In a
    season of an earlier year of which anything was picked the other rows count too: they gave nothing. Rows of a record
    that was merged into another line count for that line, which also stands for the record asked for. Kernels count
    with the ears picked of the rows whose kernels were noted. Ears beyond the pollinations noted do not count.
    """
    if not (0 <= ears <= MOST_WANTED and 0 <= kernels <= MOST_WANTED):
        raise refuse("wish_out_of_range", "So many ears or kernels cannot be wished.", f"Use 0 to {MOST_WANTED:,}.")
    if not 0.0 < assurance < 1.0:
        raise refuse("chance_out_of_range", f"assurance {assurance} is not between 0 and 1", "Give 0.95 for 95 %.")
    station = get_station(on.station)
    only = get_line(station, line).name if line else ""
    only = read_kept_names(station, on.today).get(only, only)
    counts, n_rows = count_lines(station, on.today)
    programme = learn_programme(tuple(counts.values()))
    names = [only] if only else sorted(name for name in counts if text.lower() in name.lower())
    shown = (counts.get(name, LineCounts(name)) for name in names[:most])
    lines = tuple(_tell_line(one, programme, ears, kernels, assurance) for one in shown)
    missing = () if n_rows else ("rows whose ears were picked; the published mean stands in",)
    used = (("rows", n_rows), ("pollinations", sum(one.pollinations for one in counts.values())))
    return SuccessList(lines, len(names), programme, ears, kernels, assurance, Basis(used, missing))


def _tell_line(own: LineCounts, programme: ProgrammeRates, ears: int, kernels: int, assurance: float) -> LineSuccess:
    rates = rate_line(own, programme)
    if not ears and not kernels:
        return LineSuccess(own, rates.success_frac, rates.kernels_per_ear)
    try:
        tries = plan_tries(rates, ears, kernels, assurance)
    except InputRefused:
        # Beyond any season for this line; the other lines are told all the same.
        return LineSuccess(own, rates.success_frac, rates.kernels_per_ear)
    chance = find_reach_chance(tries, rates, ears, kernels)
    return LineSuccess(own, rates.success_frac, rates.kernels_per_ear, tries, count_rows(tries), chance)


@lru_cache(maxsize=20_000)
def plan_tries(rates: EarRates, ears: int, kernels: int, assurance: float) -> int:
    """The pollinations to plan for a line: `plan_pollinations`, but at most three times those of known rates.

    Raises
    ------
    InputRefused
        As `plan_pollinations`.
    """
    known = EarRates(rates.success_frac, rates.kernels_per_ear, rates.kernels_cv)
    most = MOST_HEDGED * plan_pollinations(known, ears, kernels, assurance)
    if find_reach_chance(most, rates, ears, kernels) < assurance:
        return most
    return plan_pollinations(rates, ears, kernels, assurance)


def count_lines(station: Station, day: date) -> tuple[dict[str, LineCounts], int]:
    """What became of each line's pollinations up to a day, and how many rows tell of it; as told at `read_success`.

    Rows of a record merged into another line count for the line kept.
    """
    past = count_past_seasons(station, day)
    # Of a season of this year only rows count of which ears were picked; before the harvest that is none.
    picked = Note.objects.filter(station=station, kind="ears_picked", taken_on__lte=day)
    tells = Q(season__year__lt=day.year) | Q(tag__in=picked.values("tag"))
    rows = rows_on(station, day).filter(tells).exclude(season__in=past)
    counted = [(one.sums, one.n_rows) for one in past.values()]
    counted += _count_by_notes(station, rows, day)
    lines = {line for sums, _ in counted for line in sums}
    names = _read_names(station, lines)
    kept = read_kept_names(station, day)
    totals: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for sums, _ in counted:
        for line, counts in sums.items():
            total = totals[kept.get(names[line], names[line])]
            for at, count in enumerate(counts):
                total[at] += count
    return {line: LineCounts(line, *counts) for line, counts in totals.items()}, sum(n_rows for _, n_rows in counted)


def _count_by_notes(station: Station, rows: QuerySet[Row], day: date) -> list[tuple[Sums, int]]:
    """The sums of these rows season by season, from the notes up to the day."""
    by_season: dict[tuple[int, int], list[tuple[str, int]]] = defaultdict(list)
    for tag, line, season, year in rows.values_list("tag", "line_id", "season_id", "season__year"):
        by_season[season, year].append((tag, line))
    states = read_states(station, rows.values_list("tag", flat=True), day, TOLD_BY) if by_season else {}
    counted = []
    for (_, year), told in by_season.items():
        picked = any((state := states.get(tag)) is not None and state.ears_picked for tag, _ in told)
        counted.append(count_rows_told(told, states, is_over=picked and year < day.year))
    return counted


def _read_names(station: Station, lines: set[int]) -> dict[int, str]:
    """The names of lines by number; of all lines where many are asked for, which is quicker than asking for each."""
    asked = Line.objects.filter(station=station)
    asked = asked.filter(pk__in=lines) if len(lines) <= MOST_LINES_ASKED else asked
    return dict(asked.values_list("pk", "name"))

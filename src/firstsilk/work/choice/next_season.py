"""What should be made next season, now that it is decided who goes on?"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db import transaction

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Station, Target, Verdict
from firstsilk.work.analysis.reading import find_analysis_with_year
from firstsilk.work.lineage.ancestry import Books, find_line_coancestry, read_books
from firstsilk.work.lineage.generations import count_selfings, is_fixed
from firstsilk.work.nursery.plan import TargetFacts, Want, add_targets, list_targets, open_season
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import seasons_on
from firstsilk.work.trials.testcrosses import EARLIEST_SELFINGS, TESTCROSS_KERNELS, propose_testcrosses

HIGHEST_COANCESTRY = 0.25
"""Lines crossed with each other are at most as related as inbred half sibs (0.25); inbred full sibs have 0.5."""
CROSSES_IN_GROUP = 6
CROSSES_OF_LINE = 3
FAMILIES_OF_LINE = 3
SELF_EARS, SELF_KERNELS = 3, 100
YOUNG_EARS = 4
CROSS_EARS, CROSS_KERNELS = 3, 200
TESTCROSS_EARS = 4
"""Sizes of a small programme: 3 to 5 ears a cross, 4 to 6 a selfed F1, 2 to 3 selfs a row, 3 to 4 tester ears;
trade practice."""

NOT_CONSIDERED = (
    "whether the field and the crew can hold all of it: the nursery plan tells",
    "which parent sets more seed: the one with more seed on the shelf stands as the female of a cross",
    "the spread that a cross will show, beyond how closely its parents are related",
    "seed of hybrids that go on: it is not ordered here",
)


@dataclass(frozen=True, slots=True)
class NextPlan:
    """Draft targets of the next season: all of them, which numbers are new, and what was left out."""

    season: str
    targets: tuple[TargetFacts, ...]
    new_numbers: tuple[int, ...]
    not_considered: tuple[str, ...]
    basis: Basis

    def count(self, kind: str) -> int:
        """How many targets of a kind."""
        return sum(one.kind == kind for one in self.targets)


@dataclass(frozen=True, slots=True)
class _Books:
    lines: Books
    go_on: tuple[Line, ...]
    stopped: frozenset[int]
    worth: dict[str, float]
    free: Counter[str]
    made_this_year: frozenset[str]
    n_verdicts: int


def plan_next_season(on: Occasion, year: int) -> NextPlan:
    """Draft the targets of season ``year + 1`` from the verdicts up to `year`; asking twice does not double them.

    Parameters
    ----------
    on
        The occasion.
    year
        The year of the choice.

    Returns
    -------
    NextPlan
        Selfs of lines that go on and are not fixed, and of young families made this year; crosses of the best with
        the best inside a group, not too closely related; testcrosses of lines untested or waiting.

    Notes
    -----
    A line that goes on is selfed in its furthest families with seed, up to `FAMILIES_OF_LINE`. Crosses are taken in
    order of the mean estimate of both parents.
    """
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        season = open_season(on, str(year + 1))
        books = _read_books(on, station, year)
        crosses, said = _want_crosses(books)
        testcrosses, more = _want_testcrosses(on, year + 1)
        wants = [*_want_selfs(books), *_want_young_selfs(books, year), *crosses, *testcrosses]
        before = list_targets(on, season)
        there = Target.objects.filter(station=station, season__name=season)
        known = set(there.values_list("kind", "female__name", "male__name"))
        fresh = [want for want in wants if (want.kind, want.female, want.male or None) not in known]
        targets = add_targets(on, season, fresh) if fresh else before
    old = {one.number for one in before}
    missing = [*said, *more]
    if not books.go_on:
        missing.insert(0, f"no line has the verdict go on up to {year}")
    used = (("verdicts", books.n_verdicts), ("lines that go on", len(books.go_on)))
    new = tuple(one.number for one in targets if one.number not in old)
    return NextPlan(season, targets, new, NOT_CONSIDERED, Basis(used, tuple(missing)))


def read_next_plan(on: Occasion, year: int) -> NextPlan:
    """What stands in the plan of season ``year + 1``; nothing is made."""
    station = get_station(on.station)
    name = str(year + 1)
    there = seasons_on(station, on.today).filter(name=name).exists()
    targets = list_targets(on, name) if there else ()
    missing = () if there else (f"season {name} is not opened yet",)
    return NextPlan(name, targets, (), NOT_CONSIDERED, Basis((("targets", len(targets)),), missing))


def _read_books(on: Occasion, station: Station, year: int) -> _Books:
    lines = read_books(station, on.today)
    verdicts = Verdict.objects.filter(station=station, year__lte=year, decided_on__lte=on.today)
    told = verdicts.order_by("year", "id").values_list("line", "verdict")
    latest = {lines.kept.get(number, number): verdict for number, verdict in told}
    go_on = [lines[pk] for pk, verdict in latest.items() if verdict == "go_on" and lines[pk].kind == "line"]
    analysis = find_analysis_with_year(on, "yield_kg_ha_15_5", year)
    worth = {one.line: one.value for one in analysis.of_kind("gca")} if analysis else {}
    free = Counter[str]()
    standing = lines.drop_gone()
    stock = [replace(lot, line=standing.get(lot.line, lot.line)) for lot in read_stock(station)]
    for lot in stock:
        free[lot.line] += lot.free
    made = frozenset(lot.line for lot in stock) - {lot.line for lot in stock if lot.year != year}
    stopped = frozenset(pk for pk, verdict in latest.items() if verdict == "stop")
    go_on.sort(key=lambda line: (-worth.get(line.name, 0.0), line.name))
    return _Books(lines, tuple(go_on), stopped, worth, free, made, len(latest))


def _want_selfs(books: _Books) -> list[Want]:
    wants: dict[str, Want] = {}
    for line in books.go_on:
        for family in _furthest_families(line, books):
            if not is_fixed(family, books.lines):
                own = "" if family.pk == line.pk else f" ({family.name} is its furthest family)"
                reason = f"{line.name} goes on and is not fixed yet{own}"
                wants.setdefault(family.name, Want("self", family.name, "", SELF_EARS, SELF_KERNELS, 1, reason))
    return list(wants.values())


def _want_young_selfs(books: _Books, year: int) -> list[Want]:
    """Selfs of what was made this year and is not S2 yet: nothing is known of its worth, so all of it goes on."""
    mothers = {line.mother_id for line in books.lines.values() if line.method == "self"}
    wants = []
    for line in sorted(books.lines.values(), key=lambda one: one.name):
        made = line.kind == "line" and line.method in ("cross", "self") and line.name in books.made_this_year
        if not made or line.pk in mothers or line.pk in books.stopped or books.free[line.name] <= 0:
            continue
        if count_selfings(line, books.lines) < EARLIEST_SELFINGS:
            reason = f"Made in {year} and not S{EARLIEST_SELFINGS} yet: go on selfing before it is tested"
            wants.append(Want("self", line.name, "", YOUNG_EARS, SELF_KERNELS, 2, reason))
    return wants


def _furthest_families(line: Line, books: _Books) -> list[Line]:
    """The last selfed progeny of a line with seed, those with most seed first; the line itself if there is none."""
    found, waiting = [], [line]
    while waiting:
        at = waiting.pop()
        young = [
            one
            for one in books.lines.values()
            if one.mother_id == at.pk and one.method == "self" and one.pk not in books.stopped
        ]
        waiting += young
        if not young and at.pk != line.pk and books.free[at.name] > 0:
            found.append(at)
    found.sort(key=lambda one: (-books.free[one.name], one.name))
    return found[:FAMILIES_OF_LINE] or [line]


def _want_crosses(books: _Books) -> tuple[list[Want], list[str]]:
    groups: dict[str, list[Line]] = {}
    for line in books.go_on:
        groups.setdefault(line.group, []).append(line)
    groupless = len(groups.pop("", []))
    said = [f"{groupless} lines that go on belong to no group and are not crossed"] if groupless else []
    wants: list[Want] = []
    for group, lines in sorted(groups.items()):
        if len(lines) < 2:
            said.append(f"only one line of group {group} goes on: nothing to cross it with")
            continue
        try:
            coancestry = find_line_coancestry(lines, books.lines)
        except InputRefused as no:
            said.append(f"no crosses in group {group}, its pedigree cannot be worked through: {no}")
            continue
        chosen = _pick_pairs(lines, coancestry, books)
        if not chosen:
            said.append(f"all lines of group {group} that go on are closer kin than {HIGHEST_COANCESTRY:g}")
        wants += [_want_cross(one, two, coancestry[one.name, two.name], books) for one, two in chosen]
    return wants, said


def _pick_pairs(
    lines: Sequence[Line], coancestry: dict[tuple[str, str], float], books: _Books
) -> list[tuple[Line, Line]]:
    pairs = sorted(
        itertools.combinations(lines, 2),
        key=lambda pair: -sum(books.worth.get(line.name, 0.0) for line in pair),
    )
    used = Counter[str]()
    chosen: list[tuple[Line, Line]] = []
    for one, two in pairs:
        if coancestry[one.name, two.name] > HIGHEST_COANCESTRY or len(chosen) >= CROSSES_IN_GROUP:
            continue
        if max(used[one.name], used[two.name]) >= CROSSES_OF_LINE:
            continue
        used.update((one.name, two.name))
        chosen.append((one, two))
    return chosen


def _want_cross(one: Line, two: Line, coancestry: float, books: _Books) -> Want:
    female, male = sorted((one, two), key=lambda line: (-books.free[line.name], line.name))
    worth = [books.worth[line.name] for line in (one, two) if line.name in books.worth]
    mean = f", mean estimate {sum(worth) / len(worth):.0f} kg/ha" if worth else ""
    reason = f"Best with best inside group {one.group}{mean}; coancestry {coancestry:.2f}"
    return Want("cross", female.name, male.name, CROSS_EARS, CROSS_KERNELS, 1, reason)


def _want_testcrosses(on: Occasion, season_year: int) -> tuple[list[Want], list[str]]:
    proposed = propose_testcrosses(on, season_year)
    wants, ready = [], 0
    for one in proposed.testcrosses:
        if one.hybrid_kernels >= TESTCROSS_KERNELS:
            ready += 1
            continue
        if one.planned_in:
            continue
        wants.append(Want("testcross", one.tester, one.line, TESTCROSS_EARS, TESTCROSS_KERNELS, 2, one.reason[:200]))
    said = [f"{ready} testcrosses have seed enough and need a trial, not a cross"] if ready else []
    return wants, [*said, *proposed.basis.missing]

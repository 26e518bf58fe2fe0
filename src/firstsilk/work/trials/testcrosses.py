"""Which lines should meet which tester, which of those hybrids exist already, and is there seed?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstsilk.records.models import Line, Plot, Station, Verdict
from firstsilk.work.lineage.generations import count_selfings
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import end_of_day, lines_on, read_kept, targets_on

EARLIEST_SELFINGS = 2
"""Lines are tested from S2 on: the testcross of an S2 correlates 0.87 with that of the final line, an S1's 0.71
(Bernardo 1991, Crop Sci 31)."""
TESTCROSS_KERNELS = 400
"""One plot at each of 4 sites and a fifth in reserve takes about 400 kernels, 3 to 4 good tester ears."""


@dataclass(frozen=True, slots=True)
class Testcross:
    """One line and the tester it should meet: what exists of the hybrid, what seed there is, and why."""

    line: str
    group: str
    generation: str
    tester: str
    hybrid: str
    hybrid_kernels: int
    line_kernels: int
    tester_kernels: int
    planned_in: str
    verdict: str
    to_do: str
    reason: str


@dataclass(frozen=True, slots=True)
class TestcrossList:
    """Proposed testcrosses of a year: lines by group, and what was left out."""

    year: int
    testcrosses: tuple[Testcross, ...]
    not_considered: tuple[str, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class _Books:
    lines: dict[int, Line]
    hybrids: dict[int, list[Line]]
    tested: frozenset[int]
    verdicts: dict[int, str]
    planned: dict[tuple[int, int], str]
    free: Mapping[str, int]
    selfed: frozenset[int]


NOT_CONSIDERED = (
    "how the row looks in the nursery and its disease notes",
    "whether line and tester flower together",
    "markers, and how alike two lines of one family are",
)


def propose_testcrosses(on: Occasion, year: int) -> TestcrossList:
    """The lines that should be crossed to a tester in a year.

    Parameters
    ----------
    on
        The occasion.
    year
        The year in which the cross would be made.

    Returns
    -------
    TestcrossList
        Lines of generation S2 or later and doubled haploids whose verdict is not stop and that no trial has tested
        yet, or that wait and have a tester left they have not met; with the tester of another group.

    Notes
    -----
    The tester is the one of another group with which most hybrids exist, so that lines meet the same one and can be
    compared; a line that waits meets the next one.
    """
    station = get_station(on.station)
    books = _read_books(on, station, year)
    testers = [line for line in books.lines.values() if line.is_tester]
    found, left_out = [], Counter[str]()
    listed: set[int] = set()
    for line in sorted(books.lines.values(), key=lambda one: (count_selfings(one, books.lines), one.name)):
        why_not = _why_not(line, books, listed)
        if why_not:
            left_out[why_not] += 1
            continue
        tester = _pick_tester(line, testers, books)
        if tester is None:
            left_out["no tester of another group is left for them"] += 1
            continue
        listed.add(line.pk)
        found.append(_propose(line, tester, books))
    found.sort(key=lambda one: (one.group, one.line))
    missing = [f"{count} lines left out: {why}" for why, count in left_out.items() if why != "-"]
    if not testers:
        missing.insert(0, "no line is marked as a tester")
    used = (("lines", len(books.lines)), ("testers", len(testers)))
    return TestcrossList(year, tuple(found), NOT_CONSIDERED, Basis(used, tuple(missing)))


def _read_books(on: Occasion, station: Station, year: int) -> _Books:
    everything, kept, standing = _read_standing(on, station)
    lines = {line.pk: line for line in everything if line.kind == "line"}
    hybrids: dict[int, list[Line]] = {}
    for line in everything:
        if line.kind == "hybrid":
            for parent in {line.mother_id, line.father_id} - {None}:
                hybrids.setdefault(int(parent or 0), []).append(line)
    told = Plot.objects.filter(station=station, records__recorded_at__lt=end_of_day(station, on.today))
    grown = {kept.get(entry, entry) for entry in told.values_list("entry", flat=True).distinct()}
    tested = frozenset(pk for pk, made in hybrids.items() if any(hybrid.pk in grown for hybrid in made))
    decided = Verdict.objects.filter(station=station, decided_on__lte=on.today).order_by("year", "id")
    verdicts = {kept.get(line, line): verdict for line, verdict in decided.values_list("line", "verdict")}
    targets = targets_on(station, on.today).filter(kind="testcross", season__year__gte=year, male__isnull=False)
    planned = {
        (kept.get(female, female), kept.get(male or 0, male or 0)): f"{season}, target {number}"
        for female, male, season, number in targets.values_list("female", "male", "season__name", "number")
    }
    selfed = frozenset(line.mother_id for line in everything if line.method == "self" and line.mother_id)
    free = Counter[str]()
    for lot in read_stock(station, up_to=on.today):
        free[standing.get(lot.line, lot.line)] += lot.free
    return _Books(lines, hybrids, tested, verdicts, planned, free, selfed)


def _read_standing(on: Occasion, station: Station) -> tuple[list[Line], dict[int, int], dict[str, str]]:
    """Lines that stand by themselves, parents as merged; for each other record the number and name of the line kept."""
    kept = read_kept(station, on.today)
    everything = list(lines_on(station, on.today).order_by("name"))
    names = {line.pk: line.name for line in everything}
    for line in everything if kept else ():
        line.mother_id = kept.get(line.mother_id or 0, line.mother_id)
        line.father_id = kept.get(line.father_id or 0, line.father_id)
    standing = {names[gone]: names[to] for gone, to in kept.items() if gone in names and to in names}
    return [line for line in everything if line.pk not in kept], kept, standing


def _why_not(line: Line, books: _Books, listed: set[int]) -> str:
    """Why a line is not on the list; ``-`` where that goes without saying; empty if it is on it."""
    if line.is_tester or line.is_check:
        return "-"
    if line.method != "dh" and count_selfings(line, books.lines) < EARLIEST_SELFINGS:
        return f"not yet S{EARLIEST_SELFINGS} nor a doubled haploid"
    verdict = books.verdicts.get(line.pk, "")
    if verdict == "stop":
        return "their verdict is stop"
    if not line.group:
        return "they belong to no group, so no tester is opposite"
    if line.pk in books.tested and verdict != "wait":
        return "a trial has tested them already"
    return _why_not_family(line, books, listed)


def _why_not_family(line: Line, books: _Books, listed: set[int]) -> str:
    """Why an earlier or later generation of the family makes this one needless."""
    before = _earlier_generations(line, books)
    if any(books.verdicts.get(pk) == "stop" for pk in before):
        return "an earlier generation of the family has the verdict stop"
    if any(pk in books.tested for pk in before):
        return "a trial has tested an earlier generation of the family"
    if any(pk in listed for pk in before):
        return "an earlier generation of the family is on the list"
    if not books.free.get(line.name, 0) and line.pk in books.selfed:
        return "their seed is used up and a later generation stands for them"
    return ""


def _earlier_generations(line: Line, books: _Books) -> list[int]:
    found: list[int] = []
    at: Line | None = line
    while at is not None and at.method == "self" and at.mother_id and at.mother_id not in found:
        found.append(at.mother_id)
        at = books.lines.get(at.mother_id)
    return found


def _pick_tester(line: Line, testers: Sequence[Line], books: _Books) -> Line | None:
    opposite = [one for one in testers if one.group and one.group != line.group]
    if line.pk in books.tested:
        met = {parent for hybrid in books.hybrids.get(line.pk, ()) for parent in (hybrid.mother_id, hybrid.father_id)}
        opposite = [one for one in opposite if one.pk not in met]
    return min(opposite, key=lambda one: (-len(books.hybrids.get(one.pk, ())), one.name), default=None)


def _propose(line: Line, tester: Line, books: _Books) -> Testcross:
    hybrid = _find_hybrid(line, tester, books.hybrids)
    kernels = books.free.get(hybrid.name, 0) if hybrid else 0
    planned = books.planned.get((line.pk, tester.pk), "") or books.planned.get((tester.pk, line.pk), "")
    verdict = books.verdicts.get(line.pk, "")
    own, other = books.free.get(line.name, 0), books.free.get(tester.name, 0)
    generation = line.generation or ("DH" if line.method == "dh" else f"S{count_selfings(line, books.lines)}")
    why = "waits and has not met this tester yet" if verdict == "wait" else "no trial has tested it yet"
    reason = f"{line.name} ({generation}) {why}; {tester.name} is a tester of the opposite group {tester.group}"
    return Testcross(
        line.name,
        line.group,
        generation,
        tester.name,
        hybrid.name if hybrid else "",
        kernels,
        own,
        other,
        planned,
        verdict,
        _what_to_do(kernels, planned, own, other),
        reason,
    )


def _find_hybrid(line: Line, tester: Line, hybrids: Mapping[int, list[Line]]) -> Line | None:
    both = {line.pk, tester.pk}
    return next((one for one in hybrids.get(line.pk, ()) if {one.mother_id, one.father_id} == both), None)


def _what_to_do(hybrid_kernels: int, planned: str, line_kernels: int, tester_kernels: int) -> str:
    if hybrid_kernels >= TESTCROSS_KERNELS:
        return "seed is there: put the hybrid in a trial"
    if planned:
        return f"planned already ({planned})"
    if not line_kernels or not tester_kernels:
        lacking = " and ".join(
            what for what, n in (("the line", line_kernels), ("the tester", tester_kernels)) if not n
        )
        return f"no free seed of {lacking}: increase first"
    if hybrid_kernels:
        return f"cross: only {hybrid_kernels} kernel{'' if hybrid_kernels == 1 else 's'} of the hybrid"
    return "cross"

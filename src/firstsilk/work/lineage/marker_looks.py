"""Do the markers in the books bear out what the books say of each line?

A claim is judged sample by sample, against what all samples of a parent say together. The figures and the verdicts are
those of the ground floor; here it is only settled who is compared with whom.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from firstsilk.records.models import Line, MarkerPanel, MarkerSample
from firstsilk.science.lineage.marker_checks import (
    READING_ERROR,
    MarkerCheck,
    check_descent,
    check_parent,
    compare_samples,
)
from firstsilk.science.lineage.marker_cross import CrossCheck, check_cross
from firstsilk.science.lineage.marker_heterozygosity import (
    bound_heterozygosity,
    check_heterozygosity,
    expect_first_cross,
    share_still_differing,
)
from firstsilk.science.lineage.markers import Doses, MarkerTable, Numbers, judge_markers
from firstsilk.work.lineage.ancestry import Books
from firstsilk.work.lineage.marker_books import agree_on_calls, gather_by_line, stack_calls
from firstsilk.work.lineage.marker_claims import Origin, find_origin

CHECKS = {
    "identity": "one line",
    "parent": "its parent",
    "cross": "the cross of these two",
    "descent": "out of their cross",
    "heterozygosity": "as heterozygous as its generation",
}
"""What each check asks."""
MOST_PAIRED = 6
"""Samples of one line up to which every pair is compared; beyond, each is compared with the first. Ours."""
MOST_EXPLAINED = 40
"""Refuted claims for which it is looked whose claim the sample fits instead. Ours."""
ALL_WRONG_FROM = 2


@dataclass(frozen=True, slots=True)
class Judged:
    """One claim and what the markers say: which sample of which line, against whom, the figures, the verdict, why.

    `check` is of `CHECKS`, `verdict` is ``agrees``, ``disagrees`` or ``cannot_tell``; `likelier` what a refuted cross
    looks like, a word of a closed list; `fits` names lines whose claim the sample fits instead; `suspect` a parent all
    of whose claims are refuted.
    """

    check: str
    line: str
    sample: str
    against: tuple[str, ...]
    compared: int
    contradicting: int
    expected: float
    limit: int
    verdict: str
    why: str
    likelier: str = ""
    fits: tuple[str, ...] = ()
    suspect: str = ""

    @property
    def instead(self) -> str:
        """What it looks like instead, in a sentence; empty if there is nothing to say."""
        told = []
        if self.fits:
            told.append(f"Its markers fit what the books say of {', '.join(self.fits)}: swapped samples or packets.")
        if self.suspect:
            told.append(f"Every claim on {self.suspect} is refuted: look at the sample of {self.suspect} first.")
        return " ".join(told)


@dataclass(slots=True)
class Reading:
    """The samples of one panel, stacked, with what all samples of each line say together."""

    panel: MarkerPanel
    samples: list[MarkerSample]
    table: MarkerTable
    books: Books
    line_of: list[int]
    by_line: dict[int, list[int]]
    agreed: dict[int, Doses]
    frequency: Numbers

    def name(self, line: int) -> str:
        """The name of a line by its number."""
        return self.books[line].name

    def get_agreed(self, line: int | None) -> Doses | None:
        """What the samples of a line say together; None if it has none."""
        return self.agreed.get(line or 0)


def read_panel_samples(panel: MarkerPanel, samples: list[MarkerSample], books: Books) -> Reading:
    """Stack the samples of a panel, by the lines that stand for those they were written for."""
    table = stack_calls(panel, samples)
    line_of = [books.kept.get(one.line_id, one.line_id) for one in samples]
    by_line = gather_by_line(line_of)
    agreed = {line: agree_on_calls(table.doses[at]) for line, at in by_line.items()}
    with np.errstate(invalid="ignore"):
        frequency = judge_markers(table).frequency
    return Reading(panel, samples, table, books, line_of, by_line, agreed, frequency)


def judge_claims(reading: Reading, lines: Sequence[int] | None = None, error: float = READING_ERROR) -> list[Judged]:
    """All claims that the samples of a panel can bear out, of all lines or of some.

    Parameters
    ----------
    reading
        The samples.
    lines
        Numbers of the lines to judge; all if absent.
    error
        Chance that one reading is wrong.
    """
    wanted = list(reading.by_line) if lines is None else [one for one in lines if one in reading.by_line]
    origins = {line: find_origin(reading.books[line], reading.books) for line in wanted}
    found: list[Judged] = []
    for line in wanted:
        found += _compare_own(reading, line, origins[line], error)
        for at in reading.by_line[line]:
            found += _judge_sample(reading, line, at, origins[line], error)
    return _name_suspects(_explain(reading, found, error)) if lines is None else found


def expect_of(reading: Reading, origin: Origin) -> Numbers:
    """Chance of both alleles in the first cross behind a line, marker by marker: by its parents, else by the panel."""
    mother, father = (reading.get_agreed(one) for one in (origin.mother, origin.father))
    if mother is not None and father is not None:
        return expect_first_cross(mother, father)
    return 2.0 * reading.frequency * (1.0 - reading.frequency)


def _still_differing(reading: Reading, line: int) -> float:
    origin = find_origin(reading.books[line], reading.books)
    return share_still_differing(expect_of(reading, origin), origin.selfings)


def _compare_own(reading: Reading, line: int, origin: Origin, error: float) -> Iterator[Judged]:
    places = reading.by_line[line]
    if len(places) < 2:
        return
    pairs = list(combinations(places, 2)) if len(places) <= MOST_PAIRED else [(places[0], at) for at in places[1:]]
    may = 0.0
    if origin.selfings is not None and origin.selfings >= 0 and not origin.is_first_cross:
        may = float(np.nanmean(expect_of(reading, origin))) * bound_heterozygosity(max(0, origin.selfings - 1))
    for one, other in pairs:
        doses = reading.table.doses
        found = compare_samples(doses[one], doses[other], reading.frequency, error, segregating=may)
        yield _tell(reading, "identity", line, other, (reading.samples[one].name,), found)


def _judge_sample(reading: Reading, line: int, at: int, origin: Origin, error: float) -> Iterator[Judged]:
    child = reading.table.doses[at]
    parents = _judge_parents(reading, line, at, child, origin, error)
    if parents is not None:
        yield parents
    own = reading.books[line]
    mother = reading.books.get_parent(own.mother_id) if own.method in ("self", "dh") else None
    told = reading.get_agreed(mother.pk) if mother is not None else None
    if mother is not None and told is not None:
        wider = error + _still_differing(reading, mother.pk)
        found = check_parent(told, child, reading.frequency, min(wider, 0.4))
        yield _tell(reading, "parent", line, at, (mother.name,), found)
    if origin.selfings == -1 or origin.is_first_cross:
        return
    # Of parents that the markers refute nothing is expected.
    known = origin if parents is None or parents.verdict != "disagrees" else replace(origin, mother=None, father=None)
    mixed = check_heterozygosity(child, expect_of(reading, known), origin.selfings, error)
    figures = (mixed.compared, mixed.heterozygous, mixed.expected, mixed.limit, mixed.verdict, mixed.why)
    yield Judged("heterozygosity", own.name, reading.samples[at].name, (_tell_generation(own),), *figures)


def _judge_parents(reading: Reading, line: int, at: int, child: Doses, origin: Origin, error: float) -> Judged | None:
    """Is it the cross, or out of the cross, of its two parents; or, where one alone was read, that one's child?"""
    pair = [one for one in (origin.mother, origin.father) if one is not None]
    read = [(one, doses) for one in pair if (doses := reading.get_agreed(one)) is not None]
    if not read:
        return None
    wider = min(error + max(_still_differing(reading, one) for one, _ in read), 0.4)
    names = tuple(reading.name(one) for one, _ in read)
    if len(read) == 1:
        if not origin.is_first_cross:
            return None
        return _tell(reading, "parent", line, at, names, check_parent(read[0][1], child, reading.frequency, wider))
    (_, mother), (_, father) = read
    if origin.is_first_cross:
        return _tell(reading, "cross", line, at, names, check_cross(mother, father, child, reading.frequency, wider))
    return _tell(reading, "descent", line, at, names, check_descent(mother, father, child, reading.frequency, wider))


def _tell(
    reading: Reading, check: str, line: int, at: int, against: tuple[str, ...], found: MarkerCheck | CrossCheck
) -> Judged:
    figures = (found.compared, found.mismatches, found.expected, found.limit, found.verdict, found.why)
    likelier = found.likelier if isinstance(found, CrossCheck) else ""
    return Judged(check, reading.name(line), reading.samples[at].name, against, *figures, likelier)


def _tell_generation(line: Line) -> str:
    return line.generation or ("doubled haploid" if line.method == "dh" else line.method.replace("_", " "))


def _explain(reading: Reading, found: list[Judged], error: float) -> list[Judged]:
    """Name, for refuted descents, the lines whose own cross the sample comes from instead."""
    told = []
    left = MOST_EXPLAINED
    claims = _list_claims(reading)
    places = {one.name: at for at, one in enumerate(reading.samples)}
    for one in found:
        if one.check == "descent" and one.verdict == "disagrees" and left:
            left -= 1
            one = replace(one, fits=_find_fitting(reading, one, places[one.sample], claims, error))
        told.append(one)
    return told


def _list_claims(reading: Reading) -> list[tuple[str, tuple[int, int]]]:
    claims = []
    for line in reading.by_line:
        origin = find_origin(reading.books[line], reading.books)
        if origin.mother in reading.agreed and origin.father in reading.agreed and not origin.is_first_cross:
            assert origin.mother is not None
            assert origin.father is not None
            claims.append((reading.name(line), (origin.mother, origin.father)))
    return claims


def _find_fitting(
    reading: Reading, one: Judged, at: int, claims: Sequence[tuple[str, tuple[int, int]]], error: float
) -> tuple[str, ...]:
    """Lines whose cross this sample can come from; none if it would fit so many that it says nothing."""
    child, fitting = reading.table.doses[at], []
    for name, (mother, father) in claims:
        pair = reading.agreed[mother], reading.agreed[father]
        if name != one.line and check_descent(*pair, child, reading.frequency, error).verdict == "agrees":
            fitting.append(name)
    return tuple(fitting) if len(fitting) <= 4 else ()


def _name_suspects(found: list[Judged]) -> list[Judged]:
    """Where every claim on a parent is refuted, say that the parent's own sample is the first to look at."""
    of_parents = [one for one in found if one.check in ("parent", "cross", "descent")]
    refuted = Counter(name for one in of_parents if one.verdict == "disagrees" for name in one.against)
    borne_out = Counter(name for one in of_parents if one.verdict == "agrees" for name in one.against)
    suspects = {name for name, times in refuted.items() if times >= ALL_WRONG_FROM and not borne_out[name]}
    return [
        replace(one, suspect=next((name for name in one.against if name in suspects), ""))
        if one.check != "identity" and one.verdict == "disagrees"
        else one
        for one in found
    ]

"""Which lines and hybrids does the invented station hold, and how was each made?

Two groups, *Esker* (EK...) and *Holm* (HM...). In each: eight founders; a first cycle of lines from crosses of
founders, mostly by selfing, some by doubled haploids; a second cycle from crosses of the best of those, younger and
less inbred. Numbers tell the cycle: 1xx founders, 2xx first, 3xx second. Crosses are made within a group, hybrids
between groups.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from firstsilk.invented.dice import roll
from firstsilk.invented.genes import (
    Genome,
    HybridTruth,
    LineTruth,
    TraitMap,
    draw_effects,
    draw_founder,
    drop_genes,
    map_traits,
    value_hybrid,
    value_line,
)
from firstsilk.science.lineage.members import Member, order_members

GROUPS = {"EK": "Esker", "HM": "Holm"}
FOUNDERS_A_GROUP = 8
FIRST_CROSSES = ((1, 2), (1, 3), (2, 4), (3, 5), (4, 6), (5, 7), (6, 8), (1, 5))
FIRST_SELFED = (1, 1, 2, 3, 4, 5, 6, 8)
FIRST_DOUBLED = (2, 3, 7, 8)
"""Founders (by number) of each first cross, and the crosses (by number) that lines were selfed or doubled from."""
SECOND_CROSSES = ((1, 4), (2, 9), (3, 8), (5, 10), (6, 12))
"""First-cycle lines (by number) of each cross of the second cycle; two lines were selfed from each."""
FIRST_SELFINGS = 6
SECOND_SELFINGS = 4
TESTERS_A_GROUP = 2
CHECKS = 5
CHECK_RANK = 3
"""A check is so many places below the best yielder of its maturity, so that it can be beaten."""


@dataclass(frozen=True, slots=True)
class InventedLine:
    """One line or hybrid as the station's own list has it; no true value among its fields."""

    name: str
    kind: str
    stands_for: str
    method: str
    mother: str = ""
    father: str = ""
    selfings: int = 1
    generation: str = ""
    pedigree: str = ""
    group: str = ""
    tester: bool = False
    check: bool = False
    remark: str = ""

    def as_member(self) -> Member:
        """The line as a member of a pedigree."""
        return Member(self.name, self.method, self.mother, self.father, self.selfings)


@dataclass(frozen=True, slots=True)
class Truth:
    """The true values behind the invented station. Never brought into its books.

    `lines` and `hybrids` by name; `genomes` by name of line; `traits` is the scale that all values share.
    """

    seed: int
    traits: TraitMap
    genomes: Mapping[str, Genome]
    lines: Mapping[str, LineTruth]
    hybrids: Mapping[str, HybridTruth]


@dataclass(frozen=True, slots=True)
class LineBook:
    """All lines and hybrids, parents before progeny, and the truth about them."""

    lines: tuple[InventedLine, ...]
    truth: Truth

    def find(self, name: str) -> InventedLine:
        """One line or hybrid by name; KeyError if there is none."""
        for line in self.lines:
            if line.name == name:
                return line
        raise KeyError(name)

    def inbreds(self, group: str = "") -> tuple[InventedLine, ...]:
        """Founders and lines made by selfing or doubling, of one group or of both."""
        return tuple(line for line in self.lines if line.method != "cross" and group in ("", line.group))

    def testers(self, group: str) -> tuple[InventedLine, ...]:
        """The testers of a group."""
        return tuple(line for line in self.lines if line.tester and line.group == group)

    def hybrids(self) -> tuple[InventedLine, ...]:
        """All hybrids, checks among them."""
        return tuple(line for line in self.lines if line.kind == "hybrid")


def build_line_book(seed: int) -> LineBook:
    """Build the station's lines, testers and checks, with their truth.

    Parameters
    ----------
    seed
        The world's seed.

    Returns
    -------
    LineBook
        Sixteen founders, their crosses, 44 derived lines; two testers a group; five checks. No other hybrid.

    Notes
    -----
    Testers and checks are chosen by truth: they stand for what long use has shown.
    """
    lines = [line for code, group in GROUPS.items() for line in _list_group(code, group)]
    genomes: dict[str, Genome] = {}
    for line in lines:
        genomes[line.name] = _drop(seed, line, genomes)
    inbred = {
        group: [genomes[line.name] for line in lines if line.group == group and line.method != "cross"]
        for group in GROUPS.values()
    }
    traits = map_traits(draw_effects(seed), inbred)
    values = {line.name: value_line(traits, line.name, line.group, genomes[line.name]) for line in lines}
    testers = {name for group in GROUPS.values() for name in _choose_testers(lines, values, group)}
    lines = [_mark_tester(line) if line.name in testers else line for line in lines]
    book = LineBook(tuple(lines), Truth(seed, traits, genomes, values, {}))
    return learn_lines(book, _choose_checks(seed, values))


def learn_lines(book: LineBook, more: Iterable[InventedLine]) -> LineBook:
    """Add lines or hybrids made later, with genes dropped from their parents.

    Parameters
    ----------
    book
        The book so far.
    more
        New lines in any order; parents are in the book or among them. Names that the book has are passed over.

    Returns
    -------
    LineBook
        A new book; the old one is unchanged. A line gets the same genes whenever and with whichever others it is added.

    Raises
    ------
    KeyError
        If a parent is not known.
    """
    known = {line.name for line in book.lines}
    fresh = [line for line in more if line.name not in known]
    truth = book.truth
    genomes, lines, hybrids = dict(truth.genomes), dict(truth.lines), dict(truth.hybrids)
    for line in _parents_first(fresh, known):
        if line.kind == "hybrid":
            hybrids[line.name] = value_hybrid(truth.seed, line.name, lines[line.mother], lines[line.father])
            continue
        genomes[line.name] = _drop(truth.seed, line, genomes)
        lines[line.name] = value_line(
            truth.traits, line.name, line.group or lines[line.mother].group, genomes[line.name]
        )
    return LineBook((*book.lines, *fresh), Truth(truth.seed, truth.traits, genomes, lines, hybrids))


def list_hybrid(mother: InventedLine, father: InventedLine, remark: str = "") -> InventedLine:
    """A hybrid of two lines of different groups, named after both."""
    return InventedLine(
        name=f"{mother.name}x{father.name}",
        kind="hybrid",
        stands_for="family",
        method="cross",
        mother=mother.name,
        father=father.name,
        generation="F1",
        pedigree=f"{mother.name}/{father.name}",
        remark=remark,
    )


def find_truth(truth: Truth, name: str) -> LineTruth:
    """What a line, or a hybrid grown in a nursery row, is truly worth.

    Notes
    -----
    A hybrid sets seed as well as the better of its parents and has no combining ability of its own.
    """
    if name in truth.lines:
        return truth.lines[name]
    hybrid = truth.hybrids[name]
    parents = (truth.lines[hybrid.mother], truth.lines[hybrid.father])
    return LineTruth(
        name=name,
        group="",
        units_to_silk_chu=hybrid.units_to_silk_chu,
        units_to_shed_chu=hybrid.units_to_shed_chu,
        kernels_per_ear=max(parent.kernels_per_ear for parent in parents),
        success_frac=max(parent.success_frac for parent in parents),
        germination_frac=hybrid.germination_frac,
        gca_yield_kg_ha=0.0,
        gca_moisture_pct=0.0,
        lodging_logit=hybrid.lodging_logit,
        heterozygous_frac=1.0,
    )


def _parents_first(fresh: Sequence[InventedLine], known: set[str]) -> list[InventedLine]:
    outside = {
        name: Member(name, "founder_inbred") for line in fresh for name in (line.mother, line.father) if name in known
    }
    members = [*outside.values(), *(line.as_member() for line in fresh)]
    return [fresh[at - len(outside)] for at in order_members(members) if at >= len(outside)]


def _drop(seed: int, line: InventedLine, genomes: Mapping[str, Genome]) -> Genome:
    if line.method == "founder_inbred":
        return draw_founder(seed, line.name, line.group)
    father = genomes[line.father] if line.method == "cross" else None
    return drop_genes(line.method, genomes[line.mother], father, line.selfings, roll(seed, "genes", line.name))


def _list_group(code: str, group: str) -> list[InventedLine]:
    founders = [
        InventedLine(f"{code}{100 + at}", "line", "family", "founder_inbred", group=group, remark="founder")
        for at in range(1, FOUNDERS_A_GROUP + 1)
    ]
    first = _list_crosses(code, group, 1, founders, FIRST_CROSSES)
    selfed = [_selfed(f"{code}{200 + at}", first[one - 1], FIRST_SELFINGS) for at, one in enumerate(FIRST_SELFED, 1)]
    doubled = [_doubled(f"{code}{200 + len(selfed) + at}", first[one - 1]) for at, one in enumerate(FIRST_DOUBLED, 1)]
    second = _list_crosses(code, group, 2, [*selfed, *doubled], SECOND_CROSSES)
    young = [
        _selfed(f"{code}{300 + 2 * at + twin}", cross, SECOND_SELFINGS)
        for at, cross in enumerate(second)
        for twin in (1, 2)
    ]
    return [*founders, *first, *selfed, *doubled, *second, *young]


def _list_crosses(
    code: str, group: str, cycle: int, parents: Sequence[InventedLine], pairs: Sequence[tuple[int, int]]
) -> list[InventedLine]:
    crosses = []
    for at, (one, other) in enumerate(pairs, 1):
        mother, father = parents[one - 1], parents[other - 1]
        crosses.append(
            InventedLine(
                name=f"{code}F{cycle}{at:02d}",
                kind="line",
                stands_for="family",
                method="cross",
                mother=mother.name,
                father=father.name,
                generation="F1",
                pedigree=f"{mother.name}/{father.name}",
                group=group,
            )
        )
    return crosses


def _selfed(name: str, cross: InventedLine, selfings: int) -> InventedLine:
    return InventedLine(
        name=name,
        kind="line",
        stands_for="family",
        method="self",
        mother=cross.name,
        selfings=selfings,
        generation=f"F{selfings + 1}",
        pedigree=cross.pedigree,
        group=cross.group,
    )


def _doubled(name: str, cross: InventedLine) -> InventedLine:
    return InventedLine(
        name=name,
        kind="line",
        stands_for="family",
        method="dh",
        mother=cross.name,
        generation="D1",
        pedigree=cross.pedigree,
        group=cross.group,
    )


def _mark_tester(line: InventedLine) -> InventedLine:
    return InventedLine(
        line.name, line.kind, line.stands_for, line.method, group=line.group, tester=True, remark="founder, tester"
    )


def _choose_testers(lines: Sequence[InventedLine], values: Mapping[str, LineTruth], group: str) -> list[str]:
    """Founders with good hybrids and a sure pollen supply: by yield ability, among those of middling or early silk."""
    founders = [values[line.name] for line in lines if line.group == group and line.method == "founder_inbred"]
    early = sorted(founders, key=lambda value: value.units_to_silk_chu)[: FOUNDERS_A_GROUP - 2]
    best = sorted(early, key=lambda value: -value.gca_yield_kg_ha)
    return [value.name for value in best[:TESTERS_A_GROUP]]


def _choose_checks(seed: int, values: Mapping[str, LineTruth]) -> list[InventedLine]:
    """Five hybrids of founders, early to late, each good for its fifth but not the best."""
    founders = [[value for name, value in values.items() if name.startswith(f"{code}1")] for code in GROUPS]
    pairs = [value_hybrid(seed, f"{one.name}/{other.name}", one, other) for one in founders[0] for other in founders[1]]
    pairs.sort(key=lambda pair: pair.units_to_silk_chu)
    fifth = len(pairs) / CHECKS
    chosen = [
        sorted(pairs[round(at * fifth) : round((at + 1) * fifth)], key=lambda pair: -pair.yield_kg_ha)[CHECK_RANK]
        for at in range(CHECKS)
    ]
    return [
        InventedLine(
            name=f"CH{at}0",
            kind="hybrid",
            stands_for="family",
            method="cross",
            mother=pair.mother,
            father=pair.father,
            generation="F1",
            pedigree=pair.name,
            check=True,
            remark="check; the number grows with lateness",
        )
        for at, pair in enumerate(chosen, 1)
    ]

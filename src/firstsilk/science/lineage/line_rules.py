"""Which lines of the books cannot be what their records say?

Rules on parents, generations and groups. Values in, values out; a rule never changes anything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from firstsilk.answers import Finding, Place
from firstsilk.science.lineage.derivation import Derivation
from firstsilk.science.lineage.labels import read_generation

NEEDS = {
    "cross": ("mother", "father"),
    "self": ("mother",),
    "sib": ("mother",),
    "dh": ("mother",),
    "bulk": ("mother",),
    "open": ("mother",),
}
"""Parents that a record must name, by its method."""


@dataclass(frozen=True, slots=True)
class LineFacts:
    """A line as its record has it: names of parents are empty and `derived` is None where none is told."""

    name: str
    kind: str
    method: str
    mother: str = ""
    father: str = ""
    selfings: int = 0
    generation: str = ""
    group: str = ""
    derived: Derivation | None = None


def check_lines(lines: Sequence[LineFacts]) -> tuple[tuple[str, Finding], ...]:
    """What cannot be, is unlikely or is not told about lines.

    Parameters
    ----------
    lines
        All lines that may be parents of each other.

    Returns
    -------
    tuple of (name of the line, Finding)
        In the order of the lines; loops last.

    Notes
    -----
    A line selfed n times from a parent is n generations on; F1 counts as S0, F2 as S1 and so on. A family comes from a
    plant of one of its mothers, of an earlier generation. The parents of a hybrid belong to declared groups, and to two
    of them.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    by_name = {line.name: line for line in lines}
    found = [(line.name, one) for line in lines for one in _check_line(line, by_name)]
    return (*found, *_find_loops(by_name))


def count_selfings(generation: str) -> int | None:
    """Selfings that a generation label stands for: S3 3, F2 1, BC1F1 0, D1 1; None if it tells none.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    found = read_generation(generation)
    return found.selfings if found is not None else None


def check_derivation(line: LineFacts, by_name: Mapping[str, LineFacts]) -> Iterator[Finding]:
    """What cannot be in what a line says of the plant it comes from.

    Parameters
    ----------
    line
        The line; nothing is found where it tells no plant.
    by_name
        All lines that it may come from, by name.

    Notes
    -----
    Doubled haploids count generations anew, so that theirs are not compared.

    Checked by
    ----------
    tests/science/test_derivation.py
    """
    own = line.derived
    if own is None:
        return
    if own.line == line.name:
        told = "it comes from a plant of its own"
        yield _odd("derived_from_itself", told, line, "derived_from", own.line, "Name the line that the plant stood in")
    elif not own.line and own.plant:
        told = f"it comes from plant {own.plant}, and of which line is not told"
        yield _odd("derived_from_not_told", told, line, "derived_from", "", "Name the line that the plant stood in")
    elif own.line and own.line not in _list_mothers(line, by_name):
        told = f"it comes from a plant of {own.line}, which is none of its mothers"
        repair = "Correct the plant's line or the mother"
        yield _odd("derived_from_elsewhere", told, line, "derived_from", own.line, repair)
    yield from _check_plant_generation(line, own, by_name)


def _check_plant_generation(line: LineFacts, own: Derivation, by_name: Mapping[str, LineFacts]) -> Iterator[Finding]:
    plant, family = read_generation(own.generation), read_generation(line.generation)
    source = by_name.get(own.line)
    before = read_generation(source.generation) if source is not None else None
    if plant is None or plant.series == "D":
        return
    if source is not None and before is not None and source is not line and plant.selfings != before.selfings:
        told = f"the plant is told to be {own.generation}, and {own.line} is {source.generation}"
        repair = f"A plant of {own.line} is {source.generation}; correct one of the two"
        yield _odd("derived_generation_odd", told, line, "derived_generation", own.generation, repair)
    if family is None or family.series == "D" or plant.selfings is None or family.selfings is None:
        return
    if plant.selfings >= family.selfings:
        told = f"its generation is {line.generation}, and the plant it comes from was {own.generation}, not earlier"
        repair = "Correct the plant's generation, or the line's own"
        yield _odd("derived_generation_late", told, line, "derived_generation", own.generation, repair)


def _check_line(line: LineFacts, by_name: Mapping[str, LineFacts]) -> Iterator[Finding]:
    for parent in NEEDS.get(line.method, ()):
        if not getattr(line, parent):
            told = f"made by {line.method}, and its {parent} is not told"
            yield _odd("parent_not_told", told, line, parent, "", "Name the parent, or call the line a founder")
    if line.method in ("self", "dh") and line.father not in ("", line.mother):
        told = f"made by {line.method}, and has a father of its own"
        yield _odd("father_of_a_self", told, line, "father", line.father, "Take the father out, or call it a cross")
    if line.method == "cross" and line.mother and line.mother == line.father:
        told = "a cross of a line with itself"
        yield _odd("crossed_with_itself", told, line, "father", line.father, "Name the other parent, or call it a self")
    mother = by_name.get(line.mother)
    if line.method == "self" and mother is not None:
        yield from _check_generation(line, mother)
    yield from check_derivation(line, by_name)
    if line.kind == "hybrid" and line.method == "cross":
        yield from _check_groups(line, [by_name[one] for one in (line.mother, line.father) if one in by_name])


def _check_generation(line: LineFacts, mother: LineFacts) -> Iterator[Finding]:
    own, before = count_selfings(line.generation), count_selfings(mother.generation)
    if before is None:
        return
    wanted = before + line.selfings
    if own is None:
        told = f"selfed {line.selfings} times from {mother.name} ({mother.generation}), its generation is not told"
        yield _odd("generation_not_told", told, line, "generation", line.generation, f"Write S{wanted}")
    elif own != wanted:
        told = (
            f"generation {line.generation}, but selfed {line.selfings} times from {mother.name} ({mother.generation})"
        )
        repair = f"S{wanted} follows; correct the generation, the selfings or the parent"
        yield _odd("generation_not_next", told, line, "generation", line.generation, repair)


def _list_mothers(line: LineFacts, by_name: Mapping[str, LineFacts]) -> set[str]:
    """The names of all mothers behind a line."""
    found: set[str] = set()
    name = line.mother
    while name and name not in found:
        found.add(name)
        name = by_name[name].mother if name in by_name else ""
    return found


def _check_groups(line: LineFacts, parents: Sequence[LineFacts]) -> Iterator[Finding]:
    for parent in parents:
        if not parent.group:
            told = f"its parent {parent.name} is in no group"
            yield _odd("group_not_told", told, line, "group", "", f"Write the group of {parent.name}")
    if len(parents) == 2 and parents[0].group and parents[0].group == parents[1].group:
        told = f"both parents, {parents[0].name} and {parents[1].name}, are of one group"
        repair = "If it was meant so, leave it; if not, look for a misread parent"
        yield _odd("parents_of_one_group", told, line, "group", parents[0].group, repair)


def _find_loops(by_name: Mapping[str, LineFacts]) -> Iterator[tuple[str, Finding]]:
    """Each line from which a walk to the parents comes back, one finding a loop."""
    done: set[str] = set()
    for start in by_name:
        path: list[str] = []
        waiting: list[tuple[str, bool]] = [(start, False)]
        while waiting:
            name, leaving = waiting.pop()
            if leaving:
                done.add(path.pop())
            elif name in path:
                loop = [*path[path.index(name) :], name]
                told = f"it is its own ancestor: {' from '.join(loop)}"
                yield name, _odd("pedigree_loop", told, by_name[name], "mother", name, "One of these parents is wrong")
            elif name not in done and name in by_name:
                path.append(name)
                waiting.append((name, True))
                parents = {by_name[name].mother, by_name[name].father} - {""}
                waiting += [(one, False) for one in sorted(parents)]


def _odd(code: str, told: str, line: LineFacts, column: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place(f"line {line.name}", None, column), value, repair, stops=False)

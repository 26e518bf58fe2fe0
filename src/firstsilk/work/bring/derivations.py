"""From which plant does each line of the tables come: as told in its columns, or read from its name?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from firstsilk.answers import Finding
from firstsilk.science.lineage.derivation import Derivation, NameSays, read_derivation
from firstsilk.science.lineage.line_rules import LineFacts, check_derivation
from firstsilk.work.bring.known import Known, KnownLine
from firstsilk.work.bring.tables import LineGiven


@dataclass(frozen=True, slots=True)
class Derived:
    """From which plant a line comes, and whether that and what it stands for was read from its name."""

    derivation: Derivation | None
    by_name: NameSays | None = None


def read_derivations(lines: Sequence[LineGiven], known: Known) -> dict[str, Derived]:
    """From which plant each line of the table comes, by the line's name.

    Notes
    -----
    Columns count before the name. A name is read only where it goes on from the mother's by one ear, bulk, increase or
    doubled haploid, and where the table does not say that the record stands for something else.
    """
    given = {line.line: line for line in lines}
    found: dict[str, Derived] = {}
    for line in lines:
        waiting = [line]
        while waiting:
            one = waiting[-1]
            mother = given.get(_name_mother(one, known))
            if mother is not None and mother.line not in found and mother not in waiting:
                waiting.append(mother)
                continue
            waiting.pop()
            if one.line not in found:
                found[one.line] = _derive(one, given, known, found)
    return found


def _derive(line: LineGiven, given: dict[str, LineGiven], known: Known, found: dict[str, Derived]) -> Derived:
    before = known.lines.get(line.line)
    if line.derived_from or line.derived_plant or line.derived_generation:
        generation = line.derived_generation or _tell_generation(line.derived_from, given, known)
        return Derived(Derivation(line.derived_from, line.derived_plant, generation))
    if before is not None:
        # What stands in the books is not made over by a name.
        return Derived(before.derived)
    mother = line.mother
    known_mother = known.lines.get(mother, KnownLine(""))
    earlier = found[mother].derivation if mother in found else known_mother.derived
    says = read_derivation(line.line, mother, _tell_generation(mother, given, known), earlier)
    if says is None or line.stands_for not in ("", says.stands_for):
        return Derived(None)
    return Derived(says.derivation, says)


def check_derivations(lines: Sequence[LineGiven], known: Known) -> Iterator[Finding]:
    """What was read from names, told once, and derivations that cannot be."""
    found = read_derivations(lines, known)
    facts = _list_facts(lines, known, found)
    named = [line for line in lines if line.line and found[line.line].by_name is not None]
    if named:
        yield _tell_named(named, found[named[0].line].by_name)
    for line in lines:
        if not (line.derived_from or line.derived_plant or line.derived_generation):
            continue
        if line.derived_from and line.derived_from not in facts:
            message = "this line has no row in the table and is not in the books"
            yield line.tell("derived_from", "derived_from_unknown", message, "Add it, or leave the cell empty")
            continue
        for one in check_derivation(facts[line.line], facts):
            stops = one.code == "derived_from_itself"
            yield line.tell(one.place.column or "", one.code, one.message, one.repair, stops=stops)


def _tell_named(named: Sequence[LineGiven], says: NameSays | None) -> Finding:
    line = named[0]
    assert says is not None
    what = f"a {says.stands_for}" + (f" from {says.derivation.as_text()}" if says.derivation else "")
    message = f"by its name this is {what}, and is written so"
    if len(named) > 1:
        message += f" (so are {len(named) - 1} more lines, each by its name)"
    repair = "Write stands_for, or derived_from and derived_plant, where that is not so"
    return line.tell("line", "derived_by_name", message, repair, stops=False)


def _list_facts(lines: Sequence[LineGiven], known: Known, found: dict[str, Derived]) -> dict[str, LineFacts]:
    facts = {
        name: LineFacts(name, "line", one.method, one.mother, one.father, one.selfings, one.generation)
        for name, one in known.lines.items()
    }
    for line in lines:
        before = known.lines.get(line.line, KnownLine(""))
        generation = line.generation or before.generation
        derived = found[line.line].derivation
        mother = _name_mother(line, known)
        facts[line.line] = LineFacts(line.line, "line", line.method, mother, "", 0, generation, "", derived)
    return facts


def _name_mother(line: LineGiven, known: Known) -> str:
    return line.mother or known.lines.get(line.line, KnownLine("")).mother


def _tell_generation(name: str, given: dict[str, LineGiven], known: Known) -> str:
    own = given[name].generation if name in given else ""
    return own or known.lines.get(name, KnownLine("")).generation

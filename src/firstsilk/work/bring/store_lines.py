"""How do lines come into the books, parents before their progeny?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from firstsilk.records.models import Line
from firstsilk.science.lineage.derivation import NameSays
from firstsilk.work.bring.compare import Wish, differing, fill_record
from firstsilk.work.bring.derivations import Derived, read_derivations
from firstsilk.work.bring.known import Known, KnownLine
from firstsilk.work.bring.storing import CHUNK, Storing
from firstsilk.work.bring.tables import LineGiven
from firstsilk.work.lineage.lines import tell_derivation


def store_lines(storing: Storing) -> None:
    """New lines, generation by generation; what an old one lacked."""
    found = Line.objects.filter(station=storing.station).select_related("mother", "father", "derived_from")
    storing.lines = {line.name: line for line in found}
    derived = read_derivations(storing.tables.lines, Known(lines=_list_known(storing)))
    old = [given for given in storing.tables.lines if given.line in storing.lines]
    waiting = [given for given in storing.tables.lines if given.line not in storing.lines]
    new = waiting
    storing.count("lines", new=len(new))
    while waiting:
        ready = [given for given in waiting if _parents_are_there(given, storing)]
        assert ready, "the checks let a loop or an unknown parent through"
        made = Line.objects.bulk_create(
            [_make_line(given, storing, derived[given.line].by_name) for given in ready], batch_size=CHUNK
        )
        storing.lines.update((line.name, line) for line in made)
        waiting = [given for given in waiting if given.line not in storing.lines]
    _store_derivations(new, derived, storing)
    for given in old:
        _fill_line(given, storing)


def _list_known(storing: Storing) -> dict[str, KnownLine]:
    return {
        name: KnownLine(
            *(line.method, line.mother.name if line.mother else "", line.father.name if line.father else ""),
            *(line.selfings, line.generation, tell_derivation(line)),
        )
        for name, line in storing.lines.items()
    }


def _store_derivations(new: Sequence[LineGiven], derived: Mapping[str, Derived], storing: Storing) -> None:
    """From which plant each new line comes; once all lines are there, for it may stand anywhere in the table."""
    changed = []
    for given in new:
        told, line = derived[given.line].derivation, storing.lines[given.line]
        if told is not None:
            line.derived_from = storing.lines[told.line] if told.line else None
            line.derived_plant, line.derived_generation = told.plant, told.generation
            changed.append(line)
    Line.objects.bulk_update(changed, ("derived_from", "derived_plant", "derived_generation"), batch_size=CHUNK)


def _parents_are_there(given: LineGiven, storing: Storing) -> bool:
    return all(parent in storing.lines for parent in (given.mother, given.father) if parent)


def _make_line(given: LineGiven, storing: Storing, by_name: NameSays | None) -> Line:
    method = given.method or "founder"
    selfings = given.selfings if given.selfings is not None else 1 if method == "self" else 0
    return Line(
        station=storing.station,
        name=given.line,
        kind=given.kind or "line",
        stands_for=given.stands_for or (by_name.stands_for if by_name else "family"),
        method=method,
        mother=storing.lines[given.mother] if given.mother else None,
        father=storing.lines[given.father] if given.father else None,
        selfings=selfings,
        generation=given.generation,
        pedigree=given.pedigree,
        group=given.group,
        is_tester=bool(given.tester),
        is_check=bool(given.check),
        units_to_silk=given.units_to_silk,
        units_to_shed=given.units_to_shed,
        units_to_black_layer=given.units_to_black_layer,
        remark=given.remark,
    )


def _fill_line(given: LineGiven, storing: Storing) -> None:
    line = storing.lines[given.line]
    columns: tuple[str, ...] = ("kind", "stands_for", "method", "selfings", "generation", "pedigree", "group")
    columns += ("derived_plant", "derived_generation")
    wishes: list[Wish] = [(column, column, getattr(given, column)) for column in columns]
    wishes += [("tester", "is_tester", given.tester), ("check", "is_check", given.check)]
    units = ("units_to_silk", "units_to_shed", "units_to_black_layer")
    wishes += [(column, column, getattr(given, column)) for column in (*units, "remark")]
    what = f"line {line.name!r}"
    filled = fill_record(line, given, wishes, what, storing.findings)
    for column in ("mother", "father", "derived_from"):
        name, have = getattr(given, column), getattr(line, column)
        if name and have is None:
            setattr(line, column, storing.lines[name])
            filled.append(column)
        elif name and have.name != name:
            storing.findings.append(differing(given, column, what, have))
    if filled:
        line.save(update_fields=filled)
    storing.count_filled("lines", filled)

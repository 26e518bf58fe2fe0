"""How do lines come into the books, parents before their progeny?"""

from __future__ import annotations

from firstsilk.records.models import Line
from firstsilk.work.bring.compare import Wish, differing, fill_record
from firstsilk.work.bring.storing import CHUNK, Storing
from firstsilk.work.bring.tables import LineGiven


def store_lines(storing: Storing) -> None:
    """New lines, generation by generation; what an old one lacked."""
    found = Line.objects.filter(station=storing.station).select_related("mother", "father")
    storing.lines = {line.name: line for line in found}
    old = [given for given in storing.tables.lines if given.line in storing.lines]
    waiting = [given for given in storing.tables.lines if given.line not in storing.lines]
    storing.count("lines", new=len(waiting))
    while waiting:
        ready = [given for given in waiting if _parents_are_there(given, storing)]
        assert ready, "the checks let a loop or an unknown parent through"
        made = Line.objects.bulk_create([_make_line(given, storing) for given in ready], batch_size=CHUNK)
        storing.lines.update((line.name, line) for line in made)
        waiting = [given for given in waiting if given.line not in storing.lines]
    for given in old:
        _fill_line(given, storing)


def _parents_are_there(given: LineGiven, storing: Storing) -> bool:
    return all(parent in storing.lines for parent in (given.mother, given.father) if parent)


def _make_line(given: LineGiven, storing: Storing) -> Line:
    method = given.method or "founder"
    selfings = given.selfings if given.selfings is not None else 1 if method == "self" else 0
    return Line(
        station=storing.station,
        name=given.line,
        kind=given.kind or "line",
        stands_for=given.stands_for or "family",
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
    columns = ("kind", "stands_for", "method", "selfings", "generation", "pedigree", "group")
    wishes: list[Wish] = [(column, column, getattr(given, column)) for column in columns]
    wishes += [("tester", "is_tester", given.tester), ("check", "is_check", given.check)]
    units = ("units_to_silk", "units_to_shed", "units_to_black_layer")
    wishes += [(column, column, getattr(given, column)) for column in (*units, "remark")]
    what = f"line {line.name!r}"
    filled = fill_record(line, given, wishes, what, storing.findings)
    for column in ("mother", "father"):
        name, have = getattr(given, column), getattr(line, column)
        if name and have is None:
            setattr(line, column, storing.lines[name])
            filled.append(column)
        elif name and have.name != name:
            storing.findings.append(differing(given, column, what, have))
    if filled:
        line.save(update_fields=filled)
    storing.count_filled("lines", filled)

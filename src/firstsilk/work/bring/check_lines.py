"""Are the lines told apart by their names, and do they come from whom they can?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from firstsilk.answers import Finding, InputRefused, Place
from firstsilk.science.climate.heat import SCALES
from firstsilk.science.flowering.usual_units import Stage, doubt_units
from firstsilk.science.lineage.labels import advance_label
from firstsilk.science.lineage.line_rules import count_selfings
from firstsilk.science.lineage.members import Member, check_members, order_members
from firstsilk.work.bring.derivations import check_derivations
from firstsilk.work.bring.known import Known
from firstsilk.work.bring.merge_loops import check_merge_loops
from firstsilk.work.bring.names import find_nearest
from firstsilk.work.bring.tables import LineGiven, StationTables

FAR_RATIO = 1.4
"""Silk and shed of one line lie within this ratio of heat units. Common practice, no source."""
STAGES: dict[str, Stage] = {"units_to_silk": "silk", "units_to_shed": "shed", "units_to_black_layer": "black layer"}
"""The columns of heat units and the stages they lead to."""
WARN_ONLY = ("founder_is_no_family",)
"""A founder kept up by sibs or bulks is stored; kinship alone cannot go through it."""


def check_lines(tables: StationTables, known: Known) -> Iterator[Finding]:
    """Names once, parents there and fitting the method, no loops, generations that follow."""
    yield from _check_names(tables.lines, known)
    yield from _check_pedigree(tables.lines, known)
    yield from check_derivations(tables.lines, known)
    yield from _check_scale(tables, known)
    first = {line.line: line for line in reversed(tables.lines)}
    for line in tables.lines:
        yield from _check_generation(line, first)
        yield from _check_units(line)
        if line.kind == "hybrid" and line.method in ("self", "sib", "dh", "founder_inbred"):
            message = f"a hybrid is not made by the method {line.method}"
            yield line.tell("kind", "hybrid_not_crossed", message, "Write line, or the method cross", stops=False)
        if line.method == "cross" and line.mother and line.mother == line.father:
            message = "this is a cross of a line with itself"
            yield line.tell("father", "crossed_with_itself", message, "Write the method self", stops=False)
        if line.method == "cross" and not (line.mother and line.father):
            column = "father" if line.mother else "mother"
            message = "a parent of this cross is not named and stays unknown"
            yield line.tell(column, "parent_missing", message, "Name it if it is known", stops=False, value="")


def _check_names(lines: Sequence[LineGiven], known: Known) -> Iterator[Finding]:
    first: dict[str, LineGiven] = {}
    in_books = {name.casefold(): name for name in known.lines}
    for line in lines:
        before = first.setdefault(line.line.casefold(), line)
        if before is not line and line.line and line.line != before.line:
            message = f"it differs only by capitals from {before.line!r} in line {before.at_line}"
            yield line.tell("line", "names_alike", message, f"Write {before.line!r} if it is the same line")
        there = in_books.get(line.line.casefold(), line.line)
        if there != line.line:
            message = f"it differs only by capitals from {there!r} in the books"
            yield line.tell("line", "names_alike", message, f"Write {there!r} if it is the same line")


def _as_members(lines: Sequence[LineGiven], known: Known) -> list[Member]:
    given = {line.line for line in lines}
    members = [
        Member(name, line.method, line.mother, line.father, max(1, line.selfings))
        for name, line in known.lines.items()
        if name not in given
    ]
    for line in lines:
        before = known.lines.get(line.line)
        method = line.method or (before.method if before else "founder")
        mother = line.mother or (before.mother if before else "")
        father = line.father or (before.father if before else "")
        selfings = 1 if line.selfings is None else line.selfings
        if line.selfings == 0 and method != "self":
            selfings = 1
        members.append(Member(line.line, method, mother, father, selfings, Place(line.at_file, line.at_line)))
    return members


def _check_pedigree(lines: Sequence[LineGiven], known: Known) -> Iterator[Finding]:
    """What makes the lines no pedigree. Findings about lines that are only in the books are not repeated here."""
    members = [member for member in _as_members(lines, known) if member.line]
    names = frozenset(member.line for member in members)
    try:
        check_members(members)
    except InputRefused as error:
        for finding in error.findings:
            if finding.place.file and finding.code != "pedigree_loop":
                yield _kinder(finding, names)
    loops = list(_find_loops(members))
    yield from loops
    if known.merged and not loops:
        yield from check_merge_loops(lines, members, known.merged)


def _kinder(finding: Finding, names: frozenset[str]) -> Finding:
    if finding.code == "parent_has_no_row":
        nearest = find_nearest(finding.value, names)
        if nearest:
            return replace(finding, repair=f"Did you mean {nearest!r}?")
    if finding.code in WARN_ONLY:
        return replace(finding, stops=False)
    return finding


def _find_loops(members: Sequence[Member]) -> Iterator[Finding]:
    """Every loop, each named once: a loop that was found is cut and the search goes on."""
    known = {member.line for member in members}
    first: dict[str, Member] = {}
    for member in members:
        mother = member.mother if member.mother in known else ""
        father = member.father if member.father in known else ""
        # Selfs and sibs name their one parent twice; a line that names itself is a loop of one.
        first.setdefault(member.line, replace(member, mother=mother, father=father))
    while True:
        try:
            order_members(list(first.values()))
            return
        except InputRefused as error:
            yield from error.findings
            # The value is the first parent on the loop; without its own parents the loop is open.
            cut = error.findings[0].value
            first[cut] = replace(first[cut], mother="", father="")


def _check_generation(line: LineGiven, first: dict[str, LineGiven]) -> Iterator[Finding]:
    """A selfed line is as many generations on as it was selfed."""
    mother = first.get(line.mother)
    if line.method != "self" or mother is None:
        return
    own, before = count_selfings(line.generation), count_selfings(mother.generation)
    steps = 1 if line.selfings is None else line.selfings
    if own is not None and before is not None and own != before + steps:
        message = f"selfed {steps} times from {mother.line!r}, which is {mother.generation}"
        repair = f"{advance_label(mother.generation, steps)} would follow; check generation and selfings"
        yield line.tell("generation", "generation_odd", message, repair, stops=False)


def _check_units(line: LineGiven) -> Iterator[Finding]:
    silk, shed = line.units_to_silk, line.units_to_shed
    if silk and shed and not 1 / FAR_RATIO <= silk / shed <= FAR_RATIO:
        message = f"silk and shed lie far apart (units_to_shed is {shed:g})"
        yield line.tell("units_to_silk", "silk_far_from_shed", message, "Check both", stops=False)
    black = line.units_to_black_layer
    if silk and black and silk >= black:
        message = f"silk is not before black layer (units_to_silk is {silk:g})"
        yield line.tell("units_to_black_layer", "black_layer_before_silk", message, "Check both, perhaps swapped")


def _check_scale(tables: StationTables, known: Known) -> Iterator[Finding]:
    """Heat units that are unusual for the station's scale; one finding for a column that mostly is."""
    told = tables.station[0].scale if tables.station else ""
    scale = next((name for name in SCALES if name == (told or known.scale or "chu")), None)
    if scale is None:
        return
    repair = f"Are these units in {scale}, the scale of the station? They are kept as they stand"
    for column, stage in STAGES.items():
        units = [getattr(line, column) for line in tables.lines]
        odd, message = doubt_units(units, stage, scale)
        known_units = sum(value is not None for value in units)
        if len(odd) > 1 and 2 * len(odd) > known_units:
            message, odd = f"{message} (so are {len(odd)} of {known_units} in this column)", odd[:1]
        for at in odd:
            yield tables.lines[at].tell(column, "units_unusual", message, repair, stops=False)

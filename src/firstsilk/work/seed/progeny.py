"""Which line is the seed of a pollination: one we have, or a new one?"""

from __future__ import annotations

from firstsilk.records.models import Line, Station
from firstsilk.science.lineage.generation import Parent, plan_progeny

FIXED_SELFINGS = 6
"""Selfings after which a line counts as fixed, so that selfing it again only makes more of it: 1.6 % of loci still
segregate (trade practice; 6-8 generations to a fixed line)."""


def is_fixed(line: Line) -> bool:
    """True if selfing this line only increases it: an inbred founder, a doubled haploid, or selfed often enough."""
    return line.method in ("founder_inbred", "dh") or (line.method == "self" and count_selfings(line) >= FIXED_SELFINGS)


def count_selfings(line: Line) -> int:
    """Selfings since the last cross, walking up the mothers."""
    total, seen, here = 0, set(), line
    while here.method == "self" and here.pk not in seen:
        seen.add(here.pk)
        total += max(1, here.selfings)
        if here.mother is None:
            break
        here = here.mother
    return total


def find_or_make_progeny(station: Station, kind: str, mother: Line, father: Line | None) -> tuple[Line, bool]:
    """The line that the seed of this pollination is, and whether its record is new.

    Notes
    -----
    Selfing or sibbing a fixed line increases it. A cross that the books already hold is that cross. The selfed ears
    of a row together are a bulk, named ``MOTHER-B`` (each hyphen one generation, B a bulk of selfed ears).
    """
    if father is None and is_fixed(mother):
        return mother, False
    if father is not None:
        known = Line.objects.filter(station=station, method="cross", mother=mother, father=father).first()
        if known is not None:
            return known, False
    grown = plan_progeny(kind, _parent(mother), _parent(father) if father else None)
    name = f"{mother.name}/{father.name}" if father else f"{mother.name}-{'B' if kind == 'self' else '#'}"
    if father is not None and ("/" in mother.name or "/" in father.name):
        name = grown.pedigree
    known = Line.objects.filter(station=station, name=name[:120]).first()
    if known is not None:
        return known, False
    line = Line.objects.create(
        station=station,
        name=name[:120],
        kind="hybrid" if kind == "testcross" else "line",
        stands_for="bulk" if father is None else grown.stands_for,
        method=grown.method,
        mother=mother,
        father=father if grown.has_father else None,
        selfings=1 if grown.method == "self" else 0,
        generation=grown.generation,
        pedigree=grown.pedigree[:400],
        group=mother.group if father is None or father.group == mother.group else "",
        units_to_silk=mother.units_to_silk if father is None else None,
        units_to_shed=mother.units_to_shed if father is None else None,
    )
    return line, True


def _parent(line: Line) -> Parent:
    """How a parent is written: by its name, which already stands for its own pedigree."""
    return Parent(line.name, line.generation)

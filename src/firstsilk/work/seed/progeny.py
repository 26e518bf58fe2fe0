"""Which line is the seed of a pollination: one we have, or a new one?"""

from __future__ import annotations

from collections.abc import Sequence

from firstsilk.answers import refuse
from firstsilk.records.models import Line, Station
from firstsilk.science.lineage.generation import POLLINATIONS, Parent, plan_progeny
from firstsilk.work.lineage.generations import is_fixed
from firstsilk.work.shelf import find_lines

INCREASES = ("self", "sib", "bulk_sib")
"""Pollinations that only make more of a fixed line."""
LONGEST_NAME = 120


def find_or_make_progeny(station: Station, kind: str, mother: Line, father: Line | None) -> tuple[Line, bool]:
    """The line that the seed of this pollination is, and whether its record is new.

    Raises
    ------
    InputRefused
        If the kind is unknown, a parent's pedigree cannot be read, or the name that the line would get is another's.

    Notes
    -----
    Selfing or sibbing a fixed line increases it. A cross that the books already hold is that cross. The selfed ears
    of a row together are a bulk, named ``MOTHER-B`` (each hyphen one generation, B a bulk of selfed ears); sibs are
    ``MOTHER-#``, open-pollinated seed ``MOTHER/open``.
    """
    if kind in INCREASES and is_fixed(mother):
        return mother, False
    grown = plan_progeny(kind, _parent(mother), _parent(father) if father else None)
    parent = father if grown.has_father else None
    family = Line.objects.filter(station=station, method=grown.method, mother=mother, father=parent)
    known = family.order_by("pk").first() if parent is not None else None
    if known is not None:
        return known, False
    name = _name(kind, mother, father, grown.pedigree)
    taken = find_lines(station, [name]).get(name)
    if taken is not None and (taken.mother_id, taken.father_id) == (mother.pk, parent.pk if parent else None):
        return taken, False
    if taken is not None:
        raise refuse(
            "line_name_taken", f"its seed would be named {name}, and that is another line", "Rename that line."
        )
    line = Line.objects.create(
        station=station,
        name=name,
        kind="hybrid" if POLLINATIONS[kind].makes_hybrid else "line",
        stands_for="bulk" if father is None else grown.stands_for,
        method=grown.method,
        mother=mother,
        father=parent,
        selfings=1 if grown.method == "self" else 0,
        generation=grown.generation,
        pedigree=grown.pedigree[:400],
        group=mother.group if father is None or father.group == mother.group else "",
        units_to_silk=mother.units_to_silk if father is None else None,
        units_to_shed=mother.units_to_shed if father is None else None,
    )
    return line, True


def find_or_make_bulk_progeny(station: Station, mother: Line, fathers: Sequence[Line]) -> tuple[Line, bool]:
    """The line that the seed of a mother and a bulk of pollen is, and whether its record is new.

    It is named ``MOTHER/FATHER+FATHER``. In kinship it is open-pollinated: each kernel's father is one of the bulk, and
    the record of a line holds one father or none. The lot holds the fathers with their shares.
    """
    bulk = "+".join(sorted(one.name for one in fathers))
    grown = plan_progeny("pollen_mix", _parent(mother), Parent(bulk))
    name = f"{mother.name}/{bulk}"
    _check_length(name)
    taken = find_lines(station, [name]).get(name)
    if taken is not None and (taken.mother_id, taken.father_id, taken.method) == (mother.pk, None, "open"):
        return taken, False
    if taken is not None:
        raise refuse(
            "line_name_taken", f"its seed would be named {name}, and that is another line", "Rename that line."
        )
    groups = {one.group for one in (mother, *fathers)}
    line = Line.objects.create(
        station=station,
        name=name,
        kind="line",
        stands_for=grown.stands_for,
        method="open",
        mother=mother,
        generation=grown.generation,
        pedigree=grown.pedigree[:400],
        group=groups.pop() if len(groups) == 1 else "",
    )
    return line, True


def _name(kind: str, mother: Line, father: Line | None, pedigree: str) -> str:
    if father is None:
        name = f"{mother.name}/open" if kind == "open" else f"{mother.name}-{'B' if kind == 'self' else '#'}"
    elif kind == "induction":
        name = f"{mother.name}-D"
    else:
        name = pedigree if "/" in mother.name + father.name else f"{mother.name}/{father.name}"
    _check_length(name)
    return name


def _check_length(name: str) -> None:
    if len(name) > LONGEST_NAME:
        raise refuse(
            "line_name_long",
            f"its seed would be named {name[:40]}..., which is too long",
            "Give the parents short names.",
        )


def _parent(line: Line) -> Parent:
    """How a parent is written: by its name, which already stands for its own pedigree."""
    return Parent(line.name, line.generation)

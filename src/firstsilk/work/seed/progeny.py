"""Which line is the seed of a pollination: one we have, or a new one?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import refuse
from firstsilk.records.models import Line, Station
from firstsilk.science.lineage.advances import Advance
from firstsilk.science.lineage.generation import POLLINATIONS, Parent, Progeny, plan_progeny
from firstsilk.science.lineage.notation import parse_pedigree
from firstsilk.science.lineage.trees import advance_tree, write_pedigree
from firstsilk.work.lineage.generations import is_fixed
from firstsilk.work.shelf import find_lines

INCREASES = ("self", "sib", "bulk_sib")
"""Pollinations that only make more of a fixed line."""
LONGEST_NAME = 120


def find_or_make_progeny(
    station: Station, kind: str, mother: Line, father: Line | None, one_ear: bool = False
) -> tuple[Line, bool]:
    """The line that the seed of this pollination is, and whether its record is new.

    Parameters
    ----------
    kind, mother, father
        The type of pollination and the two lines.
    one_ear
        The seed is one selfed ear's: a family of its own, from the next plant of its mother's row.

    Raises
    ------
    InputRefused
        If the kind is unknown, a parent's pedigree cannot be read, or the name that the line would get is another's.

    Notes
    -----
    Selfing or sibbing a fixed line increases it. A cross that the books already hold is that cross. Names are ear to
    row: one selfed ear is ``MOTHER-3``, a family derived from plant 3 of its mother's generation; the selfed ears of a
    row together are a bulk, ``MOTHER-B``, sibs ``MOTHER-#``, and both keep the derivation of their mother;
    open-pollinated seed is ``MOTHER/open``. A cross is put in brackets first: ``(A/B)-3``.
    """
    if kind in INCREASES and is_fixed(mother):
        return mother, False
    grown = plan_progeny(kind, _parent(mother), _parent(father) if father else None)
    parent = father if grown.has_father else None
    family = Line.objects.filter(station=station, method=grown.method, mother=mother, father=parent)
    known = family.order_by("pk").first() if parent is not None else None
    if known is not None:
        return known, False
    if one_ear and kind == "self":
        number, name = _number_ear(station, mother)
        return _store(station, name, grown, mother, None, _Derived(mother, str(number), mother.generation)), True
    name = _name(kind, mother, father, grown.pedigree)
    there = find_lines(station, [name, *_list_old_names(kind, mother, father)])
    for taken in there.values():
        if (taken.mother_id, taken.father_id) == (mother.pk, parent.pk if parent else None):
            return taken, False
    if name in there:
        raise refuse(
            "line_name_taken", f"its seed would be named {name}, and that is another line", "Rename that line."
        )
    derived = _Derived(mother.derived_from, mother.derived_plant, mother.derived_generation)
    return _store(station, name, grown, mother, father, derived if kind in INCREASES else NOT_DERIVED), True


@dataclass(frozen=True, slots=True)
class _Derived:
    """From which plant of which line a family comes, and of what generation that plant was."""

    line: Line | None = None
    plant: str = ""
    generation: str = ""


NOT_DERIVED = _Derived()


def _store(station: Station, name: str, grown: Progeny, mother: Line, father: Line | None, derived: _Derived) -> Line:
    is_ear = father is None and derived.line == mother
    return Line.objects.create(
        station=station,
        name=name,
        kind="hybrid" if POLLINATIONS[grown.pollination].makes_hybrid else "line",
        stands_for="bulk" if father is None and not is_ear else grown.stands_for,
        method=grown.method,
        mother=mother,
        father=father if grown.has_father else None,
        selfings=1 if grown.method == "self" else 0,
        generation=grown.generation,
        derived_from=derived.line,
        derived_plant=derived.plant,
        derived_generation=derived.generation,
        pedigree=grown.pedigree[:400],
        group=mother.group if father is None or father.group == mother.group else "",
        units_to_silk=mother.units_to_silk if father is None else None,
        units_to_shed=mother.units_to_shed if father is None else None,
    )


def _number_ear(station: Station, mother: Line) -> tuple[int, str]:
    """The number of the next ear of a line, and the name of what grows from it."""
    told = Line.objects.filter(station=station, derived_from=mother).values_list("derived_plant", flat=True)
    number = max((int(plant) for plant in told if plant.isascii() and plant.isdecimal()), default=0) + 1
    name = _advance(mother, Advance("ear", number))
    while find_lines(station, [name]):
        number += 1
        name = _advance(mother, Advance("ear", number))
    _check_length(name)
    return number, name


def _advance(mother: Line, step: Advance) -> str:
    return write_pedigree(advance_tree(parse_pedigree(mother.name), [step]))


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
    if kind == "open":
        name = pedigree
    elif father is None:
        name = _advance(mother, Advance("bulk") if kind == "self" else Advance("increase"))
    elif kind == "induction":
        name = _advance(mother, Advance("doubled"))
    else:
        both = mother.name + father.name
        name = pedigree if "/" in both or "*" in both else f"{mother.name}/{father.name}"
    _check_length(name)
    return name


def _list_old_names(kind: str, mother: Line, father: Line | None) -> tuple[str, ...]:
    """How such seed was named before names were written ear to row; books may still hold it."""
    if kind == "open":
        return (f"{mother.name}/open",)
    if father is None:
        return (f"{mother.name}-{'B' if kind == 'self' else '#'}",)
    return (f"{mother.name}-D",) if kind == "induction" else ()


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

"""How many heat units does a line take to silk and shed, and how do we come to know it?

A line's own record counts; without one its parents' mean stands in, then the programme's mean. Whoever plans by a
stand-in is told so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from statistics import fmean

from firstsilk.records.models import Line, Station
from firstsilk.work.lineage.ancestry import Books, read_books

ANCESTORS_DEEP = 6
"""Generations of parents that are looked through for a record."""


@dataclass(frozen=True, slots=True)
class FloweringUnits:
    """Heat units from sowing to half silk and half shed in the station's scale, and whose they are.

    `source` is ``own``, ``parents`` or ``programme``; empty where nothing is known anywhere.
    """

    silk: float | None
    shed: float | None
    source: str


def read_units(station: Station, lines: Iterable[Line], day: date | None = None) -> dict[str, FloweringUnits]:
    """The units of each line, by name.

    Parameters
    ----------
    day
        Merges of records that stood on this day count; those that stand now if None.

    Notes
    -----
    Records found to be one line are one: the units of the line kept count, or those of the other where it has none.
    A cross flowers earlier than its parents' mean and a self a little later than its parent; neither shift is made
    here, so a stand-in for a first cross is late by some days and the walk to it begins late by as much less than its
    lead. The forecast that learns it from notes comes with its own room.
    """
    books = read_books(station, day)
    for gone, line in [(books[pk], books[to]) for pk, to in books.kept.items() if pk in books and to in books]:
        if not line.units_to_silk and gone.units_to_silk:
            line.units_to_silk, line.units_to_shed = gone.units_to_silk, gone.units_to_shed
    standing = (line for line in books.values() if line.pk not in books.kept)
    known = [line for line in standing if line.kind == "line" and line.units_to_silk]
    mean = FloweringUnits(
        fmean(line.units_to_silk or 0.0 for line in known) if known else None,
        fmean(line.units_to_shed or line.units_to_silk or 0.0 for line in known) if known else None,
        "programme" if known else "",
    )
    return {
        line.name: _find(books.get_standing(books.get(line.pk, line)), books, ANCESTORS_DEEP) or mean for line in lines
    }


def _find(line: Line, books: Books, depth: int) -> FloweringUnits | None:
    if line.units_to_silk:
        return FloweringUnits(line.units_to_silk, line.units_to_shed or line.units_to_silk, "own")
    if depth == 0:
        return None
    parents = [books[key] for key in (line.mother_id, line.father_id) if key is not None and key in books]
    found = [units for parent in parents if (units := _find(parent, books, depth - 1)) is not None]
    if not found:
        return None
    silk = fmean(units.silk or 0.0 for units in found)
    return FloweringUnits(silk, fmean(units.shed or units.silk or 0.0 for units in found), "parents")

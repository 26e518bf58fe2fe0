"""How many heat units does a line take to silk and shed, and how do we come to know it?

A line's own record counts; without one its parents' mean stands in, then the programme's mean. Whoever plans by a
stand-in is told so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from statistics import fmean
from typing import NamedTuple

from firstsilk.records.models import Line, Station
from firstsilk.work.standing import read_kept

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
    kept = read_kept(station, day)
    records = _read_records(station, kept)
    known = [one for pk, one in records.items() if pk not in kept and one.kind == "line" and one.silk]
    mean = FloweringUnits(
        fmean(one.silk or 0.0 for one in known) if known else None,
        fmean(one.shed or one.silk or 0.0 for one in known) if known else None,
        "programme" if known else "",
    )
    told = {}
    for line in lines:
        own = _Record(*(getattr(line, field) for field in _FIELDS))
        own = records.get(line.pk, own)
        own = records.get(kept.get(line.pk, line.pk), own)
        told[line.name] = _find(own, records, kept, ANCESTORS_DEEP) or mean
    return told


class _Record(NamedTuple):
    """What is read of each line of a station, which may be a hundred thousand: whole records take far longer."""

    kind: str
    silk: float | None
    shed: float | None
    mother: int | None
    father: int | None


_FIELDS = ("kind", "units_to_silk", "units_to_shed", "mother_id", "father_id")


def _read_records(station: Station, kept: Mapping[int, int]) -> dict[int, _Record]:
    """All lines of the station by number; one kept of several records has the units of another where it has none."""
    told = Line.objects.filter(station=station).values_list("pk", *_FIELDS)
    records = {pk: _Record(*fields) for pk, *fields in told.iterator(5000)}
    for gone, to in kept.items():
        if gone in records and to in records and not records[to].silk and records[gone].silk:
            records[to] = records[to]._replace(silk=records[gone].silk, shed=records[gone].shed)
    return records


def _find(line: _Record, records: Mapping[int, _Record], kept: Mapping[int, int], depth: int) -> FloweringUnits | None:
    if line.silk:
        return FloweringUnits(line.silk, line.shed or line.silk, "own")
    if depth == 0:
        return None
    parents = [records.get(kept.get(key, key)) for key in (line.mother, line.father) if key is not None]
    told = [_find(parent, records, kept, depth - 1) for parent in parents if parent is not None]
    found = [units for units in told if units is not None]
    if not found:
        return None
    silk = fmean(units.silk or 0.0 for units in found)
    return FloweringUnits(silk, fmean(units.shed or units.silk or 0.0 for units in found), "parents")

"""Which row, or which bag, was written by hand on a sheet? Told while the sheet is keyed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from firstsilk.science.flowering.paper_boxes import find_limits
from firstsilk.work.flowering.keying import find_bag, find_entries, find_sheet_row, read_stands
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station


@dataclass(frozen=True, slots=True)
class RowByHand:
    """A row that was written by hand on a sheet: its number, line and limits."""

    number: int
    line: str
    limits: Mapping[str, int]


def look_up_row(on: Occasion, code: str, text: str) -> RowByHand:
    """The row that a number or tag written on a sheet means, as `find_sheet_row`."""
    station = get_station(on.station)
    sheet = find_entries(station, code)[1]
    row = find_sheet_row(get_season(station, sheet.cells["season"]), text)
    stands = read_stands(station, [row.tag], sheet.day)
    return RowByHand(row.number, row.line.name, find_limits(sheet.kind, stands.get(row.tag, row.kernels)))


def look_up_bag(on: Occasion, text: str) -> str:
    """The bag that a code written on a sheet means, as `find_bag`."""
    return find_bag(get_station(on.station), text)

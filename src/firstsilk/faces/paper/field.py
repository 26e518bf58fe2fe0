"""How are the day's sheets printed for commands and pages alike: codes taken, rows written down, codes read back?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.faces.paper.bag_sheets import render_bag_sheets
from firstsilk.faces.paper.bag_tags import render_bag_tags
from firstsilk.faces.paper.cards import render_sheets
from firstsilk.faces.paper.words import read_words
from firstsilk.work.flowering.day import DayList
from firstsilk.work.flowering.sheets_out import PaperSheet, count_left, print_bag_sheets, print_sheets, take_bag_tags
from firstsilk.work.occasion import Occasion
from firstsilk.work.station import read_station


@dataclass(frozen=True, slots=True)
class FieldPrint:
    """A finished print and the sheets on it; `left` counts tasks of the day that stand on none of them."""

    pdf: bytes
    sheets: tuple[PaperSheet, ...]
    left: int


def print_field_sheets(
    on: Occasion,
    day: DayList,
    kind: str,
    workers: Sequence[str] = (),
    n_teams: int = 0,
    team: str = "",
    language: str = "en",
) -> FieldPrint:
    """Tally cards or walk sheets of the day; every print takes new codes."""
    read_words(language)
    station = read_station(on.station)
    sheets = print_sheets(on, day, kind, workers, n_teams, team)
    pdf = render_sheets(sheets, station.name, station.time_zone, language)
    return FieldPrint(pdf, sheets, 0 if team else count_left(day, kind, sheets))


def print_empty_bag_sheets(
    on: Occasion, season: str, count: int, workers: Sequence[str] = (), language: str = "en"
) -> FieldPrint:
    """Empty bag sheets of this evening and the morning after; every print takes new codes."""
    read_words(language)
    sheets = print_bag_sheets(on, season, count, workers)
    return FieldPrint(render_bag_sheets(sheets, read_station(on.station).name, language), sheets, 0)


def print_bag_tags(on: Occasion, count: int, language: str = "en") -> bytes:
    """Labels for so many tassel bags; every print takes new codes."""
    read_words(language)
    return render_bag_tags(take_bag_tags(on, count), language)

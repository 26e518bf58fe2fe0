"""What is sown on which day: every row of a season under its sowing day, in walking order?"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import refuse
from firstsilk.records.models import Row
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station
from firstsilk.work.standing import rows_on


@dataclass(frozen=True, slots=True)
class CalendarRow:
    """One row to sow. `sowing` counts the days of its line in its role, of `sowings` in all; `is_sown` once noted."""

    number: int
    tag: str
    field_row: int
    field_col: int
    line: str
    purpose: str
    lot: str
    kernels: int
    sowing: int
    sowings: int
    is_sown: bool


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """One sowing day and its rows."""

    day: date
    rows: tuple[CalendarRow, ...]

    @property
    def kernels(self) -> int:
        """Kernels that leave the seed room for this day."""
        return sum(row.kernels for row in self.rows)


@dataclass(frozen=True, slots=True)
class SowingCalendar:
    """The sowing days of a season in order."""

    station: str
    season: str
    site: str
    days: tuple[CalendarDay, ...]
    basis: Basis


def read_sowing_calendar(on: Occasion, season: str = "") -> SowingCalendar:
    """Every row of a season under the day it is planned for.

    Raises
    ------
    InputRefused
        If there is no such season, or no row with a sowing day.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = list(rows_on(station, on.today).filter(season=book).select_related("line", "lot").order_by("number"))
    dated = [row for row in rows if row.sow_on is not None]
    if not dated:
        raise refuse("nothing_to_sow", f"Season {book.name} has no row with a sowing day.", "Fix its plan first.")
    states = read_states(station, [row.tag for row in dated], on.today)
    of_line: dict[tuple[str, str], set[int]] = defaultdict(set)
    for row in dated:
        of_line[row.line.name, row.purpose].add(row.sowing)
    by_day: dict[date, list[CalendarRow]] = defaultdict(list)
    for row in dated:
        assert row.sow_on is not None
        sown = row.tag in states and states[row.tag].sown_on is not None
        by_day[row.sow_on].append(_calendar_row(row, max(of_line[row.line.name, row.purpose]), sown))
    days = tuple(CalendarDay(day, tuple(by_day[day])) for day in sorted(by_day))
    missing = (f"a sowing day of {len(rows) - len(dated)} rows",) if len(dated) < len(rows) else ()
    return SowingCalendar(station.name, book.name, book.site.name, days, Basis((("rows", len(rows)),), missing))


def _calendar_row(row: Row, sowings: int, is_sown: bool) -> CalendarRow:
    return CalendarRow(
        number=row.number,
        tag=row.tag,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line.name,
        purpose=row.purpose,
        lot=row.lot.name if row.lot else "",
        kernels=row.kernels,
        sowing=row.sowing,
        sowings=sowings,
        is_sown=is_sown,
    )

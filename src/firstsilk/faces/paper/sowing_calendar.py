"""What does a sowing crew carry: which rows on which day, from which lot, with boxes to tick?

A month view on top, then one table for each sowing day in walking order.
"""

from __future__ import annotations

from datetime import date, timedelta

from firstsilk.answers import refuse
from firstsilk.faces.paper.lettering import check_lettering, cut_text, cut_words
from firstsilk.faces.paper.press import print_sheet
from firstsilk.faces.paper.tags import MARKS, MONTHS, write_day
from firstsilk.faces.paper.walkbook import order_for_walking
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.cautions import SOWING_CAUTION
from firstsilk.work.nursery.sowing_calendar import CalendarDay, CalendarRow, SowingCalendar

DAYS_OF_WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MOST_MONTHS = 4
"""More months than this are not drawn on top; their days are in the list all the same."""


def render_sowing_calendar(calendar: SowingCalendar, printed_on: date) -> bytes:
    """Print a sowing calendar, A4 portrait: months with what is sown when, then each day's rows in walking order.

    Raises
    ------
    InputRefused
        If there is no day, a tag is damaged, or a sign cannot be printed.
    StationFault
        If the sheet could not be set.

    Checked by
    ----------
    tests/faces/test_sowing_paper.py
    """
    if not calendar.days:
        raise refuse("nothing_to_print", "There is no sowing day", "Fix a plan first.")
    check_lettering((name, getattr(calendar, name)) for name in ("station", "site", "season"))
    check_lettering(
        (f"row {row.number:04d}, {name}", getattr(row, name))
        for day in calendar.days
        for row in day.rows
        for name in ("line", "lot")
    )
    rows = sum(len(day.rows) for day in calendar.days)
    kernels = sum(day.kernels for day in calendar.days)
    data = {
        "title": f"Sowing calendar {calendar.season}",
        "season": calendar.season,
        "station": cut_text(calendar.station, 120, 11),
        "site": cut_text(calendar.site, 60, 11),
        "printed": write_day(printed_on),
        "sums": f"{rows:,} rows, {kernels:,} kernels, {len(calendar.days)} days",
        "months": _draw_months(calendar),
        "days": [_set_day(day) for day in calendar.days],
        "caution": SOWING_CAUTION,
    }
    return print_sheet("sowing_calendar", data)


def _draw_months(calendar: SowingCalendar) -> list[dict[str, object]]:
    """Each month with a sowing day: its weeks from Monday, each day with its rows; empty for days of other months."""
    sown = {day.day: day for day in calendar.days}
    firsts = sorted({day.replace(day=1) for day in sown})[:MOST_MONTHS]
    return [{"name": f"{MONTHS[first.month - 1]} {first.year}", "weeks": _list_weeks(first, sown)} for first in firsts]


def _list_weeks(first: date, sown: dict[date, CalendarDay]) -> list[list[dict[str, object]]]:
    weeks = []
    monday = first - timedelta(days=first.weekday())
    while monday < first or monday.month == first.month:
        weeks.append([_set_square(monday + timedelta(days=step), first.month, sown) for step in range(7)])
        monday += timedelta(days=7)
    return weeks


def _set_square(day: date, month: int, sown: dict[date, CalendarDay]) -> dict[str, object]:
    if day.month != month:
        return {"number": "", "rows": ""}
    there = sown.get(day)
    return {"number": str(day.day), "rows": f"{len(there.rows):,}" if there else ""}


def _set_day(day: CalendarDay) -> dict[str, object]:
    rows = order_for_walking(day.rows)
    return {
        "head": f"{DAYS_OF_WEEK[day.day.weekday()]} {write_day(day.day)}",
        "sums": f"{len(rows):,} row{'s' if len(rows) != 1 else ''}, {day.kernels:,} kernels",
        "rows": [_set_row(row) for row in rows],
    }


def _set_row(row: CalendarRow) -> dict[str, object]:
    return {
        "number": f"{row.number:04d}",
        "place": f"{row.field_row} / {row.field_col}",
        "tag": print_tag(row.tag),
        "mark": MARKS.get(row.purpose, ""),
        "line": cut_words(row.line, 47, 12, bold=True),
        "lot": cut_words(row.lot, 28, 10),
        "kernels": str(row.kernels),
        "split": f"{row.sowing} of {row.sowings}" if row.sowings > 1 else "",
        "sown": row.is_sown,
    }

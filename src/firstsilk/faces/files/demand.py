"""How is a table of pollinations by day read, with every fault named at once?

Columns ``date, p10, p50, p90``, as ``firstsilk forecast --demand`` writes them. Lines may stand in any order.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import TableRow, read_table

COLUMNS = ("p10", "p50", "p90")
MOST_POLLINATIONS = 1_000_000_000.0
"""Beyond this a day's number is a slip. Ours."""


@dataclass(frozen=True, slots=True)
class DemandDay:
    """Pollinations of one day: low (None if the cell is empty), middle, high."""

    date: date
    p10: float | None
    p50: float
    p90: float


def read_demand(path: str | Path, name: str = "") -> tuple[str, tuple[DemandDay, ...]]:
    """Read demand by day; returns the file's name and the days in order.

    Raises
    ------
    InputRefused
        Naming every missing column, every cell that is no date or number, every negative or missing number, numbers
        that are out of order, and every day that is there twice; or if there is no day at all.
    """
    table = read_table(path, name)
    table.need("date", *COLUMNS)
    table.need_rows()
    findings: list[Finding] = []
    first_line: dict[str, int] = {}
    days = []
    for row in table.rows:
        day = _read_day(row, findings)
        if day is None:
            continue
        key, what = str(day.date), f"the day {day.date}"
        findings += row.find_twice(first_line, key, what, "day_twice", "date", "Remove one of the two lines")
        days.append(day)
    stop_if_any(findings)
    return table.file, tuple(sorted(days, key=lambda one: one.date))


def _read_day(row: TableRow, findings: list[Finding]) -> DemandDay | None:
    day = row.day("date", findings)
    if not row.text("date"):
        findings.append(row.finding("no_date", "the date is missing", "date", "Write it, or remove the line"))
    numbers = [_read_count(row, column, findings) for column in COLUMNS]
    low, middle, high = numbers
    for column, below, above in (("p50", low, middle), ("p90", middle, high)):
        if below is not None and above is not None and above < below:
            told = f"{column} lies below the number before it ({below:g})"
            findings.append(row.finding("out_of_order", told, column, "Write p10 <= p50 <= p90"))
    if day is None or middle is None or high is None:
        return None
    return DemandDay(day, low, middle, high)


def _read_count(row: TableRow, column: str, findings: list[Finding]) -> float | None:
    before = len(findings)
    value = row.number(column, findings)
    if value is not None and value < 0:
        findings.append(
            row.finding("negative", "pollinations cannot be below 0", column, "Write 0 where none is asked")
        )
        return None
    if value is not None and value > MOST_POLLINATIONS:
        told = f"nobody makes more than {MOST_POLLINATIONS:,.0f} pollinations a day"
        findings.append(row.finding("too_many", told, column, "Check the number"))
        return None
    if value is None and column != "p10" and len(findings) == before:
        findings.append(row.finding("no_number", f"{column} is missing", column, "Write 0 where none is asked"))
    return value

"""How is a table of nursery rows with their notes read, with every fault named at once?

Columns ``row, sown, units_to_silk, units_to_shed``; if there, ``sd_units, line, pollinations, silk_seen, shed_seen,
silk_not_yet, shed_not_yet, crowding``. Lines may stand in any order.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import TableRow, read_table

NEEDED = ("row", "sown", "units_to_silk", "units_to_shed")
SPOKEN = {"sown": "sowing day"}
NOTES = (("silk_seen", "silk_not_yet"), ("shed_seen", "shed_not_yet"))

MOST_UNITS = 1_000_000.0
"""Beyond this a number of heat units is a slip of the pen; below it, it may well never be reached. Ours."""
MOST_POLLINATIONS = 1_000_000.0
MOST_CROWDING = 10.0
"""Pollinations on one row, and standard deviations of stand, beyond which a number is a slip. Ours."""


@dataclass(frozen=True, slots=True)
class NotedRow:
    """One row of the table. `units` and `notes` are silk, shed; each note is (seen, not yet); None where empty."""

    place: TableRow
    name: str
    line: str
    sown: date
    units: tuple[float | None, float | None]
    sd_units: float | None
    pollinations: float
    crowding: float
    notes: tuple[tuple[date | None, date | None], tuple[date | None, date | None]]


def read_noted_rows(path: str | Path, name: str = "") -> tuple[NotedRow, ...]:
    """Read rows to forecast, in the order of the file.

    Raises
    ------
    InputRefused
        Naming every missing column or name, every cell that is no date or number, units that are not above 0, a row
        that is there twice, and notes that cannot be: before sowing, or not yet on the day seen or later.
    """
    table = read_table(path, name)
    table.need(*NEEDED)
    table.need_rows()
    findings: list[Finding] = []
    first_line: dict[str, int] = {}
    rows = []
    for each in table.rows:
        row = _read_row(each, findings)
        if row is None:
            continue
        repair = "Give each row its own name, or remove one line"
        findings += each.find_twice(first_line, row.name, f"the row {row.name}", "row_twice", "row", repair)
        rows.append(row)
    stop_if_any(findings)
    return tuple(rows)


def _read_row(row: TableRow, findings: list[Finding]) -> NotedRow | None:
    name, sown = row.text("row"), row.day("sown", findings)
    for column in ("row", "sown"):
        if not row.text(column):
            findings.append(
                row.finding("cell_empty", f"the {SPOKEN.get(column, column)} is missing", column, "Write it")
            )
    silk, shed, sd = (_read_above(row, column, findings) for column in ("units_to_silk", "units_to_shed", "sd_units"))
    pollinations = _read_within(row, "pollinations", (0.0, MOST_POLLINATIONS), findings)
    crowding = _read_within(row, "crowding", (-MOST_CROWDING, MOST_CROWDING), findings)
    if not name or sown is None:
        return None
    notes = tuple(_read_notes(row, sown, *columns, findings) for columns in NOTES)
    return NotedRow(
        row,
        name,
        row.text("line"),
        sown,
        (silk, shed),
        sd,
        1.0 if pollinations is None else pollinations,
        crowding or 0.0,
        (notes[0], notes[1]),
    )


def _read_above(row: TableRow, column: str, findings: list[Finding]) -> float | None:
    value = row.number(column, findings)
    least_is_zero = column == "sd_units"
    if value is not None and (value < 0 or (value == 0 and not least_is_zero)):
        told = "heat units cannot be below 0" if least_is_zero else "heat units must be above 0"
        findings.append(row.finding("units_not_above_0", told, column, "Write the units, or leave the cell empty"))
    if value is not None and value > MOST_UNITS:
        told = f"heat units cannot be above {MOST_UNITS:,.0f}"
        findings.append(row.finding("units_too_many", told, column, "Check the number"))
    return value


def _read_within(row: TableRow, column: str, span: tuple[float, float], findings: list[Finding]) -> float | None:
    value = row.number(column, findings)
    if value is not None and not span[0] <= value <= span[1]:
        told = f"{column} must lie from {span[0]:,.0f} to {span[1]:,.0f}"
        findings.append(row.finding("out_of_range", told, column, "Check the number"))
    return value


def _read_notes(
    row: TableRow, sown: date, seen_column: str, not_yet_column: str, findings: list[Finding]
) -> tuple[date | None, date | None]:
    seen, not_yet = row.day(seen_column, findings), row.day(not_yet_column, findings)
    for day, column in ((seen, seen_column), (not_yet, not_yet_column)):
        if day is not None and day <= sown:
            told = f"a row sown on {sown} cannot have been noted by then"
            findings.append(row.finding("note_before_sowing", told, column, "Check both dates"))
    if seen is not None and not_yet is not None and not_yet >= seen:
        told = f"it was seen on {seen}, so it cannot have been missing on {not_yet}"
        findings.append(row.finding("note_after_seen", told, not_yet_column, "Check both dates"))
    return seen, not_yet

"""How do crosses to be made, and lines with their heat units, get in from tables?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import Table, TableRow, read_table

CROSS_COLUMNS = ("cross", "female", "male")
LINE_COLUMNS = ("line", "units_to_silk", "units_to_shed")
LATEST_PRIORITY = 9
MOST_ROWS = 10_000
"""More rows of one line, or ears of one cross, are a slip of the keyboard (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class CrossRow:
    """One cross: its name, its parents, priority (1 = first) and good ears wanted."""

    cross: str
    female: str
    male: str
    priority: int
    ears: int


@dataclass(frozen=True, slots=True)
class LineRow:
    """One line: heat units to silk and shed (None = not known), their SD, rows in each role, most sowings of it."""

    line: str
    units_to_silk: float | None
    units_to_shed: float | None
    sd_units: float | None
    most_sowings: int | None
    rows_female: int
    rows_male: int


def read_crosses(path: str | Path) -> tuple[tuple[CrossRow, ...], Table]:
    """Read the crosses ``cross, female, male[, priority][, ears]``; also the table, for complaints about it.

    Raises
    ------
    InputRefused
        A cell missing or wrong, a cross twice, a line crossed with itself.
    """
    table = read_table(path)
    table.need(*CROSS_COLUMNS)
    table.need_rows()
    findings: list[Finding] = []
    seen: dict[str, int] = {}
    crosses = []
    for row in table.rows:
        findings += _find_empty(row, CROSS_COLUMNS)
        name = row.text("cross")
        if name:
            repair = "Give each cross a name of its own"
            findings += row.find_twice(seen, name, "this cross", "cross_twice", "cross", repair)
        if row.text("female") and row.text("female") == row.text("male"):
            told = "a line is not crossed with itself"
            findings.append(row.finding("cross_with_itself", told, "male", "Name another male, or leave the cross out"))
        priority = _whole(row, "priority", 1, LATEST_PRIORITY, findings)
        ears = _whole(row, "ears", 1, MOST_ROWS, findings)
        crosses.append(CrossRow(name, row.text("female"), row.text("male"), priority or 2, ears or 1))
    stop_if_any(findings)
    return tuple(crosses), table


def read_line_units(path: str | Path) -> tuple[dict[str, LineRow], Table]:
    """Read the lines ``line, units_to_silk, units_to_shed[, sd_units][, max_sowings][, rows_female][, rows_male]``.

    Raises
    ------
    InputRefused
        A cell wrong, or a line twice.
    """
    table = read_table(path)
    table.need(*LINE_COLUMNS)
    table.need_rows()
    findings: list[Finding] = []
    lines: dict[str, LineRow] = {}
    at: dict[str, int] = {}
    for row in table.rows:
        findings += _find_empty(row, ("line",))
        name = row.text("line")
        findings += row.find_twice(at, name, "this line", "line_twice", "line", "Keep one of the two")
        lines[name] = LineRow(
            name,
            _above_zero(row, "units_to_silk", findings),
            _above_zero(row, "units_to_shed", findings),
            _above_zero(row, "sd_units", findings, zero=True),
            _whole(row, "max_sowings", 1, 9, findings),
            _whole(row, "rows_female", 1, MOST_ROWS, findings) or 1,
            _whole(row, "rows_male", 1, MOST_ROWS, findings) or 1,
        )
    stop_if_any(findings)
    return lines, table


def check_parents(crosses: Table, lines: dict[str, LineRow], units: Table) -> None:
    """Refuse crosses whose parents are no lines of the other table, or lack the units of their role."""
    findings: list[Finding] = []
    rows = {row.text("line"): row for row in units.rows}
    for cross in crosses.rows:
        for role, column in (("female", "units_to_silk"), ("male", "units_to_shed")):
            name = cross.text(role)
            if name not in lines:
                repair = f"Correct the name, or add the line with its units to {units.file}"
                findings.append(cross.finding("line_unknown", f"this line is not in {units.file}", role, repair))
            elif getattr(lines[name], column) is None and name in rows:
                told = f"the units of {name}, a {role} of cross {cross.text('cross')}, are missing"
                repair = "Write them; of a line never seen before those of its parents or the mean of its like"
                findings.append(rows.pop(name).finding("units_missing", told, column, repair))
    stop_if_any(findings)


def _find_empty(row: TableRow, columns: tuple[str, ...]) -> list[Finding]:
    return [
        row.finding("cell_empty", f"the {column} is missing", column, "Write it, or remove the line")
        for column in columns
        if not row.text(column)
    ]


def _whole(row: TableRow, column: str, low: int, high: int, findings: list[Finding]) -> int | None:
    value = row.whole(column, findings)
    if value is not None and not low <= value <= high:
        told = f"{column} lies from {low} to {high}"
        findings.append(row.finding("out_of_range", told, column, f"Write a number from {low} to {high}"))
        return None
    return value


def _above_zero(row: TableRow, column: str, findings: list[Finding], zero: bool = False) -> float | None:
    value = row.number(column, findings)
    if value is not None and not (value > 0 or (zero and value == 0)):
        told = "this cannot be below 0" if zero else "heat units are above 0"
        findings.append(row.finding("out_of_range", told, column, "Leave the cell empty if it is not known"))
        return None
    return value

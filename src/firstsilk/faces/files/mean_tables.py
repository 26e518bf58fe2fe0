"""How does a table of means by entry and environment get in from a file?"""

from __future__ import annotations

import math
from pathlib import Path

from firstsilk.answers import Finding, InputRefused, stop_if_any
from firstsilk.faces.files.tables import TableRow, read_table
from firstsilk.science.analysis.two_way import LARGEST, TwoWayTable, lay_out_two_way

COLUMNS = ("entry", "environment", "mean")


def read_means(path: str | Path) -> TwoWayTable:
    """Read `entry, environment, mean`, one line a cell; a line without a mean leaves its cell empty.

    Raises
    ------
    InputRefused
        If a column is absent, a mean is no number, a name is missing, a cell stands twice (file, line, column,
        value), or there are fewer than two entries or environments.
    """
    table = read_table(path)
    table.need(*COLUMNS)
    table.need_rows()
    findings: list[Finding] = []
    means = [row.number("mean", findings) for row in table.rows]
    findings += [
        row.finding("number_too_large", "this number is too large", "mean", "Check the digits")
        for row, mean in zip(table.rows, means, strict=True)
        if mean is not None and abs(mean) > LARGEST
    ]
    _check_cells([row for row, mean in zip(table.rows, means, strict=True) if mean is not None], findings)
    stop_if_any(findings[:20])
    try:
        return lay_out_two_way(
            [row.text("entry") for row in table.rows],
            [row.text("environment") for row in table.rows],
            [math.nan if mean is None else mean for mean in means],
        )
    except InputRefused as no:
        raise InputRefused(f"{table.file}: {no}") from None


def _check_cells(rows: list[TableRow], findings: list[Finding]) -> None:
    first: dict[tuple[str, str], int] = {}
    for row in rows:
        for column in ("entry", "environment"):
            if not row.text(column):
                told = "this cell is empty, but its line has a mean"
                findings.append(row.finding("value_missing", told, column, "Fill it in, or empty the mean"))
        cell = (row.text("entry"), row.text("environment"))
        if cell in first:
            told = f"entry {cell[0]} has a mean in {cell[1]} already, on line {first[cell]}"
            findings.append(row.finding("cell_twice", told, "mean", "Give one mean for each entry and environment"))
        first.setdefault(cell, row.line)

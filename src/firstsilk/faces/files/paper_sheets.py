"""How does a sheet filled in by hand get in as a table, and go out as one to fill in?"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.files.tables import TableRow, read_table
from firstsilk.science.flowering.paper_boxes import BAG_BOXES, BOXES, HIGHEST_COUNT, Line

SHEET_COLUMNS = ("sheet", "line")
OTHER_COLUMNS = ("row", "male", "bag")
BOX_KEYS = tuple(dict.fromkeys(box.key for boxes in (*BOXES.values(), BAG_BOXES) for box in boxes))


def read_keyed_sheets(path: str | Path) -> Mapping[str, Mapping[int, Line]]:
    """Read lines of sheets ``sheet, line[, row][, male][, bag]`` and a column for each box: by sheet, by place from 0.

    An empty cell is an empty box; a line whose boxes are all empty is keyed as empty. `row` is needed for lines written
    by hand alone, `bag` on bag sheets.

    Raises
    ------
    InputRefused
        A column or cell missing or wrong, a line twice, a column that is no box.
    """
    table = read_table(path)
    table.need(*SHEET_COLUMNS)
    table.need_rows()
    findings = [_unknown(table.file, column) for column in table.columns if column not in _KNOWN]
    sheets: dict[str, dict[int, Line]] = {}
    seen: dict[str, int] = {}
    for row in table.rows:
        sheet, at = row.text("sheet"), row.whole("line", findings)
        if not sheet:
            findings.append(row.finding("cell_empty", "the sheet's code is missing", "sheet", "Write it"))
        if at is None or at < 1:
            findings.append(row.finding("out_of_range", "lines count from 1", "line", "Write the place on the sheet"))
            continue
        findings += row.find_twice(seen, f"{sheet} {at}", "this line", "line_twice", "line", "Keep one of the two")
        line = Line(row.text("row"), row.text("male"), _read_boxes(row, table.columns, findings), row.text("bag"))
        sheets.setdefault(sheet, {})[at - 1] = line
    stop_if_any(findings)
    return sheets


_KNOWN = {*SHEET_COLUMNS, *OTHER_COLUMNS, *BOX_KEYS, "line_name"}


def _read_boxes(row: TableRow, columns: tuple[str, ...], findings: list[Finding]) -> tuple[tuple[str, int], ...]:
    values = []
    for key in BOX_KEYS:
        if key not in columns or not row.text(key):
            continue
        value = row.whole(key, findings)
        if value is not None and not 0 <= value <= HIGHEST_COUNT:
            told = f"{key} lies from 0 to {HIGHEST_COUNT:,}"
            findings.append(row.finding("out_of_range", told, key, "Look at the paper again"))
        elif value is not None:
            values.append((key, value))
    return tuple(values)


def _unknown(file: str, column: str) -> Finding:
    told, repair = f"{column!r} is no box of a sheet", f"Boxes: {', '.join(BOX_KEYS)}"
    return Finding("column_unknown", told, Place(file, 1, column), column, repair)

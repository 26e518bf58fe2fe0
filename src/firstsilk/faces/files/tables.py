"""How does a table get in from a file, and out again, without losing where each cell came from?

CSV (UTF-8, header, ISO dates, `.` decimals, empty = missing), XLSX and Parquet, by extension. Every cell is
read as text and keeps its line, so that a complaint can name file, line, column and value.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
import sys
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from firstsilk.answers import Finding, InputRefused, Place, stop_if_any
from firstsilk.faces.files.guard import check_archive, check_upload

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
WRITTEN = (".csv", ".txt", "", ".xlsx", ".parquet")
"""Extensions of the tables that are written; the first three are CSV."""
LARGEST_WHOLE = 2**53
"""Beyond this a number read as a decimal is no longer the whole number that was written (IEEE 754 binary64)."""

FIRST_YEAR, LAST_YEAR = 1850, 2200
"""No field records lie outside these years. Our own choice, no source."""

_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a table as text, with the line it stood on (the header is line 1)."""

    file: str
    line: int
    cells: Mapping[str, str]

    def place(self, column: str = "") -> Place:
        """Where a cell of this row stands."""
        return Place(self.file, self.line, column)

    def text(self, column: str) -> str:
        """The trimmed text of a cell; empty if missing."""
        return self.cells.get(column, "").strip()

    def number(self, column: str, findings: list[Finding]) -> float | None:
        """A finite number, or None if the cell is empty; a finding is added if it is neither."""
        found = self.text(column)
        if not found:
            return None
        value = float(found) if _PLAIN_NUMBER.fullmatch(found) else math.nan
        if not math.isfinite(value):
            repair = "Write a plain number such as 12.5, or leave the cell empty"
            if "," in found:
                repair = f"Write the decimal with a point: {found.replace(',', '.')}"
            findings.append(self.finding("not_a_number", "this is not a number", column, repair))
            return None
        return value

    def whole(self, column: str, findings: list[Finding]) -> int | None:
        """A whole number, or None if empty; a finding is added if it is neither."""
        value = self.number(column, findings)
        if value is None:
            return None
        if abs(value) > LARGEST_WHOLE:
            findings.append(self.finding("number_too_large", "this number is too large", column, "Check the digits"))
            return None
        if value != int(value):
            findings.append(self.finding("not_whole", "a whole number is wanted here", column, f"Write {round(value)}"))
            return None
        return int(value)

    def day(self, column: str, findings: list[Finding]) -> date | None:
        """An ISO date, or None if empty; a finding is added if it is neither."""
        found = self.text(column)
        if not found:
            return None
        repair = "Write dates as year-month-day: 2031-05-18"
        try:
            day = read_iso_date(found[:10]) if found[10:] in ("", " 00:00:00", "T00:00:00") else _no_date()
        except ValueError:
            findings.append(self.finding("not_a_date", "this is not a date", column, repair))
            return None
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            told = f"the year must lie in {FIRST_YEAR} to {LAST_YEAR}"
            findings.append(self.finding("year_far_off", told, column, "Check the year"))
            return None
        return day

    def find_twice(
        self, first_line: dict[str, int], key: str, what: str, code: str, column: str, repair: str
    ) -> list[Finding]:
        """A finding if a key was met before, on another line; `first_line` keeps where each was met first."""
        met = first_line.setdefault(key, self.line)
        if met == self.line:
            return []
        return [self.finding(code, f"{what} is there twice, first on line {met}", column, repair)]

    def finding(self, code: str, message: str, column: str = "", repair: str = "", stops: bool = True) -> Finding:
        """A finding about a cell of this row."""
        return Finding(code, message, self.place(column), self.text(column) if column else "", repair, stops)


def read_iso_date(text: str) -> date:
    """A date written year-month-day and in no other way of the calendar; raises `ValueError` otherwise."""
    return date.fromisoformat(text) if _ISO_DATE.fullmatch(text) else _no_date()


def _no_date() -> date:
    raise ValueError("not a date")


@dataclass(frozen=True, slots=True)
class Table:
    """A whole table as text: file name, column names in order, rows."""

    file: str
    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]

    def need_rows(self) -> None:
        """Raise `InputRefused` if there is nothing under the header."""
        if not self.rows:
            raise InputRefused(f"{self.file}: there is no line under the header. Fill the table in.")

    def need(self, *columns: str) -> None:
        """Raise `InputRefused` naming each wanted column that is absent."""
        have = ", ".join(self.columns) or "none"
        stop_if_any(
            Finding(
                "column_missing",
                f"column {column!r} is missing",
                Place(self.file, 1, column),
                repair=f"The columns found are: {have}. Add {column} to the header line",
            )
            for column in columns
            if column not in self.columns
        )


def read_table(path: str | Path, name: str = "", corner: str = "") -> Table:
    """Read a CSV, XLSX or Parquet file as text cells.

    Parameters
    ----------
    path
        The file; the extension decides how it is read. ``-`` is standard input, as CSV.
    name
        The name to use in complaints; the file's own name if empty.
    corner
        The first column's name where the header leaves it empty, as matrices with names often do.

    Returns
    -------
    Table
        All cells as text, with their lines. Wholly empty lines are left out.

    Raises
    ------
    InputRefused
        If the file is absent, empty, not UTF-8, has a column twice, or a line with too many cells.
    """
    if str(path) == "-":
        if sys.stdin is None:
            raise InputRefused("standard input: it is closed. Send the table there, or name a file.")
        return _table_from_csv(sys.stdin.buffer.read(), name or "standard input", corner)
    path = Path(path)
    name = name or path.name
    if not path.is_file():
        raise InputRefused(f"{name}: there is no such file. Check the name and the folder.")
    suffix = path.suffix.lower()
    if suffix == ".xlsx":
        check_archive(path.read_bytes(), name)
    if suffix in (".xlsx", ".parquet"):
        return _table_from_frame(path, name, suffix, corner)
    return _table_from_csv(path.read_bytes(), name, corner)


def table_from_bytes(content: bytes, name: str) -> Table:
    """Read an uploaded table; the extension of `name` decides how. Same promises as `read_table`."""
    check_upload(content, name)
    suffix = Path(name).suffix.lower()
    if suffix in (".xlsx", ".parquet"):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"upload{suffix}"
            path.write_bytes(content)
            return _table_from_frame(path, name, suffix)
    return _table_from_csv(content, name)


def _table_from_csv(content: bytes, name: str, corner: str = "") -> Table:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputRefused(
            f"{name}, line {line}: a byte there is not UTF-8. Save the file as CSV UTF-8 and try again."
        ) from None
    if "\x00" in text:
        raise InputRefused(f"{name}: this is not a text file. Save the table as CSV UTF-8 and try again.")
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[tuple[int, list[str]]] = []
    first = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append((first, cells))
            first = reader.line_num + 1
    except csv.Error as error:
        raise InputRefused(
            f"{name}, line {first}: the line cannot be read as CSV ({error}). Check the quotation marks."
        ) from None
    return _table_from_lines(name, lines, corner)


def _table_from_lines(name: str, lines: Sequence[tuple[int, Sequence[str]]], corner: str = "") -> Table:
    if not lines:
        raise InputRefused(f"{name}: the file is empty. The first line must name the columns.")
    header_line, header = lines[0]
    _check_separator(name, header_line, header)
    columns = [column.strip() for column in header]
    while columns and not columns[-1]:
        columns.pop()
    if columns and not columns[0]:
        columns[0] = corner
    findings = [
        Finding(
            "column_twice", f"column {column!r} appears twice", Place(name, header_line, column), repair="Rename one"
        )
        for at, column in enumerate(columns)
        if column in columns[:at]
    ]
    findings += [
        Finding("column_nameless", f"column {at} has no name", Place(name, header_line), repair="Name it or remove it")
        for at, column in enumerate(columns, 1)
        if not column
    ]
    rows = []
    plural = "" if len(columns) == 1 else "s"
    for line, cells in lines[1:]:
        beyond = [cell for cell in cells[len(columns) :] if cell.strip()]
        if beyond:
            findings.append(
                Finding(
                    "too_many_cells",
                    f"the line has {len(cells)} cells, the header names {len(columns)} column{plural}",
                    Place(name, line),
                    beyond[0],
                    'Put text that holds commas in "quotation marks"',
                )
            )
        padded = list(cells[: len(columns)]) + [""] * (len(columns) - len(cells))
        rows.append(TableRow(name, line, dict(zip(columns, padded, strict=True))))
    stop_if_any(findings)
    return Table(name, tuple(columns), tuple(rows))


def _check_separator(name: str, line: int, header: Sequence[str]) -> None:
    """A spreadsheet of many countries writes semicolons; all columns would be taken for one."""
    for sign, word in ((";", "semicolons"), ("\t", "tabs"), ("|", "upright strokes")):
        if len(header) == 1 and sign in header[0]:
            told = f"the cells are parted by {word}, not commas"
            repair = "Save the table as CSV with commas (and decimal points)"
            found = Finding("parted_otherwise", told, Place(name, line), header[0][:60], repair)
            raise InputRefused(findings=[found])


def _table_from_frame(path: Path, name: str, suffix: str, corner: str = "") -> Table:
    try:
        if suffix == ".xlsx":
            import fastexcel

            sheet = fastexcel.read_excel(path).load_sheet(0, header_row=None, dtypes="string")
            records = [[_cell_text(cell) for cell in row] for row in sheet.to_polars().iter_rows()]
        else:
            import polars

            frame = polars.read_parquet(path)
            records = [list(frame.columns)]
            records += [[_cell_text(cell) for cell in row] for row in frame.iter_rows()]
    except Exception as error:
        kind = "spreadsheet" if suffix == ".xlsx" else "Parquet file"
        raise InputRefused(f"{name}: this cannot be read as a {kind}. Save it again, or as CSV UTF-8.") from error
    lines = [(line, cells) for line, cells in enumerate(records, 1) if any(cell.strip() for cell in cells)]
    return _table_from_lines(name, lines, corner)


def _cell_text(cell: object) -> str:
    if cell is None or (isinstance(cell, float) and math.isnan(cell)):
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == datetime.min.time() else cell.isoformat()
    if isinstance(cell, float):
        return format_number(cell)
    return str(cell)


def format_number(value: float) -> str:
    """The shortest text that reads back as the same number: ``12`` and not ``12.0``."""
    if not math.isfinite(value):
        return ""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def as_cell(value: object) -> str:
    """A value as the text of a CSV cell: missing is empty, dates ISO, truth 1 and 0."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, float):
        return format_number(value)
    return str(value)


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV text with ``\\n`` line ends.

    A text cell that a spreadsheet would take for a formula gets a leading apostrophe; numbers stay numbers.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_harmless(value) for value in row])
    return out.getvalue()


def _harmless(value: object) -> str:
    text = as_cell(value)
    if isinstance(value, str) and text.startswith(FORMULA_STARTS):
        return "'" + text
    return text


def write_table(path: str | Path | None, columns: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a table to a file by its extension, or to standard output if `path` is None or ``-``.

    The file appears whole or not at all: it is written beside its place and moved there.
    """
    if path is None or str(path) == "-":
        sys.stdout.write(csv_text(columns, rows))
        return
    path = Path(path)
    suffix = path.suffix.lower()
    handle, temporary = tempfile.mkstemp(dir=path.parent or Path("."), prefix=f".{path.name}.", suffix=suffix)
    os.close(handle)
    try:
        if suffix in (".xlsx", ".parquet"):
            _write_frame(Path(temporary), suffix, columns, [list(row) for row in rows])
        else:
            Path(temporary).write_text(csv_text(columns, rows), encoding="utf-8", newline="")
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _write_frame(path: Path, suffix: str, columns: Sequence[str], rows: list[list[object]]) -> None:
    if suffix == ".parquet":
        import polars

        polars.DataFrame(rows, schema=list(columns), orient="row", infer_schema_length=None).write_parquet(path)
        return
    import xlsxwriter

    options = {"strings_to_formulas": False, "strings_to_urls": False, "default_date_format": "yyyy-mm-dd"}
    with xlsxwriter.Workbook(str(path), options) as book:
        sheet = book.add_worksheet("table")
        sheet.write_row(0, 0, list(columns), book.add_format({"bold": True}))
        sheet.freeze_panes(1, 0)
        for at, row in enumerate(rows, 1):
            sheet.write_row(
                at,
                0,
                [cell if isinstance(cell, int | float) and math.isfinite(cell) else as_cell(cell) for cell in row],
            )

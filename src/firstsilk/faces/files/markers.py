"""How do readings of markers get in: a plain table, or the open variant call format?

A plain table has a line in each row and a marker in each column, first column `line` or `sample`; or, with the first
column `marker`, the other way round. Its cells are 0, 1, 2 (copies of one allele), or nucleotides (`A`, `AG`, `A/G`,
or one sign for two after NC-IUB 1985), and empty where nothing was read. A file that begins with ``##fileformat=VCF``
is in the variant call format, whatever its name; one that begins as gzip files do is unpacked.
"""

from __future__ import annotations

import csv
import gzip
import io
import sys
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import Finding, InputRefused, Place, stop_if_any
from firstsilk.faces.files.guard import check_marker_upload
from firstsilk.faces.files.marker_letters import count_letters, read_letters
from firstsilk.faces.files.tables import read_table
from firstsilk.faces.files.variants import is_variant_file, read_variants
from firstsilk.science.lineage.markers import MISSING, MarkerTable

BY_LINE = ("line", "sample")
BY_MARKER = "marker"
MOST_FINDINGS = 20
_GZIP = b"\x1f\x8b"
_MISSING_WORDS = frozenset({"na", "n/a", "nan", "null", "none", ".", "-9", "-1", "9", "./.", "?", "x"})

Row = NDArray[np.int8] | list[str]


@dataclass(frozen=True, slots=True)
class MarkersRead:
    """The markers of a file, and in sentences what of it was left out.

    `places` say where each sample was named, `loci` chromosome and position of each marker (empty and 0 if the file
    does not say); `letters` whether its cells were nucleotides, of which the later was counted.
    """

    table: MarkerTable
    notes: tuple[str, ...] = ()
    places: tuple[Place, ...] = ()
    loci: tuple[tuple[str, int], ...] = ()
    letters: bool = False


def read_markers(path: str | Path, called: str = "") -> MarkersRead:
    """Read markers from a plain table (CSV, XLSX, Parquet) or a VCF file, either plain or gzipped.

    Parameters
    ----------
    path
        The file; ``-`` is standard input.
    called
        Its name in complaints; the file's own if empty.

    Raises
    ------
    InputRefused
        If the file is absent, no such table, or a cell is no reading: file, line, column, value, repair.
    """
    name = called or ("standard input" if str(path) == "-" else Path(path).name)
    if Path(path).suffix.lower() in (".xlsx", ".parquet"):
        table = read_table(path, name)
        rows = [(row.line, row.text(table.columns[0]), [row.text(c) for c in table.columns[1:]]) for row in table.rows]
        return _table_from_rows(name, table.columns, iter(rows))
    if str(path) != "-" and not Path(path).is_file():
        raise InputRefused(f"{name}: there is no such file. Check the name and the folder.")
    with _open(path, name) as stream:
        first = stream.readline().removeprefix(b"\xef\xbb\xbf")
        if is_variant_file(first):
            found = read_variants(stream, name)
            places = tuple(Place(name, found.header_line, sample) for sample in found.table.samples)
            return MarkersRead(found.table, found.notes, places, found.loci)
        columns = tuple(cell.strip() for cell in _split(first, name, 1))
        return _table_from_rows(name, columns, _walk_rows(stream, name, len(columns)))


def markers_from_bytes(content: bytes, name: str) -> MarkersRead:
    """Read uploaded markers; the extension of `name` decides how. Same promises as `read_markers`."""
    check_marker_upload(content, name)
    suffix = Path(name).suffix.lower()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"upload{suffix if suffix in ('.xlsx', '.parquet') else ''}"
        path.write_bytes(content)
        return read_markers(path, name)


@contextmanager
def _open(path: str | Path, name: str) -> Iterator[BinaryIO]:
    """The bytes of a file, unpacked if they are packed; a packed file that is broken is refused while it is read."""
    if str(path) == "-" and sys.stdin is None:
        raise InputRefused("standard input: it is closed. Send the markers there, or name a file.")
    raw: BinaryIO = io.BufferedReader(sys.stdin.buffer) if str(path) == "-" else open(path, "rb")  # type: ignore[arg-type]  # noqa: SIM115
    try:
        packed = raw.peek(2)[:2] == _GZIP  # type: ignore[attr-defined]
        yield gzip.GzipFile(fileobj=raw) if packed else raw  # type: ignore[misc]
    except (EOFError, gzip.BadGzipFile, zlib.error):
        raise InputRefused(f"{name}: the packed file is broken or cut short. Fetch it again.") from None
    finally:
        raw.close()


def _walk_rows(stream: BinaryIO, name: str, width: int) -> Iterator[tuple[int, str, Row]]:
    """Line, name and cells of each row of a CSV file: doses at once where all cells have one digit or none."""
    for line, raw in enumerate(stream, 2):
        raw = raw.rstrip(b"\r\n")
        if not raw.strip(b", \t"):
            continue
        first, _, rest = raw.partition(b",")
        doses = _read_doses(rest, width - 1) if b'"' not in raw else None
        if doses is not None:
            yield line, _decode(first, name, line).strip(), doses
            continue
        cells = [cell.strip() for cell in _split(raw, name, line)]
        if len(cells) != width:
            told = f"the line has {len(cells)} cells, the header names {width} columns"
            repair = "Leave a cell empty where nothing was read, but keep its comma"
            raise InputRefused(findings=[Finding("cells_miscounted", told, Place(name, line), cells[0], repair)])
        yield line, cells[0], cells[1:]


def _read_doses(rest: bytes, cells: int) -> NDArray[np.int8] | None:
    """The doses of a row whose cells hold one of 0, 1, 2 or nothing; None for any other row."""
    signs = np.frombuffer(rest + b",", dtype=np.uint8)
    ends = np.flatnonzero(signs == ord(","))
    if len(ends) != cells:
        return None
    starts = np.empty_like(ends)
    starts[0] = 0
    starts[1:] = ends[:-1] + 1
    lengths = ends - starts
    if lengths.max() > 1:
        return None
    doses = signs[starts].astype(np.int16) - ord("0")
    doses[lengths == 0] = MISSING
    return doses.astype(np.int8) if doses.min() >= MISSING and doses.max() <= 2 else None


def _split(raw: bytes, name: str, line: int) -> list[str]:
    try:
        return next(csv.reader([_decode(raw, name, line).rstrip("\r\n")], strict=True), [])
    except csv.Error as error:
        told = f"{name}, line {line}: the line cannot be read as CSV ({error}). Check the quotation marks."
        raise InputRefused(told) from None


def _decode(raw: bytes, name: str, line: int) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        told = f"{name}, line {line}: a byte there is not UTF-8. Save the file as CSV UTF-8 and try again."
        raise InputRefused(told) from None


def _table_from_rows(name: str, columns: tuple[str, ...], rows: Iterator[tuple[int, str, Row]]) -> MarkersRead:
    """Names and readings of all rows as a table of lines by markers."""
    _check_header(name, columns)
    beside = columns[1:]
    names: list[str] = []
    first: dict[str, int] = {}
    kept: list[NDArray[np.int8]] = []
    findings: list[Finding] = []
    letters: bool | None = None
    for line, own, cells in rows:
        findings += _check_name(name, line, columns[0], own, first)
        if letters is None:
            letters = _find_kind(cells)
        if isinstance(cells, list):
            read = read_letters if letters else _read_digits
            cells = read(cells, beside, name, line, findings)
        elif letters:
            cells = read_letters([str(dose) for dose in cells], beside, name, line, findings)
        if len(findings) >= MOST_FINDINGS:
            break
        names.append(own)
        kept.append(cells)
    stop_if_any(findings)
    if not kept:
        raise InputRefused(f"{name}: there is no line under the header. Fill the table in.")
    matrix = np.stack(kept)
    by_marker = columns[0].casefold() == BY_MARKER
    if by_marker:
        matrix = matrix.T
    samples, markers = (beside, tuple(names)) if by_marker else (tuple(names), beside)
    lines = tuple(first[own] for own in names)
    if letters:
        matrix = count_letters(matrix, samples, markers, name, lines, by_marker)
    places = tuple(Place(name, 1, one) for one in beside) if by_marker else tuple(
        Place(name, line, columns[0]) for line in lines
    )  # fmt: skip
    return MarkersRead(MarkerTable(samples, markers, matrix), (), places, (), bool(letters))


def _find_kind(cells: Row) -> bool | None:
    """Whether a row holds nucleotides: its first cell that holds anything tells; None if none does."""
    if not isinstance(cells, list):
        return False if (cells >= 0).any() else None
    told = next((cell for cell in cells if cell), "")
    return None if not told else told[0].isalpha() and told.casefold() not in _MISSING_WORDS


def _check_header(name: str, columns: tuple[str, ...]) -> None:
    if not columns or columns[0].casefold() not in (*BY_LINE, BY_MARKER):
        told = "the first column must be line (or sample) with a marker in each column, or marker with a line in each"
        raise InputRefused(
            findings=[
                Finding(
                    "no_marker_table", told, Place(name, 1), columns[0] if columns else "", "Name it so, with commas"
                )
            ]
        )
    seen: set[str] = set()
    findings = []
    for at, column in enumerate(columns, 1):
        if not column:
            findings.append(Finding("column_nameless", f"column {at} has no name", Place(name, 1), repair="Name it"))
        elif column in seen:
            told = f"column {column!r} appears twice"
            findings.append(Finding("column_twice", told, Place(name, 1, column), repair="Rename one"))
        seen.add(column)
    if len(columns) == 1:
        findings.append(Finding("no_markers", "there is no column beside the first", Place(name, 1), repair="Add some"))
    stop_if_any(findings[:MOST_FINDINGS])


def _check_name(file: str, line: int, column: str, own: str, first: dict[str, int]) -> list[Finding]:
    place = Place(file, line, column)
    if not own:
        return [Finding("name_missing", "this row has no name", place, repair="Fill it in")]
    if first.setdefault(own, line) != line:
        told = f"it is there twice, first on line {first[own]}"
        return [Finding("name_twice", told, place, own, "Keep one, or give the second sample a name of its own")]
    return []


def _read_digits(
    cells: list[str], columns: tuple[str, ...], file: str, line: int, findings: list[Finding]
) -> NDArray[np.int8]:
    doses = np.full(len(cells), MISSING, dtype=np.int8)
    for at, cell in enumerate(cells):
        if cell in ("0", "1", "2"):
            doses[at] = int(cell)
        elif cell and len(findings) < MOST_FINDINGS:
            place = Place(file, line, columns[at])
            findings.append(Finding("no_dose", "this is neither 0, 1, 2 nor empty", place, cell, _find_repair(cell)))
    return doses


def _find_repair(cell: str) -> str:
    if cell.casefold() in _MISSING_WORDS:
        return "Leave the cell empty where nothing was read"
    if cell.replace(".", "", 1).isdecimal():
        return "Write the whole number of copies of the counted allele"
    return "Write 0, 1 or 2, or nucleotides in the whole table"

"""How does the sheet get in that says which plant each marker sample was, and the map of a panel?"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.files.markers import MarkersRead
from firstsilk.faces.files.tables import Table, read_table, table_from_bytes
from firstsilk.work.lineage.marker_given import MarkersGiven, SampleGiven

SHEET_COLUMNS = ("sample", "line", "lot", "row", "sampled_on")
MAP_COLUMNS = ("marker", "chromosome", "position_bp")
MOST_FINDINGS = 20


def give_markers(read: MarkersRead, sheet: Table | None = None, of_map: Table | None = None) -> MarkersGiven:
    """Markers as the books take them: each sample with what its sheet says, each marker with its place.

    Parameters
    ----------
    read
        The markers of a file.
    sheet
        ``sample[, line][, lot][, row][, sampled_on]``; a sample without a row in it is of the line of its own name.
    of_map
        ``marker, chromosome, position_bp`` where the file of markers does not say it.

    Raises
    ------
    InputRefused
        A column missing, a sample or marker that the file does not hold, one twice, a day or number that is none.
    """
    told = _read_sheet(sheet, read) if sheet is not None else {}
    samples = tuple(
        told.get(name, SampleGiven(name, name, place=place))
        for name, place in zip(read.table.samples, read.places, strict=True)
    )
    loci = _read_map(of_map, read) if of_map is not None else read.loci
    source = read.places[0].file
    return MarkersGiven(read.table, samples, loci, read.letters, source, read.notes)


def read_sheet_file(path: str | Path) -> Table:
    """The table of a sheet or a map."""
    return read_table(path)


def sheet_from_bytes(content: bytes, name: str) -> Table:
    """The table of an uploaded sheet or map."""
    return table_from_bytes(content, name)


def _read_sheet(sheet: Table, read: MarkersRead) -> dict[str, SampleGiven]:
    sheet.need("sample")
    sheet.need_rows()
    findings: list[Finding] = [
        Finding("column_unknown", "this column is not known", Place(sheet.file, 1, column), column,
                f"The columns are: {', '.join(SHEET_COLUMNS)}")
        for column in sheet.columns if column not in SHEET_COLUMNS
    ]  # fmt: skip
    known, first = set(read.table.samples), dict[str, int]()
    told = {}
    for row in sheet.rows:
        sample = row.text("sample")
        if sample not in known:
            repair = "Write it as in the file of markers, or remove the line"
            findings.append(row.finding("sample_unknown", "this sample has no markers in the file", "sample", repair))
        findings += row.find_twice(first, sample, "this sample", "sample_twice", "sample", "Keep one")
        told[sample] = SampleGiven(
            sample,
            row.text("line") or sample,
            row.text("lot"),
            row.text("row"),
            row.day("sampled_on", findings),
            row.place("line" if row.text("line") else "sample"),
        )
    stop_if_any(findings[:MOST_FINDINGS])
    return told


def _read_map(of_map: Table, read: MarkersRead) -> tuple[tuple[str, int], ...]:
    of_map.need(*MAP_COLUMNS)
    findings: list[Finding] = []
    known, first = set(read.table.markers), dict[str, int]()
    told: dict[str, tuple[str, int]] = {}
    for row in of_map.rows:
        marker, at = row.text("marker"), row.whole("position_bp", findings)
        if marker not in known:
            # A map of a whole chip may hold more than was read.
            continue
        findings += row.find_twice(first, marker, "this marker", "marker_twice", "marker", "Keep one")
        if at is not None and at < 0:
            findings.append(row.finding("position_odd", "a position is not below 0", "position_bp", "Correct it"))
        told[marker] = (row.text("chromosome"), at or 0)
    stop_if_any(findings[:MOST_FINDINGS])
    return _in_order(told, read)


def _in_order(told: Mapping[str, tuple[str, int]], read: MarkersRead) -> tuple[tuple[str, int], ...]:
    return tuple(told.get(marker, ("", 0)) for marker in read.table.markers)

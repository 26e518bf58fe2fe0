"""What stands in the tables that a station brings, and what is wrong with them?

A folder, or a set of uploaded files, becomes frozen values plus every finding; nothing stops at the first.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from firstsilk.answers import Finding, InputRefused, Place
from firstsilk.faces.files.cells import read_cell
from firstsilk.faces.files.tables import Table, TableRow, read_table, table_from_bytes
from firstsilk.work.bring.layouts import LAYOUTS, Layout, layout_of
from firstsilk.work.bring.names import find_nearest
from firstsilk.work.bring.tables import (
    DayGiven,
    Given,
    LineGiven,
    LotGiven,
    PlotGiven,
    RowGiven,
    SiteGiven,
    StationGiven,
    StationTables,
)

SUFFIXES = (".csv", ".xlsx")
GIVEN: dict[str, type[Given]] = {
    "station": StationGiven,
    "sites": SiteGiven,
    "weather": DayGiven,
    "lines": LineGiven,
    "lots": LotGiven,
    "rows": RowGiven,
    "plots": PlotGiven,
}


def read_station_folder(folder: str | Path) -> StationTables:
    """Read all tables of a folder.

    Parameters
    ----------
    folder
        Holds ``station.csv``, ``sites.csv`` and so on, or the same as ``.xlsx``.

    Returns
    -------
    StationTables
        What could be read, and every finding.

    Raises
    ------
    InputRefused
        Only if there is no such folder, or no table in it.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise InputRefused(f"{folder}: there is no such folder. Name the folder that holds station.csv and sites.csv.")
    paths = sorted(path for path in folder.iterdir() if path.is_file() and not path.name.startswith((".", "~$")))
    if not paths:
        raise InputRefused(f"{folder}: there is no table in this folder. Put station.csv, sites.csv and so on in it.")
    return _read_files(folder.name, [path.name for path in paths], lambda name: read_table(folder / name))


def read_station_files(files: Mapping[str, bytes], source: str = "upload") -> StationTables:
    """Read the tables of uploaded files, by file name. Same promises as `read_station_folder`."""
    return _read_files(source, sorted(files), lambda name: table_from_bytes(files[name], name))


def _read_files(source: str, names: Sequence[str], read: Any) -> StationTables:
    findings: list[Finding] = []
    chosen = _choose_files(names, findings)
    tables: dict[str, tuple[Given, ...]] = {}
    unread: list[str] = []
    for layout in LAYOUTS:
        if layout.name not in chosen:
            continue
        try:
            table = read(chosen[layout.name])
        except InputRefused as error:
            findings += _as_findings(error, chosen[layout.name])
            unread.append(layout.name)
            continue
        rows = _read_rows(table, layout, findings)
        if rows is None:
            unread.append(layout.name)
        tables[layout.name] = rows or ()
    absent = tuple(layout.name for layout in LAYOUTS if layout.name not in chosen)
    return StationTables(
        source=source,
        absent=absent,
        unread=tuple(unread),
        findings=tuple(findings),
        **tables,  # type: ignore[arg-type]
    )


def _choose_files(names: Sequence[str], findings: list[Finding]) -> dict[str, str]:
    chosen: dict[str, str] = {}
    known = frozenset(layout.name for layout in LAYOUTS)
    for name in names:
        stem, suffix = Path(name).stem.casefold(), Path(name).suffix.casefold()
        if stem in known and suffix in SUFFIXES:
            if stem in chosen:
                repair = f"Keep one of {chosen[stem]} and {name}"
                findings.append(Finding("table_twice", f"the table {stem!r} is here twice", Place(name), name, repair))
            chosen.setdefault(stem, name)
            continue
        nearest = find_nearest(stem, known)
        repair = f"Did you mean {nearest}.csv?" if nearest else "Remove it, or name it as one of the tables"
        if stem in known:
            repair = f"Save it as {stem}.csv or {stem}.xlsx"
        findings.append(Finding("file_unknown", "this file is not read", Place(name), name, repair, stops=False))
    return chosen


def _as_findings(error: InputRefused, name: str) -> list[Finding]:
    """A file that cannot be read at all, as findings with its line."""
    if error.findings:
        return list(error.findings)
    told = re.match(rf"{re.escape(name)}(?:, line (\d+))?: (.*?)\. (.*)$", str(error))
    if not told:
        return [Finding("file_unreadable", str(error), Place(name))]
    line = int(told[1]) if told[1] else None
    return [Finding("file_unreadable", told[2], Place(name, line), repair=told[3].rstrip("."))]


def _read_rows(table: Table, layout: Layout, findings: list[Finding]) -> tuple[Given, ...] | None:
    """The rows as values; None if the columns that tell rows apart are not there."""
    lacking = _check_columns(table, layout, findings)
    temperatures = _temperature_columns(table, findings) if layout.name == "weather" else {}
    if temperatures is None or lacking & set(layout.key):
        return None
    kept = [column for column in layout.columns if column.name in table.columns]
    rows: list[Given] = []
    for row in table.rows:
        if _is_example(row, layout):
            message = "this is the example row of the blank table"
            findings.append(row.finding("example_row", message, layout.key[0], "Remove this line"))
            continue
        values = {column.name: read_cell(row, column, findings) for column in kept}
        if layout.name == "weather":
            values = _in_celsius(values, temperatures)
        rows.append(GIVEN[layout.name](at_file=table.file, at_line=row.line, **values))  # type: ignore[arg-type]
    # A table that holds nothing but its example is told so once, and not also that it is empty.
    return tuple(rows) if rows or not table.rows else None


def _check_columns(table: Table, layout: Layout, findings: list[Finding]) -> set[str]:
    """Name unknown columns and missing ones; return the missing wanted ones."""
    lacking = {column.name for column in layout.columns if column.wanted and column.name not in table.columns}
    free = frozenset(name for name in layout.names if name not in table.columns)
    meant: dict[str, str] = {}
    for column in table.columns:
        if column in layout.names:
            continue
        nearest = find_nearest(column, free)
        meant.setdefault(nearest, column)
        repair = f"Did you mean {nearest!r}?" if nearest else f"The columns are: {', '.join(layout.names)}"
        message = f"the column {column!r} is not known and is not read"
        findings.append(Finding("column_unknown", message, Place(table.file, 1, column), column, repair, stops=False))
    for name in layout.names:
        if name in lacking:
            repair = f"Rename {meant[name]!r} to {name!r}" if name in meant else f"Add {name} to the header line"
            message = f"the column {name!r} is missing: {layout.column(name).says}"
            findings.append(Finding("column_missing", message, Place(table.file, 1, name), meant.get(name, ""), repair))
    return lacking


def _temperature_columns(table: Table, findings: list[Finding]) -> dict[str, str] | None:
    """Which columns hold the temperatures: tmin_c and tmax_c, or tmin_f and tmax_f; None if neither pair is whole."""
    in_c = [name for name in ("tmin_c", "tmax_c") if name in table.columns]
    in_f = [name for name in ("tmin_f", "tmax_f") if name in table.columns]
    if len(in_c) == 2 and not in_f:
        return {"tmin": "tmin_c", "tmax": "tmax_c"}
    if len(in_f) == 2 and not in_c:
        return {"tmin": "tmin_f", "tmax": "tmax_f"}
    have = [*in_c, *in_f]
    message = "the temperatures must be in tmin_c and tmax_c, or in tmin_f and tmax_f"
    repair = f"The temperature columns found are: {', '.join(have) or 'none'}. Keep one whole pair"
    column = have[0] if have else "tmin_c"
    findings.append(Finding("temperature_columns", message, Place(table.file, 1, column), ", ".join(have), repair))
    return None


def _in_celsius(values: dict[str, Any], temperatures: Mapping[str, str]) -> dict[str, Any]:
    in_f = temperatures["tmin"] == "tmin_f"
    kept = {name: value for name, value in values.items() if not name.startswith(("tmin", "tmax"))}
    for short, column in temperatures.items():
        value = values[column]
        kept[f"{short}_c"] = (value - 32.0) / 1.8 if in_f and value is not None else value
    return {**kept, "in_fahrenheit": in_f}


def _is_example(row: TableRow, layout: Layout) -> bool:
    filled = [column for column in layout.columns if column.example]
    return len(row.cells) > 1 and all(row.text(column.name) == column.example for column in filled)


def blank_table(name: str) -> tuple[tuple[str, ...], tuple[object, ...]]:
    """The header and the one example row of a blank table, numbers as numbers."""
    layout = layout_of(name)
    shown = [column for column in layout.columns if not column.name.endswith("_f")]
    return tuple(column.name for column in shown), tuple(_typed(column.kind, column.example) for column in shown)


def _typed(kind: str, example: str) -> object:
    if not example or kind not in ("number", "whole", "truth"):
        return example
    return float(example) if kind == "number" else int(example)

"""How does a table of plot data get in, as a harvester or a cooperator fills it?"""

from __future__ import annotations

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.files.tables import Table, TableRow
from firstsilk.work.bring.names import find_nearest
from firstsilk.work.trials.plot_data import PlotReading

NUMBERS = ("weight_kg", "moisture_pct", "test_weight_kg_hl")
COUNTS = ("stand", "root_lodged", "stalk_lodged")
READ = ("plot", *NUMBERS, *COUNTS, "rejected", "entry", "trial")
PASSED_OVER = frozenset(
    {"rep", "block", "field_row", "field_col", "check", "tag", "order", "lot", "kernels", "site", "year", "series"}
)
BLANK_COLUMNS = ("plot", "entry", *NUMBERS, *COUNTS, "rejected")


def read_plot_readings(table: Table, trial: str) -> tuple[tuple[PlotReading, ...], tuple[Finding, ...]]:
    """Read a table of plot data for one trial.

    Parameters
    ----------
    table
        Columns ``plot`` and any of ``weight_kg, moisture_pct, test_weight_kg_hl, stand, root_lodged, stalk_lodged,
        rejected``; ``entry`` and ``trial`` are compared with the books where they are given.
    trial
        The trial it is for.

    Returns
    -------
    tuple
        The readings, and findings that do not stop: columns that are not read.

    Raises
    ------
    InputRefused
        If a column looks like a renamed one, ``plot`` is absent, no column tells anything, or a cell is unreadable.
    """
    findings = _check_columns(table)
    stop_if_any(findings)
    table.need("plot")
    readings = []
    for row in table.rows:
        named = row.text("trial")
        if named and named != trial:
            repair = f"This page is for {trial}: leave out lines of other trials"
            findings.append(row.finding("other_trial", "the line is for another trial", "trial", repair))
        readings.append(_read_row(row, findings))
    if not table.rows:
        findings.append(Finding("no_rows", "the table has no lines", Place(table.file, 1), repair="Fill it in"))
    stop_if_any(findings)
    return tuple(one for one in readings if one is not None), tuple(findings)


def _check_columns(table: Table) -> list[Finding]:
    findings = []
    absent = frozenset(READ) - set(table.columns)
    for column in table.columns:
        if column in READ or column in PASSED_OVER:
            continue
        near = _nearest(column, absent)
        place = Place(table.file, 1, column)
        if near:
            message = "this column has another name here"
            findings.append(Finding("column_renamed", message, place, column, f"Did you mean {near!r}? Rename it"))
        else:
            message = "this column is not read"
            findings.append(
                Finding("column_not_read", message, place, column, "Nothing to do if so meant", stops=False)
            )
    told = set(table.columns) & {*NUMBERS, *COUNTS, "rejected"}
    if not told and not any(one.stops for one in findings):
        place = Place(table.file, 1)
        repair = f"Name at least one of: {', '.join((*NUMBERS, *COUNTS))}"
        findings.append(Finding("nothing_told", "no column tells anything of the plots", place, repair=repair))
    return findings


def _nearest(column: str, absent: frozenset[str]) -> str:
    """The known column that was probably meant: nearest in spelling, or without its unit."""
    near = find_nearest(column, absent)
    if near:
        return near
    plain = column.strip().casefold().replace(" ", "_").replace("-", "_")
    return next((name for name in sorted(absent) if len(plain) > 3 and _alike(plain, name)), "")


def _alike(plain: str, name: str) -> bool:
    stem = name.removesuffix("_kg_hl").removesuffix("_kg").removesuffix("_pct")
    return plain.startswith(stem) or stem.startswith(plain) or plain.endswith(f"_{stem}")


def _read_row(row: TableRow, findings: list[Finding]) -> PlotReading | None:
    plot = row.whole("plot", findings)
    if plot is None and not row.text("plot"):
        findings.append(row.finding("plot_missing", "the plot number is missing", "plot", "Write the plot's number"))
    weight, moisture, test_weight = (row.number(column, findings) for column in NUMBERS)
    stand, root, stalk = (row.whole(column, findings) for column in COUNTS)
    if plot is None:
        return None
    rejected, entry = row.text("rejected"), row.text("entry")
    return PlotReading(plot, weight, moisture, test_weight, stand, root, stalk, rejected, entry, row.place())

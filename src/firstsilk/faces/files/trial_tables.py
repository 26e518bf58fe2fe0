"""How does a table of one trial's plots get in, so that they can be doubted?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from firstsilk.answers import Finding, InputRefused, stop_if_any
from firstsilk.faces.files.tables import Table, TableRow, read_table
from firstsilk.science.analysis.trial_plots import TrialPlots, arrange_trial
from firstsilk.science.analysis.two_way import LARGEST
from firstsilk.work.analysis.plot_findings import PlotLabel


@dataclass(frozen=True, slots=True)
class PlotColumns:
    """What the columns of the table are called; empty: there is none. `responses` are the traits."""

    responses: tuple[str, ...]
    entry: str
    rep: str = ""
    row: str = ""
    column: str = ""
    order: str = ""
    plot: str = ""


def read_trial_plots(path: str | Path, names: PlotColumns) -> tuple[TrialPlots, tuple[PlotLabel, ...]]:
    """Read one trial: its plots in harvest order, and how each is called, in the order of the table.

    Parameters
    ----------
    path
        The table, one line a plot; a plot without a value has an empty cell.
    names
        Its columns.

    Raises
    ------
    InputRefused
        If a column is absent, a cell is unreadable, an entry or the replicate of a plot with a value has no name, or
        two plots lie on one place or have one place in order (file, line, column, value).
    """
    table = read_table(path)
    wanted = (*names.responses, names.entry, names.rep, names.row, names.column, names.order, names.plot)
    table.need(*(name for name in wanted if name))
    table.need_rows()
    findings: list[Finding] = []
    values = {name: [_read_value(row, name, findings) for row in table.rows] for name in names.responses}
    for row in table.rows:
        findings += [
            row.finding("name_missing", "this cell is empty", name, "Fill it in, or leave the line out")
            for name in (names.entry, names.rep)
            if name and not row.text(name) and (name == names.entry or any(map(row.text, names.responses)))
        ]
    places = [_read_wholes(table, name, findings) for name in (names.row, names.column)]
    order = [row.number(names.order, findings) for row in table.rows] if names.order else None
    findings += _find_twice(table, (names.row, names.column)) if names.row and names.column else []
    findings += _find_twice(table, (names.order,)) if names.order else []
    stop_if_any(findings[:20])
    try:
        trial = arrange_trial(
            values,
            [row.text(names.entry) for row in table.rows],
            [row.text(names.rep) for row in table.rows] if names.rep else None,
            *places,
            None if order is None else [math.nan if one is None else one for one in order],
        )
    except InputRefused as no:
        raise InputRefused(f"{table.file}: {no}") from None
    return trial, tuple(
        PlotLabel(row.text(names.plot) if names.plot else f"line {row.line}", row.place()) for row in table.rows
    )


def _read_value(row: TableRow, name: str, findings: list[Finding]) -> float:
    value = row.number(name, findings)
    if value is not None and abs(value) > LARGEST:
        findings.append(row.finding("number_too_large", "this number is too large", name, "Check the digits"))
    return math.nan if value is None else value


def _read_wholes(table: Table, name: str, findings: list[Finding]) -> list[int] | None:
    if not name:
        return None
    wholes = [row.whole(name, findings) for row in table.rows]
    for row, whole in zip(table.rows, wholes, strict=True):
        if whole is None and not row.text(name):
            findings.append(row.finding("place_missing", "the plot has no place here", name, "Give its number"))
    return [0 if one is None else one for one in wholes]


def _find_twice(table: Table, columns: tuple[str, ...]) -> list[Finding]:
    met: dict[str, int] = {}
    found: list[Finding] = []
    for row in table.rows:
        key = " ".join(row.text(name) for name in columns)
        if not all(row.text(name) for name in columns):
            if len(columns) == 1:
                told = "the plot has no place in harvest order"
                found.append(row.finding("place_missing", told, columns[0], "Give its number"))
            continue
        repair = "Give each plot its own, and one trial at a time"
        what = f"{', '.join(columns)} {key}"
        found += row.find_twice(met, key, what, "place_twice", columns[-1], repair)
    return found

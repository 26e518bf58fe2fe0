"""Which doors do trials have? `design`: lay out a trial."""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.answers import Finding, InputRefused, NotBuilt, stop_if_any
from firstsilk.faces.command.giving import AsJson, Out, give_json, say
from firstsilk.faces.files.tables import TableRow, read_table, write_table
from firstsilk.science.trials.designs import (
    DesignEntry,
    DesignPlot,
    design_complete,
    design_efficiency,
    efficiency_bound,
)

KINDS = ("complete", "alpha", "square-lattice", "rectangular-lattice", "row-column", "augmented", "some-twice")
COLUMNS = ("plot", "rep", "block", "field_row", "field_col", "entry")


def design(
    kind: Annotated[str, typer.Argument(help=f"One of: {', '.join(KINDS)}. Built so far: complete.")],
    entries: Annotated[str, typer.Argument(help="Table: entry[, check][, copies]; check 1 = yes.")],
    reps: Annotated[int, typer.Option("--reps", min=1, help="Replicates.")] = 3,
    block_size: Annotated[int | None, typer.Option("--block-size", min=1, help="Plots in a block.")] = None,
    rows: Annotated[
        int | None, typer.Option("--rows", min=1, max=20_000, help="Field rows; one a replicate if absent.")
    ] = None,
    columns: Annotated[int | None, typer.Option("--columns", min=1, max=20_000, help="Field columns.")] = None,
    blocks: Annotated[int | None, typer.Option("--blocks", min=1, help="Blocks in a replicate.")] = None,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Same seed, same layout.")] = 1,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Lay out a trial: which entry stands on which plot, numbered in field order (turning at each row's end).

    Copies is how often an entry stands in each replicate (default 1). Replicates follow one another in field order.
    """
    if kind not in KINDS:
        raise typer.BadParameter(f"{kind!r} is not a kind of design. Kinds: {', '.join(KINDS)}.")
    if kind != "complete":
        raise NotBuilt(f"firstsilk design {kind}: not built yet.")
    import numpy as np

    listed = read_entries(entries)
    in_rep = sum(entry.copies for entry in listed)
    if blocks not in (None, 1) or block_size not in (None, in_rep):
        raise InputRefused(
            f"In complete blocks a replicate is one block of all {in_rep} plots: leave out --blocks and --block-size."
        )
    plots = design_complete(listed, reps, np.random.default_rng(seed), rows, columns)
    _say_left_over(plots, rows, columns)
    cells = [_cells(plot) for plot in plots]
    if out not in ("", "-") or not as_json:
        write_table(out or None, COLUMNS, cells)
    if as_json:
        measured = design_efficiency([plot.entry for plot in plots], [(plot.rep, plot.block) for plot in plots])
        # Rounded, so that the last binary digit of an eigenvalue does not change the answer from machine to machine.
        efficiency = None if measured.value is None else round(measured.value, 12)
        listed_plots = [dict(zip(COLUMNS, row, strict=True)) for row in cells]
        bound = efficiency_bound(in_rep, reps, 1)
        give_json({"efficiency": efficiency, "bound": bound, "connected": measured.connected, "plots": listed_plots})


def read_entries(path: str) -> tuple[DesignEntry, ...]:
    """Read the entries of a trial: ``entry[, check][, copies]``.

    Raises
    ------
    InputRefused
        If the column is absent, an entry has no name or stands twice, or check and copies are not as they should be.
    """
    table = read_table(path)
    table.need("entry")
    findings: list[Finding] = []
    first: dict[str, int] = {}
    for row in table.rows:
        name = row.text("entry")
        if not name:
            findings.append(row.finding("entry_nameless", "the entry has no name", "entry", "Name it"))
        elif name in first:
            repair = "Give the entry once, with the number of copies"
            findings.append(row.finding("entry_twice", f"this entry stood in line {first[name]}", "entry", repair))
        first.setdefault(name, row.line)
    listed = tuple(_entry(row, findings) for row in table.rows)
    stop_if_any(findings)
    if len(listed) < 2:
        raise InputRefused(f"{table.file}: a trial needs at least two entries; {len(listed)} found.")
    return listed


def _entry(row: TableRow, findings: list[Finding]) -> DesignEntry:
    check = row.text("check")
    if check not in ("", "0", "1"):
        findings.append(
            row.finding("check_not_0_1", "check is 1 or 0", "check", "Write 1 for a check, else 0 or nothing")
        )
    copies = row.whole("copies", findings)
    if copies is not None and copies < 1:
        findings.append(
            row.finding("copies_below_1", "copies must be 1 or more", "copies", "Write 1, or leave it empty")
        )
    return DesignEntry(row.text("entry"), check == "1", 1 if copies is None else copies)


def _cells(plot: DesignPlot) -> tuple[object, ...]:
    return (plot.plot, plot.rep, plot.block, plot.field_row, plot.field_col, plot.entry)


def _say_left_over(plots: tuple[DesignPlot, ...], rows: int | None, columns: int | None) -> None:
    cells = max(plot.field_row for plot in plots) * max(plot.field_col for plot in plots)
    if rows and columns:
        cells = rows * columns
    if cells > len(plots):
        say(f"{cells - len(plots)} cells at the end of the field are left over: fill them so that no plot stands open.")

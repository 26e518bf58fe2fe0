"""How does a pedigree get in from a table?

Columns ``line, mother, father, method`` and optionally ``selfings``; rows in any order. An empty parent is unknown,
unrelated and non-inbred. A parent that is named must have a row of its own: a name without one is far more often a slip
of the pen than a founder, and a slip would quietly cut a family in two.
"""

from __future__ import annotations

from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.tables import Table, TableRow, read_table
from firstsilk.science.lineage.members import Member, check_members

COLUMNS = ("line", "mother", "father", "method")


def read_pedigree(path: str | Path) -> tuple[Member, ...]:
    """Read and check a pedigree file.

    Parameters
    ----------
    path
        CSV, XLSX or Parquet; ``-`` is standard input.

    Returns
    -------
    tuple of Member
        In the order of the file.

    Raises
    ------
    InputRefused
        As `read_table` and `check_members`, each fault with file, line and column.
    """
    return pedigree_from_table(read_table(path))


def pedigree_from_table(table: Table) -> tuple[Member, ...]:
    """Check a pedigree that was read as a table already; same promises as `read_pedigree`."""
    table.need(*COLUMNS)
    table.need_rows()
    findings: list[Finding] = []
    members = tuple(_member(row, findings) for row in table.rows)
    stop_if_any(findings)
    check_members(members)
    return members


def is_pedigree(table: Table) -> bool:
    """Whether a relationship file is a pedigree: it has the four columns. Any other is a matrix."""
    return all(column in table.columns for column in COLUMNS)


def read_pairs(path: str | Path, members: tuple[Member, ...]) -> tuple[tuple[str, str], ...]:
    """Read the pairs ``line_a, line_b`` that are asked for; each must be a line of the pedigree.

    Raises
    ------
    InputRefused
        A column missing, or a name that is no line of the pedigree.
    """
    table = read_table(path)
    table.need("line_a", "line_b")
    known = {member.line for member in members}
    stop_if_any(
        row.finding("line_unknown", "this line is not in the pedigree", column, "Correct the name or add its row there")
        for row in table.rows
        for column in ("line_a", "line_b")
        if row.text(column) not in known
    )
    return tuple((row.text("line_a"), row.text("line_b")) for row in table.rows)


def _member(row: TableRow, findings: list[Finding]) -> Member:
    method = row.text("method")
    selfings = row.whole("selfings", findings)
    if selfings == 0 and method != "self":
        selfings = None
    return Member(
        row.text("line"),
        method,
        row.text("mother"),
        row.text("father"),
        1 if selfings is None else selfings,
        row.place(),
    )

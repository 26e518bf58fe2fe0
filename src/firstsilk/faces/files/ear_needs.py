"""How are wishes for ears and kernels, and records of pollinations by line, read, with every fault named at once?

Wishes: ``use, line[, ears][, kernels][, success][, kernels_per_ear]``. Records: ``line, pollinations, good_ears
[, shelled_ears][, kernels]``; a line may stand there several times, once for each season or row: it is added up.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firstsilk.answers import Finding, InputRefused, stop_if_any
from firstsilk.faces.files.tables import Table, TableRow, read_table
from firstsilk.science.seed.line_rates import LineCounts

MOST_COUNTED = 50_000_000
"""A larger count of ears, pollinations or kernels in one cell is a slip of the keyboard (a choice of ours)."""
MOST_KERNELS_PER_EAR = 2000.0
"""No ear of maize has as many kernels (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class EarNeed:
    """Good ears and kernels wanted of a line for a use; success and set where the table says that they are known."""

    use: str
    line: str
    ears: int
    kernels: int
    success_frac: float | None = None
    kernels_per_ear: float | None = None


def read_ear_needs(path: str | Path, name: str = "") -> tuple[EarNeed, ...]:
    """Read wishes in the order of the table.

    Raises
    ------
    InputRefused
        Naming every missing column or cell and every number that cannot be; a line that asks for neither ears nor
        kernels; or if there is no wish at all.
    """
    table = read_table(path, name)
    table.need("use", "line")
    if not {"ears", "kernels"} & set(table.columns):
        told = f"{table.file}, line 1: there is neither a column ears nor a column kernels."
        raise InputRefused(f"{told} Add what is wanted to the header line.")
    table.need_rows()
    findings: list[Finding] = []
    needs = [_read_need(row, findings) for row in table.rows]
    stop_if_any(findings)
    return tuple(needs)


def read_line_records(path: str | Path, name: str = "") -> tuple[LineCounts, ...]:
    """Read records and add them up by line, in the order in which lines appear.

    Raises
    ------
    InputRefused
        Naming every missing column or cell, every number that cannot be, more good ears than pollinations, kernels of
        no ear. A table without any record is read: nothing is known of any line.
    """
    table = read_table(path, name)
    table.need("line", "pollinations", "good_ears")
    findings: list[Finding] = []
    sums: dict[str, list[int]] = {}
    for row in table.rows:
        line = _read_name(row, "line", findings)
        counts = _read_counts(row, table, findings)
        before = sums.setdefault(line, [0, 0, 0, 0])
        sums[line] = [old + new for old, new in zip(before, counts, strict=True)]
    stop_if_any(findings)
    return tuple(LineCounts(line, *counts) for line, counts in sums.items())


def _read_need(row: TableRow, findings: list[Finding]) -> EarNeed:
    use, line = (_read_name(row, column, findings) for column in ("use", "line"))
    before = len(findings)
    ears, kernels = (read_count(row, column, findings) for column in ("ears", "kernels"))
    if len(findings) == before and not ears and not kernels:
        column = "ears" if "ears" in row.cells else "kernels"
        told = "neither ears nor kernels are asked for"
        findings.append(row.finding("nothing_wanted", told, column, "Write how many, or remove the line"))
    success = read_share(row, "success", findings)
    per_ear = row.number("kernels_per_ear", findings)
    if per_ear is not None and not 0 < per_ear <= MOST_KERNELS_PER_EAR:
        told = f"kernels per ear lie above 0 and up to {MOST_KERNELS_PER_EAR:g}"
        findings.append(row.finding("set_out_of_range", told, "kernels_per_ear", "Check the number"))
    return EarNeed(use, line, ears or 0, kernels or 0, success, per_ear)


def _read_counts(row: TableRow, table: Table, findings: list[Finding]) -> tuple[int, int, int, int]:
    """Pollinations, good ears, shelled ears, kernels of one line; shelled ears are the good ones where not told."""
    before = len(findings)
    tried, good = (read_count(row, column, findings, is_wanted=True) for column in ("pollinations", "good_ears"))
    shelled, kernels = (read_count(row, column, findings) for column in ("shelled_ears", "kernels"))
    if len(findings) > before or tried is None or good is None:
        return 0, 0, 0, 0
    if good > tried:
        told = f"{good} good ears of {tried} pollinations"
        repair = "Look whether ears of a neighbour row are among them"
        findings.append(row.finding("more_ears_than_pollinated", told, "good_ears", repair))
    if "shelled_ears" not in table.columns:
        shelled = good if kernels is not None else 0
    if kernels and not shelled:
        findings.append(row.finding("kernels_of_no_ear", "kernels of no ear", "kernels", "Write the ears shelled"))
    return tried, good, shelled or 0, kernels or 0


def read_count(row: TableRow, column: str, findings: list[Finding], is_wanted: bool = False) -> int | None:
    """A whole number of 0 or more; None if the cell is empty, with a finding where it is wanted."""
    before = len(findings)
    value = row.whole(column, findings)
    if value is None and is_wanted and len(findings) == before:
        findings.append(row.finding("cell_empty", f"the {column} are missing", column, "Write 0 if there are none"))
    if value is not None and value < 0:
        findings.append(row.finding("negative", f"{column} cannot be below 0", column, "Write 0 or more"))
    if value is not None and value > MOST_COUNTED:
        told = f"more than {MOST_COUNTED:,}"
        findings.append(row.finding("number_too_large", told, column, "Check the digits"))
    return value


def read_share(row: TableRow, column: str, findings: list[Finding]) -> float | None:
    """A share above 0 and up to 1; None if the cell is empty."""
    value = row.number(column, findings)
    if value is not None and not 0 < value <= 1:
        repair = f"Write {value / 100:g}" if 1 < value <= 100 else "Write 0.676 for 67.6 %"
        findings.append(row.finding("not_a_share", f"{column} is a share above 0 and up to 1", column, repair))
    return value


def _read_name(row: TableRow, column: str, findings: list[Finding]) -> str:
    found = row.text(column)
    if not found:
        findings.append(row.finding("cell_empty", f"the {column} is missing", column, "Write it, or remove the line"))
    return found

"""How are needs for kernels and the lots on hand read, with every fault named at once?

Needs: ``use, line, kernels``. Lots: ``lot, line, kernels, germination``, and if there ``promised``, ``made`` or
``year``, ``germination_seeds``. More columns are left alone, so that a station's own table of lots, and what
``firstsilk lots`` writes, can be given as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.ear_needs import read_count
from firstsilk.faces.files.tables import FIRST_YEAR, LAST_YEAR, TableRow, read_table
from firstsilk.science.seed.covering import KernelNeed, LotOnHand

MOST_KERNELS = 50_000_000
"""More kernels in one cell than this are a slip of the keyboard: some 12 tonnes (a choice of ours)."""

Age = tuple[int, int, int]
"""Year, month, day; a year alone stands before the days of that year."""


@dataclass(frozen=True, slots=True)
class ReadLot:
    """A lot as the table has it: kernels not promised; its share, None where no test is on record; seeds of the test;
    when it was made."""

    lot: str
    line: str
    kernels: int
    germination: float | None
    germination_seeds: int | None
    age: Age | None

    def count_at(self, untested: float | None) -> LotOnHand:
        """The lot with its share as an exact fraction; `untested` stands in where no test is on record."""
        share = untested if self.germination is None else self.germination
        return LotOnHand(self.lot, self.line, self.kernels, Fraction(repr(share or 0.0)))


def read_needs(path: str | Path, name: str = "") -> tuple[KernelNeed, ...]:
    """Read needs in the order of the table.

    Raises
    ------
    InputRefused
        Naming every missing column or cell, every number that is none or is negative, and every line that a use needs
        twice; or if there is no need at all.
    """
    table = read_table(path, name)
    table.need("use", "line", "kernels")
    table.need_rows()
    findings: list[Finding] = []
    first_line: dict[str, int] = {}
    needs = []
    for row in table.rows:
        use, line = (_read_name(row, column, findings) for column in ("use", "line"))
        kernels = _read_kernels(row, findings)
        if use and line:
            what = f"line {line} for {use}"
            findings += row.find_twice(first_line, f"{use}\n{line}", what, "need_twice", "line", "Add the two up")
        needs.append(KernelNeed(use, line, kernels))
    stop_if_any(findings)
    return tuple(needs)


def read_lots(path: str | Path, name: str = "", untested_allowed: bool = False) -> tuple[ReadLot, ...]:
    """Read lots, oldest first: by ``made`` (a date or a year), else ``year``, else in the order of the table.

    Raises
    ------
    InputRefused
        Naming every missing column or cell, every number out of its range, every lot that is there twice, and, unless
        `untested_allowed`, every lot without a germination test. A table without any lot is read: nothing is on hand.
    """
    table = read_table(path, name)
    table.need("lot", "line", "kernels", "germination")
    age_column = next((column for column in ("made", "year") if column in table.columns), "")
    findings: list[Finding] = []
    first_line: dict[str, int] = {}
    lots = []
    for row in table.rows:
        lot, line = (_read_name(row, column, findings) for column in ("lot", "line"))
        if lot:
            findings += row.find_twice(first_line, lot, f"lot {lot}", "lot_twice", "lot", "Name each lot once")
        share = _read_share(row, untested_allowed, findings)
        seeds = _read_seeds(row, findings)
        age = _read_age(row, age_column, findings) if age_column else None
        free = max(0, _read_kernels(row, findings) - (read_count(row, "promised", findings) or 0))
        lots.append(ReadLot(lot, line, free, share, seeds, age))
    stop_if_any(findings)
    return tuple(sorted(lots, key=lambda one: one.age or (0, 0, 0)))


def _read_name(row: TableRow, column: str, findings: list[Finding]) -> str:
    found = row.text(column)
    if not found:
        findings.append(row.finding("cell_empty", f"the {column} is missing", column, "Write it, or remove the line"))
    return found


def _read_kernels(row: TableRow, findings: list[Finding]) -> int:
    before = len(findings)
    kernels = row.whole("kernels", findings)
    if len(findings) > before:
        return 0
    if kernels is None:
        findings.append(row.finding("cell_empty", "the kernels are missing", "kernels", "Write 0 if there are none"))
        return 0
    if kernels < 0:
        repair = "Count them, and write what is there"
        findings.append(row.finding("negative", "kernels cannot be below 0", "kernels", repair))
    if kernels > MOST_KERNELS:
        told = f"more than {MOST_KERNELS:,} kernels"
        findings.append(row.finding("number_too_large", told, "kernels", "Check the digits"))
    return kernels


def _read_share(row: TableRow, untested_allowed: bool, findings: list[Finding]) -> float | None:
    before = len(findings)
    share = row.number("germination", findings)
    if len(findings) > before:
        return None
    if share is None and not untested_allowed:
        told = "the germination is missing"
        repair = "Write the share that germinates, or say with --untested what a lot without a test is taken for"
        findings.append(row.finding("cell_empty", told, "germination", repair))
    if share is not None and not 0 <= share <= 1:
        repair = f"Write {share / 100:g}" if 1 < share <= 100 else "Write 0.92 for 92 %"
        findings.append(row.finding("not_a_share", "germination is a share from 0 to 1", "germination", repair))
    return share


def _read_seeds(row: TableRow, findings: list[Finding]) -> int | None:
    seeds = row.whole("germination_seeds", findings)
    if seeds is not None and not 1 <= seeds <= MOST_KERNELS:
        told = f"a test has from 1 to {MOST_KERNELS:,} seeds"
        repair = "Leave it empty where nobody wrote them down"
        findings.append(row.finding("no_seeds_tested", told, "germination_seeds", repair))
    return seeds


def _read_age(row: TableRow, column: str, findings: list[Finding]) -> Age | None:
    """A year or a date; a finding if it is neither or not there."""
    found = row.text(column)
    if not found:
        repair = "Write a year or a date, or leave the column out and write the oldest lot first"
        findings.append(row.finding("cell_empty", "when the lot was made is missing", column, repair))
        return None
    if len(found) == 4 and found.isascii() and found.isdigit():
        year = int(found)
        if not FIRST_YEAR <= year <= LAST_YEAR:
            told = f"the year must lie in {FIRST_YEAR} to {LAST_YEAR}"
            findings.append(row.finding("year_far_off", told, column, "Check the year"))
        return year, 0, 0
    day = row.day(column, findings)
    return None if day is None else (day.year, day.month, day.day)

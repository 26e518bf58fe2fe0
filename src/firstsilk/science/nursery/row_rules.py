"""Which nursery rows cannot be what the plan and the notes say?

Rules on a row's line, lot, target and stand. Values in, values out; a rule never changes anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import Finding, Place


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """A row as planned, and what the notes say of its sowing and stand.

    `male_line` is the male of its target, `male_rows` how many rows give that pollen; `lot_came_on` the first day on
    which its lot, harvested here, held seed.
    """

    name: str
    line: str
    purpose: str
    kernels: int
    lot: str = ""
    lot_line: str = ""
    lot_came_on: date | None = None
    female: str = ""
    male_line: str = ""
    male_rows: int = 0
    sown_on: date | None = None
    stand: int | None = None
    touched: bool = False


def check_planned_row(row: PlannedRow) -> tuple[Finding, ...]:
    """What cannot be, is unlikely or is not told about one row.

    Parameters
    ----------
    row
        The row.

    Returns
    -------
    tuple of Finding
        Never stopping.

    Notes
    -----
    A row is of its lot's line and of its target's female; no more plants stand than kernels were sown; seed is not
    sown before it was harvested; a cross has a row for its male; what is pollinated was sown.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    return (*_check_seed(row), *_check_target(row))


def _check_seed(row: PlannedRow) -> Iterator[Finding]:
    if row.lot and row.lot_line != row.line:
        told = f"planned with {row.line}, but its lot {row.lot} is of {row.lot_line}"
        yield _odd("row_of_another_lot", told, row, "lot", row.lot, "Correct the row's line, or its lot")
    if row.sown_on is not None and not row.lot:
        told = f"sown on {row.sown_on}, and no lot is named"
        yield _odd("row_without_lot", told, row, "lot", "", "Write the lot that was sown")
    if row.sown_on is not None and row.lot_came_on is not None and row.sown_on < row.lot_came_on:
        told = f"sown on {row.sown_on}, but its lot {row.lot} came on {row.lot_came_on}"
        yield _odd("sown_before_its_seed", told, row, "sown", str(row.sown_on), "One of the two dates is wrong")
    if row.stand is not None and row.kernels and row.stand > row.kernels:
        told = f"{row.stand} plants stand, but {row.kernels} kernels were sown"
        repair = "Count the stand again; if it is right, the packet was another or the row was sown twice"
        yield _odd("more_plants_than_kernels", told, row, "stand", str(row.stand), repair)
    if row.touched and row.sown_on is None:
        told = "noted on, and never noted as sown"
        yield _odd("sowing_not_told", told, row, "sown", "", "Write the day of its sowing")


def _check_target(row: PlannedRow) -> Iterator[Finding]:
    if row.female and row.purpose in ("self", "female") and row.line != row.female:
        told = f"sown with {row.line}, but it serves a target of {row.female}"
        yield _odd("row_not_of_its_target", told, row, "line", row.line, "Correct the row's line, or its target")
    if row.male_line and row.purpose == "female" and not row.male_rows:
        told = f"to be crossed with {row.male_line}, of which no row is a male this season"
        yield _odd("male_without_row", told, row, "male", row.male_line, "Sow a row of it, or drop the target")


def _odd(code: str, told: str, row: PlannedRow, column: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place(row.name, None, column), value, repair, stops=False)

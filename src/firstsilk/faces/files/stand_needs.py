"""How is a plan's list of plants wanted read, with every fault named at once?

Columns ``use, line, plants[, packets][, germination][, emergence]``.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firstsilk.answers import Finding, stop_if_any
from firstsilk.faces.files.ear_needs import read_count, read_share
from firstsilk.faces.files.tables import TableRow, read_table


@dataclass(frozen=True, slots=True)
class StandNeed:
    """Plants wanted in each of so many rows or plots; shares where the table tells them."""

    use: str
    line: str
    plants: int
    packets: int
    germination_frac: float | None
    emergence_frac: float | None


def read_stand_needs(path: str | Path, name: str = "") -> tuple[StandNeed, ...]:
    """Read the plants wanted in the order of the table.

    Raises
    ------
    InputRefused
        Naming every missing column or cell and every number that cannot be; or if there is no line at all.
    """
    table = read_table(path, name)
    table.need("use", "line", "plants")
    table.need_rows()
    findings: list[Finding] = []
    needs = [_read_stand(row, findings) for row in table.rows]
    stop_if_any(findings)
    return tuple(needs)


def _read_stand(row: TableRow, findings: list[Finding]) -> StandNeed:
    for column in ("use", "line"):
        if not row.text(column):
            told = f"the {column} is missing"
            findings.append(row.finding("cell_empty", told, column, "Write it, or remove the line"))
    plants = read_count(row, "plants", findings, is_wanted=True)
    packets = read_count(row, "packets", findings)
    for column, count in (("plants", plants), ("packets", packets)):
        if count == 0:
            findings.append(row.finding("none_wanted", f"no {column}", column, "Write 1 or more, or remove the line"))
    shares = (read_share(row, column, findings) for column in ("germination", "emergence"))
    return StandNeed(row.text("use"), row.text("line"), plants or 0, 1 if packets is None else packets, *shares)

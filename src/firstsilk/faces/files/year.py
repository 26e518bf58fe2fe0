"""What do the year's small tables say: targets wanted, rows as sown, ears and kernels harvested?

Every table is read whole; each wrong cell is a finding, and the places of the rows go along so that what work refuses
can be named by its line.
"""

from __future__ import annotations

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.files.tables import Table
from firstsilk.work.nursery.plan import Want
from firstsilk.work.nursery.sow import AsSown
from firstsilk.work.seed.harvest import Picked

TARGET_COLUMNS = ("kind", "female", "male", "ears", "kernels", "priority", "reason")
SOWN_COLUMNS = ("row", "sown", "misplanted", "remark")
HARVEST_COLUMNS = ("row", "ears", "kernels", "bag")


def read_wants(table: Table) -> tuple[tuple[Want, ...], tuple[Place, ...]]:
    """Read a table of targets: kind, female, ears; male, kernels, priority, reason where wanted.

    Raises
    ------
    InputRefused
        With every finding, if a column is missing or a cell cannot be read.
    """
    table.need("kind", "female", "ears")
    table.need_rows()
    findings: list[Finding] = []
    wants, places = [], []
    for row in table.rows:
        ears, kernels = row.whole("ears", findings), row.whole("kernels", findings)
        priority = row.whole("priority", findings)
        if ears is None and not row.text("ears"):
            findings.append(row.finding("ears_wanted", "the ears wanted are missing", "ears", "Write 1 or more"))
        wants.append(
            Want(
                kind=row.text("kind").lower(),
                female=row.text("female"),
                male=row.text("male"),
                ears=1 if ears is None else ears,
                kernels=kernels,
                priority=2 if priority is None else priority,
                reason=row.text("reason"),
            )
        )
        places.append(row.place())
    stop_if_any(findings)
    return tuple(wants), tuple(places)


def read_as_sown(table: Table) -> tuple[tuple[AsSown, ...], tuple[Place, ...]]:
    """Read a table of what was sown: row, sown; misplanted and remark where it was not as planned."""
    table.need("row")
    table.need_rows()
    findings: list[Finding] = []
    rows, places = [], []
    for row in table.rows:
        number = row.whole("row", findings)
        if number is None and not row.text("row"):
            findings.append(row.finding("row_missing", "the row number is missing", "row", "Write the row's number"))
        rows.append(AsSown(number or 0, row.day("sown", findings), row.text("misplanted").lower(), row.text("remark")))
        places.append(row.place())
    stop_if_any(findings)
    return tuple(rows), tuple(places)


def read_picked(table: Table) -> tuple[tuple[Picked, ...], tuple[Place, ...]]:
    """Read a table of a harvest: row; ears, kernels, bag as far as known."""
    table.need("row")
    table.need_rows()
    findings: list[Finding] = []
    picked, places = [], []
    for row in table.rows:
        number = row.whole("row", findings)
        if number is None and not row.text("row"):
            findings.append(row.finding("row_missing", "the row number is missing", "row", "Write the row's number"))
        ears, kernels = row.whole("ears", findings), row.whole("kernels", findings)
        picked.append(Picked(number or 0, ears, kernels, row.text("bag")))
        places.append(row.place())
    stop_if_any(findings)
    return tuple(picked), tuple(places)

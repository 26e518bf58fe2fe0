"""Which nursery rows cannot be what the plan and the notes say on a day?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date

from firstsilk.records.models import Line, Row
from firstsilk.science.flowering.rows import RowState
from firstsilk.science.nursery.row_rules import PlannedRow, check_planned_row
from firstsilk.work.audited import Found


def audit_rows(
    rows: Sequence[Row], states: Mapping[str, RowState], came: Mapping[int, date], merged: Mapping[str, str]
) -> list[Found]:
    """Findings about rows.

    Parameters
    ----------
    rows
        With season, line, lot and target at hand.
    states
        What the notes say, by tag.
    came
        First day of each lot that was harvested here, by its number in the books.
    merged
        The line that stands for each line merged into another.
    """
    males = Counter((row.season_id, _name(row.line, merged)) for row in rows if row.purpose == "male")
    found = []
    for row in rows:
        facts = _tell(row, states.get(row.tag, RowState(row.tag)), males, came, merged)
        found += [Found("nursery", "row", row.tag, facts.name, one) for one in check_planned_row(facts)]
    return found


def name_row(row: Row) -> str:
    """How a person calls a row: ``row 34 of 2031``."""
    return f"row {row.number} of {row.season.name}"


def _name(line: Line | None, merged: Mapping[str, str]) -> str:
    return "" if line is None else merged.get(line.name, line.name)


def _tell(
    row: Row,
    state: RowState,
    males: Mapping[tuple[int, str], int],
    came: Mapping[int, date],
    merged: Mapping[str, str],
) -> PlannedRow:
    target, lot = row.target, row.lot
    male = _name(target.male, merged) if target is not None else ""
    return PlannedRow(
        name=name_row(row),
        line=_name(row.line, merged),
        purpose=row.purpose,
        kernels=row.kernels,
        lot=lot.name if lot is not None else "",
        lot_line=_name(lot.line, merged) if lot is not None else "",
        lot_came_on=came.get(lot.pk) if lot is not None else None,
        female=_name(target.female, merged) if target is not None else "",
        male_line=male,
        male_rows=males[(row.season_id, male)],
        sown_on=state.sown_on,
        stand=state.stand,
        touched=state.n_notes > 0,
    )

"""What does the nursery look like today, seen from above?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.occasion import Basis, Occasion

STATES: tuple[tuple[str, str, str], ...] = (
    ("planned", "", "planned, not sown"),
    ("skipped", "×", "not sown: skipped"),
    ("sown", "s", "sown, no flower yet"),
    ("flowering", "f", "silk or shed seen"),
    ("some", "p", "pollinated, more needed"),
    ("enough", "e", "enough pollinated"),
    ("short", "!", "short: too late for more"),
    ("picked", "k", "ears picked"),
    ("shelled", "c", "kernels counted"),
)
"""State words with their sign on the map and what they mean, in the order of the season."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One row on the map: place, number, tag, line, purpose, state word and its sign, and whether it must not be
    entered."""

    number: int
    tag: str
    field_row: int
    field_col: int
    line: str
    purpose: str
    kind: str
    male: str
    state: str
    sign: str
    no_entry: bool
    says: str


@dataclass(frozen=True, slots=True)
class FieldMap:
    """All rows of a season as cells; `counts` how many cells are in each state, in the order of `STATES`."""

    season: str
    today: date
    cells: tuple[Cell, ...]
    field_rows: int
    field_cols: int
    counts: tuple[tuple[str, int], ...]
    basis: Basis


def read_field_map(on: Occasion, season: str = "") -> FieldMap:
    """The nursery as a map of states on the occasion's day."""
    return draw_field_map(read_day_list(on, season))


def draw_field_map(day: DayList) -> FieldMap:
    """The map of a day list that is at hand."""
    short = {number for one in day.progress if one.standing == "short" for number in one.rows}
    over = day.end_on is not None and day.today > day.end_on
    cells = tuple(_cell(row, row.number in short, over) for row in day.rows.values())
    found = Counter(cell.state for cell in cells)
    return FieldMap(
        season=day.season,
        today=day.today,
        cells=cells,
        field_rows=_most(cell.field_row for cell in cells),
        field_cols=_most(cell.field_col for cell in cells),
        counts=tuple((name, found[name]) for name, _, _ in STATES),
        basis=day.basis,
    )


def _most(values: Iterable[int]) -> int:
    return max(values, default=0)


SIGNS = {name: sign for name, sign, _ in STATES}
MEANINGS = {name: meaning for name, _, meaning in STATES}


def _cell(row: RowFacts, is_short: bool, over: bool) -> Cell:
    state = name_state(row, is_short, over)
    return Cell(
        number=row.number,
        tag=row.tag,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line,
        purpose=row.purpose,
        kind=row.kind,
        male=row.male,
        state=state,
        sign=SIGNS[state],
        no_entry=row.no_entry,
        says=MEANINGS[state],
    )


def name_state(row: RowFacts, is_short: bool = False, over: bool = False) -> str:
    """The one word of `STATES` for where a row stands; `is_short` if its target cannot be reached any more."""
    state = row.state
    if state.kernels:
        return "shelled"
    if state.ears_picked:
        return "picked"
    if row.wanted and state.ears_standing >= row.wanted:
        return "enough"
    if row.wanted and (is_short or over) and state.sown_on:
        return "short"
    if state.ears_pollinated:
        return "some"
    if state.silk_on or state.shed_on:
        return "flowering"
    if state.sown_on:
        return "sown"
    return "skipped" if any(one.startswith("skipped") for one in state.misplanted) else "planned"

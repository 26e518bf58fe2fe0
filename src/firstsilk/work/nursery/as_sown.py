"""Which seed really went into a row, where it was not sown as planned?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Lot, Row
from firstsilk.science.flowering.rows import RowState
from firstsilk.work.shelf import get_lot


@dataclass(frozen=True, slots=True)
class RowSeed:
    """The lot that a row was sown from, and how many of its kernels."""

    lot: Lot
    kernels: int


def read_row_seed(planned: Lot, kernels: int, state: RowState) -> RowSeed | str:
    """The seed that a row got by its notes; or, where they do not tell the lot, why not.

    Parameters
    ----------
    planned, kernels
        Lot and kernels as planned.
    state
        What the notes say: ``doubled`` counts twice, ``short`` and ``doubled`` count the number in the note if there
        is one, ``other_lot`` names the lot.
    """
    lot = planned
    for text in state.misplanted:
        how, _, said = text.partition(" ")
        if how == "other_lot":
            found = _find_lot(planned, said)
            if found is None:
                return f"sown from another lot, and {said.strip() or 'nothing'!r} is no lot in the books"
            lot = found
        elif how in ("short", "doubled"):
            number = re.search(r"\d+", said, re.ASCII)
            kernels = int(number[0]) if number else kernels * (2 if how == "doubled" else 1)
    return RowSeed(lot, kernels)


def _find_lot(planned: Lot, said: str) -> Lot | None:
    try:
        return get_lot(planned.station, said.strip())
    except InputRefused:
        return None


def read_true_lines(rows: Iterable[Row], states: Mapping[str, RowState]) -> dict[str, Line]:
    """The line that really stands in each row, by tag: the planned one, or that of the other lot it was sown from."""
    lines = {}
    for row in rows:
        lines[row.tag] = row.line
        state = states.get(row.tag)
        if row.lot is not None and state is not None and any(one.startswith("other_lot") for one in state.misplanted):
            seed = read_row_seed(row.lot, row.kernels, state)
            if not isinstance(seed, str):
                lines[row.tag] = seed.lot.line
    return lines

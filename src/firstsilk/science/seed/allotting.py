"""From which lots are the rows of a whole plan sown, all uses weighed against each other?

Served one after the other, a use may take the seed that another could not do without. Here all uses of a line are
settled together, exactly: as few rows short as can be, then the remnant rule, then the fewest lots, then the oldest.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from firstsilk.answers import refuse

MOST_PAIRS = 400
"""Uses x lots of one line beyond which it is not worked out exactly (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class RowsNeed:
    """Rows of one line for a use. `each` is how many kernels a row takes from a lot, by lot, for the lots that may be
    used; `avoid` those of them that should be left where another will do."""

    use: str
    rows: int
    each: Mapping[str, int]
    avoid: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class RowsAllotted:
    """Rows of a use by lot, oldest first, and how many rows have no seed."""

    need: RowsNeed
    rows: tuple[tuple[str, int], ...]
    short: int


def allot_rows(needs: Sequence[RowsNeed], free: Mapping[str, int]) -> tuple[RowsAllotted, ...]:
    """Allot the free kernels of a line's lots to the rows of all its uses.

    Parameters
    ----------
    needs
        Uses of one line.
    free
        Kernels neither used nor promised to others, by lot, oldest lot first. A row is sown from one lot.

    Returns
    -------
    tuple of RowsAllotted
        One for each need, in their order.

    Raises
    ------
    InputRefused
        If uses x lots are more than 400.

    Notes
    -----
    A whole-number programme, solved four times, each time among the best of the time before: (1) fewest rows short, (2)
    fewest pairs of a use and a lot that it should avoid, (3) fewest pairs of a use and a lot, so that a use is of one
    seed where that can be, (4) smallest sum over these pairs of the lot's place in the order of age. Where several
    allotments are alike in all four, any of them.

    Checked by
    ----------
    tests/properties/test_allotting_laws.py, against all allotments counted through
    """
    _check_bound(needs, free)
    pairs = _list_pairs(needs, free)
    if not pairs:
        return tuple(RowsAllotted(need, (), need.rows) for need in needs)
    oldest = next(iter(free))
    if _fills_all(needs, free, oldest) and all(oldest not in need.avoid for need in needs):
        # The oldest lot alone does for all: nothing can be better, and most lines of a plan end here.
        return tuple(RowsAllotted(need, ((oldest, need.rows),) if need.rows else (), 0) for need in needs)
    solved = _solve(needs, free, pairs)
    allotted: list[RowsAllotted] = []
    for at, need in enumerate(needs):
        rows = tuple((lot, count) for (use, lot), count in zip(pairs, solved, strict=True) if use == at and count)
        allotted.append(RowsAllotted(need, rows, need.rows - sum(count for _, count in rows)))
    return tuple(allotted)


def count_rows_short(needs: Sequence[RowsNeed], free: Mapping[str, int]) -> int:
    """How many rows of all uses have no seed at least: the first aim of `allot_rows` alone, and quicker.

    Raises
    ------
    InputRefused
        If uses x lots are more than 400.

    Notes
    -----
    Checked by tests/properties/test_allotting_laws.py.
    """
    _check_bound(needs, free)
    pairs = _list_pairs(needs, free)
    wanted = sum(need.rows for need in needs)
    if not pairs or any(_fills_all(needs, free, lot) for lot in free):
        return 0 if pairs else wanted
    return wanted - sum(_solve(needs, free, pairs, aims=1))


def allot_rows_in_turn(needs: Sequence[RowsNeed], free: Mapping[str, int]) -> tuple[RowsAllotted, ...]:
    """Allot one use after the other and row by row: the oldest lot with enough for a row, those to avoid last.

    Notes
    -----
    For questions too large for `allot_rows`; more rows may be short than need be. Checked by
    tests/properties/test_allotting_laws.py.
    """
    left = dict(free)
    allotted = []
    for need in needs:
        rows: dict[str, int] = {}
        lots = sorted(left, key=lambda lot: lot in need.avoid)
        for lot in lots:
            each = need.each.get(lot, 0)
            fits = min(need.rows - sum(rows.values()), left[lot] // each) if each > 0 else 0
            if fits:
                rows[lot] = fits
                left[lot] -= fits * each
        taken = tuple((lot, rows[lot]) for lot in free if lot in rows)
        allotted.append(RowsAllotted(need, taken, need.rows - sum(rows.values())))
    return tuple(allotted)


def is_beyond_bound(needs: Sequence[RowsNeed], free: Mapping[str, int]) -> bool:
    """Whether uses x lots are too many to be weighed against each other."""
    return len(_list_pairs(needs, free)) > MOST_PAIRS


def _check_bound(needs: Sequence[RowsNeed], free: Mapping[str, int]) -> None:
    if is_beyond_bound(needs, free):
        told = f"{len(needs)} uses of {len(free)} lots are too many to weigh against each other."
        raise refuse("allotting_beyond_bound", told, f"Plan them in parts: {MOST_PAIRS} pairs of use and lot at most.")


def _list_pairs(needs: Sequence[RowsNeed], free: Mapping[str, int]) -> list[tuple[int, str]]:
    return [(at, lot) for at, need in enumerate(needs) for lot in free if need.each.get(lot, 0) > 0]


def _fills_all(needs: Sequence[RowsNeed], free: Mapping[str, int], lot: str) -> bool:
    """Whether one lot alone does for all rows of all uses."""
    if any(need.rows and need.each.get(lot, 0) <= 0 for need in needs):
        return False
    return sum(need.rows * need.each.get(lot, 0) for need in needs) <= free[lot]


def _solve(
    needs: Sequence[RowsNeed], free: Mapping[str, int], pairs: Sequence[tuple[int, str]], aims: int = 4
) -> list[int]:
    """Rows of each pair of a use and a lot. Columns: rows of each pair, then 1 for each pair that is used."""
    count, lots = len(pairs), list(free)
    most, unit = np.array([needs[at].rows for at, _ in pairs], dtype=float), np.eye(2 * count)
    limits = [
        # No lot gives more than is free in it; no use takes more rows than it wants; a used pair is marked.
        *(
            (np.array([needs[at].each[lot] if lot == one else 0 for at, lot in pairs] + [0] * count), float(free[one]))
            for one in lots
        ),
        *((np.array([at == one for at, _ in pairs] + [0] * count), float(need.rows)) for one, need in enumerate(needs)),
        *((unit[pair] - most[pair] * unit[count + pair], 0.0) for pair in range(count)),
    ]
    wishes = [
        np.concatenate([-np.ones(count), np.zeros(count)]),
        np.concatenate([np.zeros(count), [float(lot in needs[at].avoid) for at, lot in pairs]]),
        np.concatenate([np.zeros(count), np.ones(count)]),
        np.concatenate([np.zeros(count), [float(lots.index(lot)) for _, lot in pairs]]),
    ]
    bounds = Bounds(np.zeros(2 * count), np.concatenate([most, np.ones(count)]))
    rows, tops = [np.asarray(row, dtype=float) for row, _ in limits], [top for _, top in limits]
    found = np.zeros(2 * count)
    for aim in wishes[:aims]:
        limit = LinearConstraint(np.array(rows), -np.inf, np.array(tops))
        answer = milp(aim, integrality=np.ones(2 * count, dtype=int), bounds=bounds, constraints=limit)
        if answer.x is None:
            raise RuntimeError(f"the allotment was not solved: {answer.message}")
        found = np.round(answer.x)
        rows.append(aim)
        tops.append(float(aim @ found))
    return [int(value) for value in found[:count]]

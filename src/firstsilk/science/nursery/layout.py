"""Where does each row stand, so that the walk never turns back?

Rows are numbered in walking order: up the first range from left to right, back along the next from right to left.
"""

from __future__ import annotations

from collections.abc import Iterator


def walk_places(rows_per_range: int, start_number: int = 1) -> Iterator[tuple[int, int, int]]:
    """Number, field_row (the range, from 1) and field_col (place in it, from 1) of each row in walking order.

    Parameters
    ----------
    rows_per_range
        Rows side by side in one range.
    start_number
        Number of the first row wanted; the walk always begins at row 1 in the first corner.

    Notes
    -----
    Serpentine: odd ranges run left to right, even ranges right to left (common practice, no source).
    """
    if rows_per_range < 1:
        raise ValueError("rows_per_range must be 1 or more")
    number = start_number
    while True:
        range_index, step = divmod(number - 1, rows_per_range)
        col = step + 1 if range_index % 2 == 0 else rows_per_range - step
        yield number, range_index + 1, col
        number += 1

"""How is a long column read at once, where all its values are of one kind?

What comes back is what reading value by value would give; a column that is not plain is left to that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Column = Sequence[object] | NDArray[np.generic]
# Kinds of value of which equal ones have equal names, and kinds of array whose list has such values.
PLAIN: frozenset[type] = frozenset({str, int, float})
PLAIN_ARRAYS = "fiuU"


def take_values(values: Column, at: NDArray[np.intp]) -> list[Any]:
    """The values of some records, in their order.

    Parameters
    ----------
    values
        A column.
    at
        Places in it, (n,).

    Returns
    -------
    list
        n values; those of a plain array as Python's own.

    Checked by
    ----------
    tests/science/test_columns.py
    """
    if isinstance(values, np.ndarray) and values.dtype.kind in PLAIN_ARRAYS:
        taken: list[Any] = values[at].tolist()
        return taken
    if type(values) in (list, tuple) and len(at) == len(values) and np.array_equal(at, np.arange(len(at))):
        return list(values)
    return [values[place] for place in at]


def tell_apart(values: list[Any]) -> tuple[list[Any], NDArray[np.intp]]:
    """The distinct values of a column in the order met, and which of them each record has.

    Parameters
    ----------
    values
        One for each record.

    Returns
    -------
    tuple
        Values, each at least once, and for each record its place among them, (n,). Values of several kinds are not
        compared (``1`` and ``True`` are equal, but not one class): then all come back.

    Checked by
    ----------
    tests/science/test_columns.py
    """
    kinds = set(map(type, values))
    if len(kinds) != 1 or not kinds <= PLAIN:
        return values, np.arange(len(values))
    number = dict.fromkeys(values)
    for place, value in enumerate(number):
        number[value] = place
    return list(number), np.fromiter(map(number.__getitem__, values), np.intp, len(values))


def read_numbers(values: list[Any]) -> NDArray[np.float64] | None:
    """All values as finite numbers or nan; None where one of them is none of these.

    Parameters
    ----------
    values
        Numbers or texts.

    Returns
    -------
    NDArray or None
        The numbers, (n,).

    Checked by
    ----------
    tests/science/test_columns.py
    """
    try:
        found = np.fromiter(map(float, values), np.float64, len(values))
    except (TypeError, ValueError, OverflowError):
        return None
    return None if np.any(np.isinf(found)) else found

"""Which rows are to flower, and how does the heat of their season run and go on?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class RowsAhead:
    """Rows to forecast. The last axis of two is silk, shed. Days count from 0, the first day of the heat handed in.

    Attributes
    ----------
    line_of
        Place of each row's line in the tree (rows,).
    sown
        Day of sowing (rows,); units count from the day after.
    known_units
        Units that are known apart from the tree (rows, 2); zeros where the tree says all.
    design
        What each row has of the shared unknowns (rows, 2, shared).
    not_yet, seen
        Last day on which it was looked for and not there, and day on which it was seen (rows, 2); -1 if none.
    clock_apart
        What the other scale hints at in each member less what it hints at on the whole (rows, members) [units]; with no
        columns where there is no hint.
    """

    line_of: IntArray
    sown: IntArray
    known_units: FloatArray
    design: FloatArray
    not_yet: IntArray
    seen: IntArray
    clock_apart: FloatArray

    def only(self, part: slice) -> RowsAhead:
        """Some of the rows."""
        return RowsAhead(
            self.line_of[part],
            self.sown[part],
            self.known_units[part],
            self.design[part],
            self.not_yet[part],
            self.seen[part],
            self.clock_apart[part],
        )


@dataclass(frozen=True, slots=True)
class HeatAhead:
    """Daily heat units of the season: `so_far` (days,) up to the last reading, `ahead` (members, days) from then on."""

    so_far: FloatArray
    ahead: FloatArray

    def running(self) -> FloatArray:
        """Units up to and with each day (members, days)."""
        members = np.concatenate([np.tile(self.so_far, (len(self.ahead), 1)), self.ahead], axis=1)
        return np.asarray(np.cumsum(members, axis=1))

"""Which date of another year is the same?"""

from __future__ import annotations

from datetime import date


def find_same_date(day: date, year: int) -> date:
    """The same month and day in another year; 29 February is 28 February, in leap years too.

    Notes
    -----
    One date for all years keeps stretches that are lined up on the calendar equally long. Checked by
    ``tests/science/test_season_heat.py`` and ``tests/work/test_ensemble.py`` (leap day).
    """
    return date(year, day.month, 28 if (day.month, day.day) == (2, 29) else day.day)

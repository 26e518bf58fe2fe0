"""Which published rule says when the counting of heat units starts and stops, and what does it give in a year?

Fixed here, since no source says it: a day that ends the season by frost or by the long-term mean is itself not counted;
a last date of the calendar is. Rules are written for the north; in the south their dates move by half a year, our own
choice, and a season is called by the year in which it starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.normal_means import MonthDay, NormalMeans, find_mean_dates
from firstsilk.science.climate.seasons import END_FROST_C, END_MEAN_C, OLD_START_MEAN_C

EndedBy = Literal["frost", "mean", "calendar", "year", ""]

WARM_FROM: MonthDay = (4, 1)
"""Three warm days running are looked for from here to `WARM_TO`. Our own choice; the sources say "in the spring"."""
WARM_TO: MonthDay = (6, 30)
AUTUMN_FROM: MonthDay = (7, 1)
"""A frost before this is one of spring and ends nothing. Our own choice."""
YEAR_END: MonthDay = (12, 31)
"""Where neither frost nor mean ends a season it is cut here. Our own choice."""


@dataclass(frozen=True, slots=True)
class SeasonRule:
    """One published rule.

    The season starts on `start`, or else on the third of three days running with a mean above `warm_mean_c`
    (at or above if `warm_at`), looked for once the long-term mean has reached `normal_start_c` if there is one; with
    neither, it has to be given. It ends at the first autumn minimum at or below `frost_c` (below if not `frost_at`),
    on the date on which the long-term mean falls below `mean_falls_c`, and after `last`: whichever comes first.
    """

    name: str
    says: str
    source: str
    start: MonthDay | None = None
    warm_mean_c: float | None = None
    warm_at: bool = False
    normal_start_c: float | None = None
    frost_c: float | None = None
    frost_at: bool = True
    mean_falls_c: float | None = None
    last: MonthDay | None = None

    @property
    def first(self) -> MonthDay | None:
        """The earliest date on which a season can start; None where it has to be given."""
        return self.start or (WARM_FROM if self.warm_mean_c is not None else None)

    @property
    def needs_normals(self) -> bool:
        """Whether the long-term mean decides."""
        return self.mean_falls_c is not None or self.normal_start_c is not None


_OCC = "Ontario Corn Committee, Heat Units Available for Corn Production in Ontario"
_OLD = "Morris & Stewart, Recent changes to the Crop Heat Units System"
RULES: tuple[SeasonRule, ...] = (
    SeasonRule(
        "ontario",
        "1 May to the long-term mean below 12 °C or the first −2 °C of the autumn",
        _OCC,
        start=(5, 1),
        frost_c=END_FROST_C,
        mean_falls_c=END_MEAN_C,
    ),
    SeasonRule(
        "ontario-frost",
        "1 May to the first −2 °C of the autumn",
        "OMAFRA 2025, Using Crop Heat Units",
        start=(5, 1),
        frost_c=END_FROST_C,
    ),
    SeasonRule(
        "ontario-before-2009",
        "third of three days running with a mean above 12.8 °C; end as ontario",
        f"{_OLD}; it names the start as what changed, so the end is that of 2009",
        warm_mean_c=OLD_START_MEAN_C,
        frost_c=END_FROST_C,
        mean_falls_c=END_MEAN_C,
    ),
    SeasonRule(
        "ontario-before-2009-normal",
        "the same, looked for once the long-term mean has reached 10 °C",
        f"Top Crop Manager 2010, Ontario's new CHU system fires some discussion; {_OLD}",
        warm_mean_c=OLD_START_MEAN_C,
        normal_start_c=10.0,
        frost_c=END_FROST_C,
        mean_falls_c=END_MEAN_C,
    ),
    SeasonRule(
        "federal",
        "1 April to 31 October, both counted",
        "Agriculture and Agri-Food Canada, open data 07875f11",
        start=(4, 1),
        last=(10, 31),
    ),
    SeasonRule(
        "saskatchewan",
        "15 May to the first autumn minimum below −3 °C",
        "Saskatchewan Corn Heat Unit Maps, 2019",
        start=(5, 15),
        frost_c=-3.0,
        frost_at=False,
    ),
    SeasonRule(
        "newfoundland",
        "third of three days running with a mean of 12.8 °C or more, to the first −2 °C or 30 September",
        "Kwabiah, MacPherson & McKenzie 2003, Can. J. Plant Sci., doi 10.4141/P02-127 (abstract)",
        warm_mean_c=OLD_START_MEAN_C,
        warm_at=True,
        frost_c=END_FROST_C,
        last=(9, 30),
    ),
    SeasonRule(
        "prairie",
        "to the first −2 °C of the autumn; the source tells no start, give one",
        "a Canadian prairie province's agriculture page",
        frost_c=END_FROST_C,
    ),
)


@dataclass(frozen=True, slots=True)
class Season:
    """One season: `year` of its start, first and last day counted (None: not met, or not yet), and what ended it."""

    year: int
    starts: date | None
    ends: date | None
    ended_by: EndedBy


def find_rule(name: str) -> SeasonRule:
    """Find a season rule by its name.

    Raises
    ------
    ValueError
        Naming the rules there are.
    """
    found = next((rule for rule in RULES if rule.name == name), None)
    if found is None:
        raise ValueError(f"there is no season rule {name!r}; there are {', '.join(rule.name for rule in RULES)}")
    return found


def find_season(
    rule: SeasonRule,
    year: int,
    days: Sequence[date],
    tmin_c: ArrayLike,
    tmax_c: ArrayLike,
    normals: NormalMeans | None = None,
    south: bool = False,
    start: MonthDay | None = None,
) -> Season:
    """Find the season of a year by a rule.

    Parameters
    ----------
    rule
        The rule.
    year
        The year in which the season starts.
    days
        Dates in order, none twice (days,).
    tmin_c, tmax_c
        Minima and maxima [°C] (days,); NaN is unknown, and neither warm nor frost.
    normals
        Long-term means, where the rule needs them.
    south
        Whether dates move by half a year.
    start
        Month and day to start on instead of the rule's start; not moved.

    Returns
    -------
    Season
        `starts` None where no start is met; `ends` None where the days stop before the season does.

    Raises
    ------
    ValueError
        If the rule has no start and none is given, or it needs long-term means and has none.

    Notes
    -----
    Checked by ``tests/science/test_season_rules.py``, ``tests/outside/test_agronomy_words.py`` and, for starts by
    three warm days and ends by frost, ``tests/outside/test_heat_beside_xclim.py``.
    """
    if rule.first is None and start is None:
        raise ValueError(f"the rule {rule.name} tells no start; say the month and day to start on")
    if rule.needs_normals and normals is None:
        raise ValueError(f"the rule {rule.name} needs the long-term mean")
    low, high = np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)
    starts = _on(year, start, False) if start else _find_start(rule, year, days, (low + high) / 2.0, normals, south)
    if starts is None:
        return Season(year, None, None, "")
    # A start after the turn of the year belongs to the autumn that follows it.
    ends, why = _find_end(rule, starts, days, low, normals, south)
    if not days or ends > days[-1]:
        return Season(year, starts, None, "")
    return Season(year, starts, ends, why)


def find_start_window(
    rule: SeasonRule, year: int, south: bool = False, start: MonthDay | None = None
) -> tuple[date, date]:
    """The first and last day on which the season of a year can start by a rule, or by the start that is given."""
    if start is not None or rule.start is not None:
        only = _on(year, start, False) if start is not None else _on(year, rule.start or YEAR_END, south)
        return only, only
    return _on(year, WARM_FROM, south), _on(year, WARM_TO, south)


def _find_start(
    rule: SeasonRule,
    year: int,
    days: Sequence[date],
    mean_c: NDArray[np.float64],
    normals: NormalMeans | None,
    south: bool,
) -> date | None:
    if rule.start is not None:
        return _on(year, rule.start, south)
    assert rule.warm_mean_c is not None, "asked for a start first"
    first, latest = find_start_window(rule, year, south)
    if rule.normal_start_c is not None and normals is not None:
        reaches, _ = find_mean_dates(normals, rule.normal_start_c, south)
        if reaches is None:
            return None
        first = max(first, _after(first - timedelta(days=90), reaches))
    warm = mean_c >= rule.warm_mean_c if rule.warm_at else mean_c > rule.warm_mean_c
    running, before = 0, None
    for day, is_warm in zip(days, warm.tolist(), strict=True):
        if not first <= day <= latest:
            continue
        follows = before is not None and day - before == timedelta(days=1)
        running = (running + 1 if follows else 1) if is_warm else 0
        before = day
        if running == 3:
            return day
    return None


def _find_end(
    rule: SeasonRule,
    starts: date,
    days: Sequence[date],
    tmin_c: NDArray[np.float64],
    normals: NormalMeans | None,
    south: bool,
) -> tuple[date, EndedBy]:
    """The last day counted, and what ends the season there."""
    autumn = _after(starts - timedelta(days=182), _moved(AUTUMN_FROM, south))
    # A start in late autumn still has its own autumn behind it, not the next one's.
    close = _after(autumn, _moved(YEAR_END, south))
    ends: list[tuple[date, EndedBy]] = [(close, "year")]
    if rule.last is not None:
        ends.append((_after(starts, _moved(rule.last, south)), "calendar"))
    if rule.mean_falls_c is not None and normals is not None:
        _, falls = find_mean_dates(normals, rule.mean_falls_c, south)
        if falls is not None:
            ends.append((_after(starts, falls) - timedelta(days=1), "mean"))
    if rule.frost_c is not None:
        frosty = tmin_c <= rule.frost_c if rule.frost_at else tmin_c < rule.frost_c
        for at in np.flatnonzero(frosty).tolist():
            if max(starts, autumn) <= days[at] <= close:
                ends.append((days[at] - timedelta(days=1), "frost"))
                break
    order: tuple[EndedBy, ...] = ("frost", "mean", "calendar", "year")
    return min(ends, key=lambda one: (one[0], order.index(one[1])))


def _moved(month_day: MonthDay, south: bool) -> MonthDay:
    """The same date half a year later."""
    if not south:
        return month_day
    month, day = (month_day[0] + 5) % 12 + 1, month_day[1]
    return month, min(day, 30 if month in (4, 6, 9, 11) else 28 if month == 2 else 31)


def _on(year: int, month_day: MonthDay, south: bool) -> date:
    """A date of the season that starts in a year."""
    later = south and month_day[0] > 6
    month, day = _moved(month_day, south)
    return date(year + later, month, 28 if (month, day) == (2, 29) else day)


def _after(first: date, month_day: MonthDay) -> date:
    """The first such date on or after a day."""
    this = date(first.year, *month_day)
    return this if this >= first else date(first.year + 1, *month_day)

"""Who meets this season, as it stands today, who is at risk, and what could be done about it?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.meeting_ahead import MeetingAhead, find_pollen_days, judge_draws
from firstsilk.work.flowering.forecast import RowForecast, SeasonForecast
from firstsilk.work.flowering.progress import TargetProgress, measure_progress
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.nursery.joint_sowing import RISK_EARS_FRAC, RISK_MEET_FRAC

LEAST_GROWTH_DAYS = 50
"""A male that is sown today sheds no sooner than after so many days (a choice of ours)."""
APART_DAYS = 3.0
"""Silk and shed further apart than this are called early or late (a choice of ours)."""
LITTLE_FRAC = 0.5
"""With less than this of its ears to be expected, making the cross again is spoken of (a choice of ours)."""
MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class CrossAhead:
    """One cross target: its rows, its dates, its chances, and what could be done.

    Attributes
    ----------
    wanted, standing
        Pollinations wanted on its female rows, and those that stand.
    silk_about, shed_about
        Middle of half silk over its female rows and of half shed over its male rows; None where not known.
    p_meet
        Share of the joint draws in which enough of the silk days see pollen; None without a forecast of both.
    ears_ahead_frac
        Share of the ears wanted for which plants can still be served from today on, on the average; None likewise.
    at_risk
        Why it may fail, in words; empty if it is not at risk.
    state, over
        ``none``, ``more``, ``enough`` or ``short``, as of the target; for the last two why nothing more is to be waited
        for, in words.
    could
        What could be done, in sentences.
    """

    target: int
    kind: str
    female: str
    male: str
    female_rows: tuple[int, ...]
    male_rows: tuple[int, ...]
    wanted: int
    standing: int
    silk_about: date | None
    shed_about: date | None
    p_meet: float | None
    ears_ahead_frac: float | None
    at_risk: str
    state: str
    over: str
    could: tuple[str, ...]


def judge_crosses(
    rows: Sequence[RowFacts], forecast: SeasonForecast | None, today: date, end_on: date | None
) -> tuple[CrossAhead, ...]:
    """Every cross with female rows, those at risk first, the least sure before the others.

    Parameters
    ----------
    rows
        Every row of the season.
    forecast
        Its forecast; None where there is none.
    today, end_on
        The day, and the last day on which anything is pollinated, if one is set or frost came.
    """
    groups: dict[int, list[RowFacts]] = {}
    for row in rows:
        if row.purpose == "female" and row.target is not None and row.male:
            groups.setdefault(row.target, []).append(row)
    ahead = None if forecast is None else _look_up(forecast)
    progress = {one.number: one for one in measure_progress(rows, today, end_on)}
    told = [_judge(group, progress[number], ahead, today) for number, group in groups.items()]
    return tuple(sorted(told, key=_order))


@dataclass(frozen=True, slots=True)
class _Ahead:
    """A forecast with the place of each row in it by number, and its rows by line."""

    forecast: SeasonForecast
    place: Mapping[int, int]
    of_line: Mapping[str, Sequence[RowForecast]]


def _look_up(forecast: SeasonForecast) -> _Ahead:
    of_line: dict[str, list[RowForecast]] = {}
    for row in forecast.rows:
        of_line.setdefault(row.line, []).append(row)
    return _Ahead(forecast, {row.number: at for at, row in enumerate(forecast.rows)}, of_line)


def _order(one: CrossAhead) -> tuple[bool, float, int]:
    return (not one.at_risk, -1.0 if one.ears_ahead_frac is None else one.ears_ahead_frac, one.target)


def _judge(
    females: Sequence[RowFacts],
    progress: TargetProgress,
    ahead: _Ahead | None,
    today: date,
) -> CrossAhead:
    first = females[0]
    wanted = sum(row.wanted for row in females)
    standing = sum(min(row.wanted, row.state.ears_standing) for row in females)
    found: MeetingAhead | None = None
    silk_about = shed_about = None
    male_at: list[int] = []
    if ahead is not None:
        female_at = [ahead.place[row.number] for row in females if row.number in ahead.place]
        male_at = [ahead.place[number] for number in first.male_rows if number in ahead.place]
        silk, shed = ahead.forecast.silk[female_at], ahead.forecast.shed[male_at]
        silk_about, shed_about = _middle(silk, today), _middle(shed, today)
        if female_at and male_at:
            found = judge_draws(silk, shed)
    over = progress.says if progress.standing in ("enough", "short") else ""
    risk = "" if over else _say_risk(first, bool(male_at) or ahead is None, found, wanted, standing)
    could: tuple[str, ...] = ()
    if risk and ahead is not None:
        could = tuple(_say_could(first, ahead, found, silk_about, today))
    return CrossAhead(
        target=first.target or 0,
        kind=first.kind,
        female=first.line,
        male=first.male,
        female_rows=tuple(row.number for row in females),
        male_rows=first.male_rows,
        wanted=wanted,
        standing=standing,
        silk_about=silk_about,
        shed_about=shed_about,
        p_meet=None if found is None else found.p_meet,
        ears_ahead_frac=None if found is None else found.ahead_frac,
        at_risk=risk,
        state=progress.standing,
        over=over,
        could=could,
    )


def _middle(days: NDArray[np.float32], today: date) -> date | None:
    """The middle over rows and draws, as a date."""
    known = days[np.isfinite(days)]
    if not len(known) or 2 * len(known) < days.size:
        return None
    return today + timedelta(days=int(np.rint(np.median(known))))


def _say_risk(first: RowFacts, has_male: bool, found: MeetingAhead | None, wanted: int, standing: int) -> str:
    if not has_male:
        return f"no row of {first.male} is sown or planned" if not first.male_rows else "its male's row is not known"
    if found is None:
        return ""
    left = 1.0 - standing / wanted
    if found.ahead_frac < RISK_EARS_FRAC * left:
        if found.ahead_frac < 0.005:
            return "silk and pollen do not meet any more" if found.ears_frac > 0.05 else "silk and pollen do not meet"
        return f"from today on {_pct(found.ahead_frac)} of its ears can be expected, {_pct(left)} are still wanted"
    if not standing and found.p_meet < RISK_MEET_FRAC:
        return "only early and late plants meet"
    return ""


def _say_could(
    first: RowFacts,
    ahead: _Ahead,
    found: MeetingAhead | None,
    silk_about: date | None,
    today: date,
) -> Iterator[str]:
    others = _find_other_rows(first, ahead, silk_about, today)
    if others:
        named = ", ".join(f"{row.number} ({row.purpose}, about {_say(row.shed[1])})" for row in others if row.shed)
        yield f"Pollen of the same line from row {named}."
    gap = None if found is None else found.shed_first_days
    parents = [ahead.place[number] for number in (first.number, *first.male_rows) if number in ahead.place]
    planned = any(ahead.forecast.rows[at].planned for at in parents)
    if planned:
        yield "A parent is not sown yet: choose its day anew, or split the male's sowing (Who meets)."
    elif _has_time(silk_about, today) and (gap is None or gap > -APART_DAYS):
        yield "There is still time to sow the male once more."
    elif gap is not None and gap >= APART_DAYS:
        yield f"The male sheds {gap:.0f} days too early: bag its latest tassels and tillers, watch the earliest silks."
    elif gap is not None and gap <= -APART_DAYS:
        yield f"The male sheds {-gap:.0f} days too late: keep the latest shoots bagged for it."
    lost = found is None or found.ahead_frac < LITTLE_FRAC
    if lost and not others and not planned:
        yield "Else make it again, in winter or next year."


def _has_time(silk_about: date | None, today: date) -> bool:
    """Whether a male sown today may still shed in time."""
    return silk_about is not None and (silk_about - today).days >= LEAST_GROWTH_DAYS


def _find_other_rows(first: RowFacts, ahead: _Ahead, silk_about: date | None, today: date) -> list[RowForecast]:
    """Other rows of the male's line that shed while middling silks wait, from today on."""
    if silk_about is None:
        return []
    early, late = find_pollen_days()
    found = [
        row
        for row in ahead.of_line.get(first.male, ())
        if row.number not in first.male_rows
        and row.shed is not None
        and early <= (row.shed[1] - silk_about).days <= late
        and (today - row.shed[1]).days < late - early
    ]
    return found[:MOST_NAMED]


def _pct(frac: float) -> str:
    return f"{100 * frac:.0f} %"


def _say(day: date) -> str:
    return f"{day.day} {day:%B}"

"""Which targets will be reached, which will not unless something is done, and which are to be stopped now?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.stakes import LOOK_SD_DAYS, SILK_LASTS_DAYS, WORKABLE_FRAC
from firstsilk.science.flowering.targets import (
    HOPELESS_FRAC,
    RED_FRAC,
    SeasonAhead,
    TargetOutlook,
    find_open_pollen,
    weigh_targets,
)
from firstsilk.science.flowering.workable import draw_workable_days
from firstsilk.science.nursery.counts import GERMINATION_FRAC, OVERPLANT_FRAC
from firstsilk.work.collecting import pause_collecting
from firstsilk.work.flowering.crosses_ahead import judge_crosses
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.progress import TargetProgress, find_reach, group_rows
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.target_words import say_target
from firstsilk.work.flowering.workable_days import close_days, find_hands, read_workable_days
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_season, get_station

FloatArray = NDArray[np.float64]

SEED = 1
FURTHEST_DAYS = 150
"""The days left are followed so far and no further."""
ROW_DRAWS = 1_000_000
LEAST_DRAWS = 40
"""A large nursery is played in fewer draws: rows times draws stay about this number, and draws above the least."""
NODES = np.array([-1.645, -1.036, -0.674, -0.385, -0.126, 0.126, 0.385, 0.674, 1.036, 1.645])
"""Middles of ten equal parts of a normal spread, for where there is no forecast."""
HEADINGS = {
    "red": "Will not be reached unless something is done",
    "in_hand": "In hand",
    "stop": "Stop now: enough, or nothing more can be made",
}
GROUPS = tuple(HEADINGS)


@dataclass(frozen=True, slots=True)
class TargetAhead:
    """One target with what is to be expected of it.

    Attributes
    ----------
    progress
        What the notes tell.
    group
        ``red`` (will not be reached unless something is done), ``in_hand``, or ``stop`` (enough, or likely enough where
        nothing more can be made).
    verdict
        Why it is there: ``enough``, ``over``, ``hopeless``, ``unlikely``, ``going``, ``unknown`` (nothing tells when
        its rows silk).
    outlook
        Chances, pollinations missing and possible, days.
    today
        Pollinations that today's list asks for.
    stop_on, last_on
        As `TargetOutlook.stop_day` and `last_day`, as dates.
    days_left
        Days from today to `last_on`, today counted; 0 if nothing more can be made.
    says
        One sentence with its numbers.
    instead
        What could be done instead, in sentences.
    tags
        Row numbers with their tags.
    """

    progress: TargetProgress
    group: str
    verdict: str
    outlook: TargetOutlook
    today: int
    stop_on: date | None
    last_on: date | None
    days_left: int
    says: str
    instead: tuple[str, ...]
    tags: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class SeasonTargets:
    """All targets of a season, the red list first. `workable` says what the days that can be worked rest on."""

    season: str
    today: date
    targets: tuple[TargetAhead, ...]
    sentences: tuple[str, ...]
    basis: Basis
    workable: str = ""

    def of_group(self, group: str) -> tuple[TargetAhead, ...]:
        """The targets of one group, in their order."""
        return tuple(one for one in self.targets if one.group == group)

    @property
    def by_group(self) -> tuple[dict[str, object], ...]:
        """Name, heading and targets of each group, for whoever shows them."""
        return tuple({"name": one, "heading": HEADINGS[one], "targets": self.of_group(one)} for one in GROUPS)

    def of_row(self, number: int) -> TargetAhead | None:
        """The target that a row serves."""
        return next((one for one in self.targets if number in one.progress.rows), None)

    @property
    def short(self) -> tuple[TargetAhead, ...]:
        """Targets of which nothing more can be made, and that will not be reached."""
        return tuple(one for one in self.of_group("red") if one.verdict == "over")


def read_targets(on: Occasion, season: str = "") -> SeasonTargets:
    """As `tell_targets`, with the day's list read for it."""
    return tell_targets(on, read_day_list(on, season, by_forecast=True))


@pause_collecting()
def tell_targets(on: Occasion, day: DayList) -> SeasonTargets:
    """The chance of each target, how many more it wants, and when to stop.

    Parameters
    ----------
    on
        The occasion.
    day
        The day's list, read with its forecast.

    Notes
    -----
    Considered: success and set of each line with what is not known of them, silk and shed as noted or in the forecast's
    joint draws, plants of the rows, spray intervals, the cutoff, past years' killing frosts, days lost to rain (as
    forecast, else as in past years; a quarter where there are no records), and hands where a crew is set, given by
    priority. Not considered: a storm that spoils many at once, shoots that silk before they are bagged, and whether the
    ears ripen (see the cutoff).
    """
    groups = group_rows(day.rows.values())
    progress = {one.number: one for one in day.progress}
    ranked = sorted(groups, key=lambda number: (groups[number][0].priority, number))
    rows = [row for number in ranked for row in groups[number]]
    outlooks: tuple[TargetOutlook, ...] = ()
    said = ""
    reach = [find_reach(groups[number], _count_free(groups[number])) for number in ranked]
    if rows:
        ahead, said = _look_ahead(on, day, rows, {number: at for at, number in enumerate(ranked)})
        tables = [one.table for one in reach]
        outlooks = weigh_targets(tables, [one.standing for one in reach], ahead, [one.goal_frac for one in reach])
    todays = _count_today(day)
    judged = [
        _judge(progress[number], groups[number], outlook, day, todays.get(number, 0))
        for number, outlook in zip(ranked, outlooks, strict=True)
    ]
    told = tuple(sorted(_add_instead(judged, groups, day), key=_order))
    return SeasonTargets(day.season, day.today, told, tuple(_say_all(told)), day.basis, said)


def count_plants(row: RowFacts) -> int:
    """Plants of a row: those counted, else what its kernels are sown for; never fewer than were pollinated."""
    sown = round(row.kernels * GERMINATION_FRAC / (1 + OVERPLANT_FRAC))
    plants = row.state.stand if row.state.stand is not None else max(sown, row.wanted)
    return max(plants, row.state.ears_pollinated)


def _count_free(rows: Sequence[RowFacts]) -> int:
    return sum(count_plants(row) - row.state.ears_pollinated for row in rows)


def _count_today(day: DayList) -> dict[int, int]:
    """Pollinations that today's list asks for, by target."""
    found: dict[int, int] = {}
    for task in day.tasks:
        target = day.rows[task.number].target
        if task.do == "pollinate" and target is not None:
            found[target] = found.get(target, 0) + task.count
    return found


def _look_ahead(
    on: Occasion, day: DayList, rows: Sequence[RowFacts], place: Mapping[int, int]
) -> tuple[SeasonAhead, str]:
    """What the days left may bring to these rows, and what their rain rests on; `place` is the place of each target."""
    station = get_station(on.station)
    book = get_season(station, day.season, on.today)
    dice = np.random.default_rng(SEED)
    n_draws = max(LEAST_DRAWS, ROW_DRAWS // len(rows))
    silk, shed = _draw_flowering(day, n_draws)
    at = {number: index for index, number in enumerate(day.rows)}
    own_silk = silk[[at[row.number] for row in rows]]
    n_days = _count_days(day, own_silk)
    males = [(row.number,) if row.purpose == "self" else row.male_rows for row in rows]
    kinds = {group: index for index, group in enumerate(dict.fromkeys(males))}
    sheds = np.zeros((len(kinds), silk.shape[1], n_days), dtype=bool)
    for group, index in kinds.items():
        if group:
            sheds[index] = find_open_pollen(shed[[at[number] for number in group]], n_days)
    dates = [day.today + timedelta(days=at) for at in range(n_days)]
    weather = read_workable_days(station, book.site, dates)
    workable = draw_workable_days(weather.own, weather.past, silk.shape[1], WORKABLE_FRAC, dice)
    ahead = SeasonAhead(
        silk=own_silk,
        sheds=sheds,
        group_of=np.array([kinds[group] for group in males], dtype=np.intp),
        target_of=np.array([place[row.target or 0] for row in rows], dtype=np.intp),
        plants=np.array([count_plants(row) for row in rows], dtype=np.float64),
        used=np.array([row.state.ears_pollinated for row in rows], dtype=np.float64),
        enter_day=np.array([_find_entry(row, day.today) for row in rows], dtype=np.intp),
        open_days=close_days(on, book, dates, day.end_on, workable, dice),
        hands=find_hands(station, book, day.today, workable.mean(axis=0)),
    )
    return ahead, weather.says


def _draw_flowering(day: DayList, n_draws: int) -> tuple[FloatArray, FloatArray]:
    """(rows, draws) days after today of half silk and half shed; NaN where nothing tells."""
    if day.forecast is not None and day.forecast.rows:
        place = {row.number: at for at, row in enumerate(day.forecast.rows)}
        known = [at for at, number in enumerate(day.rows) if number in place]
        whole = [place[number] for number in day.rows if number in place]
        found = []
        for draws in (day.forecast.silk, day.forecast.shed):
            kept = draws[whole][:, :n_draws].astype(np.float64)
            each = np.full((len(day.rows), kept.shape[1]), np.nan)
            each[known] = kept
            found.append(each)
        return found[0], found[1]
    silk = [_spread(row.state.silk_on, row.silk_expected, day.today) for row in day.rows.values()]
    shed = [_spread(row.state.shed_on, row.shed_expected, day.today) for row in day.rows.values()]
    return np.array(silk), np.array(shed)


def _spread(noted: date | None, expected: date | None, today: date) -> FloatArray:
    """A day as noted, or as expected with its usual error; all rows are late or early together."""
    if noted is not None:
        return np.full(len(NODES), float((noted - today).days))
    if expected is None:
        return np.full(len(NODES), np.nan)
    # What is not noted yet is not out, or nobody has seen it: it counts from today on.
    return np.maximum(0.0, (expected - today).days + LOOK_SD_DAYS * NODES)


def _count_days(day: DayList, silk: FloatArray) -> int:
    known = silk[np.isfinite(silk)]
    last = int(np.ceil(np.quantile(known, 0.99))) + SILK_LASTS_DAYS if len(known) else 0
    if day.end_on is not None:
        last = min(last, (day.end_on - day.today).days)
    return int(min(FURTHEST_DAYS, max(0, last))) + 1


def _find_entry(row: RowFacts, today: date) -> int:
    """The first day after today on which a sprayed row may be entered."""
    if not row.no_entry or row.no_entry_until is None:
        return 0
    return max(1, (row.no_entry_until.date() - today).days)


def _judge(
    progress: TargetProgress, rows: Sequence[RowFacts], outlook: TargetOutlook, day: DayList, today: int
) -> TargetAhead:
    group, verdict = _find_group(progress, rows, outlook, day)
    stop_on, last_on = (
        None if at is None else day.today + timedelta(days=at) for at in (outlook.stop_day, outlook.last_day)
    )
    days_left = 0 if last_on is None else (last_on - day.today).days + 1
    return TargetAhead(
        progress=progress,
        group=group,
        verdict=verdict,
        outlook=outlook,
        today=min(today, outlook.more),
        stop_on=stop_on,
        last_on=last_on,
        days_left=days_left,
        says=say_target(progress, outlook, verdict, min(today, outlook.more), stop_on, last_on),
        instead=(),
        tags=tuple((row.number, row.tag) for row in rows),
    )


def _find_group(
    progress: TargetProgress, rows: Sequence[RowFacts], outlook: TargetOutlook, day: DayList
) -> tuple[str, str]:
    if not outlook.more:
        return "stop", "enough"
    known = all(row.silk_expected is not None or row.state.silk_on is not None for row in rows)
    ended = progress.standing == "short" or bool(progress.ears_picked) or day.killed_on is not None
    if outlook.last_day is None and (known or ended or (day.end_on is not None and day.today > day.end_on)):
        missed = not progress.ears_pollinated and not ended and any(row.state.silk_on is None for row in rows)
        if missed:
            return "red", "hopeless"
        return ("red" if outlook.now_frac < RED_FRAC else "stop"), "over"
    if outlook.last_day is None:
        return "in_hand", "unknown"
    if outlook.can_frac < HOPELESS_FRAC:
        return "red", "hopeless"
    return ("red", "unlikely") if outlook.asked_frac < RED_FRAC else ("in_hand", "going")


def _order(one: TargetAhead) -> tuple[int, bool, float, int]:
    """Red first, in it the targets with the least chance; what is enough last."""
    chance = one.outlook.now_frac if one.group == "stop" else one.outlook.asked_frac
    return GROUPS.index(one.group), one.verdict == "unknown", chance, one.progress.number


def _add_instead(
    judged: Sequence[TargetAhead], groups: Mapping[int, list[RowFacts]], day: DayList
) -> list[TargetAhead]:
    """The same, with what could be done instead for those that will not be reached."""
    wanting = {one.progress.number for one in judged if one.group == "red"}
    crosses = [row for number in sorted(wanting) for row in groups[number] if row.purpose == "female"]
    could = {one.target: one.could for one in judge_crosses(crosses, day.forecast, day.today, day.end_on)}
    return [
        replace(one, instead=could.get(one.progress.number) or _say_instead(one))
        if one.progress.number in wanting
        else one
        for one in judged
    ]


def _say_instead(one: TargetAhead) -> tuple[str, ...]:
    """What could be done for a target of which too little can be made."""
    enough_plants = one.verdict == "unlikely" and one.outlook.can_frac >= RED_FRAC
    if enough_plants:
        return ("Plants and days would do: give it more hands, or make more than is asked for while they last.",)
    if one.verdict == "over":
        return ("Make it again, in winter or next year.",)
    if one.progress.male:
        return ("Pollen of other plants of the male's line, or make the cross again in winter or next year.",)
    return ("Sib plants of the line, bulking their pollen, or self it again in winter or next year.",)


def _say_all(targets: Sequence[TargetAhead]) -> list[str]:
    if not targets:
        return ["No target of this season has rows yet."]
    count = {group: sum(1 for one in targets if one.group == group) for group in GROUPS}
    going = f"{count['in_hand']} {'is' if count['in_hand'] == 1 else 'are'} in hand, {count['stop']} to stop now."
    said = [f"{count['red']} of {len(targets)} targets will not be reached unless something is done, {going}"]
    today = sum(one.today for one in targets if one.verdict not in ("enough", "over"))
    more = sum(one.outlook.more for one in targets if one.verdict not in ("enough", "over"))
    if more:
        said.append(f"{more:,} more pollinations are asked for, {today:,} of them today.")
    return said

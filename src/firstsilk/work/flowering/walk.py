"""What does a phone need in the field today? The rows, where they stand, what to do there, and what to hold it against.

No pedigrees and no results travel: a phone may be lost. What the station says travels twice: as an English sentence for
older phones, and as codes with values that a phone words in the language of its user.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from firstsilk.records.models import Season
from firstsilk.science.flowering.checks import SHED_BEFORE_DAYS
from firstsilk.science.flowering.day import FIRST_SILKS_DAYS, SHED_LASTS_DAYS, SILK_LASTS_DAYS, Task
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.teams import list_team_names, plan_teams
from firstsilk.work.flowering.walk_bags import WalkBag, list_walk_bags
from firstsilk.work.flowering.walk_picks import WalkPick, read_walk_picks
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station

FORMAT = 1
"""Version of the field list that phones read."""


@dataclass(frozen=True, slots=True)
class Step:
    """The next step of a row as its notes stand: a code that the phone words, and the numbers in it.

    `code` is one of ``nothing``, ``look_shed``, ``take_pollen``, ``enough``, ``shoot_bags``, ``look_silk``, ``self``
    and ``pollinate``; `males` are row numbers.
    """

    code: str
    ears: int = 0
    males: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class WalkTask:
    """One thing to do today on a row. `rank` counts the day's tasks of this kind from the most urgent, 1, on; `again`
    are those of the ears that repeat lost ones.

    `days_left` are the days after which it is too late, None if it can wait. Why it is there the phone tells from
    `days_left` and the row's windows.
    """

    do: str
    count: int
    males: tuple[int, ...]
    days_left: int | None
    rank: int
    again: int = 0


@dataclass(frozen=True, slots=True)
class Window:
    """Days from which and until which silk takes pollen, or pollen is shed; `seen` if noted, else only expected."""

    first: str
    half: str
    last: str
    seen: bool


@dataclass(frozen=True, slots=True)
class WalkRow:
    """One row of today's field list.

    Parameters
    ----------
    do
        One instruction, a short English sentence; `step` says the same as a code.
    next
        The kind of note that the instruction leads to; empty if none.
    make
        The kind of pollination planned (``self``, ``cross``, ...); empty for males and fillers.
    males
        Tag and number of each row that gives pollen to this one.
    keep_out_until
        Local time until which nobody may enter (a spray interval); None if free.
    state
        Counts and dates as text that the notes give; `ears_wanted` is what its tag asks: ears to pollinate on this row.
    tasks
        What is to be done on it today, as on the day list at the desk.
    silk, shed
        When its silk takes pollen and when it sheds; None where that is not known or does not matter.
    pick
        Its ears at harvest; None before the harvest and where it bears none.
    """

    tag: str
    number: int
    field_row: int
    field_col: int
    line: str
    purpose: str
    make: str
    do: str
    next: str
    males: tuple[tuple[str, int], ...]
    keep_out_until: str | None
    state: Mapping[str, int | str | None]
    step: Step
    tasks: tuple[WalkTask, ...]
    silk: Window | None
    shed: Window | None
    pick: WalkPick | None = None


@dataclass(frozen=True, slots=True)
class WalkStretch:
    """Row numbers that a team walks for some kinds of task today, in walking order."""

    team: str
    kinds: tuple[str, ...]
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Walk:
    """Today's field list of a station's season, rows by number.

    `cutoff_on` is the last day on which a row is still pollinated (or that of the killing frost), empty for none.
    `bags` are the bags with a code that were hung or used in the last days. `teams` are the stretches of today's teams;
    none where all walk as one. `crates` are the tags of drying crates; none before the harvest.
    """

    format: int
    station: str
    season: str
    today: date
    rows: tuple[WalkRow, ...]
    cutoff_on: str = ""
    bags: tuple[WalkBag, ...] = ()
    teams: tuple[WalkStretch, ...] = ()
    crates: tuple[str, ...] = ()


def read_walk(on: Occasion) -> Walk:
    """Today's field list: every row of the season with its place, its males, its state and what to do.

    A station without a season has an empty list: a phone can still write notes by tag.
    """
    station = get_station(on.station)
    if not Season.objects.filter(station=station).exists():
        return Walk(FORMAT, station.code, "", on.today, ())
    picks = read_walk_picks(on, read_day_list(on))
    day = picks.day
    zone = ZoneInfo(station.time_zone)
    tasks = _share_tasks(day.tasks)
    rows = sorted(day.rows.values(), key=lambda row: row.number)
    return Walk(
        format=FORMAT,
        station=station.code,
        season=day.season,
        today=on.today,
        rows=tuple(
            _as_walk_row(row, day.rows, tasks.get(row.number, ()), zone, picks.rows.get(row.tag)) for row in rows
        ),
        cutoff_on=day.end_on.isoformat() if day.end_on else "",
        bags=list_walk_bags(station, on.today),
        teams=_part_over_teams(on, day),
        crates=picks.crates,
    )


def _part_over_teams(on: Occasion, day: DayList) -> tuple[WalkStretch, ...]:
    """The stretches of the teams that the workers there today are in, if there are two or more."""
    if len(list_team_names(on)) < 2 or not day.tasks:
        return ()
    return tuple(WalkStretch(walk.team, walk.kinds, walk.rows) for walk in plan_teams(on, day).walks)


def _share_tasks(tasks: Iterable[Task]) -> dict[int, tuple[WalkTask, ...]]:
    """Tasks by row number, each with its rank among those of its kind."""
    ranks: dict[str, int] = defaultdict(int)
    found: dict[int, list[WalkTask]] = defaultdict(list)
    for task in sorted(tasks, key=lambda one: (-one.urgency, one.number)):
        ranks[task.do] += 1
        found[task.number].append(WalkTask(task.do, task.count, task.males, task.days_left, ranks[task.do], task.again))
    return {number: tuple(some) for number, some in found.items()}


def _as_walk_row(
    row: RowFacts, rows: Mapping[int, RowFacts], tasks: Sequence[WalkTask], zone: ZoneInfo, pick: WalkPick | None
) -> WalkRow:
    state = row.state
    step, following = _choose_step(row)
    shut = row.no_entry_until.astimezone(zone) if row.no_entry and row.no_entry_until is not None else None
    return WalkRow(
        tag=row.tag,
        number=row.number,
        field_row=row.field_row,
        field_col=row.field_col,
        line=row.line,
        purpose=row.purpose,
        make=row.kind,
        do=_say_step(step),
        next=following,
        males=tuple((rows[number].tag, number) for number in row.male_rows),
        keep_out_until=shut.strftime("%Y-%m-%dT%H:%M:%S") if shut else None,
        state={
            "silk_on": state.silk_on.isoformat() if state.silk_on else None,
            "shed_on": state.shed_on.isoformat() if state.shed_on else None,
            "shoot_bags": state.shoot_bags,
            "tassel_bags": state.tassel_bags,
            "last_tassel_bag_on": state.last_tassel_bag_on.isoformat() if state.last_tassel_bag_on else None,
            "ears": state.ears_standing,
            "ears_pollinated": state.ears_pollinated,
            "spoiled": state.spoiled,
            "ears_wanted": row.wanted,
        },
        step=step,
        tasks=tuple(tasks),
        silk=_window(row.silk_expected, state.silk_on, FIRST_SILKS_DAYS, SILK_LASTS_DAYS)
        if row.purpose in ("self", "female")
        else None,
        shed=_window(row.shed_expected, state.shed_on, SHED_BEFORE_DAYS, SHED_LASTS_DAYS)
        if row.purpose in ("self", "male")
        else None,
        pick=pick,
    )


def _window(expected: date | None, seen: date | None, before_days: int, after_days: int) -> Window | None:
    half = seen or expected
    if half is None:
        return None
    first, last = half - timedelta(days=before_days), half + timedelta(days=after_days)
    return Window(first.isoformat(), half.isoformat(), last.isoformat(), seen is not None)


def _choose_step(row: RowFacts) -> tuple[Step, str]:
    """The next step of a row as its notes stand, and the kind of note it leads to."""
    state, wanted = row.state, row.wanted
    if row.purpose == "filler":
        return Step("nothing"), ""
    if row.purpose == "male":
        return (Step("look_shed"), "shed") if state.shed_on is None else (Step("take_pollen"), "tassel_bagged")
    if state.ears_standing >= wanted:
        return Step("enough"), ""
    if state.shoot_bags == 0:
        return Step("shoot_bags"), "shoot_bagged"
    if state.silk_on is None and state.ears_pollinated == 0:
        return Step("look_silk"), "silk"
    missing = wanted - state.ears_standing
    if row.purpose == "self":
        return Step("self", missing), "pollinated"
    return Step("pollinate", missing, row.male_rows), "pollinated"


_SENTENCES = {
    "nothing": "Nothing to do here.",
    "look_shed": "Look for pollen: do half the plants shed?",
    "take_pollen": "Take pollen from here.",
    "enough": "Enough ears. Nothing more to do.",
    "shoot_bags": "Put shoot bags on, before any silk shows.",
    "look_silk": "Look for silk: do half the plants show it?",
    "self": "Self {ears}: each with its own pollen.",
    "pollinate": "Pollinate {ears} with pollen of row {males}.",
}


def _say_step(step: Step) -> str:
    """The step as an English sentence, for phones that know no codes yet."""
    ears = "1 ear" if step.ears == 1 else f"{step.ears} ears"
    males = " or ".join(str(number) for number in step.males) or "(ask)"
    return _SENTENCES[step.code].format(ears=ears, males=males)

"""Which team does which tasks of the day, in which order, and how far does it walk?"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from django.db.models import Q

from firstsilk.answers import refuse
from firstsilk.records.models import Station, Worker
from firstsilk.science.flowering.day import Task
from firstsilk.science.flowering.routes import (
    MINUTES_EACH,
    RANGE_LENGTH_M,
    ROUNDS,
    Field,
    Stop,
    Team,
    choose_teams,
    deal_in_turn,
    make_stops,
    part_round,
    stretch_minutes,
)
from firstsilk.work.flowering.crew import read_speed
from firstsilk.work.flowering.crew_plan import read_crew_of
from firstsilk.work.flowering.day import DayList
from firstsilk.work.flowering.work_rules import read_barred_teams, say_barred
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station

MOST_TEAMS = 40
SHORTEST_RANGE_M, LONGEST_RANGE_M = 0.5, 100.0


@dataclass(frozen=True, slots=True)
class TeamWalk:
    """One team's stretch of one round: its kinds of task, rows in walking order, metres, and the team's minutes."""

    team: str
    hands: int
    kinds: tuple[str, ...]
    rows: tuple[int, ...]
    metres: float
    minutes: float


@dataclass(frozen=True, slots=True)
class TeamPlan:
    """The day's list parted over teams.

    `dealt_m` is how far the teams would walk together if each round's list were dealt to them row by row in turn,
    `walked_m` how far they walk in their stretches. `undone` are tasks that no team may do. `minutes_a_pollination` is
    the pace, all steps; `pace_from` says where it comes from.
    """

    teams: tuple[Team, ...]
    walks: tuple[TeamWalk, ...]
    dealt_m: float
    walked_m: float
    undone: tuple[Task, ...]
    minutes_a_pollination: float
    pace_from: str
    range_length_m: float
    sentences: tuple[str, ...]
    homes: Mapping[tuple[str, int], str]

    def team_of(self, task: Task) -> str:
        """The team whose task it is; empty if none may do it."""
        return self.homes.get((task.do, task.number), "")

    def order(self, tasks: Sequence[Task], team: str = "") -> tuple[tuple[str, Task], ...]:
        """Tasks with their team, team by team, round by round, as they are walked; of one team if it is named."""
        if team and team not in {one.name for one in self.teams}:
            named = ", ".join(one.name for one in self.teams)
            raise refuse("team_unknown", f"There is no team {team!r} today.", f"Teams: {named}.")
        of_row: dict[tuple[str, int], Task] = {(task.do, task.number): task for task in tasks}
        return tuple(
            (walk.team, of_row[do, row])
            for walk in sorted(self.walks, key=lambda one: self._place(one.team))
            if team in ("", walk.team)
            for row in walk.rows
            for do in walk.kinds
            if (do, row) in of_row
        )

    def _place(self, name: str) -> int:
        return [team.name for team in self.teams].index(name)

    def busy_min(self, team: str) -> float:
        """Minutes of a team over all its rounds."""
        return sum(walk.minutes for walk in self.walks if walk.team == team)

    def walked_by(self, team: str) -> float:
        """Metres of a team over all its rounds."""
        return sum(walk.metres for walk in self.walks if walk.team == team)


def plan_teams(
    on: Occasion,
    day: DayList,
    n_teams: int = 0,
    range_length_m: float = RANGE_LENGTH_M,
    barred: Mapping[str, Collection[str]] | None = None,
) -> TeamPlan:
    """Part the tasks of a day list over teams.

    Parameters
    ----------
    day
        The list.
    n_teams
        How many teams of equal size; 0: the teams that the workers' records name, or one.
    range_length_m
        From one range to the next: row and alley [m].
    barred
        Kinds of task that a team may not do, by its name; None: as the rules for its people's age bands say.

    Raises
    ------
    InputRefused
        For a number of teams or a length that cannot be.

    Notes
    -----
    Each round is parted for itself (`science.flowering.routes`). Minutes are those of practised hands on split steps,
    stretched to the crew's own pace, which the season's crew sets, or the notes tell, or else is the published 3.92
    minutes. A task under no team's hands is told.
    """
    if not 0 <= n_teams <= MOST_TEAMS:
        raise refuse("teams_wrong", f"{n_teams} teams cannot be planned.", f"Give 1 to {MOST_TEAMS}.")
    if not SHORTEST_RANGE_M <= range_length_m <= LONGEST_RANGE_M:
        told = f"A range of {range_length_m:g} m cannot be."
        raise refuse("range_length_wrong", told, f"Give {SHORTEST_RANGE_M:g} to {LONGEST_RANGE_M:g} metres.")
    station = get_station(on.station)
    if barred is None:
        # Teams that are only numbered hold nobody in particular, so no rule is known for them.
        barred = {} if n_teams else read_barred_teams(on)
    teams = _find_teams(on, station, day.season, n_teams, barred)
    pace_min, told = _find_pace(on, station, day.season)
    stretch = stretch_minutes(pace_min)
    field = Field(range_length_m=range_length_m)
    walks: list[TeamWalk] = []
    undone: list[Task] = []
    dealt_m = 0.0
    for kinds in ROUNDS:
        for some, may in choose_teams(teams, kinds).items():
            tasks = [task for task in day.tasks if task.do in some]
            if not may:
                undone += tasks
                continue
            there = tuple(do for do in some if any(task.do == do for task in tasks))
            walks += _walk_round(day, tasks, there, may, stretch, field)
            dealt_m += _deal_round(day, tasks, may, field)
    walked_m = sum(walk.metres for walk in walks)
    homes = {(do, row): walk.team for walk in walks for do in walk.kinds for row in walk.rows}
    said = _say(teams, walks, dealt_m, walked_m, undone)
    sentences = (*said[:1], *say_barred({one.name: one.barred for one in teams}), *said[1:])
    return TeamPlan(
        teams, tuple(walks), dealt_m, walked_m, tuple(undone), pace_min, told, range_length_m, sentences, homes
    )


def choose_team(on: Occasion, day: DayList, n_teams: int, team: str, range_length_m: float = RANGE_LENGTH_M) -> DayList:
    """The day list with one team's tasks alone, as it walks them; parted as in `plan_teams`.

    Raises
    ------
    InputRefused
        If there is no such team, or the parting cannot be.
    """
    plan = plan_teams(on, day, n_teams, range_length_m)
    if not team:
        named = ", ".join(one.name for one in plan.teams)
        raise refuse("team_missing", "Whose part of the list is not said.", f"Name a team: {named}.")
    return replace(day, tasks=tuple(task for _, task in plan.order(day.tasks, team)))


def list_team_names(on: Occasion) -> tuple[str, ...]:
    """The teams that the records of the workers there today name."""
    return tuple(sorted(set(_list_there(on, get_station(on.station)))))


def _list_there(on: Occasion, station: Station) -> list[str]:
    """The team of every worker who is there today and in one."""
    there = Worker.objects.filter(Q(first_day__isnull=True) | Q(first_day__lte=on.today), station=station)
    there = there.filter(Q(left_on__isnull=True) | Q(left_on__gt=on.today)).exclude(team="")
    return sorted(there.values_list("team", flat=True))


def _find_teams(
    on: Occasion, station: Station, season: str, n_teams: int, barred: Mapping[str, Collection[str]]
) -> tuple[Team, ...]:
    """Teams as asked for, or as the workers that are there today are in; else all hands as one team."""
    crew = read_crew_of(on, season)
    hands = crew.workers + crew.beginners if crew is not None else 0
    if not n_teams:
        sizes = {name: len(list(group)) for name, group in groupby(_list_there(on, station))}
        if sizes:
            return tuple(Team(name, size, frozenset(barred.get(name, ()))) for name, size in sizes.items())
    count = n_teams or 1
    return tuple(
        Team(name, max(1, hands // count + (at < hands % count)), frozenset(barred.get(name, ())))
        for at, name in enumerate(str(number) for number in range(1, count + 1))
    )


def _find_pace(on: Occasion, station: Station, season: str) -> tuple[float, str]:
    """Minutes of one hand for a pollination, all steps, and where that comes from."""
    crew = read_crew_of(on, season)
    if crew is not None and crew.per_hour:
        return 60.0 / crew.per_hour, "as set for this season's crew"
    speed = read_speed(station, on.today)
    if speed.n_days:
        return 60.0 / speed.per_hour, f"from {speed.n_days} worker-days in your notes and the published 3.92"
    return 60.0 / speed.per_hour, "as published (Thayer & Down 1942)"


def _walk_round(
    day: DayList, tasks: Sequence[Task], kinds: tuple[str, ...], teams: Sequence[Team], stretch: float, field: Field
) -> list[TeamWalk]:
    hands = {team.name: team.hands for team in teams}
    stops = _make_stops(day, tasks, stretch)
    return [
        TeamWalk(
            walk.team, hands[walk.team], kinds, tuple(stop.number for stop in walk.stops), walk.metres, walk.minutes
        )
        for walk in part_round(stops, teams, field)
    ]


def _deal_round(day: DayList, tasks: Sequence[Task], teams: Sequence[Team], field: Field) -> float:
    """Metres of the teams together if the list of each kind, in row order, is dealt to them in turn."""
    return sum(
        walk.metres
        for _, group in groupby(tasks, key=lambda task: task.do)
        for walk in deal_in_turn(_make_stops(day, list(group), 1.0), teams, field)
    )


def _make_stops(day: DayList, tasks: Sequence[Task], stretch: float) -> tuple[Stop, ...]:
    places = {task.number: (day.rows[task.number].field_row, day.rows[task.number].field_col) for task in tasks}
    work = [(task.number, task.do, task.count) for task in tasks]
    return make_stops(places, work, lambda do: MINUTES_EACH[do] * stretch)


def _say(
    teams: Sequence[Team], walks: Sequence[TeamWalk], dealt_m: float, walked_m: float, undone: Sequence[Task]
) -> list[str]:
    if not walks:
        return ["There is nothing to part over teams today."] if not undone else [_say_undone(undone)]
    busy = {team.name: sum(one.minutes for one in walks if one.team == team.name) for team in teams}
    least, most = min(busy.values()), max(busy.values())
    if len(teams) == 1:
        said = [f"One team: {_hours(most)} of work for {_people(teams[0].hands)}, {walked_m:,.0f} m to walk."]
    else:
        said = [f"{len(teams)} teams are busy for {_hours(least)} to {_hours(most)} each."]
        said.append(
            f"In their stretches they walk {walked_m:,.0f} m together; the same lists dealt to them row by row in turn "
            f"would be {dealt_m:,.0f} m."
        )
    return said + ([_say_undone(undone)] if undone else [])


def _say_undone(undone: Sequence[Task]) -> str:
    kinds = ", ".join(sorted({task.do.replace("_", " ") for task in undone}))
    return f"No team may do {len(undone)} tasks ({kinds}): the crew leader decides who does."


def _people(hands: int) -> str:
    return "one pair of hands" if hands == 1 else f"{hands} people"


def _hours(minutes: float) -> str:
    whole = max(1, round(minutes))
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"

"""Which team does which rows, in which order, and how far does it walk?

Values in, values out. The field is a grid of rows in ranges: along a range one steps from row to row in the alley, and
from range to range one walks a row's length. Every round of the day is parted into contiguous stretches of the
serpentine, one a team, so that teams do not cross and all are busy for about as long.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

ROW_SPACING_M = 0.76
"""Distance between rows of a range [m] (30 inches)."""
RANGE_LENGTH_M = 5.0
"""From one range to the next: a row of 4 m and an alley of 1 m [m] (common practice, no source; alleys 0.75-1.5 m)."""
WALK_M_A_MIN = 50.0
"""Pace between rows with bags in hand: 3 km/h [m/min] (a choice of ours)."""

MINUTES_EACH = {
    "pollinate": 0.75,
    "take_down": 0.35,
    "tassel_bag": 0.60,
    "shoot_bag": 0.30,
    "look": 0.50,
    "sow": 2.00,
    "pick": 0.50,
}
"""Minutes of one practised hand for each ear, bag or row where the steps are split: 60-100 ears, 80-120 tassel bags,
150-250 shoot bags an hour (common practice, no source); the others are choices of ours."""
STEPS_A_POLLINATION = {"shoot_bag": 1.65, "tassel_bag": 1.15, "pollinate": 1.0}
"""Steps that one pollination takes, losses among them (the middles of the rates that supplies are counted by)."""

ROUNDING_MIN = 0.01
EXACT_STOPS = 8
MOST_TURNED = 100
"""Walks of up to so many stops are the shortest there are; of up to so many they are shortened (time decides; ours)."""
ROUNDS = (
    ("look", "shoot_bag"),
    ("take_down", "pollinate"),
    ("tassel_bag",),
    ("sow",),
    ("pick",),
)
"""Kinds of task that one walk does, in the order of the day: covers before silks show, pollen when it flies, then
bags."""


@dataclass(frozen=True, slots=True)
class Stop:
    """One row to stop at: its range and place in it, and minutes of one hand [min] for the work there."""

    number: int
    field_row: int
    field_col: int
    minutes: float


@dataclass(frozen=True, slots=True)
class Team:
    """A team: its name, hands, and kinds of task that it may not do (age, training, law)."""

    name: str
    hands: int = 1
    barred: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Field:
    """The ground: distances between rows of a range, and from range to range [m]."""

    row_spacing_m: float = ROW_SPACING_M
    range_length_m: float = RANGE_LENGTH_M

    def measure(self, one: Stop, other: Stop) -> float:
        """Metres from row to row: along alleys and rows, never across them."""
        along = abs(one.field_col - other.field_col) * self.row_spacing_m
        return along + abs(one.field_row - other.field_row) * self.range_length_m


@dataclass(frozen=True, slots=True)
class Walk:
    """One team's stretch of one round, in walking order. `minutes` are the team's: work by its hands, and walking."""

    team: str
    stops: tuple[Stop, ...]
    metres: float
    minutes: float


def order_walk(stops: Sequence[Stop], field: Field) -> tuple[Stop, ...]:
    """Stops range by range, each range walked in the direction that makes the whole walk shortest.

    Notes
    -----
    The shortest of all walks that finish a range before they go to the next: two ways for each range, the better of
    both at each end kept. Checked by tests/science/test_routes.py against all ways, and against all orders of stops.
    """
    ranges = [
        sorted(group, key=lambda one: one.field_col)
        for _, group in groupby(sorted(stops, key=_by_range), key=lambda one: one.field_row)
    ]
    best: list[tuple[float, tuple[Stop, ...]]] = [(0.0, ())]
    for rows in ranges:
        inside = measure_walk(rows, field)
        ends = []
        for way in (rows, rows[::-1]):
            reached = [(far + (field.measure(done[-1], way[0]) if done else 0.0), done) for far, done in best]
            far, done = min(reached, key=lambda one: one[0])
            ends.append((far + inside, (*done, *way)))
        best = ends
    return min(best, key=lambda one: one[0])[1]


def shorten_walk(stops: Sequence[Stop], field: Field) -> tuple[Stop, ...]:
    """A team's stops in the order in which it walks them: range by range, or shorter where rows lie far apart.

    Notes
    -----
    Up to eight stops: the shortest of all orders. Up to a hundred: pieces of the walk are turned round as long as that
    shortens it. More: range by range, which is as short where most rows of a range have work.
    """
    walk = list(order_walk(stops, field))
    if len(walk) <= EXACT_STOPS:
        return _find_shortest(walk, field)
    if len(walk) > MOST_TURNED:
        return tuple(walk)
    far = np.array([[field.measure(one, other) for other in walk] for one in walk])
    order = list(range(len(walk)))
    while (turn := _find_turn(order, far)) is not None:
        first, last = turn
        order[first : last + 1] = order[first : last + 1][::-1]
    return tuple(walk[at] for at in order)


def _find_turn(order: list[int], far: FloatArray) -> tuple[int, int] | None:
    """A piece of the walk that makes it shorter when it is walked the other way round; None if there is none."""
    n = len(order)
    for first in range(n):
        for last in range(first + 1, n):
            before, after = order[first - 1] if first else -1, order[last + 1] if last + 1 < n else -1
            gain = 0.0
            if before >= 0:
                gain += far[before, order[first]] - far[before, order[last]]
            if after >= 0:
                gain += far[order[last], after] - far[order[first], after]
            if gain > 1e-9:
                return first, last
    return None


def _find_shortest(stops: Sequence[Stop], field: Field) -> tuple[Stop, ...]:
    """The shortest of all orders, by the shortest way through each set of stops to each of its members."""
    best: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {
        (1 << at, at): (0.0, (at,)) for at in range(len(stops))
    }
    for _ in range(len(stops) - 1):
        further: dict[tuple[int, int], tuple[float, tuple[int, ...]]] = {}
        for (seen, last), (metres, way) in best.items():
            for at in range(len(stops)):
                if not seen >> at & 1:
                    key = (seen | 1 << at, at)
                    reached = metres + field.measure(stops[last], stops[at])
                    if key not in further or reached < further[key][0]:
                        further[key] = (reached, (*way, at))
        best = further
    return tuple(stops[at] for at in min(best.values())[1]) if best else ()


def _by_range(stop: Stop) -> tuple[int, int]:
    return stop.field_row, stop.field_col


def measure_walk(stops: Sequence[Stop], field: Field) -> float:
    """Metres from the first stop to the last in the order given."""
    return sum(field.measure(one, other) for one, other in pairwise(stops))


def stretch_minutes(minutes_a_pollination: float) -> float:
    """By how much a crew takes longer than practised hands on split steps: its minutes a pollination, all steps, as a
    multiple of theirs (1.94). The published 3.92 minutes are 2.03 of it."""
    return minutes_a_pollination / sum(MINUTES_EACH[do] * count for do, count in STEPS_A_POLLINATION.items())


def part_round(stops: Sequence[Stop], teams: Sequence[Team], field: Field) -> tuple[Walk, ...]:
    """Part a round into one contiguous stretch of the serpentine a team, all busy for about as long.

    Parameters
    ----------
    stops
        Rows of the round, in any order.
    teams
        Teams that may do it, in the order in which they take their stretches.
    field
        Distances.

    Returns
    -------
    tuple of Walk
        One a team that has something to do.

    Notes
    -----
    The longest stretch [min] is as short as a cut of the serpentine into contiguous parts allows, up to 0.01 minutes.
    So no team works longer than the mean of all by more than the work and the way of one row (for teams of one
    size). Hands share the work of a row, and all walk. Checked by tests/science/test_routes.py against all cuts.
    """
    ordered = order_walk(stops, field)
    if not ordered or not teams:
        return ()
    loads = {team.hands: _add_up(ordered, team.hands, field) for team in teams}
    low, high = 0.0, float(loads[min(loads)][1][-1])
    while high - low > ROUNDING_MIN:
        middle = (low + high) / 2
        low, high = (low, middle) if _cut(teams, loads, middle)[-1] == len(ordered) else (middle, high)
    ends = _cut(teams, loads, high)
    return tuple(
        _walk(team, shorten_walk(ordered[start:end], field), field)
        for team, start, end in zip(teams, (0, *ends), ends, strict=False)
        if end > start
    )


def _walk(team: Team, stops: Sequence[Stop], field: Field) -> Walk:
    metres = measure_walk(stops, field)
    return Walk(team.name, tuple(stops), metres, sum(one.minutes for one in stops) / team.hands + metres / WALK_M_A_MIN)


def _add_up(ordered: Sequence[Stop], hands: int, field: Field) -> tuple[FloatArray, FloatArray]:
    """Minutes on the way to each stop, and from the start to the end of each, for a team of so many hands."""
    way = np.array([0.0, *(field.measure(one, other) for one, other in pairwise(ordered))]) / WALK_M_A_MIN
    done = np.cumsum(way + np.array([one.minutes for one in ordered]) / hands)
    return way, done


def _cut(teams: Sequence[Team], loads: Mapping[int, tuple[FloatArray, FloatArray]], most_min: float) -> list[int]:
    """Where each team's stretch ends if each goes on as long as its minutes allow."""
    ends, at = [], 0
    for team in teams:
        way, done = loads[team.hands]
        if at < len(done):
            # The way to a team's first stop is no part of its stretch.
            start = (done[at - 1] if at else 0.0) + way[at]
            at = max(at, int(np.searchsorted(done, start + most_min + 1e-9, side="right")))
        ends.append(at)
    return ends


def deal_in_turn(stops: Sequence[Stop], teams: Sequence[Team], field: Field) -> tuple[Walk, ...]:
    """Stops in the order given, dealt to the teams in turn: how a list without routes is worked off."""
    dealt = [(team, stops[at :: len(teams)]) for at, team in enumerate(teams)]
    return tuple(_walk(team, part, field) for team, part in dealt if part)


def choose_teams(teams: Sequence[Team], kinds: Sequence[str]) -> dict[tuple[str, ...], tuple[Team, ...]]:
    """Kinds of a round gathered by who may do them: each group of kinds with its teams, which may be none."""
    found: dict[tuple[Team, ...], list[str]] = {}
    for kind in kinds:
        found.setdefault(tuple(team for team in teams if kind not in team.barred), []).append(kind)
    return {tuple(group): may for may, group in found.items()}


def make_stops(
    places: Mapping[int, tuple[int, int]], work: Sequence[tuple[int, str, int]], minutes_of: Callable[[str], float]
) -> tuple[Stop, ...]:
    """Stops of a round from its tasks: one a row, with the minutes of all that is done there.

    Parameters
    ----------
    places
        Range and place in it of each row, by number.
    work
        Row number, kind of task and count, in list order.
    minutes_of
        Minutes of one hand for one ear, bag or row of a kind.
    """
    minutes: dict[int, float] = {}
    for number, kind, count in work:
        minutes[number] = minutes.get(number, 0.0) + minutes_of(kind) * count
    return tuple(Stop(number, *places[number], spent) for number, spent in minutes.items())

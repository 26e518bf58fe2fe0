"""Are walks as short and teams as even as the best that a slow search over all ways finds?"""

from __future__ import annotations

from itertools import combinations, groupby, pairwise, permutations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.flowering.routes import (
    MINUTES_EACH,
    ROUNDING_MIN,
    STEPS_A_POLLINATION,
    WALK_M_A_MIN,
    Field,
    Stop,
    Team,
    choose_teams,
    deal_in_turn,
    make_stops,
    measure_walk,
    order_walk,
    part_round,
    shorten_walk,
    stretch_minutes,
)

FIELD = Field()
TEAMS = tuple(Team(name) for name in "ABC")


@st.composite
def fields(draw: st.DrawFn, at_most: int = 8, ranges: int = 4, width: int = 60) -> list[Stop]:
    places = st.tuples(st.integers(1, ranges), st.integers(1, width))
    found = draw(st.lists(places, min_size=1, max_size=at_most, unique=True))
    return [
        Stop(at, field_row, field_col, draw(st.sampled_from([0.5, 2.0, 7.5])))
        for at, (field_row, field_col) in enumerate(found, 1)
    ]


def by_range(stops):
    ordered = sorted(stops, key=lambda one: (one.field_row, one.field_col))
    return [list(group) for _, group in groupby(ordered, key=lambda one: one.field_row)]


@given(fields(at_most=12, ranges=6))
def test_a_walk_is_the_shortest_of_all_that_finish_a_range_before_the_next(stops):
    ways = product(*[(rows, rows[::-1]) for rows in by_range(stops)])
    shortest = min(measure_walk([one for rows in way for one in rows], FIELD) for way in ways)
    walk = order_walk(stops, FIELD)
    assert sorted(one.number for one in walk) == sorted(one.number for one in stops)
    assert measure_walk(walk, FIELD) == pytest.approx(shortest)


@settings(max_examples=25, deadline=None)
@given(fields(at_most=6))
def test_the_walk_of_a_team_with_few_rows_is_the_shortest_of_all_orders(stops):
    shortest = min(measure_walk(way, FIELD) for way in permutations(stops))
    assert measure_walk(shorten_walk(stops, FIELD), FIELD) == pytest.approx(shortest)


def test_a_walk_over_eight_rows_is_the_shortest_of_all_orders():
    """All 40,320 orders; range by range it is more than twice as far."""
    stops = [Stop(at, 1 + at // 2, 1 + 59 * (at % 2), 1.0) for at in range(8)]
    shortest = min(measure_walk(way, FIELD) for way in permutations(stops))
    assert measure_walk(shorten_walk(stops, FIELD), FIELD) == pytest.approx(shortest)
    assert measure_walk(order_walk(stops, FIELD), FIELD) > 2 * shortest


@settings(max_examples=30, deadline=None)
@given(fields(at_most=30, ranges=8))
def test_a_walk_is_never_longer_than_range_by_range_and_visits_every_row_once(stops):
    walk = shorten_walk(stops, FIELD)
    assert sorted(one.number for one in walk) == sorted(one.number for one in stops)
    assert measure_walk(walk, FIELD) <= measure_walk(order_walk(stops, FIELD), FIELD) + 1e-9


def slow_parts(ordered, teams):
    """The longest stretch under the best of all cuts."""

    def busy(team, part):
        return sum(one.minutes for one in part) / team.hands + measure_walk(part, FIELD) / WALK_M_A_MIN

    best = float("inf")
    for cuts in combinations(range(len(ordered) + len(teams) - 1), len(teams) - 1):
        ends = [cut - at for at, cut in enumerate(cuts)]
        bounds = zip((0, *ends), (*ends, len(ordered)), strict=True)
        parts = [ordered[start:end] for start, end in bounds]
        best = min(best, max(busy(team, part) for team, part in zip(teams, parts, strict=True)))
    return best


@settings(max_examples=60, deadline=None)
@given(fields(), st.lists(st.integers(1, 3), min_size=1, max_size=3))
def test_the_longest_stretch_is_the_shortest_of_all_cuts(stops, hands):
    teams = tuple(Team(str(at), count) for at, count in enumerate(hands))
    walks = part_round(stops, teams, FIELD)
    slow = slow_parts(order_walk(stops, FIELD), teams)
    assert max(walk.minutes for walk in walks) <= slow + ROUNDING_MIN + 1e-6
    done = [one.number for walk in walks for one in walk.stops]
    assert sorted(done) == sorted(one.number for one in stops)


@given(fields(at_most=30, ranges=8), st.integers(1, 4))
def test_no_team_works_longer_than_the_mean_by_more_than_one_row(stops, n_teams):
    teams = tuple(Team(str(at)) for at in range(n_teams))
    walks = part_round(stops, teams, FIELD)
    ordered = order_walk(stops, FIELD)
    whole = sum(one.minutes for one in ordered) + measure_walk(ordered, FIELD) / WALK_M_A_MIN
    ways = [FIELD.measure(one, other) / WALK_M_A_MIN for one, other in pairwise(ordered)]
    row = max(one.minutes for one in stops) + max(ways, default=0.0)
    assert max(walk.minutes for walk in walks) <= whole / n_teams + row + ROUNDING_MIN


@given(fields(at_most=30, ranges=8))
def test_stretches_follow_one_another_and_do_not_cross(stops):
    walks = part_round(stops, TEAMS, FIELD)
    place = {one.number: at for at, one in enumerate(order_walk(stops, FIELD))}
    spans = [[place[one.number] for one in walk.stops] for walk in walks]
    assert all(max(before) < min(after) for before, after in pairwise(spans))


def test_stretches_are_walked_in_far_fewer_metres_than_a_list_dealt_in_turn():
    stops = [Stop(at, 1 + at // 50, 1 + at % 50, 5.0) for at in range(0, 400, 3)]
    dealt = sum(walk.metres for walk in deal_in_turn(stops, TEAMS, FIELD))
    parted = sum(walk.metres for walk in part_round(stops, TEAMS, FIELD))
    assert parted < 0.5 * dealt


def test_a_team_that_may_not_do_a_kind_gets_none_of_it():
    young = Team("Y", barred=frozenset({"tassel_bag"}))
    may = choose_teams((young, *TEAMS), ("look", "tassel_bag", "shoot_bag"))
    assert may == {("look", "shoot_bag"): (young, *TEAMS), ("tassel_bag",): TEAMS}


def test_the_minutes_of_all_steps_are_those_of_a_pollination():
    stretch = stretch_minutes(3.92)
    assert sum(MINUTES_EACH[do] * each for do, each in STEPS_A_POLLINATION.items()) * stretch == pytest.approx(3.92)


def test_a_row_with_two_kinds_of_work_is_one_stop():
    stops = make_stops({7: (2, 3)}, [(7, "look", 1), (7, "shoot_bag", 4)], MINUTES_EACH.__getitem__)
    assert stops == (Stop(7, 2, 3, pytest.approx(0.5 + 4 * 0.3)),)

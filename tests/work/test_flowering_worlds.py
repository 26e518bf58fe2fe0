"""Are the worlds that forecasts are judged by what they say? They were frozen before the forecast was written."""

from __future__ import annotations

import statistics

import pytest

from firstsilk.invented.flowering_worlds import WORLDS, FloweringWorld, simulate_season

BY_NAME = {world.name: world for world in WORLDS}


@pytest.mark.parametrize("world", WORLDS, ids=[world.name for world in WORLDS])
def test_the_same_seed_gives_the_same_season_and_rows_flower_in_summer(world: FloweringWorld) -> None:
    one, again = simulate_season(world, 7), simulate_season(world, 7)
    assert one.rows == again.rows
    assert one.looks == again.looks
    silk = [row.silk_on for row in one.rows if row.silk_on]
    assert len(silk) == len(one.rows)
    assert all((6, 25) < (day.month, day.day) < (9, 10) for day in silk)


def test_a_first_cross_is_earlier_than_its_parents_mean() -> None:
    lines = simulate_season(BY_NAME["plain"], 3).lines
    crosses = [line for line in lines.values() if line.method == "cross"]
    for cross in crosses:
        parents = statistics.fmean(lines[name].silk_chu for name in (cross.mother, cross.father))
        assert cross.silk_chu == pytest.approx(parents - 90.0)


def test_drought_holds_silk_back_and_not_shed() -> None:
    delays = []
    for seed in range(1, 21):
        plain, dry = simulate_season(BY_NAME["plain"], seed), simulate_season(BY_NAME["drought"], seed)
        assert [row.shed_on for row in plain.rows] == [row.shed_on for row in dry.rows]
        pairs = zip(plain.rows, dry.rows, strict=True)
        delays.append(statistics.fmean((b.silk_on - a.silk_on).days for a, b in pairs if a.silk_on and b.silk_on))
    assert min(delays) == 0.0
    assert 3.0 < max(delays) < 8.0


def test_nobody_sees_what_is_not_there_yet() -> None:
    season = simulate_season(BY_NAME["slips"], 2)
    rows = {row.name: row for row in season.rows}
    for look in season.looks:
        silk_on = rows[look.row].silk_on
        assert not (look.silk and silk_on and look.day < silk_on)

"""Do the chances told of targets hold? Whole nurseries are played plant by plant, and each chance told is kept.

Seasons of the frozen worlds: their rows, their thirty years of weather, and the forecast that a station would make from
the walks up to each day. Selfs and crosses are set on the rows; a crew pollinates what is asked for on days that can be
worked, with whole plants, whole pollinations and whole kernels by dice, and a success of each line that nobody knows.
``python -m tests.soak.judge_targets 60 60001`` prints the table of docs/figures.md (seasons of each world, first seed);
tests/science/test_targets_judged.py judges a few seasons.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firstsilk.invented.flowering_worlds import FORECAST_YEAR, WORLDS, FloweringWorld, WorldSeason, simulate_season
from firstsilk.science.flowering.day import FIRST_SILKS_DAYS
from firstsilk.science.flowering.day_rows import SHED_LASTS_DAYS
from firstsilk.science.flowering.demand import PLANT_SD_DAYS
from firstsilk.science.flowering.stakes import SILK_LASTS_DAYS, WORKABLE_FRAC
from firstsilk.science.flowering.targets import SeasonAhead, find_open_pollen, weigh_targets
from firstsilk.science.flowering.workable import draw_workable_days
from firstsilk.science.seed.line_rates import LineCounts, ProgrammeRates, rate_line
from firstsilk.science.seed.pollinations import plan_pollinations, tabulate_reach
from tests.soak.judge_forecast import START, forecast_season

MEAN_SUCCESS, LENT = 0.676, 8.0
"""Lines' true success is beta about the published mean, as spread as the published range of 0.34 to 0.83."""
PROGRAMME = ProgrammeRates(MEAN_SUCCESS, 146.5, LENT, 10.0, 50, 50)
CUTOFF_AFTER_DAYS = 5
"""The cutoff comes so many days after the middle row's silk, so that targets are lost to it."""
LOOK_DAYS = (-6, -3, 0, 3, 6)
"""Chances are told on these days after the middle row's silk."""
BOUNDS = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)


@dataclass
class Nursery:
    """What is true of one target: its row, its males, plants with their own silk days, success, and what was done."""

    row: int
    males: tuple[int, ...]
    plants: NDArray[np.float64]
    success: float
    known: LineCounts
    ears: int
    plan: int = 0
    served: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    good: int = 0

    @property
    def standing(self) -> int:
        return int(self.served.sum())


def judge_world(world: FloweringWorld, seeds: Sequence[int]) -> NDArray[np.float64]:
    """(told, 3): chance told as asked, whether it came, and the season's seed."""
    seasons = [(seed, judge_season(simulate_season(world, seed, 6, 4))) for seed in seeds]
    return np.array([(*one, seed) for seed, season in seasons for one in season])


def judge_season(season: WorldSeason, draws: int = 100) -> Iterator[tuple[float, float]]:
    """Every target of one season on each of the days looked at, with what came of it."""
    dice = np.random.default_rng(season.seed)
    silk, shed = (_true_days(season, name) for name in ("silk_on", "shed_on"))
    targets = _set_targets(season, silk, dice)
    middle = int(np.median(silk))
    cutoff = middle + CUTOFF_AFTER_DAYS
    open_days = _find_open_days(season, cutoff)
    told: list[tuple[int, float]] = []
    for day in range(middle - 20, cutoff + 1):
        if day - middle in LOOK_DAYS:
            told += _tell(season, targets, day, cutoff, draws, dice)
        if open_days[day]:
            _work(targets, silk, shed, day)
    for target in targets:
        target.good = int(dice.binomial(target.standing, target.success))
    for at, asked in told:
        yield asked, float(targets[at].good >= targets[at].ears)


def _true_days(season: WorldSeason, name: str) -> NDArray[np.float64]:
    days = [getattr(row, name) for row in season.rows]
    return np.array([np.nan if day is None else (day - START).days for day in days], dtype=np.float64)


def _set_targets(season: WorldSeason, silk: NDArray[np.float64], dice: np.random.Generator) -> list[Nursery]:
    """A self on every other row, a cross by a row that silks about then on the others."""
    found = []
    for row in range(len(season.rows)):
        near = np.flatnonzero(np.abs(silk - silk[row]) <= 4)
        males = (row,) if row % 2 == 0 else (int(dice.choice(near)),)
        success = float(dice.beta(MEAN_SUCCESS * LENT, (1 - MEAN_SUCCESS) * LENT))
        tried = int(dice.choice([0, 0, 10, 40]))
        known = LineCounts(season.rows[row].line, tried, int(dice.binomial(tried, success)))
        plants = silk[row] + PLANT_SD_DAYS * dice.standard_normal(int(dice.integers(8, 25)))
        target = Nursery(row, males, np.sort(plants), success, known, int(dice.integers(2, 9)))
        target.served = np.zeros(len(plants), dtype=bool)
        target.plan = plan_pollinations(rate_line(known, PROGRAMME), target.ears)
        found.append(target)
    return found


def _find_open_days(season: WorldSeason, cutoff: int) -> dict[int, bool]:
    """Days of this season that can be worked: those drier than all but a quarter of past years' July and August."""
    place, lost = _find_lost_days(season)
    return {day: not lost[place[START + timedelta(days=day)]] for day in range(cutoff + 1)}


def _find_lost_days(season: WorldSeason) -> tuple[dict[date, int], NDArray[np.bool_]]:
    """The place of each day, and whether it is lost to rain."""
    summer = np.array([day.month in (7, 8) and day.year < FORECAST_YEAR for day in season.days])
    rain = season.rain_mm + 1e-6 * np.random.default_rng(season.seed).random(len(season.rain_mm))
    bound = float(np.quantile(rain[summer], WORKABLE_FRAC))
    return {day: at for at, day in enumerate(season.days)}, rain > bound


def _read_past_lost(season: WorldSeason, day: int, n_days: int) -> NDArray[np.float64]:
    """(years, days): days of past years on these dates that were lost, as a station's own records tell."""
    place, lost = _find_lost_days(season)
    ahead = [START + timedelta(days=day + at) for at in range(n_days)]
    years = range(season.days[0].year, FORECAST_YEAR)
    return np.array([[float(lost[place[one.replace(year=year)]]) for one in ahead] for year in years])


def _work(targets: Sequence[Nursery], silk: NDArray[np.float64], shed: NDArray[np.float64], day: int) -> None:
    """A day's pollinations: rows in silk whose male sheds, plants with fresh silk, as many as the plan still asks."""
    for target in targets:
        age = day - silk[target.row]
        sheds = any(0 <= day - shed[male] <= SHED_LASTS_DAYS for male in target.males)
        if not sheds or not -FIRST_SILKS_DAYS <= age <= SILK_LASTS_DAYS:
            continue
        fresh = (target.plants > day - SILK_LASTS_DAYS - 0.5) & (target.plants <= day + 0.5) & ~target.served
        target.served[np.flatnonzero(fresh)[: max(0, target.plan - target.standing)]] = True


def _tell(
    season: WorldSeason, targets: Sequence[Nursery], day: int, cutoff: int, draws: int, dice: np.random.Generator
) -> list[tuple[int, float]]:
    forecast = forecast_season(season, START + timedelta(days=day), draws=draws)
    silk, shed = (each.astype(np.float64) - day for each in (forecast.silk, forecast.shed))
    n_days = cutoff - day + 1
    kinds = {males: at for at, males in enumerate(dict.fromkeys(target.males for target in targets))}
    ahead = SeasonAhead(
        silk=silk[[target.row for target in targets]],
        sheds=np.array([find_open_pollen(shed[list(males)], n_days) for males in kinds]),
        group_of=np.array([kinds[target.males] for target in targets], dtype=np.intp),
        target_of=np.arange(len(targets)),
        plants=np.array([len(target.plants) for target in targets], dtype=np.float64),
        used=np.array([target.standing for target in targets], dtype=np.float64),
        enter_day=np.zeros(len(targets), dtype=np.intp),
        open_days=draw_workable_days(
            np.full(n_days, np.nan), _read_past_lost(season, day, n_days), silk.shape[1], WORKABLE_FRAC, dice
        ),
        hands=np.full(n_days, np.inf),
    )
    tables = [tabulate_reach(60, rate_line(target.known, PROGRAMME), target.ears) for target in targets]
    found = weigh_targets(tables, [target.standing for target in targets], ahead, [0.95] * len(targets))
    return [(at, one.asked_frac) for at, one in enumerate(found)]


def tell_table(judged: NDArray[np.float64]) -> list[tuple[str, int, float, float, float]]:
    """Band of chances told, how many were, the mean told in it, the share that came, and the standard error of the
    difference: chances of one season hang together, so that it is reckoned between seasons."""
    rows = []
    seeds = np.unique(judged[:, 2])
    for low, high in pairwise(BOUNDS):
        told = judged[:, 0]
        inside = (told >= low) & ((told < high) | (high == 1.0))
        if inside.any():
            count, mean = int(inside.sum()), float(told[inside].mean())
            off = [
                float((judged[of, 1] - judged[of, 0]).sum()) for of in (inside & (judged[:, 2] == one) for one in seeds)
            ]
            error = float(np.std(off)) * len(off) ** 0.5 / count
            rows.append((f"{low:.2f}-{high:.2f}", count, mean, float(judged[inside, 1].mean()), error))
    return rows


if __name__ == "__main__":
    n_seasons = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for at, world in enumerate(WORLDS):
        # Seeds of its own for each world: with the same ones luck would be the same in all of them.
        begin = first + 1000 * at
        judged = judge_world(world, range(begin, begin + n_seasons))
        print(f"{world.name}: {n_seasons} seasons from seed {begin}, {len(judged)} chances told", flush=True)
        for row in tell_table(judged):
            print(f"| {world.name} | {row[0]} | {row[1]:,} | {row[2]:.2f} | {row[3]:.2f} | {row[4]:.3f} |", flush=True)

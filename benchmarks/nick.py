"""How fast are sowing dates chosen, how near the best possible, and do they hold in years they were not chosen on?

Run alone (``python benchmarks/nick.py``), or by ``make bench``. Invented weather and lines from fixed seeds. Speed: 30,
100 and 300 crosses, 30 sowing days, 30 years, one core. Held-out: chosen on odd years, judged on even ones.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

if TYPE_CHECKING:
    from firstsilk.science.nursery.sowing_question import LineNeeds, PastHeat, PlannedCross

START, SEASON_DAYS = (5, 14), 150
YEARS = 30


def make_past(n_years: int = YEARS) -> PastHeat:
    """Heat and workable hours of the invented home station from 14 May on, many years from one seed."""
    import numpy as np

    from firstsilk.invented.weather import simulate_weather
    from firstsilk.science.flowering.workable import count_lost_hours
    from firstsilk.science.nursery.sowing_question import PastHeat

    weather = simulate_weather(7, 2015, 2015 + n_years - 1)
    heat = weather.daily_chu(weather.sites[0])
    lost = count_lost_hours(7.0, weather.rain_mm[0], weather.tmin_c[0], weather.tmax_c[0])
    starts = [weather.position(date(2015 + year, *START)) for year in range(n_years)]
    spans = [slice(start, start + SEASON_DAYS) for start in starts]
    return PastHeat(np.array([heat[span] for span in spans]), np.array([1 - lost[span] / 7.0 for span in spans]))


def make_crosses(n: int, spread: float) -> tuple[list[PlannedCross], dict[str, LineNeeds]]:
    """Crosses of a quarter as many females with a tenth as many males, three priorities; units spread by `spread`."""
    import numpy as np

    from firstsilk.science.nursery.sowing_question import LineNeeds, PlannedCross

    dice = np.random.default_rng(n)
    females, males = max(10, n // 4), max(6, n // 10)
    lines = {}
    for name in [f"F{at}" for at in range(females)] + [f"M{at}" for at in range(males)]:
        silk = float(dice.normal(1330, spread))
        lines[name] = LineNeeds(silk, silk - float(dice.normal(25, 25)), 0.015 * silk)
    picked = dice.choice(females * males, n, replace=False)
    crosses = [
        PlannedCross(f"F{at // males}", f"M{at % males}", float(0.5 ** dice.integers(0, 3))) for at in picked.tolist()
    ]
    return crosses, lines


def time_choices() -> Iterator[tuple[str, str]]:
    """Seconds and proven gap by size, measure, splits and rows a day."""
    from firstsilk.science.nursery.sowing_dates import choose_sowing_dates
    from firstsilk.science.nursery.sowing_question import SowingRules

    past = make_past()
    for n in (30, 100, 300):
        crosses, lines = make_crosses(n, 90.0)
        tight = 2 * -(-len({*lines}) // 30) + 1
        for measure, males, days, rows in (
            ("plain", 1, 30, None), ("plants", 1, 30, None), ("plain", 2, 30, None), ("plants", 2, 30, None),
            ("plants", 2, 10, None), ("plants", 2, 30, tight),
        ):  # fmt: skip
            began = time.process_time()
            rules = SowingRules(tuple(range(days)), males, rows_per_day=rows)
            found = choose_sowing_dates(crosses, lines, past, rules, measure=measure)
            took = time.process_time() - began
            often = "1 sowing" if males == 1 else f"{males} sowings"
            limit = f", {rows} rows a day" if rows else ""
            says = f"sowing dates: {n} crosses, {measure}, {often} of a male, {days} days{limit}"
            yield says, f"{took:.1f} s of one core, gap {found.gap_frac:.2%} ({found.how})"


def hold_out(n: int = 60) -> Iterator[tuple[str, str]]:
    """Mean p_meet and expected ears on years chosen on and others, beside the simple rule and the first day.

    Chosen on odd years and judged on even ones, then the other way round, and the mean of both.
    """
    past = make_past()
    halves = (past.take(range(1, YEARS, 2)), past.take(range(0, YEARS, 2)))
    crosses, lines = make_crosses(n, 90.0)
    for days in (26, 10):
        told: dict[str, list[list[float]]] = {}
        for chosen_on, other in (halves, halves[::-1]):
            for way, dates in list_ways(crosses, lines, chosen_on, days).items():
                figures = [*_judge(crosses, lines, chosen_on, dates), *_judge(crosses, lines, other, dates)]
                told.setdefault(way, []).append(figures)
        for way, both in told.items():
            met, ears, met_out, ears_out = (sum(each) / len(both) for each in zip(*both, strict=True))
            yield (
                f"held-out, {n} crosses, {days} days: {way}",
                f"p_meet {met:.3f} chosen on, {met_out:.3f} held out; ears {ears:.3f}, {ears_out:.3f}",
            )


def list_ways(crosses, lines, past, days):
    """Dates for each cross in several ways, chosen on these past years."""
    from firstsilk.science.nursery.sowing import choose_sowing_days
    from firstsilk.science.nursery.sowing_dates import choose_sowing_dates
    from firstsilk.science.nursery.sowing_question import SowingRules, list_roles

    pairs = []
    for one in crosses:
        rule = choose_sowing_days(past.daily, lines[one.female].units_to_silk, lines[one.male].units_to_shed, days - 1)
        pairs.append({("female", one.female): (rule.female_day,), ("male", one.male): (rule.male_day,)})
    ways = {
        "all on the first day": [dict.fromkeys(list_roles(crosses), (0,))] * len(crosses),
        "simple rule, days and rows for each cross alone": pairs,
    }
    for measure in ("plain", "plants"):
        for males in (1, 2):
            rules = SowingRules(tuple(range(days)), males)
            found = choose_sowing_dates(crosses, lines, past, rules, measure=measure, draws=8)
            often = "1 sowing" if males == 1 else f"{males} sowings"
            ways[f"together, {measure}, {often} of a male"] = [dict(found.days)] * len(crosses)
    return ways


def _judge(crosses, lines, past, dates):
    """Weighted mean p_meet and share of ears; other draws than those chosen with."""
    from firstsilk.science.nursery.sowing_dates import judge_sowing_dates

    chances = [
        judge_sowing_dates([cross], lines, past, chosen, measure="plants", draws=8, seed=99)[0]
        for cross, chosen in zip(crosses, dates, strict=True)
    ]
    weight = sum(cross.weight for cross in crosses)
    met = sum(cross.weight * one.p_meet for cross, one in zip(crosses, chances, strict=True))
    ears = sum(cross.weight * one.ears_frac for cross, one in zip(crosses, chances, strict=True))
    return met / weight, ears / weight


def tell_nick() -> Iterator[tuple[str, str]]:
    """All figures of this file."""
    yield from time_choices()
    yield from hold_out()


if __name__ == "__main__":
    print("| what | figure |\n|---|---|")
    for says, told in tell_nick():
        print(f"| {says} | {told} |", flush=True)

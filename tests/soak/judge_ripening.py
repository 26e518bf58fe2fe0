"""How near do chances of ripening from a few past years come to the truth, and how good is "as this season stands"?

Not collected by pytest: `python -m tests.soak.judge_ripening` prints the figures of `docs/frost-and-ripening.md`. The
weather is the invented valley's, its years independent; a hybrid's own units are taken as known, as the page does.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np

from firstsilk.invented.weather import simulate_weather
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.flowering.ripe_chance import HybridNeed, tabulate_ripening, wilson_interval
from firstsilk.science.flowering.ripe_years import Season, lay_out_seasons, ripen_in_seasons

SOWN = (5, 14)
NEEDS = (2150.0, 2250.0, 2350.0, 2450.0)
PAST_YEARS = (10, 16, 30)
FIRST, LAST = 1900, 2190
AS_OF = ((7, 1), (8, 1), (9, 1), (9, 15))


def lay_valley(seed: int) -> tuple[tuple[Season, ...], dict[date, tuple[float, float]]]:
    """All seasons at the home site, and units and minimum of each day."""
    weather = simulate_weather(seed, FIRST, LAST)
    units, low = weather.daily_chu("eskerholm"), weather.tmin_c[0]
    laid = lay_out_seasons(weather.days, units, low, SOWN, KILLING_FROST_C)
    days = {day: (float(one), float(cold)) for day, one, cold in zip(weather.days, units, low, strict=True)}
    return laid.seasons, days


def judge_intervals(seasons: tuple[Season, ...], level: float = 0.8) -> Iterator[tuple[int, float, float, float]]:
    """Past years, coverage of the interval, and root mean square error of the chance, by truth from all years."""
    ripe = ripen_in_seasons(seasons, NEEDS).ripe
    truth = ripe.mean(axis=0)
    for years in PAST_YEARS:
        inside, squares = [], []
        for start in range(len(ripe) - years):
            for at, true in enumerate(truth.tolist()):
                found = int(ripe[start : start + years, at].sum())
                low, high = wilson_interval(found, years, level) or (0.0, 1.0)
                inside.append(low <= true <= high)
                squares.append((found / years - true) ** 2)
        yield years, float(np.mean(inside)), float(np.sqrt(np.mean(squares))), float(truth.mean())


def go_on(season: Season, past: tuple[Season, ...], on: date, days: dict[date, tuple[float, float]]) -> list[Season]:
    """The season up to a day, gone on as each past one did; as the work of the page lays it out."""
    own = [day for day in season.days if day <= on]
    made = []
    for one in past:
        after = [one.sown + timedelta(days=step) for step in range(len(own) + 1, 232)]
        values = [days[day] for day in (*own, *after)]
        dates = [season.sown + timedelta(days=step) for step in range(1, len(values) + 1)]
        units, low = np.array(values).T
        made += lay_out_seasons(dates, units, low, SOWN, KILLING_FROST_C).seasons
    return made


def judge_standing(
    seasons: tuple[Season, ...], days: dict[date, tuple[float, float]], years: int = 16
) -> Iterator[tuple[str, float, float, float, list[tuple[float, float, int]]]]:
    """By day of the season: Brier scores of past years alone and as the season stands, calibration in four bins."""
    for month, day in AS_OF:
        plain, told, came = [], [], []
        for at in range(years, len(seasons), 3):
            season, past = seasons[at], seasons[at - years : at]
            on = date(season.sown.year, month, day)
            if season.frost is not None and season.frost <= on:
                continue
            ahead = ripen_in_seasons(go_on(season, past, on, days), NEEDS).ripe.mean(axis=0)
            plain += ripen_in_seasons(past, NEEDS).ripe.mean(axis=0).tolist()
            told += ahead.tolist()
            came += ripen_in_seasons([season], NEEDS).ripe[0].tolist()
        chance, truth = np.array(told), np.array(came, dtype=float)
        bins = []
        for low, high in ((-0.01, 0.1), (0.1, 0.5), (0.5, 0.9), (0.9, 1.01)):
            inside = (chance > low) & (chance <= high)
            if inside.any():
                bins.append((float(chance[inside].mean()), float(truth[inside].mean()), int(inside.sum())))
        before = float(np.mean((np.array(plain) - truth) ** 2))
        yield f"{month}-{day}", before, float(np.mean((chance - truth) ** 2)), float(truth.mean()), bins


def judge_moisture(seasons: tuple[Season, ...], years: int = 16) -> float:
    """Mean distance of the median moisture at the frost of some past years from that of all years [points]."""
    needs = [HybridNeed(f"{need:g}", need) for need in NEEDS]
    wet = tabulate_ripening(seasons, needs, "chu").moisture_at_frost_pct
    truth = np.nanmedian(wet, axis=0)
    windows = [np.nanmedian(wet[at : at + years], axis=0) for at in range(len(wet) - years)]
    return float(np.mean(np.abs(np.array(windows) - truth)))


if __name__ == "__main__":
    found, by_day = lay_valley(1)
    print(f"{len(found)} seasons")
    for n_years, coverage, miss, mean in judge_intervals(found):
        print(
            f"{n_years} past years: 80 % interval holds the truth in {coverage:.3f}; error {miss:.3f}; truth {mean:.2f}"
        )
    print(f"moisture at the frost from 16 years: off by {judge_moisture(found):.2f} points")
    for name, before, now, share, table in judge_standing(found, by_day):
        shown = "; ".join(f"said {one:.2f}, came {two:.2f} of {n}" for one, two, n in table)
        print(f"{name}: Brier {before:.3f} by past years, {now:.3f} as the season stands; ripe {share:.2f}. {shown}")

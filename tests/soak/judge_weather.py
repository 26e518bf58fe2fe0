"""How often is clean weather doubted, is a planted fault found, and how well do generated years resemble own ones?

Not collected by pytest: `python -m tests.soak.judge_weather` prints the tables of `docs/weather-in.md`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np
from vega_datasets import data

from firstsilk.invented.weather import InventedWeather, simulate_weather
from firstsilk.science.climate.doubts import make_series
from firstsilk.science.climate.generated import generate_years
from firstsilk.science.climate.generator import fit_generator
from firstsilk.science.climate.heat import count_chu
from firstsilk.science.climate.quality import check_quality

LATITUDE = 49.0
Columns = tuple[np.ndarray, np.ndarray, np.ndarray]
Plant = Callable[[Columns, np.random.Generator], tuple[int, int]]
MAY_SEP = slice(120, 273)


def count_false_alarms(worlds: int = 50) -> None:
    """Doubts about clean years: twenty years at each of four sites, the last year judged for its dates too."""
    told: Counter[str] = Counter()
    years = 0
    for seed in range(worlds):
        world = simulate_weather(1000 + seed, 2001, 2020)
        last = np.array([day.year == 2020 for day in world.days])
        for site in range(4):
            series = make_series(world.days, world.tmin_c[site], world.tmax_c[site], world.rain_mm[site])
            told.update(one.kind for one in check_quality(series, np.ones(len(last), dtype=bool), LATITUDE))
            told.update(one.kind for one in check_quality(series, last, LATITUDE) if one.kind == "date_shift")
            years += 20
    print(f"clean: {sum(told.values())} doubts in {years} years of a site ({dict(told)})")


def spike(size_c: float) -> Plant:
    def plant(columns: Columns, dice: np.random.Generator) -> tuple[int, int]:
        at = int(dice.integers(5, len(columns[1]) - 5))
        columns[1][at] += size_c
        return at, at

    return plant


def stuck(days: int) -> Plant:
    def plant(columns: Columns, dice: np.random.Generator) -> tuple[int, int]:
        at = int(dice.integers(5, len(columns[1]) - days - 5))
        columns[0][at : at + days] = columns[0][at : at + days].min()
        return at, at + days - 1

    return plant


def repeated(days: int) -> Plant:
    def plant(columns: Columns, dice: np.random.Generator) -> tuple[int, int]:
        at = int(dice.integers(400, len(columns[1]) - days - 5))
        for one in columns:
            one[at : at + days] = one[at - 365 : at - 365 + days]
        return at, at + days - 1

    return plant


def unit(days: int, read: Callable[[np.ndarray], np.ndarray]) -> Plant:
    def plant(columns: Columns, dice: np.random.Generator) -> tuple[int, int]:
        at = int(dice.integers(0, len(columns[1]) - days + 1))
        for one in columns[:2]:
            one[at : at + days] = read(one[at : at + days])
        return at, at + days - 1

    return plant


def shifted(days: int, by_days: int) -> Plant:
    def plant(columns: Columns, dice: np.random.Generator) -> tuple[int, int]:
        at = len(columns[1]) - days - int(dice.integers(0, 200))
        for one in columns[:2]:
            one[at : at + days] = one[at - by_days : at - by_days + days] + 0.05
        return at, at + days - 1

    return plant


UNITS = {
    "fahrenheit": lambda value: np.round(value * 1.8 + 32.0, 1),
    "celsius": lambda value: np.round((value - 32.0) / 1.8, 1),
    "tenths": lambda value: np.round(value * 10.0),
}


def list_faults() -> Iterator[tuple[str, str, Plant]]:
    """Name, kind to be found, and how it is planted."""
    for size in (8, 10, 12, 15, 20):
        yield f"spike of {size} °C", "spike", spike(size)
    for days in (3, 4, 5, 7):
        yield f"stuck for {days} days", "stuck", stuck(days)
    for days in (3, 4, 5, 10):
        yield f"{days} days repeated", "repeated_block", repeated(days)
    for name, read in UNITS.items():
        for days in (1, 3, 10, 30, 3653):
            yield f"{name}, {days} of 3653 days", name, unit(days, read)
    for by_days in (30, 45, 60, 90):
        for days in (60, 120):
            yield f"{days} days with dates {by_days} days off", "date_shift", shifted(days, by_days)


def count_found(times: int = 200) -> None:
    """Share of planted faults that are told with their kind at their place."""
    worlds = [simulate_weather(seed, 2011, 2020) for seed in range(5)]
    for name, kind, plant in list_faults():
        dice = np.random.default_rng(1)
        found = sum(_finds(worlds[one % 5], one // 5 % 4, kind, plant, dice) for one in range(times))
        print(f"{name:45s} {found / times:4.0%}")
    for name, read in UNITS.items():
        dice = np.random.default_rng(1)
        found = sum(_finds(worlds[one % 5], one // 5 % 4, name, unit(365, read), dice, 365) for one in range(times))
        print(f"{name + ', one year, nothing before it':45s} {found / times:4.0%}")


def _finds(
    world: InventedWeather, site: int, kind: str, plant: Plant, dice: np.random.Generator, keep: int = 0
) -> bool:
    columns = tuple(one[site][-keep:].copy() for one in (world.tmin_c, world.tmax_c, world.rain_mm))
    first, last = plant(columns, dice)
    days = world.days[-keep:]
    judged = np.zeros(len(days), dtype=bool)
    judged[first : last + 1] = True
    told = check_quality(make_series(days, *columns), judged, LATITUDE)
    return any(one.kind == kind for one in told)


def compare_generated(years: int = 130) -> None:
    """May to September of the valley and of years generated from the first of them."""
    world = simulate_weather(7, 1900, 1900 + years - 1)
    common = np.array([(day.month, day.day) != (2, 29) for day in world.days])
    low, high = (one[0, common].reshape(years, 365) for one in (world.tmin_c, world.tmax_c))
    _tell(f"all {years} years of the valley", low, high)
    for fitted in (1, 2, 4, 8, 12, 30, years):
        n_days = sum(day.year < 1900 + fitted for day in world.days)
        fit = fit_generator(
            world.days[:n_days], world.tmin_c[0, :n_days], world.tmax_c[0, :n_days], world.rain_mm[0, :n_days]
        )
        made = generate_years(fit, 2000, seed=3)
        if fitted > 1:
            _tell(f"its first {fitted} years", low[:fitted], high[:fitted])
        _tell(f"generated from {fitted}", made.tmin_c, made.tmax_c)
    frame = data.seattle_weather()
    days = [one.date() for one in frame["date"]]
    seattle = [frame[name].to_numpy() for name in ("temp_min", "temp_max", "precipitation")]
    kept = np.array([(day.month, day.day) != (2, 29) for day in days])
    _tell("four years of Seattle", seattle[0][kept].reshape(4, 365), seattle[1][kept].reshape(4, 365))
    made = generate_years(fit_generator(days, *seattle), 2000, seed=3)
    _tell("generated from them", made.tmin_c, made.tmax_c)


def _tell(name: str, low: np.ndarray, high: np.ndarray) -> None:
    units = count_chu(low, high)[:, MAY_SEP].sum(axis=1)
    lags = []
    for one in (low[:, MAY_SEP], high[:, MAY_SEP]):
        apart = one - one.mean(axis=0)
        lags.append((apart[:, 1:] * apart[:, :-1]).mean() / (apart**2).mean())
    means = low[:, MAY_SEP].mean(), high[:, MAY_SEP].mean()
    spread = low[:, MAY_SEP].mean(axis=1).std(ddof=1), high[:, MAY_SEP].mean(axis=1).std(ddof=1)
    daily = (low - low.mean(axis=0))[:, MAY_SEP].std(), (high - high.mean(axis=0))[:, MAY_SEP].std()
    print(
        f"{name:32s} mean {means[0]:5.2f} {means[1]:5.2f}  daily spread {daily[0]:.2f} {daily[1]:.2f}  lag one "
        f"{lags[0]:.2f} {lags[1]:.2f}  season spread {spread[0]:.2f} {spread[1]:.2f}  CHU {units.mean():.0f} "
        f"spread {units.std(ddof=1):.0f}"
    )


if __name__ == "__main__":
    count_false_alarms()
    count_found()
    compare_generated()

"""How would a nursery flower, season after season, if the truth were not quite what a forecast believes?

A simulator to judge forecasts by, frozen before the forecast was written. Each season has its own thirty years of
weather, lines with a pedigree and a few records of earlier seasons, rows sown on several days, and walks in which silk
and shed are looked for. Worlds differ in one thing each: the clock that the plants really follow, drought that holds
back silk, late sowing that takes fewer units, few years of weather, wrong notes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.invented.dice import roll
from firstsilk.invented.weather import SITES, simulate_weather
from firstsilk.science.climate.heat import count_chu

FloatArray = NDArray[np.float64]

FORECAST_YEAR = 2031
PAST_YEARS = 30
HISTORY_YEARS = 6
"""Records of lines come from so many seasons before the one that is forecast."""

SILK_MEAN_CHU, SILK_SD_CHU = 1300.0, 65.0
"""Very early inbreds: sown in mid-May they show silk in the second half of July (common practice, no source)."""
GAP_MEAN_CHU, GAP_SD_CHU = 55.0, 28.0
"""Silk after shed: released short-season lines have 2 to 6 days (AAFC 2016, improved rust resistance lines), at about
22 CHU a day; 21 pairs ranged from -0.7 to 5.3 days where one sowing did (CGIAR repository, item 158275)."""
HETEROSIS_CHU = 90.0
"""A first cross silks so much before the mean of its inbred parents; halved by each selfing. Ours, about 4 days."""
SEASON_SD_CHU, SEASON_APART_SD_CHU = 26.0, 12.0
"""A season's own shift, silk and shed alike, and apart. Ours: about a day, as heat-unit models miss by."""
ROW_SD_CHU, ROW_APART_SD_CHU = 14.0, 8.0
"""A row's own shift: soil, depth, seed. Ours."""
CROWD_CHU = 8.0
"""Silk of a row one standard deviation more crowded is so much later; shed is not. Ours; the sign is published
(Edmeades & Bolanos: the interval widens under stress)."""
DROUGHT_CHU = 130.0
"""Silk of a season without rain before flowering is held back by so much, about six days; shed is not. Ours; interval
losses are published to 8 days (Edmeades & Bolanos)."""
DROUGHT_DAYS = 30
LATE_CHU_A_DAY = 1.7
"""Units fewer to flowering by day of later sowing: 1.6 gdd_f (North Dakota), in CHU. Only in one world."""
UNITS_A_DAY = 22.0


@dataclass(frozen=True, slots=True)
class FloweringWorld:
    """What is true in a world. `clock` is ``chu``, or ``base8``: degrees above 8 °C up to 34 °C (Lizaso et al. 2018
    give these two temperatures)."""

    name: str
    says: str
    clock: str = "chu"
    drought: bool = False
    late_chu_a_day: float = 0.0
    past_years: int = PAST_YEARS
    wrong_notes_share: float = 0.0
    look_every_days: int = 2


WORLDS: tuple[FloweringWorld, ...] = (
    FloweringWorld("plain", "plants follow corn heat units, as the station counts them"),
    FloweringWorld("other_clock", "plants follow degrees above 8 °C, the station counts corn heat units", "base8"),
    FloweringWorld("drought", "a dry month before flowering holds silk back, by up to six days", drought=True),
    FloweringWorld("late", "the later the sowing, the fewer units to flowering", late_chu_a_day=LATE_CHU_A_DAY),
    FloweringWorld("few_years", "six past years of weather", past_years=6),
    FloweringWorld(
        "slips",
        "one note in thirty is a week off, and rows are looked at every third day",
        "chu",
        wrong_notes_share=1.0 / 30.0,
        look_every_days=3,
    ),
)


@dataclass(frozen=True, slots=True)
class WorldLine:
    """A line: its parents (empty if none), how heterozygous it is (1 for a first cross), what it truly needs.

    `records` are (year, units to silk, units to shed) [CHU] as a station would have counted them.
    """

    name: str
    mother: str
    father: str
    method: str
    heterozygous_frac: float
    silk_chu: float
    shed_chu: float
    records: tuple[tuple[int, float, float], ...]


@dataclass(frozen=True, slots=True)
class WorldRow:
    """A row: what is sown when, how crowded (in standard deviations), and when half its plants truly flower."""

    name: str
    line: str
    sown_on: date
    crowding: float
    silk_on: date | None
    shed_on: date | None


@dataclass(frozen=True, slots=True)
class Look:
    """One walk past a row: whether silk and shed were seen (None: noted before, not looked for)."""

    row: str
    day: date
    silk: bool | None
    shed: bool | None


@dataclass(frozen=True, slots=True)
class WorldSeason:
    """One season of a world. Arrays are (days,) [°C, mm]; `true_daily` are units of the plants' own clock."""

    world: FloweringWorld
    seed: int
    days: tuple[date, ...]
    tmin_c: FloatArray
    tmax_c: FloatArray
    rain_mm: FloatArray
    true_daily: FloatArray
    true_per_chu: float
    lines: Mapping[str, WorldLine]
    rows: tuple[WorldRow, ...]
    looks: tuple[Look, ...]


def simulate_season(world: FloweringWorld, seed: int, families: int = 12, per_family: int = 6) -> WorldSeason:
    """Simulate one season with its past.

    Parameters
    ----------
    world
        What is true.
    seed
        Same world and seed, same season.
    families, per_family
        Crosses, and selfed lines of each.

    Returns
    -------
    WorldSeason
        Weather, lines, rows with their true days, and all walks of the season.
    """
    weather = simulate_weather(seed, FORECAST_YEAR - world.past_years, FORECAST_YEAR, SITES[:1])
    low, high, rain = weather.tmin_c[0], weather.tmax_c[0], weather.rain_mm[0]
    daily = count_chu(low, high) if world.clock == "chu" else np.clip((low + high) / 2.0, 8.0, 34.0) - 8.0
    field = _Field(
        world,
        seed,
        weather.days,
        daily,
        _true_per_chu(weather.days, daily, count_chu(low, high)),
        rain,
        count_chu(low, high),
    )
    lines = _make_lines(field, families, per_family)
    rows = _sow_rows(field, lines)
    return WorldSeason(
        world, seed, weather.days, low, high, rain, daily, field.true_per_chu, lines, rows, _walk(field, rows)
    )


@dataclass(frozen=True, slots=True)
class _Field:
    world: FloweringWorld
    seed: int
    days: tuple[date, ...]
    daily: FloatArray
    true_per_chu: float
    rain: FloatArray
    chu: FloatArray

    def at(self, day: date) -> int:
        return (day - self.days[0]).days

    def reach(self, sown_on: date, true_units: float) -> date | None:
        """First day, up to the end of the year, on which the plants' own units since sowing are reached."""
        start, end = self.at(sown_on) + 1, self.at(date(sown_on.year, 12, 31)) + 1
        running = np.cumsum(self.daily[start:end])
        place = int(np.searchsorted(running, true_units))
        return self.days[start + place] if place < running.size else None

    def count(self, sown_on: date, day: date) -> float:
        """Corn heat units from the day after sowing to a day: what the station would count."""
        return float(self.chu[self.at(sown_on) + 1 : self.at(day) + 1].sum())

    def dryness(self, year: int) -> float:
        """0 (rain as usual or nearly) to 1 (none) in the month before mid-July."""
        end = self.at(date(year, 7, 18))
        sums = [self.rain[at - DROUGHT_DAYS : at].sum() for at in (self.at(date(y, 7, 18)) for y in self._years())]
        normal = float(np.mean(sums))
        share = float(self.rain[end - DROUGHT_DAYS : end].sum()) / normal
        return float(np.clip((0.9 - share) / 0.7, 0.0, 1.0))

    def _years(self) -> range:
        return range(self.days[0].year, self.days[-1].year + 1)


def _true_per_chu(days: tuple[date, ...], daily: FloatArray, chu: FloatArray) -> float:
    """Units of the plants' own clock for one corn heat unit, from mid-May to the end of July."""
    inside = np.array([(5, 15) <= (day.month, day.day) <= (7, 31) for day in days])
    return float(daily[inside].sum() / chu[inside].sum())


def _make_lines(field: _Field, families: int, per_family: int) -> dict[str, WorldLine]:
    dice = roll(field.seed, "lines")
    raw: dict[str, tuple[float, float]] = {}
    made: dict[str, tuple[str, str, str, float]] = {}
    founders = [f"P{at:02d}" for at in range(16)]
    for name in founders:
        raw[name] = (float(dice.normal(SILK_MEAN_CHU, SILK_SD_CHU)), float(dice.normal(GAP_MEAN_CHU, GAP_SD_CHU)))
        made[name] = ("", "", "founder_inbred", 0.0)
    for at in range(families):
        one, other = (founders[int(k)] for k in dice.choice(len(founders), 2, replace=False))
        cross = f"X{at:02d}"
        raw[cross] = ((raw[one][0] + raw[other][0]) / 2.0, (raw[one][1] + raw[other][1]) / 2.0)
        made[cross] = (one, other, "cross", 1.0)
        for child in range(per_family):
            # Three selfings; segregation within a cross is half of the variance among unrelated inbreds, less the rest.
            name = f"{cross}-{child + 1}"
            spread = np.sqrt(0.5 * (1.0 - 0.125))
            raw[name] = (
                raw[cross][0] + float(dice.normal(0.0, SILK_SD_CHU * spread)),
                raw[cross][1] + float(dice.normal(0.0, GAP_SD_CHU * spread)),
            )
            made[name] = (cross, "", "self", 0.125)
    return {name: _finish_line(field, name, raw[name], made[name]) for name in raw}


def _finish_line(field: _Field, name: str, raw: tuple[float, float], made: tuple[str, str, str, float]) -> WorldLine:
    mother, father, method, mixed = made
    silk = raw[0] - HETEROSIS_CHU * mixed
    shed = silk - raw[1]
    dice = roll(field.seed, "history", name)
    often = {"founder_inbred": 0.8, "cross": 0.0, "self": 0.35}[method]
    years = [year for year in range(FORECAST_YEAR - HISTORY_YEARS, FORECAST_YEAR) if dice.random() < often]
    records = []
    for year in years:
        if year < field.days[0].year:
            continue
        sown_on = date(year, 5, 12) + timedelta(days=int(dice.integers(0, 10)))
        silk_on, shed_on = _flower(field, f"{name} {year}", silk, shed, sown_on, 0.0)
        if silk_on and shed_on:
            records.append((year, field.count(sown_on, silk_on), field.count(sown_on, shed_on)))
    return WorldLine(name, mother, father, method, mixed, silk, shed, tuple(records))


def _flower(
    field: _Field, row: str, silk: float, shed: float, sown_on: date, crowding: float
) -> tuple[date | None, date | None]:
    """True days of half silk and half shed of one row."""
    year, world = sown_on.year, field.world
    season = roll(field.seed, "season", year).normal(size=2)
    own = roll(field.seed, "row", row).normal(size=2)
    shared = SEASON_SD_CHU * season[0] + ROW_SD_CHU * own[0]
    apart = SEASON_APART_SD_CHU * season[1] + ROW_APART_SD_CHU * own[1]
    shared -= world.late_chu_a_day * (sown_on - date(year, 5, 10)).days
    held = CROWD_CHU * crowding + (DROUGHT_CHU * field.dryness(year) if world.drought else 0.0)
    return (
        field.reach(sown_on, (silk + shared + apart + held) * field.true_per_chu),
        field.reach(sown_on, (shed + shared - apart) * field.true_per_chu),
    )


def _sow_rows(field: _Field, lines: Mapping[str, WorldLine]) -> tuple[WorldRow, ...]:
    """Every line in one row, founders in two; three days of sowing."""
    rows = []
    for name, line in lines.items():
        for copy in range(2 if line.method == "founder_inbred" else 1):
            dice = roll(field.seed, "sow", name, copy)
            sown_on = date(FORECAST_YEAR, 5, 12) + timedelta(days=int(dice.choice([0, 7, 16])))
            crowding = float(dice.normal())
            row = f"{name}/{copy + 1}"
            silk_on, shed_on = _flower(field, row, line.silk_chu, line.shed_chu, sown_on, crowding)
            rows.append(WorldRow(row, name, sown_on, crowding, silk_on, shed_on))
    return tuple(rows)


def _walk(field: _Field, rows: tuple[WorldRow, ...]) -> tuple[Look, ...]:
    """Walks from a week before the first flower on; a row is looked at until both are seen."""
    known = [day for row in rows for day in (row.silk_on, row.shed_on) if day]
    first, last = min(known) - timedelta(days=7), max(known) + timedelta(days=3)
    looks: list[Look] = []
    for row in rows:
        dice = roll(field.seed, "walk", row.name)
        day = first + timedelta(days=int(dice.integers(0, field.world.look_every_days)))
        silk_done = shed_done = False
        slip = [7 if dice.random() < field.world.wrong_notes_share else 0 for _ in range(2)]
        while day <= last and not (silk_done and shed_done):
            silk = None if silk_done else _seen(row.silk_on, day, slip[0])
            shed = None if shed_done else _seen(row.shed_on, day, slip[1])
            looks.append(Look(row.name, day, silk, shed))
            silk_done, shed_done = silk_done or bool(silk), shed_done or bool(shed)
            day += timedelta(days=field.world.look_every_days)
    return tuple(looks)


def _seen(true_on: date | None, day: date, slip_days: int) -> bool:
    return true_on is not None and day >= true_on + timedelta(days=slip_days)

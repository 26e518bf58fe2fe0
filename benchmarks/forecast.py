"""How long does the daily refresh of a nursery's flowering forecast take, and how does it grow with the rows?

Run alone (``python benchmarks/forecast.py``), or by ``make bench``. Mid-season: 300 founders, crosses of them, selfed
lines under each cross, six past seasons of records, thirty past years of weather, notes on nearly all rows. Invented
from fixed seeds. Memory is that of a process of its own.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from heat import largest_gb

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from firstsilk.science.flowering.line_records import LinesKnown
    from firstsilk.science.flowering.season_forecast import NotedRows, SeasonTold
    from firstsilk.science.flowering.season_heat import SeasonHeat

FIRST, TODAY = date(2031, 5, 12), date(2031, 7, 25)
ROWS = (2_000, 20_000, 200_000)
FOUNDERS, PER_CROSS, PAST_SEASONS = 300, 11, 6
LINES = 6_000
SILK_CHU, SHED_CHU, HETEROSIS_CHU = 1300.0, 1245.0, 90.0


def make_heat() -> SeasonHeat:
    """Thirty past years and a season up to 25 July."""
    from firstsilk.invented.weather import SITES, simulate_weather
    from firstsilk.science.flowering.season_heat import build_season_heat

    weather = simulate_weather(7, 2001, 2031, SITES[:1])
    return build_season_heat(
        weather.days, weather.tmin_c[0], weather.tmax_c[0], FIRST, TODAY, "chu", weather.rain_mm[0]
    )


def make_lines(n: int = LINES) -> tuple[LinesKnown, NDArray[np.float64]]:
    """Founders, crosses of them, and lines three times selfed, with what each truly needs (lines, 2) [chu].

    A founder has a record of four seasons in five, a selfed line of one in three.
    """
    import numpy as np

    from firstsilk.science.flowering.line_records import LinesKnown, find_mixed_frac

    dice = np.random.default_rng(3)
    crosses = (n - FOUNDERS) // (PER_CROSS + 1)
    n = FOUNDERS + crosses * (PER_CROSS + 1)
    mother, father = np.full(n, -1, dtype=np.intp), np.full(n, -1, dtype=np.intp)
    method = ["founder_inbred"] * FOUNDERS + ["cross"] * crosses + ["self"] * (crosses * PER_CROSS)
    made = slice(FOUNDERS, FOUNDERS + crosses)
    mother[made], father[made] = dice.integers(0, FOUNDERS, (2, crosses))
    mother[FOUNDERS + crosses :] = FOUNDERS + np.repeat(np.arange(crosses), PER_CROSS)
    selfings = np.array([3 if how == "self" else 0 for how in method], dtype=np.intp)
    often = np.array([{"founder_inbred": 0.8, "cross": 0.0, "self": 0.35}[how] for how in method])
    line, season = np.nonzero(dice.random((n, PAST_SEASONS)) < often[:, None])
    need = np.array([SILK_CHU, SHED_CHU]) + dice.normal(0.0, 60.0, (n, 1)) + dice.normal(0.0, 14.0, (n, 2))
    middle = (need[mother[made]] + need[father[made]]) / 2.0
    need[made] = middle - HETEROSIS_CHU
    # Three selfings: half the variance among unrelated inbreds, less an eighth of that; an eighth of heterosis is left.
    apart = (need[FOUNDERS + crosses :] - np.array([SILK_CHU, SHED_CHU])) * (0.5 * 0.875) ** 0.5
    need[FOUNDERS + crosses :] = np.repeat(middle, PER_CROSS, axis=0) + apart - HETEROSIS_CHU / 8.0
    units = need[line] + dice.normal(0.0, 28.0, (PAST_SEASONS, 1))[season] + dice.normal(0.0, 14.0, (len(line), 2))
    known = LinesKnown(
        mother,
        father,
        method,
        selfings,
        find_mixed_frac(mother, method, selfings),
        line.astype(np.intp),
        season.astype(np.intp),
        units,
        np.ones(len(line)),
        PAST_SEASONS,
        np.zeros(0),
    )
    return known, need


def make_rows(n: int, true_units: NDArray[np.float64], heat: SeasonHeat) -> NotedRows:
    """Rows sown on three days, looked at every other day from early July on."""
    import numpy as np

    from firstsilk.science.flowering.season_forecast import NotedRows

    dice = np.random.default_rng(4)
    line = dice.integers(0, len(true_units), n).astype(np.intp)
    sown = dice.choice([0, 7, 16], n).astype(np.intp)
    need = true_units[line] + dice.normal(0.0, 14.0, (n, 1)) + dice.normal(0.0, 7.0, (n, 2))
    running = np.concatenate([[0.0], np.cumsum(heat.so_far[0])])
    day = np.searchsorted(running[1:], need + running[sown + 1][:, None])
    today = heat.day(TODAY)
    walk = today - dice.integers(0, 2, (n, 1))
    seen = np.where(day <= walk, day + (walk - day) % 2, -1).astype(np.intp)
    return NotedRows(line, sown, np.zeros(n), np.where(seen >= 0, seen - 2, walk).astype(np.intp), seen)


def refresh(known: LinesKnown, heat: SeasonHeat, rows: NotedRows) -> SeasonTold:
    """One forecast with its dates."""
    import numpy as np

    from firstsilk.science.flowering.season_forecast import forecast_lines
    from firstsilk.science.flowering.whole_dates import find_whole_dates

    years = tuple(range(2031 - PAST_SEASONS, 2031))
    told = forecast_lines(heat, rows, known, years, np.array([SILK_CHU, SHED_CHU]))
    for draws in (told.forecast.silk, told.forecast.shed):
        find_whole_dates(draws)
    return told


def tell_refresh() -> Iterator[tuple[str, str]]:
    """Seconds by number of rows, as said and for each thousand."""
    heat, (known, need) = make_heat(), make_lines()
    began = time.perf_counter()
    refresh(known, heat, make_rows(50, need, heat))
    yield "forecast: first refresh of a process, 50 rows", f"{time.perf_counter() - began:.2f} s"
    for n in ROWS:
        rows = make_rows(n, need, heat)
        clock, processor = [], []
        for _ in range(3 if n < ROWS[-1] else 1):
            began, busy = time.perf_counter(), time.process_time()
            told = refresh(known, heat, rows)
            clock.append(time.perf_counter() - began)
            processor.append(time.process_time() - busy)
        what = f"forecast: daily refresh of {n:,} rows of {len(known.mother):,} lines, mid-season"
        noted = int((rows.seen >= 0).any(axis=1).sum())
        spent = f"{min(clock):.2f} s, {min(processor):.2f} s of them on the processor"
        yield what, f"{spent} ({told.forecast.passes} passes, {noted:,} rows seen)"


def tell_memory() -> Iterator[tuple[str, str]]:
    """The largest resident memory of a process that makes one refresh and nothing else."""
    for n in ROWS[1:]:
        done = subprocess.run(
            [sys.executable, __file__, "--memory", str(n)], check=True, capture_output=True, text=True
        )
        yield f"forecast of {n:,} rows: largest memory of the process", done.stdout.strip()


def tell_forecast() -> Iterator[tuple[str, str]]:
    """All figures."""
    yield from tell_refresh()
    yield from tell_memory()


def _say_memory(n: int) -> None:
    heat, (known, need) = make_heat(), make_lines()
    refresh(known, heat, make_rows(n, need, heat))
    print(f"{largest_gb():.2f} GB")


def main() -> None:
    """Print each figure as it comes."""
    if "--memory" in sys.argv:
        _say_memory(int(sys.argv[-1]))
        return
    for says, figure in tell_forecast():
        print(f"| {says} | {figure} |", flush=True)


if __name__ == "__main__":
    main()

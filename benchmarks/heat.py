"""How fast is heat counted: over rows with temperatures of their own, over shared courses, and beside xclim?

Run alone, or by ``make bench``. Speed beside xclim is told as a ratio of times taken in turn in one process, since
times alone move with the machine; memory is that of a process of its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

YEARS, DAYS = 40, 150
ROWS = (2_000, 20_000, 200_000)
RUNS = 5


def make_weather():
    """Minima and maxima (years, days) of a cool season, from a fixed seed."""
    import numpy as np

    dice = np.random.default_rng(1)
    mean = 15.0 + 5.0 * np.sin(np.arange(DAYS) / DAYS * np.pi) + dice.normal(0.0, 3.0, (YEARS, DAYS))
    half = dice.uniform(3.0, 8.0, (YEARS, DAYS))
    return mean - half, mean + half


def make_rows(n: int):
    """Base, upper temperature, day of sowing and target of each row; one in three never gets there."""
    import numpy as np

    dice = np.random.default_rng(2)
    return dice.uniform(6.0, 10.0, n), dice.uniform(28.0, 34.0, n), dice.integers(0, 30, n), dice.uniform(500, 1400, n)


def best_s(work: Callable[[], object], runs: int = RUNS) -> float:
    """Seconds of the quickest of some runs."""
    took = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def tell_own_heat() -> Iterator[tuple[str, str]]:
    """Each row with its own base and upper temperature; then all rows on one shared course of units."""
    from firstsilk.science.climate.heat import heat_units
    from firstsilk.science.climate.own_heat import find_days_by_own_heat, find_days_by_shared_heat

    tmin, tmax = make_weather()
    began = time.perf_counter()
    find_days_by_own_heat(tmin, tmax, *make_rows(1))
    yield "own heat: first call of a process (compiled, or read from where it is kept)", f"{_since(began):.2f} s"
    units = heat_units(tmin, tmax, "gdd_c")
    for n in ROWS:
        rows = make_rows(n)
        _, _, sown, target = rows
        own = best_s(lambda rows=rows: find_days_by_own_heat(tmin, tmax, *rows))
        shared = best_s(lambda sown=sown, target=target: find_days_by_shared_heat(units, sown, target))
        what = f"{n:,} rows x {YEARS} years x {DAYS} days"
        per_row = f"{1e6 * own / n:.1f} and {1e6 * shared / n:.1f} microseconds a row"
        yield f"own heat; shared heat: {what}", f"{own:.3f} s; {shared:.3f} s ({per_row})"


def tell_memory() -> tuple[str, str]:
    """The largest resident memory of a process that does the 20,000 rows and nothing else."""
    done = subprocess.run([sys.executable, __file__, "--memory"], check=True, capture_output=True, text=True)
    return f"own heat of {ROWS[1]:,} rows: largest memory of the process", done.stdout.strip()


def tell_beside_xclim() -> Iterator[tuple[str, str]]:
    """The same temperatures, counted by xclim and by us in turn."""
    import numpy as np

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import xarray
        from xclim import indices

        from firstsilk.science.climate.heat_forms import count_by_form

        days = np.arange("1990-01-01", "2030-01-01", dtype="datetime64[D]").astype("datetime64[ns]")
        # No day reaches 49.6 °C, from where xclim lets the day part fall below 0.
        low = np.clip(np.random.default_rng(3).normal(8.0, 7.0, (days.size, 100)), -20.0, 35.0)
        high = low + 11.0

        def named(values):
            return xarray.DataArray(values, dims=("time", "site"), coords={"time": days}, attrs={"units": "degC"})

        tasmin, tasmax, tas = named(low), named(high), named((low + high) / 2.0)
        years = np.flatnonzero(np.diff(days.astype("datetime64[Y]"), prepend=np.datetime64("NaT"))).tolist()
        pairs = (
            (
                "corn heat units by day",
                lambda: count_by_form(low, high, "chu", "night-4.44"),
                lambda: indices.corn_heat_units(tasmin, tasmax).values,
            ),
            (
                "plain degree days by year",
                lambda: np.add.reduceat(count_by_form(low, high, "gdd_c", "plain"), years, axis=0),
                lambda: indices.growing_degree_days(tas, thresh="10 degC").values,
            ),
        )
        for what, ours, theirs in pairs:
            assert np.allclose(ours(), theirs()), what
            took = [(best_s(ours, 1), best_s(theirs, 1)) for _ in range(RUNS)]
            mine, xclims = (min(one) for one in zip(*took, strict=True))
            says = f"{what}, {low.size:,} site-days: time as a share of xclim's"
            yield says, f"{mine / xclims:.2f} ({mine:.3f} s, xclim {xclims:.3f} s)"


def tell_heat() -> Iterator[tuple[str, str]]:
    """Every figure of heat: what was done, and how long or how much it took."""
    yield from tell_own_heat()
    yield tell_memory()
    yield from tell_beside_xclim()


def _since(began: float) -> float:
    return time.perf_counter() - began


def _show_memory() -> None:
    from firstsilk.science.climate.own_heat import find_days_by_own_heat

    tmin, tmax = make_weather()
    find_days_by_own_heat(tmin, tmax, *make_rows(ROWS[1]))
    print(f"{largest_gb():.2f} GB")


def largest_gb() -> float:
    """The largest resident memory of this process; ru_maxrss alone would count its parent's from before the start."""
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = (line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024**2
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2


if __name__ == "__main__":
    if "--memory" in sys.argv:
        _show_memory()
    else:
        for says, told in tell_heat():
            print(f"| {says} | {told} |", flush=True)

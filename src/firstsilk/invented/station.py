"""Which tables does the invented station bring, in the layouts that every station uses?

Only what a station can know: estimates where it measured, gaps where it did not, and no true value.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from firstsilk.invented.dice import roll
from firstsilk.invented.pedigrees import InventedLine, find_truth
from firstsilk.invented.programme import NURSERY_YEAR, SECOND_TRIAL_YEAR, SERIES, PastRow
from firstsilk.invented.world import STATION_CODE, STATION_NAME, TIME_ZONE, World

Cells = Sequence[object]
StoredSeed = tuple[str, str, str, str, str, int, int]
"""Lot, line, kind, origin, origin in words, year, kernels."""

KNOWN_UNITS_SD_CHU = 15.0
"""How well the station knows a line's heat units to silk and shed: mean of a few rows and years. Ours."""
KNOWN_BLACK_LAYER_SD_CHU = 25.0
"""How well it knows a hybrid's heat units to black layer: looked at in a few plots. Ours."""
NO_UNITS_SHARE = 0.04
TESTED_SEEDS = 100
NOT_TESTED_SHARE = 0.06
KERNEL_WEIGHT_MG = 230.0
KERNEL_WEIGHT_SD_MG = 30.0
HYBRID_LOT_KERNELS = 2400
CHECK_LOT_KERNELS = 20_000

STATION_COLUMNS = ("station", "name", "latitude", "time_zone", "scale")
SITE_COLUMNS = ("site", "name", "latitude", "longitude", "elevation_m", "home")
WEATHER_COLUMNS = ("site", "date", "tmin_c", "tmax_c", "rain_mm")
LINE_COLUMNS = (
    *("line", "kind", "stands_for", "method", "mother", "father", "selfings", "generation", "pedigree", "group"),
    *("tester", "check", "units_to_silk", "units_to_shed", "units_to_black_layer", "remark"),
)
LOT_COLUMNS = (
    *("lot", "line", "kind", "origin", "origin_text", "year", "kernels", "germination", "germination_tested_on"),
    *("germination_seeds", "kernel_weight_mg", "shelf", "box", "slot"),
)
ROW_COLUMNS = (
    *("season", "row", "field_row", "field_col", "line", "lot", "purpose", "kernels", "sown", "stand", "silk", "shed"),
    *("ears", "kernels_shelled"),
)
PLOT_COLUMNS = (
    *("trial", "series", "site", "year", "plot", "rep", "block", "field_row", "field_col", "entry", "check"),
    *("plot_area_m2", "weight_kg", "moisture_pct", "yield_kg_ha_15_5", "test_weight_kg_hl", "stand", "root_lodged"),
    *("stalk_lodged", "rejected"),
)


@dataclass(frozen=True, slots=True)
class StationTable:
    """One table that the station brings: its name without ending, its columns, its rows."""

    name: str
    columns: Sequence[str]
    rows: Sequence[Cells]


Writer = Callable[[Path, Sequence[str], Sequence[Cells]], None]
"""Writes one table to a file; `faces.files.tables.write_table` is one."""


def write_tables(world: World, folder: str | Path, up_to: date, write: Writer) -> tuple[Path, ...]:
    """Write the seven tables of the invented station into a folder.

    Parameters
    ----------
    world
        The station.
    folder
        Made if it is not there.
    up_to
        The last day of weather, and of germination tests, that the station has seen.
    write
        Called for each table with path, columns and rows.

    Returns
    -------
    tuple of Path
        The files written: station, sites, weather, lines, lots, rows, plots.

    Notes
    -----
    Checked by ``tests/work/test_invented_station.py``.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for table in list_tables(world, up_to):
        written.append(folder / f"{table.name}.csv")
        write(written[-1], table.columns, table.rows)
    return tuple(written)


def list_tables(world: World, up_to: date) -> tuple[StationTable, ...]:
    """The seven tables of the invented station, as it has seen them up to a day; see `write_tables`."""
    home = world.sites[0]
    return (
        StationTable("station", STATION_COLUMNS, [(STATION_CODE, STATION_NAME, home.latitude, TIME_ZONE, "chu")]),
        StationTable("sites", SITE_COLUMNS, list_sites(world)),
        StationTable("weather", WEATHER_COLUMNS, list_weather(world, world.weather.days[0], up_to)),
        StationTable("lines", LINE_COLUMNS, list_lines(world)),
        StationTable("lots", LOT_COLUMNS, list_lots(world, up_to)),
        StationTable("rows", ROW_COLUMNS, list_rows(world)),
        StationTable("plots", PLOT_COLUMNS, list_plots(world)),
    )


def list_sites(world: World) -> list[Cells]:
    """Rows of sites.csv."""
    return [(site.code, site.name, site.latitude, site.longitude, site.elevation_m, site.home) for site in world.sites]


def list_weather(world: World, first: date, last: date) -> list[Cells]:
    """Rows of weather.csv from `first` to `last`, both included: all sites, day by day."""
    weather = world.weather
    start, end = weather.position(first), weather.position(last) + 1
    return [
        (
            site,
            weather.days[at].isoformat(),
            float(weather.tmin_c[where, at]),
            float(weather.tmax_c[where, at]),
            float(weather.rain_mm[where, at]),
        )
        for where, site in enumerate(weather.sites)
        for at in range(start, end)
    ]


def list_lines(world: World) -> list[Cells]:
    """Rows of lines.csv: every line and hybrid, parents first, with the units that the station believes."""
    tried = {plot.entry for plot in world.past_trials.plots}
    return [_list_line(world, line, tried) for line in world.book.lines]


def _list_line(world: World, line: InventedLine, tried: Collection[str]) -> Cells:
    silk, shed = estimate_units(world, line)
    return (
        line.name,
        line.kind,
        line.stands_for,
        line.method,
        line.mother,
        line.father,
        line.selfings if line.method == "self" else None,
        line.generation,
        line.pedigree,
        line.group,
        line.tester,
        line.check,
        silk,
        shed,
        estimate_black_layer(world, line, in_trials=line.name in tried),
        line.remark,
    )


def estimate_units(world: World, line: InventedLine) -> tuple[float | None, float | None]:
    """What the station believes a line needs from sowing to silk and to shed [CHU]; None where it never looked."""
    grown = line.method != "cross" or line.check
    dice = roll(world.seed, "known units", line.name)
    shared, apart = KNOWN_UNITS_SD_CHU * dice.normal(), KNOWN_UNITS_SD_CHU / 3.0 * dice.normal()
    unseen = dice.random() < NO_UNITS_SHARE and not line.tester and not line.check
    if not grown or unseen:
        return None, None
    value = find_truth(world.truth, line.name)
    return (
        float(round(value.units_to_silk_chu + shared + apart)),
        float(round(value.units_to_shed_chu + shared - apart)),
    )


def estimate_black_layer(world: World, line: InventedLine, in_trials: bool) -> float | None:
    """What the station believes a hybrid needs from sowing to black layer [CHU]; None where it never looked."""
    dice = roll(world.seed, "known black layer", line.name)
    off, unseen = KNOWN_BLACK_LAYER_SD_CHU * dice.normal(), dice.random() < NO_UNITS_SHARE
    if not in_trials or line.name not in world.truth.hybrids or (unseen and not line.check):
        return None
    return float(round(world.truth.hybrids[line.name].units_to_black_layer_chu + off))


def list_lots(world: World, up_to: date) -> list[Cells]:
    """Rows of lots.csv: what is in the store in the spring of the demo year."""
    lots: list[StoredSeed] = []
    crossed = {plot.entry for plot in world.past_trials.plots}
    for line in world.book.lines:
        lots += _old_lots(world, line, line.name in crossed)
    lots += _nursery_lots(world.past_rows)
    return [_store_lot(world, lot, at, up_to) for at, lot in enumerate(lots)]


def _old_lots(world: World, line: InventedLine, tried: bool) -> list[StoredSeed]:
    dice = roll(world.seed, "lot", line.name)
    grown = NURSERY_YEAR - 1
    if line.check:
        name = f"{line.name}-{NURSERY_YEAR % 100 - 1}"
        return [(name, line.name, "bulk", "received", "bought seed", grown, CHECK_LOT_KERNELS)]
    if line.kind == "hybrid":
        kernels = int(HYBRID_LOT_KERNELS * dice.uniform(0.5, 1.2))
        text = f"testcrosses of nursery {grown}"
        return [(f"{line.name}-{grown % 100}", line.name, "remnant", "pollinations", text, grown, kernels)] * tried
    if line.method == "cross":
        year = grown - (9 if line.name[2:4] == "F1" else 6)
        kernels, text = int(dice.integers(60, 220)), f"crosses of nursery {year}"
        return [(f"{line.name}-{year % 100}", line.name, "ears", "pollinations", text, year, kernels)]
    kernels = int(dice.integers(250, 900))
    origin, text = ("received", "start of the programme") if line.remark == "founder" else ("rows", f"nursery {grown}")
    return [(f"{line.name}-{grown % 100}", line.name, "bulk", origin, text, grown, kernels)]


def _nursery_lots(rows: Iterable[PastRow]) -> list[StoredSeed]:
    """One lot from each nursery row that gave seed."""
    year, made_by = NURSERY_YEAR, ("ears", "pollinations")
    return [
        (f"{past.makes}-{year % 100}", past.makes, *made_by, f"nursery {year}, row {past.number}", year, past.kernels)
        for past in rows
        if past.makes and past.kernels
    ]


def _store_lot(world: World, lot: StoredSeed, at: int, up_to: date) -> Cells:
    """A lot with its germination test, kernel weight and place in the store."""
    name, line, *rest = lot
    dice = roll(world.seed, "store", name)
    age = SECOND_TRIAL_YEAR - int(lot[5])
    true = find_truth(world.truth, line).germination_frac - 0.01 * age
    sprouted = int(dice.binomial(TESTED_SEEDS, true)) / TESTED_SEEDS
    tested_on = date(SECOND_TRIAL_YEAR, 12, 2 + at % 16)
    tested = dice.random() >= NOT_TESTED_SHARE and tested_on <= up_to
    weight = round(float(np.clip(dice.normal(KERNEL_WEIGHT_MG, KERNEL_WEIGHT_SD_MG), 120.0, 360.0)), 1)
    test: Cells = (sprouted, tested_on.isoformat(), TESTED_SEEDS) if tested else (None, None, None)
    return (name, line, *rest, *test, weight, "ABCD"[at // 60 % 4], str(at // 12 % 5 + 1), str(at % 12 + 1))


def list_rows(world: World) -> list[Cells]:
    """Rows of rows.csv: the nursery of the year before the demo year."""
    return [
        (
            str(NURSERY_YEAR),
            past.number,
            past.field_row,
            past.field_col,
            past.row.line,
            past.lot,
            past.row.purpose,
            past.row.kernels,
            past.row.sown_on.isoformat(),
            past.stand,
            past.silk_on and past.silk_on.isoformat(),
            past.shed_on and past.shed_on.isoformat(),
            past.ears,
            past.kernels,
        )
        for past in world.past_rows
    ]


def list_plots(world: World) -> list[Cells]:
    """Rows of plots.csv: the trials of the two years before the demo year. Yields are left to be worked out."""
    checks = {line.name for line in world.book.lines if line.check}
    return [
        (
            plot.trial,
            f"{SERIES} {plot.year}",
            plot.site,
            plot.year,
            plot.plot,
            plot.rep,
            plot.block,
            plot.field_row,
            plot.field_col,
            plot.entry,
            plot.entry in checks,
            plot.plot_area_m2,
            result.weight_kg,
            result.moisture_pct,
            None,
            result.test_weight_kg_hl,
            result.stand,
            result.root_lodged,
            result.stalk_lodged,
            result.rejected,
        )
        for plot, result in zip(world.past_trials.plots, world.past_trials.results, strict=True)
    ]

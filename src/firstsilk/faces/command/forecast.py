"""How do rows, their notes and the weather become dates of silk and shed with their spread at the command line?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse, stop_if_any
from firstsilk.faces.command.climate import Scale, ScaleChoice, WeatherFile
from firstsilk.faces.command.giving import AsJson, Out, check_out, give_result, say
from firstsilk.faces.command.ripening import CountedFrom, EmergenceUnits, StartChoice, settle_emergence

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from firstsilk.faces.files.noted_rows import NotedRow
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.flowering.season_forecast import NotedRows, SeasonTold
    from firstsilk.science.flowering.season_heat import SeasonHeat

COLUMNS = ("row", "silk_p10", "silk_p50", "silk_p90", "shed_p10", "shed_p50", "shed_p90")
DEMAND_COLUMNS = ("date", "p10", "p50", "p90")
DEMAND_DECIMALS = 2
FEW_YEARS = 10
PLANT_DAYS = 14
"""No plant of a row silks so many days from the row's middle."""

RowsFile = Annotated[
    str,
    typer.Argument(
        metavar="ROWS",
        help="row, sown, units_to_silk, units_to_shed[, sd_units][, line][, pollinations][, crowding], and notes: "
        "[, silk_seen][, shed_seen][, silk_not_yet][, shed_not_yet]. - is stdin.",
    ),
]
Today = Annotated[
    datetime, typer.Option("--today", formats=["%Y-%m-%d"], help="Day of the forecast; nothing after it is used.")
]
Demand = Annotated[
    str, typer.Option("--demand", help="File to write: pollinations by day, for `crew`.", callback=check_out)
]
Site = Annotated[str, typer.Option("--site", help="Which site of the weather file, if it has several.")]
Draws = Annotated[int, typer.Option("--draws", min=50, max=5000, help="Draws behind each date.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Where chance starts: the same seed gives the same dates.")]


def forecast(
    rows: RowsFile,
    weather: WeatherFile,
    today: Today,
    scale: Scale = ScaleChoice.CHU,
    counted_from: CountedFrom = StartChoice.SOWING,
    emergence_units: EmergenceUnits = None,
    demand: Demand = "",
    site: Site = "",
    draws: Draws = 200,
    seed: Seed = 1,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Dates of half silk and half shed of each row, with their spread.

    The first day counted is the day after sowing. Notes are intervals: seen means reached since the day before, or
    since the last look that did not find it; not yet means not reached by then. What rows share in a season, and
    what is not known of a line, is learnt from them and moves every row. Past years of the file tell how the season
    may go on; with 3 to 11 of them generated years are added, and said.

    p10, p50, p90 are whole dates: before the first, and after the last, the chance is as near to a tenth as can be,
    so the span holds about four fifths. A date that is not reached in the days looked at is empty. A row without
    units takes the mean of the others, and is said. Frost and rain on the day are not considered.
    """
    from firstsilk.faces.files.noted_rows import read_noted_rows
    from firstsilk.faces.files.unit_scales import FLOWERING_STAGES, settle_unit_scale
    from firstsilk.faces.files.weather import read_weather
    from firstsilk.science.flowering.season_forecast import forecast_known

    if demand == "-" and (as_json or out in ("", "-")):
        raise typer.BadParameter("standard output is taken already: give --demand or --out a file.")
    if demand and demand == out:
        raise typer.BadParameter("--demand and --out cannot be the same file.")
    more = settle_emergence(counted_from, emergence_units, scale.value) or 0.0
    given = read_noted_rows(rows)
    for finding in settle_unit_scale([row.place for row in given], scale.value, FLOWERING_STAGES):
        say(f"warns: {finding.as_text()}")
    read = read_weather(weather)
    day = today.date()
    heat = _line_up(read, _choose_site(read, site), given, day, scale.value, seed)
    _check_sown(given, heat)
    units, sd = _find_units(given, more)
    told = forecast_known(heat, _set_rows(given, heat, day), units, sd, draws=draws, seed=seed)
    _say_basis(heat, given, day)
    if demand:
        _write_demand(demand, heat, given, told, day)
    give_result(COLUMNS, _tell_rows(given, heat, told), out, as_json, _tell_more(heat, told, day))


def _choose_site(read: Weather, site: str) -> SiteWeather:
    names = [one.site for one in read.sites]
    if site:
        found = next((one for one in read.sites if one.site == site), None)
        if found is None:
            known = f"Name one of: {', '.join(names)}." if any(names) else "It names none; leave --site out."
            raise refuse("site_not_in_file", f"{read.file}: there is no site {site!r}.", known)
        return found
    if len(read.sites) > 1:
        told = f"{read.file}: there are {len(names)} sites."
        raise refuse("site_unclear", told, f"Name one with --site: {', '.join(names)}.")
    return read.sites[0]


def _line_up(
    read: Weather, site: SiteWeather, rows: Sequence[NotedRow], today: date, scale: str, seed: int
) -> SeasonHeat:
    from firstsilk.science.climate.temperatures import convert_f_to_c
    from firstsilk.science.flowering.season_heat import build_season_heat

    low, high = (convert_f_to_c(one) if read.unit == "f" else one for one in (site.tmin, site.tmax))
    first = min(row.sown for row in rows)
    last = next((day for day in reversed(site.days) if day <= today), None)
    if last is None:
        raise refuse(
            "no_weather_yet", f"{read.file}: there is no day up to {today}.", "Check --today, or bring the weather."
        )
    # Nothing is sown yet: the season begins with the last reading, or with sowing where files hold summers only.
    fault: ValueError | None = None
    for start in (first,) if first <= last else (last, first):
        try:
            return build_season_heat(site.days, low, high, start, today, scale, site.rain_mm, seed=seed)  # type: ignore[arg-type]
        except ValueError as caught:
            fault = fault or caught
    repair = "Give at least one whole past year." if "past year" in str(fault) else "Bring it: no day may be missing."
    raise refuse("weather_has_holes", f"{read.file}: {fault}.", repair)


def _check_sown(rows: Sequence[NotedRow], heat: SeasonHeat) -> None:
    """Refuse rows sown after the days that are looked at."""
    told = f"it is sown more than {heat.span_days - 2} days after {heat.first}, when the season begins"
    late = (row for row in rows if heat.day(row.sown) + 1 >= heat.span_days)
    stop_if_any([row.place.finding("sown_after_season", told, "sown", "Forecast one season at a time") for row in late])


def _find_units(rows: Sequence[NotedRow], more: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Units of each row (rows, 2) and how sure they are (rows,); what is missing is taken from the others and said."""
    import numpy as np

    units = np.array([[np.nan if one is None else one for one in row.units] for row in rows], dtype=np.float64)
    sd = np.array([np.nan if row.sd_units is None else row.sd_units for row in rows], dtype=np.float64)
    gap = units[:, 0] - units[:, 1]
    middle = float(np.nanmean(gap)) if not np.isnan(gap).all() else 0.0
    for column, sign in ((0, 1.0), (1, -1.0)):
        lone = np.isnan(units[:, column]) & ~np.isnan(units[:, 1 - column])
        units[lone, column] = units[lone, 1 - column] + sign * middle
    never = np.isnan(units).all(axis=1)
    if never.all():
        column = next(row for row in rows).place.place("units_to_silk")
        message = f"{column.as_text()}: no row has units to silk or shed."
        raise refuse("units_unknown", message, "Write them for one line at least.")
    if never.any():
        known = units[~never]
        units[never] = known.mean(axis=0)
        sd[never] = max(float(known[:, 0].std()), 0.04 * float(known[:, 0].mean()))
        names = ", ".join(row.name for row, one in zip(rows, never, strict=True) if one)
        say(f"no units for {names}: the mean of the others stands in, with a wide spread.")
    return units + more, sd


def _set_rows(rows: Sequence[NotedRow], heat: SeasonHeat, today: date) -> NotedRows:
    import numpy as np

    from firstsilk.science.flowering.season_forecast import NotedRows

    lines = {name: place for place, name in enumerate(dict.fromkeys(row.line or f"\0{row.name}" for row in rows))}

    def day(at: date | None) -> int:
        return -1 if at is None or at > today else heat.day(at)

    return NotedRows(
        np.array([lines[row.line or f"\0{row.name}"] for row in rows], dtype=np.intp),
        np.array([heat.day(row.sown) for row in rows], dtype=np.intp),
        np.array([row.crowding for row in rows], dtype=np.float64),
        np.array([[day(not_yet) for _, not_yet in row.notes] for row in rows], dtype=np.intp),
        np.array([[day(seen) for seen, _ in row.notes] for row in rows], dtype=np.intp),
    )


def _say_basis(heat: SeasonHeat, rows: Sequence[NotedRow], today: date) -> None:
    later = sum(1 for row in rows for pair in row.notes for day in pair if day is not None and day > today)
    if later:
        say(f"{_many(later, 'note')} after {today} not used.")
    last = heat.first + timedelta(days=heat.so_far.shape[1] - 1)
    if not heat.so_far.shape[1]:
        say(f"there is no reading from {heat.first} on: the season goes by past years alone.")
    elif last < today:
        say(f"the last reading is of {last}, {_many((today - last).days, 'day')} before {today}.")
    whole = _many(len(heat.years), "whole past year")
    if heat.n_generated:
        say(f"only {whole}: {_many(heat.n_generated, 'generated year')} added.")
    elif len(heat.years) < FEW_YEARS:
        say(f"only {whole}: the spread of the weather is uncertain.")
    turned = sum(1 for row in rows if None not in row.units and row.units[0] < row.units[1])  # type: ignore[operator]
    if turned:
        say(f"{_many(turned, 'row')} with fewer units to silk than to shed, taken as given.")


def _many(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _tell_rows(rows: Sequence[NotedRow], heat: SeasonHeat, told: SeasonTold) -> Iterator[list[object]]:
    from firstsilk.science.flowering.whole_dates import find_whole_dates

    silk, shed = (find_whole_dates(each) for each in (told.forecast.silk, told.forecast.shed))
    for row, one, other in zip(rows, silk.tolist(), shed.tolist(), strict=True):
        yield [row.name, *(_name_day(heat.first, each) for each in (*one, *other))]


def _name_day(first: date, at: float) -> date | None:
    return None if at != at else first + timedelta(days=int(at))


def _tell_more(heat: SeasonHeat, told: SeasonTold, today: date) -> dict[str, object]:
    mean, cov = told.forecast.posterior.shared_mean, told.forecast.posterior.shared_cov
    return {
        "today": today,
        "scale": heat.scale,
        "past_years": list(heat.years),
        "generated_years": heat.n_generated,
        "units_a_day_at_flowering": round(told.pace, 4),
        "season_later_by_days": {
            name: {
                "value": round(float(mean[at]) / told.pace, 4),
                "sd": round(float(cov[at, at]) ** 0.5 / told.pace, 4),
            }
            for at, name in enumerate(("silk", "shed"))
        },
        "row_spread": round(told.forecast.row_spread, 4),
        "dryness": round(told.dryness_frac, 4),
        "steady": told.forecast.steady,
    }


def _write_demand(out: str, heat: SeasonHeat, rows: Sequence[NotedRow], told: SeasonTold, today: date) -> None:
    """Pollinations by day, from the first on which any may fall to the last."""
    import numpy as np

    from firstsilk.faces.files.tables import write_table
    from firstsilk.science.flowering.demand import quantile_demand, spread_demand

    wanted = np.array([row.pollinations for row in rows])
    silk = told.forecast.silk[wanted > 0]
    lines = []
    if np.isfinite(silk).any():
        first, last = int(np.nanmin(silk)) - PLANT_DAYS, int(np.nanmax(silk)) + PLANT_DAYS
        found = quantile_demand(spread_demand(silk, wanted[wanted > 0], first, last - first + 1)).T
        some = np.flatnonzero(found[:, 2] >= 0.5 * 10.0**-DEMAND_DECIMALS)
        kept = range(int(some[0]), int(some[-1]) + 1) if len(some) else range(0)
        lines = [
            [
                heat.first + timedelta(days=first + at),
                *(round(float(each), DEMAND_DECIMALS) + 0.0 for each in found[at]),
            ]
            for at in kept
        ]
    write_table(None if out == "-" else out, DEMAND_COLUMNS, lines)

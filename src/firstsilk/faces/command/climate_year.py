"""How does a station follow its weather from the shell? `season` tells the heat so far, `weather` adds days, hours
or a forecast."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_json, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.climate.arrivals import Added
    from firstsilk.work.climate.forecasts import Forecast
    from firstsilk.work.climate.hours import AddedHours
    from firstsilk.work.climate.season import SeasonHeat

Site = Annotated[str, typer.Option("--site", help="Code of the site; the home site if absent.")]

POINT_COLUMNS = ("date", "total", "p10", "p50", "p90", "years")
YEAR_COLUMNS = ("year", "date", "tmin_c", "tmax_c", "rain_mm")
DECIMALS = 1


def season(
    site: Site = "",
    start: Annotated[str, typer.Option("--start", help="season, or month and day counted from: 05-18.")] = "season",
    scale: Annotated[str, typer.Option("--scale", help="Another scale to look at: chu, gdd_c or gdd_f.")] = "",
    form: Annotated[str, typer.Option("--form", help="A published form; firstsilk heat --forms lists them.")] = "",
    rule: Annotated[str, typer.Option("--rule", help="A season rule; firstsilk heat --seasons lists them.")] = "",
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Heat units of this season against past years on the same date.

    Prints sentences; --out writes the course by date (this season, and 10, 50 and 90 % of past years); --json gives
    both. Counted from 1 May as in Ontario (1 November in the south) to the first -2 °C of the autumn, unless --rule
    names another rule. Another --scale or --form is for looking: plans, lines and forecasts stay in the station's own.
    """
    on = open_books(station, today)
    from firstsilk.work.climate.season import read_season_heat

    heat = read_season_heat(on, site, start, scale, form, rule)
    rows = [
        [point.day, _short(point.total), _short(point.low), _short(point.middle), _short(point.high), point.years]
        for point in heat.course.points
    ]
    if as_json:
        give_result(POINT_COLUMNS, rows, out, True, _as_json(heat))
        return
    if out:
        give_result(POINT_COLUMNS, rows, out, False)
    if out != "-":
        for line in filter(None, (heat.caution, *heat.sentences, heat.basis.as_text())):
            print(line)


def _as_json(heat: SeasonHeat) -> dict[str, object]:
    course, against = heat.course, heat.against
    return {
        "site": heat.site,
        "scale": heat.scale,
        "form": heat.form.name,
        "source": heat.form.source,
        "units_of_plans": heat.is_of_plans,
        "season_rule": heat.rule.name,
        "season_source": heat.rule.source,
        "today": heat.today,
        "from": course.starts,
        "counted_to": course.counted_to,
        "total": _short(course.total),
        "ended_by": course.ended_by or None,
        "frost_on": course.frost_on,
        "last_reading": heat.last_reading,
        "reading_age_days": heat.reading_age_days,
        "ahead_units": _short(against.ahead_units),
        "ahead_days": _short(against.ahead_days),
        "years_below": against.years_below,
        "years": against.n_years,
        "past_seasons": [_short(value) for value in against.past_seasons] if against.past_seasons else None,
        "filled": course.filled_days,
        "forecast": course.forecast_days,
        "ahead": [{"date": day, "total": _short(total)} for day, total in heat.ahead],
        "caution": heat.caution or None,
        "sentences": heat.sentences,
        "basis": heat.basis.as_text(),
    }


def weather_years(
    count: Annotated[int, typer.Option("--years", min=1, max=1000, help="Years to generate.")] = 30,
    site: Site = "",
    seed: Annotated[int, typer.Option("--seed", help="The same seed gives the same years.")] = 1,
    from_today: Annotated[bool, typer.Option("--from-today", help="Go on from the last days in the books.")] = False,
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Years of daily weather as a site could have had them, generated from its own; invented, not measured.

    Whole years of 365 days from 1 January; with --from-today 365 days from tomorrow on, which start from how warm the
    last days were. Columns year (1, 2, ...), date (month and day), tmin_c, tmax_c, rain_mm.
    """
    on = open_books(station, today)
    from firstsilk.work.climate.generated import generate_site_years

    made = generate_site_years(on, site, count, seed, from_today)
    say(f"generated, not measured. {made.basis.as_text()}")
    rows = [
        [
            year + 1,
            month_day,
            *(None if table is None else round(float(table[year, at]), 1) + 0.0 for table in made.tables),
        ]
        for year in range(count)
        for at, month_day in enumerate(made.month_days)
    ]
    give_result(YEAR_COLUMNS, rows, out, as_json, {"site": made.site, "seed": seed, "basis": made.basis.as_text()})


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, DECIMALS) + 0.0


def weather(
    file: Annotated[
        str, typer.Argument(help="Days or hours: [site,] date, tmin_c, tmax_c[, rain_mm]; time, temp_c, ...")
    ],
    site: Site = "",
    hourly: Annotated[bool, typer.Option("--hourly", help="The file holds hours; else its columns tell.")] = False,
    forecast: Annotated[bool, typer.Option("--forecast", help="Store the days after today as a forecast.")] = False,
    fill: Annotated[bool, typer.Option("--fill", help="Fill holes of up to five days, marked as filled.")] = False,
    keep_doubts: Annotated[bool, typer.Option("--keep-doubts", help="Take stretches that are doubted.")] = False,
    station: StationCode = "",
    today: Today = "",
    as_json: AsJson = False,
) -> None:
    """Add measured days or hours to the books, or a forecast: all of the file or none.

    A day that is there already with the same values is recognised; another value for a measured day stops the file.
    A day hard to believe warns; a stretch in another unit, at other dates or copied stops unless --keep-doubts. A file
    with a column site adds to each of its sites; --site then takes only that one. 24 hours make a day.
    """
    from firstsilk.faces.files.tables import read_table

    table = read_table(file)
    on = open_books(station, today)
    from firstsilk.faces.files.weather_in import Asked, take_weather

    taken = take_weather(on, table, Asked(site, hourly, forecast, fill, keep_doubts))
    for finding in taken.findings:
        say(f"warns: {finding.as_text()}")
    if as_json:
        give_json({"kind": taken.kind, "sites": [_site_as_json(one) for one in taken.sites]})
        return
    for sentence in taken.sentences:
        print(sentence)


def _site_as_json(one: Added | AddedHours | Forecast) -> dict[str, object]:
    """What became of one site; the days of an hourly file stand under ``days``."""
    from firstsilk.work.climate.arrivals import Added
    from firstsilk.work.climate.forecasts import Forecast

    if isinstance(one, Forecast):
        told: dict[str, object] = {"site": one.site, "forecast": one.n_days, "replaced": one.n_replaced}
        return {**told, "passed": one.n_passed, "first": one.first, "last": one.last}
    findings = [finding.as_json() for finding in one.findings]
    if isinstance(one, Added):
        return {
            "site": one.site,
            "added": one.n_added,
            "known": one.n_known,
            "completed": one.n_completed,
            "measured": one.n_measured,
            "empty": one.n_empty,
            "filled": one.n_filled,
            "findings": findings,
        }
    days = _site_as_json(one.days) if one.days else None
    hours = {"site": one.site, "hours_added": one.n_added, "hours_known": one.n_known, "hours_empty": one.n_empty}
    return {**hours, "days": days, "findings": findings}

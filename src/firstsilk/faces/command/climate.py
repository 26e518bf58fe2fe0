"""How does daily weather become heat units or frost dates at the command line?"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import Finding, Place, stop_if_any
from firstsilk.faces.command.giving import AsJson, Out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.climate.weather import FilledDays

BAND_COLUMNS = ("low", "high", "low_day_of_year", "high_day_of_year", "no_date")
DECIMALS = 9
"""Results are rounded here, so that a sum reads 90.537 and not 90.53699999999999."""


class ScaleChoice(StrEnum):
    """The three scales of heat units."""

    CHU = "chu"
    GDD_C = "gdd_c"
    GDD_F = "gdd_f"


class GapChoice(StrEnum):
    """What to do about a missing day."""

    REFUSE = "refuse"
    INTERPOLATE = "interpolate"


class MethodChoice(StrEnum):
    """How a frost date is estimated."""

    PERCENTILE = "percentile"
    NORMAL = "normal"
    MIXED = "mixed"


class QuantileChoice(StrEnum):
    """The quantile rules offered."""

    HAZEN = "5"
    WEIBULL = "6"
    LINEAR = "7"


WeatherFile = Annotated[
    str,
    typer.Argument(
        metavar="WEATHER", help="Daily weather: date, tmin_c, tmax_c (or tmin_f, tmax_f), optional site. - is stdin."
    ),
]
Scale = Annotated[ScaleChoice, typer.Option("--scale", help="Scale of the heat units.")]
From = Annotated[
    datetime | None,
    typer.Option("--from", formats=["%Y-%m-%d"], help="First day counted; the first day of each site if absent."),
]
To = Annotated[
    datetime | None,
    typer.Option("--to", formats=["%Y-%m-%d"], help="Last day counted; the last day of each site if absent."),
]
Gaps = Annotated[GapChoice, typer.Option("--gaps", help="Refuse a missing day, or draw a straight line across it.")]
Threshold = Annotated[float, typer.Option("--threshold", help="A minimum at or below this is a frost [°C].")]
Probability = Annotated[str, typer.Option("--probability", help="Chances above 0 and below 1, joined by commas.")]
Method = Annotated[MethodChoice, typer.Option("--method", help="How the dates are estimated.")]
Quantile = Annotated[QuantileChoice, typer.Option("--quantile", help="Quantile rule (type) of percentile.")]
South = Annotated[bool, typer.Option("--south", help="Southern latitudes: autumn is January to June.")]
Spread = Annotated[
    int, typer.Option("--spread", help="Draw the years again so often, and add the band of the dates; 0 is no band.")
]
SpreadLevel = Annotated[float, typer.Option("--spread-level", help="Share of the draws inside the band.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Seed of the draws.")]
MOST_DRAWS = 100_000
"""Years times draws are held in memory at once."""


def heat(
    weather: WeatherFile,
    scale: Scale,
    first: From = None,
    last: To = None,
    gaps: Gaps = GapChoice.REFUSE,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Heat units by day and in total, for each site.

    Scales: chu (Ontario, night base 4.4 °C, each part floored at 0), gdd_c (10/30 °C, both temperatures clamped),
    gdd_f (the same at 50/86 °F). A day in the span without both temperatures is missing.
    """
    from firstsilk.faces.files.weather import read_weather

    start, end = first.date() if first else None, last.date() if last else None
    if start and end and start > end:
        raise typer.BadParameter(f"--from {start} lies after --to {end}.")
    read = read_weather(weather)
    spans = _spans(read, start, end, fill=gaps is GapChoice.INTERPOLATE)
    rows: list[list[object]] = []
    filled: list[dict[str, object]] = []
    for site, span in zip(read.sites, spans, strict=True):
        named: list[object] = [site.site] if read.has_site else []
        rows += [[*named, *row] for row in _heat_rows(span, scale.value, read.unit)]
        filled += [{"site": site.site, "date": day} if read.has_site else {"date": day} for day in span.filled]
        if span.filled:
            at_site = f" at site {site.site}" if site.site else ""
            days = "1 missing day" if len(span.filled) == 1 else f"{len(span.filled)} missing days"
            say(f"{read.file}: {days} filled in a straight line{at_site}.")
    columns = [*(["site"] if read.has_site else []), "date", "daily", "total"]
    give_result(columns, rows, out, as_json, {"scale": scale.value, "filled": filled})


def _heat_rows(span: FilledDays, scale: str, unit: str) -> Iterable[list[object]]:
    import numpy as np

    from firstsilk.science.climate.heat import heat_units

    daily = heat_units(span.tmin, span.tmax, scale, unit)  # type: ignore[arg-type]
    # Adding 0 turns a negative zero into a plain one.
    counted = np.round(daily, DECIMALS) + 0.0
    totals = np.round(np.cumsum(daily), DECIMALS) + 0.0
    return ([day, units, total] for day, units, total in zip(span.days, counted.tolist(), totals.tolist(), strict=True))


def _spans(read: Weather, first: date | None, last: date | None, fill: bool) -> list[FilledDays]:
    """Cut each site's days to the span, holes filled if wanted; every hole that stays is refused, all at once."""
    findings: list[Finding] = []
    spans = []
    for site in read.sites:
        span = _cut(site, first or site.days[0], last or site.days[-1], fill)
        found = _hole_findings(read, site, span, fill)
        found += _crossed_findings(read, site, span)
        findings += found
        spans.append(span)
    stop_if_any(findings)
    return spans


def _cut(site: SiteWeather, first: date, last: date, fill: bool) -> FilledDays:
    """The days from first to last, one after the other; NaN where nothing is known."""
    import numpy as np

    from firstsilk.science.climate.weather import FilledDays, fill_missing_days

    if fill:
        whole = fill_missing_days(site.days, site.tmin, site.tmax)
    else:
        whole = FilledDays(site.days, site.tmin, site.tmax, ())
    where = {day: index for index, day in enumerate(whole.days)}
    days = tuple(first + timedelta(days=step) for step in range((last - first).days + 1))
    tmin = np.array([whole.tmin[where[day]] if day in where else np.nan for day in days])
    tmax = np.array([whole.tmax[where[day]] if day in where else np.nan for day in days])
    return FilledDays(days, tmin, tmax, tuple(day for day in whole.filled if first <= day <= last))


def _hole_findings(read: Weather, site: SiteWeather, span: FilledDays, fill: bool) -> list[Finding]:
    """One finding for each run of missing days."""
    from firstsilk.science.climate.weather import find_missing_days

    at_site = f" at site {site.site}" if site.site else ""
    if not span.days:
        return [Finding("span_empty", f"the span holds no day{at_site}", Place(read.file), repair="Check --from, --to")]
    missing = find_missing_days(span.days, span.tmin, span.tmax, span.days[0], span.days[-1])
    repair = "Add each missing day with both temperatures, or use --gaps interpolate"
    if fill:
        repair = "No day is known on one side, so no line can be drawn; add the days, or change --from or --to"
    findings = []
    for start, end in _runs(missing):
        told = f"the day {start} is missing" if start == end else f"the days {start} to {end} are missing"
        place, after = _place_of_hole(read, site, start)
        findings.append(Finding("day_missing", told + after + at_site, place, repair=repair))
    return findings


def _place_of_hole(read: Weather, site: SiteWeather, day: date) -> tuple[Place, str]:
    """The line with an empty temperature, or the line of the day before a day that is not there."""
    before = bisect_right(site.days, day) - 1
    line = site.lines[before] if before >= 0 else None
    if before >= 0 and site.days[before] == day:
        column = read.columns.tmin if math.isnan(site.tmin[before]) else read.columns.tmax
        return Place(read.file, line, column), ", a temperature is empty"
    return Place(read.file, line, read.columns.date), " after this line" if before >= 0 else ""


def _runs(days: Iterable[date]) -> list[tuple[date, date]]:
    runs: list[tuple[date, date]] = []
    for day in days:
        if runs and (day - runs[-1][1]).days == 1:
            runs[-1] = (runs[-1][0], day)
        else:
            runs.append((day, day))
    return runs


def _crossed_findings(read: Weather, site: SiteWeather, span: FilledDays) -> list[Finding]:
    """A day of which one temperature was given and the other filled can come out crossed; that is refused too."""
    line_of = dict(zip(site.days, site.lines, strict=True))
    return [
        Finding(
            "filled_crossed",
            f"the line drawn across a missing temperature puts the minimum above the maximum on {day}",
            Place(read.file, line_of.get(day), read.columns.tmin),
            repair="Write the missing temperature, or empty both so that the whole day is filled",
        )
        for day, low, high in zip(span.days, span.tmin.tolist(), span.tmax.tolist(), strict=True)
        if low > high
    ]


def frost(
    weather: WeatherFile,
    threshold: Threshold = -2.0,
    probability: Probability = "0.1,0.5,0.9",
    method: Method = MethodChoice.PERCENTILE,
    quantile: Quantile = QuantileChoice.LINEAR,
    south: South = False,
    spread: Spread = 0,
    spread_level: SpreadLevel = 0.8,
    seed: Seed = 1,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Dates of the first autumn and last spring frost, by probability.

    first_autumn is the first frost from 1 July to 31 December, and probability the chance that it comes on or before
    the date. last_spring is the last frost from 1 January to 30 June, and probability the chance that it comes on or
    after the date. --south swaps the halves.

    percentile and normal look only at years with the event; mixed also at the share of years that have it, and gives
    no date where the probability is not below that share. A year counts if its half has any known minimum; halves
    with fewer than 170 known days are named. Day of year is that of a common year, and 29 February counts as 28
    February; the date is the nearest day. A date that does not exist is empty.

    --spread N draws the years that count N times with replacement, dates each draw, and adds low and high (MM-DD, and
    as day of year), between which the wanted share of the draws lie, and no_date, the draws without a date. These
    stand after all dates in autumn and before all in spring. With one year there is no band.
    """
    from firstsilk.faces.files.weather import read_weather
    from firstsilk.science.climate.frost import EVENTS, find_frosts

    if not math.isfinite(threshold):
        raise typer.BadParameter(f"--threshold takes a temperature in °C; not {threshold}.")
    chances = _chances(probability)
    if not 0 <= spread <= MOST_DRAWS or not 0.0 < spread_level < 1.0:
        raise typer.BadParameter(f"--spread is 0 to {MOST_DRAWS} and --spread-level above 0 and below 1.")
    read = read_weather(weather)
    rows: list[list[object]] = []
    for site in read.sites:
        named: list[object] = [site.site] if read.has_site else []
        for event in EVENTS:
            frosts = find_frosts(site.days, _minima_c(site, read.unit), event, threshold, south)
            _tell_thin(read.file, site.site, event, frosts.thin_years)
            counts = [len(frosts.years), len(frosts.years_with_event)]
            for chance in chances:
                row = [*named, event, chance, *_frost_date(frosts, chance, method, quantile), *counts]
                band = _frost_band(frosts, chance, method, quantile, (spread, spread_level, seed)) if spread else ()
                rows.append([*row, *band])
    columns = ["event", "probability", "date_of_year", "day_of_year", "years", "years_with_event"]
    more = {"threshold_c": threshold, "method": method.value, "quantile": int(quantile.value), "south": south}
    if spread:
        columns += BAND_COLUMNS
        more |= {"spread": spread, "spread_level": spread_level, "seed": seed}
    give_result([*(["site"] if read.has_site else []), *columns], rows, out, as_json, more)


def _frost_date(frosts: object, chance: float, method: MethodChoice, quantile: QuantileChoice) -> list[object]:
    from firstsilk.science.climate.frost import estimate_frost_day, name_day_of_year

    day = estimate_frost_day(frosts, chance, method.value, int(quantile.value))  # type: ignore[arg-type]
    return [None, None] if day is None else [name_day_of_year(day), round(day, DECIMALS)]


def _frost_band(
    frosts: object, chance: float, method: MethodChoice, quantile: QuantileChoice, asked: tuple[int, float, int]
) -> list[object]:
    """Both ends of the band and the draws without a date. Each row has dice of its own: no site changes another's."""
    import numpy as np

    from firstsilk.science.climate.frost import name_day_of_year
    from firstsilk.science.climate.frost_spread import spread_frost_day

    draws, level, seed = asked
    dice = np.random.default_rng(seed)
    band = spread_frost_day(frosts, chance, method.value, int(quantile.value), draws, dice, level)  # type: ignore[arg-type]
    if band is None:
        return [None] * len(BAND_COLUMNS)
    ends = (band.low, band.high)
    named = [None if end is None else name_day_of_year(end) for end in ends]
    return [*named, *(None if end is None else round(end, DECIMALS) for end in ends), band.without_date]


def _minima_c(site: SiteWeather, unit: str) -> object:
    import numpy as np

    from firstsilk.science.climate.heat import convert_f_to_c

    # Rounded, so that 26.6 °F is -3 °C and meets a threshold of -3.
    return np.round(convert_f_to_c(site.tmin), DECIMALS) if unit == "f" else site.tmin


def _chances(text: str) -> list[float]:
    try:
        chances = [float(part) for part in text.split(",")]
    except ValueError:
        raise typer.BadParameter(
            f"--probability takes numbers joined by commas, such as 0.1,0.5; not {text!r}."
        ) from None
    for chance in chances:
        if not 0.0 < chance < 1.0:
            raise typer.BadParameter(f"--probability takes numbers above 0 and below 1; not {chance}.")
    return chances


def _tell_thin(file: str, site: str, event: str, years: tuple[int, ...]) -> None:
    if years:
        at_site = f" at site {site}" if site else ""
        named = ", ".join(str(year) for year in years)
        say(f"{file}: for {event}{at_site} many days are unknown in {named}; counted with the days that are known.")

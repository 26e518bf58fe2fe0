"""How does daily or hourly weather become heat units at the command line, in every published form?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.climate import DECIMALS, Scale, South, WeatherFile
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.heat_hours import HourlyWeather, read_hourly_weather
from firstsilk.faces.command.heat_seasons import SeasonAsked, cut_seasons
from firstsilk.faces.command.heat_spans import Stretch, cut_stretches

if TYPE_CHECKING:
    from firstsilk.faces.files.weather import Weather
    from firstsilk.science.climate.degree_days import DegreeDayLimits
    from firstsilk.science.climate.heat_forms import HeatForm
    from firstsilk.science.climate.temperatures import FloatArray

FORM_COLUMNS = ("form", "scales", "needs", "rule", "source")
RULE_COLUMNS = ("season", "rule", "source")
SEASON_COLUMNS = ("season", "starts", "ends", "ended_by")


class GapChoice(StrEnum):
    """What to do about a missing day."""

    REFUSE = "refuse"
    INTERPOLATE = "interpolate"


def _list_forms(wanted: bool) -> None:
    if not wanted:
        return
    from firstsilk.science.climate.heat_forms import FORMS

    give_result(FORM_COLUMNS, [[f.name, " ".join(f.scales), f.needs, f.says, f.source] for f in FORMS], "", False)
    raise typer.Exit


def _list_rules(wanted: bool) -> None:
    if not wanted:
        return
    from firstsilk.science.climate.season_rules import RULES

    give_result(RULE_COLUMNS, [[rule.name, rule.says, rule.source] for rule in RULES], "", False)
    raise typer.Exit


From = Annotated[
    datetime | None,
    typer.Option("--from", formats=["%Y-%m-%d"], help="First day counted; the first day of each site if absent."),
]
To = Annotated[
    datetime | None,
    typer.Option("--to", formats=["%Y-%m-%d"], help="Last day counted; the last day of each site if absent."),
]
Gaps = Annotated[GapChoice, typer.Option("--gaps", help="Refuse a missing day, or draw a straight line across it.")]
Form = Annotated[str, typer.Option("--form", help="Published form; the scale's own if absent. --forms lists them.")]
SeasonName = Annotated[
    str, typer.Option("--season", help="Count each year's season by this published rule. --seasons lists them.")
]
SeasonStart = Annotated[
    str, typer.Option("--season-start", metavar="MM-DD", help="Start each season on this date instead of the rule's.")
]
Lower = Annotated[float | None, typer.Option("--lower", help="Another base of degree days [unit of the scale].")]
Upper = Annotated[
    float | None, typer.Option("--upper", help="Another upper temperature of degree days [unit of the scale].")
]
Forms = Annotated[
    bool, typer.Option("--forms", is_eager=True, callback=_list_forms, help="List every form with its source.")
]
Rules = Annotated[
    bool, typer.Option("--seasons", is_eager=True, callback=_list_rules, help="List every season rule with its source.")
]


@dataclass(frozen=True, slots=True)
class _Asked:
    """How to count: scale, form, limits other than the scale's own, and whether any of it has to be written out."""

    scale: str
    form: HeatForm
    limits: DegreeDayLimits | None
    is_default: bool


def heat(
    weather: WeatherFile,
    scale: Scale,
    first: From = None,
    last: To = None,
    gaps: Gaps = GapChoice.REFUSE,
    form: Form = "",
    season: SeasonName = "",
    season_start: SeasonStart = "",
    south: South = False,
    lower: Lower = None,
    upper: Upper = None,
    forms: Forms = False,
    rules: Rules = False,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Heat units by day and in total, for each site.

    Scales: chu (Ontario, night base 4.4 °C, each part floored at 0), gdd_c (10/30 °C, both temperatures clamped),
    gdd_f (the same at 50/86 °F). A day in the span without both temperatures is missing.

    --form counts by another published form; scale and form then stand on every line, since units of two forms cannot
    be added or compared. The forms hourly and hourly-mean take a file of hours: time, temp_c (or temp_f), optional
    site.

    --season counts each year from the rule's start to its end, the total beginning anew. The day on which a frost or
    the long-term mean ends it is not counted, a last date of the calendar is. The long-term mean is that of the file's
    own years. A season whose start is not in the file is left out and named.
    """
    asked = _ask(scale.value, form, lower, upper)
    season_asked = _ask_season(season, season_start, south, first or last)
    start, end = first.date() if first else None, last.date() if last else None
    if start and end and start > end:
        raise typer.BadParameter(f"--from {start} lies after --to {end}.")
    fill = gaps is GapChoice.INTERPOLATE
    read, hourly = _read(weather, asked, fill)
    stretches = cut_seasons(read, season_asked, fill) if season_asked else cut_stretches(read, start, end, fill)
    counted = [list(_count_rows(read, hourly, one, asked)) for one in stretches]
    rows = [[*_name(read, one), *row] for one, of_one in zip(stretches, counted, strict=True) for row in of_one]
    columns = [*(["site"] if read.has_site else []), "date", "daily", "total", *(SEASON_COLUMNS if season else ())]
    columns += [] if asked.is_default else ["scale", "form", *(["lower", "upper"] if asked.limits else [])]
    more = {**_tell_form(asked), "filled": _tell_filled(read, stretches)}
    if season_asked:
        more |= _tell_seasons(read, season_asked, zip(stretches, (of_one[-1][2] for of_one in counted), strict=True))
    give_result(columns, rows, out, as_json, more)


def _ask(scale: str, name: str, lower: float | None, upper: float | None) -> _Asked:
    from firstsilk.science.climate.degree_days import DegreeDayLimits
    from firstsilk.science.climate.heat_forms import DEFAULT_FORMS, FORMS, LIMITS, find_form

    try:
        form = find_form(scale, name)
    except ValueError as error:
        if scale == "chu" and name in [one.name for one in FORMS if one.needs == "hours"]:
            message = f"{str(error)[0].upper()}{str(error)[1:]}."
            raise refuse("no_hourly_form", message, "Count the hours as gdd_c or gdd_f.") from None
        raise typer.BadParameter(f"--form: {error}.") from None
    if lower is None and upper is None:
        return _Asked(scale, form, None, form.name == DEFAULT_FORMS[scale])
    if scale == "chu":
        raise typer.BadParameter("--lower and --upper are of degree days; corn heat units have constants of their own.")
    own = LIMITS[scale]
    limits = DegreeDayLimits(own.lower if lower is None else lower, own.upper if upper is None else upper)
    if not (math.isfinite(limits.lower) and math.isfinite(limits.upper) and limits.lower < limits.upper):
        raise typer.BadParameter(f"--lower must lie below --upper; not {limits.lower:g} and {limits.upper:g}.")
    return _Asked(scale, form, limits, is_default=False)


def _ask_season(name: str, start: str, south: bool, cut: datetime | None) -> SeasonAsked | None:
    from firstsilk.science.climate.season_rules import find_rule

    if not name:
        if start or south:
            raise typer.BadParameter("--season-start and --south say more about a --season; name one.")
        return None
    if cut is not None:
        raise typer.BadParameter("--season sets the first and last day; leave --from and --to, or use --season-start.")
    try:
        rule = find_rule(name)
    except ValueError as error:
        raise typer.BadParameter(f"--season: {error}.") from None
    try:
        day = date.fromisoformat(f"2000-{start}") if start else None
    except ValueError:
        raise typer.BadParameter(f"--season-start takes month and day, such as 05-18; not {start!r}.") from None
    if day is None and rule.first is None:
        raise typer.BadParameter(f"the rule {rule.name} tells no start; say it with --season-start.")
    return SeasonAsked(rule, south, (day.month, day.day) if day else None)


def _read(path: str, asked: _Asked, fill: bool) -> tuple[Weather, HourlyWeather | None]:
    from firstsilk.faces.files.weather import read_weather

    if asked.form.needs != "hours":
        return read_weather(path), None
    if fill:
        raise typer.BadParameter("--gaps interpolate draws a line across days; hours are not made up.")
    hourly = read_hourly_weather(path)
    return hourly.weather, hourly


def _count_rows(read: Weather, hourly: HourlyWeather | None, stretch: Stretch, asked: _Asked) -> Iterator[list[object]]:
    """Day, units, running total; with a season its year, start, end and what ended it; the form where it is named."""
    import numpy as np

    daily = _count(read, hourly, stretch, asked)
    # Adding 0 turns a negative zero into a plain one.
    counted = np.round(daily, DECIMALS) + 0.0
    totals = np.round(np.cumsum(daily), DECIMALS) + 0.0
    season = stretch.season
    after: list[object] = [season.year, season.starts, season.ends, season.ended_by or None] if season else []
    if not asked.is_default:
        after += [asked.scale, asked.form.name]
    if asked.limits:
        after += [asked.limits.lower, asked.limits.upper]
    for day, units, total in zip(stretch.span.days, counted.tolist(), totals.tolist(), strict=True):
        yield [day, units, total, *after]


def _count(read: Weather, hourly: HourlyWeather | None, stretch: Stretch, asked: _Asked) -> FloatArray:
    import numpy as np

    from firstsilk.science.climate.heat_forms import count_by_form, count_hours_by_form

    span, name = stretch.span, asked.form.name
    if hourly is not None:
        grid = hourly.grid(stretch.site.site, span.days)
        return count_hours_by_form(grid, asked.scale, name, read.unit, asked.limits)
    known = dict(zip(stretch.site.days, stretch.site.tmin.tolist(), strict=True))
    after_last = date.fromordinal(span.days[-1].toordinal() + 1)
    next_tmin = np.append(span.tmin[1:], known.get(after_last, math.nan))
    return count_by_form(span.tmin, span.tmax, asked.scale, name, read.unit, next_tmin, asked.limits)


def _name(read: Weather, stretch: Stretch) -> list[object]:
    return [stretch.site.site] if read.has_site else []


def _tell_form(asked: _Asked) -> dict[str, object]:
    from firstsilk.science.climate.heat_forms import LIMITS

    limits = asked.limits or LIMITS.get(asked.scale)
    between = {"lower": limits.lower, "upper": limits.upper} if limits else {}
    return {"scale": asked.scale, "form": asked.form.name, "source": asked.form.source, **between}


def _tell_filled(read: Weather, stretches: list[Stretch]) -> list[dict[str, object]]:
    """The days that were filled, named in the answer and, by their number, on standard error."""
    filled: dict[str, list[date]] = {}
    for stretch in stretches:
        filled.setdefault(stretch.site.site, []).extend(stretch.span.filled)
    for site, days in filled.items():
        if days:
            at_site = f" at site {site}" if site else ""
            told = "1 missing day" if len(days) == 1 else f"{len(days)} missing days"
            say(f"{read.file}: {told} filled in a straight line{at_site}.")
    return [
        {"site": site, "date": day} if read.has_site else {"date": day} for site, days in filled.items() for day in days
    ]


def _tell_seasons(read: Weather, asked: SeasonAsked, counted: Iterable[tuple[Stretch, object]]) -> dict[str, object]:
    names = ("season", "starts", "ends", "ended_by", "days", "total")
    seasons = []
    for one, total in counted:
        season = one.season
        told = (season.year, season.starts, season.ends, season.ended_by or None, len(one.span.days), total)
        named = {"site": one.site.site} if read.has_site else {}
        seasons.append(named | dict(zip(names, told, strict=True)))
    rule = {"season_rule": asked.rule.name, "season_source": asked.rule.source, "south": asked.south}
    return {**rule, "seasons": seasons}

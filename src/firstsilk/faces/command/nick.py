"""How do crosses, lines and past weather become sowing dates at the command line?"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.climate import DECIMALS, Scale, ScaleChoice, WeatherFile
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.files.sowing_days import read_closed, read_weekdays

if TYPE_CHECKING:
    from firstsilk.faces.files.crosses import CrossRow, LineRow
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.nursery.meeting import FloatArray, Windows
    from firstsilk.science.nursery.past_years import YearRun
    from firstsilk.science.nursery.sowing_dates import SowingDates
    from firstsilk.science.nursery.sowing_question import PastHeat, PlannedCross, SowingRules

MOST_SOWING_DAYS = 120
HOURS_A_DAY = 7.0

CrossFile = Annotated[
    str, typer.Argument(metavar="CROSSES", help="Crosses: cross, female, male, optional priority (1 = first) and ears.")
]
LineFile = Annotated[
    str,
    typer.Argument(
        metavar="LINES",
        help="Lines: line, units_to_silk, units_to_shed; optional sd_units, max_sowings, rows_female, rows_male.",
    ),
]
SowFrom = Annotated[datetime, typer.Option("--sow-from", formats=["%Y-%m-%d"], help="First possible sowing day.")]
SowTo = Annotated[datetime, typer.Option("--sow-to", formats=["%Y-%m-%d"], help="Last possible sowing day.")]
LastSafe = Annotated[
    datetime | None, typer.Option("--last-safe", formats=["%Y-%m-%d"], help="Nothing is sown after this day.")
]


@dataclass(frozen=True, slots=True)
class _Season:
    """The days that can be sown, counted from the first one asked for, and the past years that tell."""

    sow_from: date
    days: tuple[int, ...]
    years: tuple[int, ...]
    heat: PastHeat


def nick(
    crosses: CrossFile,
    lines: LineFile,
    weather: WeatherFile,
    sow_from: SowFrom,
    sow_to: SowTo,
    scale: Scale = ScaleChoice.CHU,
    male_sowings: Annotated[int, typer.Option(min=1, max=4, help="Most sowings of one male.")] = 1,
    silk_days: Annotated[int, typer.Option(min=1, max=30, help="Days on which silks take pollen.")] = 5,
    shed_days: Annotated[int, typer.Option(min=1, max=30, help="Days on which a male sheds.")] = 5,
    share: Annotated[float, typer.Option(help="Share of the silk days that must see pollen, above 0 to 1.")] = 0.5,
    female_sowings: Annotated[int, typer.Option(min=1, max=3, help="Most sowings of one female.")] = 1,
    rows_per_day: Annotated[int | None, typer.Option(min=1, help="Rows that can be sown on one day.")] = None,
    last_safe: LastSafe = None,
    closed: Annotated[str, typer.Option(help="Days on which nothing is sown, joined by commas.")] = "",
    weekdays: Annotated[str, typer.Option(help="Days of the week that are sown, such as mon,tue,wed,thu,fri.")] = "",
    plants: Annotated[
        bool, typer.Option("--plants", help="Maximise expected good ears by plants in workable hours, not p_meet.")
    ] = False,
    plant_sd: Annotated[float, typer.Option(help="Spread (SD) of a row's plants [days], with --plants.")] = 2.2,
    enough: Annotated[float, typer.Option(help="Share of a male's plants in shed that suffices, with --plants.")] = 0.2,
    needed: Annotated[float, typer.Option(help="Share of plants served that makes all ears, with --plants.")] = 0.95,
    draws: Annotated[int, typer.Option(min=1, max=100, help="Draws of uncertain units a year, with --plants.")] = 4,
    site: Annotated[str, typer.Option(help="Site, where the weather file holds several.")] = "",
    seed: Annotated[int, typer.Option(min=0, help="Seed of draws and random starts.")] = 1,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Sowing dates of all parents, chosen together so that the crosses meet.

    Heat counts from the day after sowing; the first silk (shed) day is the first on which the sum reaches the line's
    units. p_meet is the share of past years in which at least --share of the female's silk days fall into the shed days
    of any of the male's sowings (of the better of the female's, where it has several); a parent that does not flower in
    a year has not met. A line has the same dates in all its crosses; female and male rows of one line are sown apart.

    Maximised is the sum over crosses of weight x p_meet, the weight halving with each priority: 1, 1/2, 1/4 (priority 2
    where none is given). Even choices: more silk days that see pollen, then fewer sowings, then earlier dates.

    A past year counts if its days have no hole from --sow-from until every parent, sown on the last day, has flowered,
    or until 150 days after the last sowing day.
    """
    from firstsilk.faces.files.crosses import check_parents, read_crosses, read_line_units
    from firstsilk.faces.files.unit_scales import FLOWERING_STAGES, settle_unit_scale
    from firstsilk.science.nursery.meeting import Windows
    from firstsilk.science.nursery.sowing_question import SowingRules

    first, last = sow_from.date(), sow_to.date()
    days = _list_days(first, last, last_safe.date() if last_safe else last, closed, weekdays)
    asked, cross_table = read_crosses(crosses)
    known, line_table = read_line_units(lines)
    check_parents(cross_table, known, line_table)
    for finding in settle_unit_scale(line_table.rows, scale.value, FLOWERING_STAGES):
        say(f"warns: {finding.as_text()}")
    try:
        windows = Windows(silk_days, shed_days, share, plant_sd, enough, needed)
    except ValueError as fault:
        raise typer.BadParameter(f"{fault}.") from None
    named = scale.value
    season = _read_season(weather, site, named, first, days, asked, known)
    rules = SowingRules(days, male_sowings, female_sowings, rows_per_day)
    wanted = _weigh(asked, plants)
    made = _choose(wanted, known, season, rules, windows, plants, draws, seed)
    columns = ["cross", "female_sown", "male_sown", "p_meet", "years", *(["ears_frac"] if plants else [])]
    options = {
        "sow_from": first, "sow_to": last, "last_safe": last_safe.date() if last_safe else None, "closed": closed,
        "weekdays": weekdays, "scale": named, "male_sowings": male_sowings, "female_sowings": female_sowings,
        "rows_per_day": rows_per_day, "draws": draws if plants else None, "seed": seed, **asdict(windows),
    }  # fmt: skip
    more = {
        "measure": "plants" if plants else "plain", "objective": round(made.objective, DECIMALS),
        "bound": round(made.bound, DECIMALS), "gap": round(made.gap_frac, DECIMALS), "proved_by": made.how,
        "past_years": list(season.years), "options": options,
    }  # fmt: skip
    _tell(made, season, len(wanted))
    give_result(columns, _rows(asked, made, season, plants), out, as_json, more)


def _list_days(first: date, last: date, last_safe: date, closed: str, weekdays: str) -> tuple[int, ...]:
    """The sowing days allowed, counted from the first one."""
    if last < first:
        raise typer.BadParameter(f"--sow-to {last} lies before --sow-from {first}.")
    if (last - first).days >= MOST_SOWING_DAYS:
        raise typer.BadParameter(f"--sow-from to --sow-to spans more than {MOST_SOWING_DAYS} days.")
    try:
        shut, wanted = read_closed(closed), read_weekdays(weekdays) or tuple(range(7))
    except ValueError as fault:
        raise typer.BadParameter(f"{fault}.") from None
    days = [first + timedelta(days=step) for step in range((min(last, last_safe) - first).days + 1)]
    open_days = tuple((day - first).days for day in days if day not in shut and day.weekday() in wanted)
    if not open_days:
        told = f"No day from {first} to {last} can be sown: all are closed, or after the last safe day."
        raise refuse("no_sowing_day", told, "Open a day, or move the window.")
    return open_days


def _weigh(asked: tuple[CrossRow, ...], plants: bool) -> list[PlannedCross]:
    from firstsilk.science.nursery.sowing_question import PlannedCross, weigh_priority

    return [
        PlannedCross(one.female, one.male, weigh_priority(one.priority) * (one.ears if plants else 1)) for one in asked
    ]


def _read_season(
    weather: str,
    site: str,
    scale: str,
    first: date,
    days: tuple[int, ...],
    asked: tuple[CrossRow, ...],
    known: dict[str, LineRow],
) -> _Season:
    """Past years from the weather file, those that stop too early named and left out."""
    import numpy as np

    from firstsilk.faces.files.weather import read_weather
    from firstsilk.science.nursery.past_years import FAR_ENOUGH_DAYS, find_runs, reaches_far_enough
    from firstsilk.science.nursery.sowing_question import PastHeat

    read = read_weather(weather)
    by_day = _read_days(read, _pick_site(read, site), scale)
    units = [known[one.female].units_to_silk or 0.0 for one in asked]
    units += [known[one.male].units_to_shed or 0.0 for one in asked]
    runs: list[YearRun] = []
    for run in find_runs(by_day, first, days[-1] + FAR_ENOUGH_DAYS + 1):
        if reaches_far_enough(run.values[:, 0], days[-1], units):
            runs.append(run)
        else:
            say(
                f"{read.file}: {run.year} is left out: {run.hole} is missing and not all parents have flowered by then."
            )
    if not runs:
        told = f"{read.file}: there is no whole past year before {first.year} from {first:%m-%d} on."
        raise refuse("no_past_year", told, "Give daily weather of at least one past year, from sowing to autumn.")
    n_days = max(len(run.values) for run in runs)
    padded = np.zeros((len(runs), n_days, 2))
    for at, run in enumerate(runs):
        padded[at, : len(run.values)] = run.values
    return _Season(first, days, tuple(run.year for run in runs), PastHeat(padded[:, :, 0], padded[:, :, 1]))


def _pick_site(read: Weather, site: str) -> SiteWeather:
    names = [one.site for one in read.sites]
    if site and site not in names:
        known = f"Name one of: {', '.join(names)}." if any(names) else "It names none; leave --site out."
        raise refuse("site_unknown", f"{read.file}: there is no site {site!r}.", known)
    if not site and len(names) > 1:
        told = f"{read.file}: it holds the weather of {len(names)} sites."
        raise refuse("site_wanted", told, f"Name one with --site: {', '.join(names)}.")
    return next(one for one in read.sites if not site or one.site == site)


def _read_days(read: Weather, there: SiteWeather, scale: str) -> dict[date, FloatArray]:
    """Heat units and the share of hours that can be worked, of each day that has both temperatures."""
    import numpy as np

    from firstsilk.science.climate.heat import convert_f_to_c, heat_units
    from firstsilk.science.flowering.workable import count_lost_hours

    heat = heat_units(there.tmin, there.tmax, scale, read.unit)  # type: ignore[arg-type]
    low, high = there.tmin, there.tmax
    if read.unit == "f":
        low, high = convert_f_to_c(low), convert_f_to_c(high)
    rain = np.full(len(there.days), np.nan) if there.rain_mm is None else there.rain_mm
    work = 1.0 - count_lost_hours(HOURS_A_DAY, rain, low, high) / HOURS_A_DAY
    both = np.column_stack([heat, work])
    return {day: row for day, row in zip(there.days, both, strict=True) if np.isfinite(row[0])}


def _choose(
    wanted: list[PlannedCross],
    known: dict[str, LineRow],
    season: _Season,
    rules: SowingRules,
    windows: Windows,
    plants: bool,
    draws: int,
    seed: int,
) -> SowingDates:
    from firstsilk.science.nursery.sowing_dates import choose_sowing_dates
    from firstsilk.science.nursery.sowing_question import OWN_SD_FRAC, LineNeeds

    needs = {}
    for one in known.values():
        silk, shed = one.units_to_silk or one.units_to_shed or 1.0, one.units_to_shed or one.units_to_silk or 1.0
        sd = OWN_SD_FRAC * silk if one.sd_units is None else one.sd_units
        needs[one.line] = LineNeeds(silk, shed, sd, one.rows_female, one.rows_male, one.most_sowings)
    measure = "plants" if plants else "plain"
    try:
        return choose_sowing_dates(wanted, needs, season.heat, rules, windows, measure, draws, seed)  # type: ignore[arg-type]
    except ValueError as fault:
        raise refuse("no_dates", f"No sowing dates can be chosen: {fault}.", "Change the options.") from None


def _rows(asked: tuple[CrossRow, ...], made: SowingDates, season: _Season, plants: bool) -> list[list[object]]:
    rows: list[list[object]] = []
    for one, chance in zip(asked, made.chances, strict=True):
        female, male = made.days["female", one.female], made.days["male", one.male]
        row: list[object] = [one.cross, _dates(season, female), _dates(season, male)]
        row += [round(chance.p_meet, DECIMALS), chance.years]
        rows.append([*row, round(chance.ears_frac or 0.0, DECIMALS)] if plants else row)
    return rows


def _dates(season: _Season, days: tuple[int, ...]) -> str:
    return ";".join((season.sow_from + timedelta(days=day)).isoformat() for day in days)


def _tell(made: SowingDates, season: _Season, n_crosses: int) -> None:
    """What was found, and how sure it is that nothing better exists."""
    sure = "proven best" if made.gap_frac <= 1e-6 else f"within {made.gap_frac:.2%} of the best possible"
    years = "1 past year" if len(season.years) == 1 else f"{len(season.years)} past years"
    crosses = "1 cross" if n_crosses == 1 else f"{n_crosses} crosses"
    say(f"{crosses}, {len(season.days)} sowing days, {years}: {sure}.")
    if len(season.years) < 10:
        say("So few years say little about the next one.")

"""How do hybrids and many years of weather become the chance of ripening at the command line?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.climate import DECIMALS, Scale, ScaleChoice, South, WeatherFile
from firstsilk.faces.command.giving import AsJson, Out, check_out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.weather import SiteWeather, Weather
    from firstsilk.science.flowering.ripe_chance import HybridNeed, RipeChance, RipeTable
    from firstsilk.science.flowering.ripe_years import Season, Seasons

COLUMNS = ("hybrid", "years", "p_ripe_before_killing_frost", "median_black_layer_date", "moisture_at_frost_pct")
YEAR_COLUMNS = (
    *("hybrid", "year", "sown", "black_layer", "frost", "light_frost", "ripe", "moisture_at_frost_pct"),
    *("loss_plant_pct", "loss_leaves_pct"),
)
FEW_YEARS = 10
LONGEST_FILL_DAYS = 5
"""Longer gaps are not filled, as on the pages of a station."""
REASONS = {
    "starts_late": "the weather begins after the sowing",
    "hole": "days are missing",
    "ends_early": "the weather ends before the season is decided",
}
"""Why a year does not count."""


class StartChoice(StrEnum):
    """From where the hybrids' units count."""

    SOWING = "sowing"
    EMERGENCE = "emergence"


class HoleChoice(StrEnum):
    """What to do about a year with missing days."""

    LEAVE_OUT = "leave-out"
    INTERPOLATE = "interpolate"


HybridFile = Annotated[
    str,
    typer.Argument(metavar="HYBRIDS", help="hybrid, units_to_black_layer[, units_to_silk]. - is standard input."),
]
Sown = Annotated[
    str, typer.Option("--sown", help="Sowing day; its month and day apply to each year. 2031-05-12, or 05-12.")
]
Killing = Annotated[float, typer.Option("--killing", help="A minimum at or below this kills [°C].")]
CountedFrom = Annotated[StartChoice, typer.Option("--counted-from", help="From where the units in the table count.")]
EmergenceUnits = Annotated[
    float | None,
    typer.Option("--emergence-units", help="Units from sowing to emergence; 170 chu, 115 gdd_f, 63.9 gdd_c if absent."),
]
MoistureOn = Annotated[str, typer.Option("--moisture-on", help="Add grain moisture on this day of each year: 10-15.")]
ChanceCi = Annotated[
    float | None, typer.Option("--chance-ci", help="Add an interval of the chance with this coverage, such as 0.9.")
]
Loss = Annotated[bool, typer.Option("--loss", help="Add the expected yield loss by frost, over all years [%].")]
LateCut = Annotated[
    float,
    typer.Option("--late-cut", help="Fewer units for each day of sowing after 1 May; published 3.8-6.8 gdd_f."),
]
YearsOut = Annotated[
    str,
    typer.Option("--years-out", help="File to write: each hybrid in each year.", callback=check_out),
]
Holes = Annotated[
    HoleChoice, typer.Option("--gaps", help="Leave a year with a missing day out, or fill gaps of up to 5 days.")
]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a run was asked for, in order and checked."""

    sown: tuple[int, int]
    year: int | None
    on: tuple[int, int] | None
    scale: str
    killing_c: float
    south: bool
    level: float | None
    loss: bool
    fill: bool


def ripen(
    hybrids: HybridFile,
    weather: WeatherFile,
    sown: Sown,
    scale: Scale = ScaleChoice.CHU,
    killing: Killing = -2.0,
    counted_from: CountedFrom = StartChoice.SOWING,
    emergence_units: EmergenceUnits = None,
    south: South = False,
    gaps: Holes = HoleChoice.LEAVE_OUT,
    moisture_on: MoistureOn = "",
    chance_ci: ChanceCi = None,
    loss: Loss = False,
    late_cut: LateCut = 0.0,
    years_out: YearsOut = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Chance that each hybrid is ripe before the killing frost, over many years of weather.

    The first day counted is the day after sowing. The frost is the first day from 1 July (--south: 1 January) with a
    minimum at or below --killing; ripe is a black layer strictly before that day, or, in a year without frost, one
    reached in that year's weather. A year counts if no day is missing from sowing to the frost; without a frost, to
    the last day of that year's weather, at least to 30 September (31 March). Years that do not count are named.

    The median date is that on which the units are together, frost or not, in the year of --sown (the last year, if
    that has none); a year that never gets there is later than all, so there may be no median. Moisture at the frost
    is the median over years with one, of the evening before it: by kernel stage between silk and black layer, then
    by dry-down per heat unit, never below 15 %. Without units_to_silk, 48 % of the units (46.5 % of gdd) follow silk.
    A moisture that does not exist, before silk, is empty. --loss is by Afuakwa & Crookston for a whole plant killed;
    JSON has both tables, and the loss if a first frost of 0 °C takes the leaves.
    """
    from firstsilk.faces.files.hybrids import read_hybrids
    from firstsilk.faces.files.weather import read_weather
    from firstsilk.science.flowering.ripe_chance import need_from_emergence

    asked = _check_asked(sown, moisture_on, killing, chance_ci, (scale.value, south, loss, gaps))
    asked_units = settle_emergence(counted_from, emergence_units, scale.value)
    given = read_hybrids(hybrids, scale.value)
    read = read_weather(weather)
    for finding in given.warnings:
        say(f"warns: {finding.as_text()}")
    needs = given.needs
    if asked_units is not None:
        needs = tuple(need_from_emergence(need, asked_units) for need in needs)
    needs = _cut_late(needs, asked, late_cut)
    _give(read, needs, asked, asked_units, out, years_out, as_json)


def _check_asked(
    sown: str, on: str, killing: float, level: float | None, rest: tuple[str, bool, bool, HoleChoice]
) -> _Asked:
    scale, south, loss, gaps = rest
    year, month_day = _read_day("--sown", sown)
    if not math.isfinite(killing):
        raise typer.BadParameter(f"--killing takes a temperature in °C; not {killing}.")
    if level is not None and not 0.0 < level < 1.0:
        raise typer.BadParameter(f"--chance-ci takes a number above 0 and below 1; not {level}.")
    asked_on = _read_day("--moisture-on", on)[1] if on else None
    fill = gaps is HoleChoice.INTERPOLATE
    return _Asked(month_day, year, asked_on, scale, killing, south, level, loss, fill)


def _read_day(option: str, text: str) -> tuple[int | None, tuple[int, int]]:
    """The year, None if none is written, and month and day."""
    from firstsilk.faces.files.tables import read_iso_date

    try:
        day = read_iso_date(text if len(text) > 5 else f"2004-{text}")
    except ValueError:
        raise typer.BadParameter(f"{option} takes a day such as 2031-05-12, or 05-12; not {text!r}.") from None
    return (day.year if len(text) > 5 else None), (day.month, day.day)


def settle_emergence(start: StartChoice, units: float | None, scale: str) -> float | None:
    """Units from sowing to emergence, the published ones if none are named; None where units count from sowing."""
    from firstsilk.science.flowering.ripe_chance import EMERGENCE_UNITS

    if units is not None and not (math.isfinite(units) and units >= 0):
        raise typer.BadParameter(f"--emergence-units takes heat units, 0 or more; not {units}.")
    if start is StartChoice.EMERGENCE:
        return EMERGENCE_UNITS[scale] if units is None else units  # type: ignore[index]
    if units is not None:
        say("--emergence-units is not used, since the units count from sowing.")
    return None


def _cut_late(needs: tuple[HybridNeed, ...], asked: _Asked, per_day: float) -> tuple[HybridNeed, ...]:
    """The needs lowered for late sowing, if that is asked for."""
    from firstsilk.science.flowering.ripe_chance import need_of_late_sowing
    from firstsilk.science.flowering.ripe_years import lay_on_year

    if not math.isfinite(per_day) or per_day < 0:
        raise typer.BadParameter(f"--late-cut takes heat units a day, 0 or more; not {per_day}.")
    start = date(2001, 11, 1) if asked.south else date(2001, 5, 1)
    sown = lay_on_year(2002 if asked.south and asked.sown[0] < 7 else 2001, asked.sown)
    days = max((sown - start).days, 0)
    try:
        return tuple(need_of_late_sowing(need, days, per_day) for need in needs)
    except ValueError as error:
        raise typer.BadParameter(f"--late-cut {per_day:g}: {error}.") from None


def _give(
    read: Weather,
    needs: tuple[HybridNeed, ...],
    asked: _Asked,
    emergence: float | None,
    out: str,
    years_out: str,
    as_json: bool,
) -> None:
    from firstsilk.faces.files.tables import write_table
    from firstsilk.science.flowering.ripe_chance import estimate_ripe_chances, tabulate_ripening

    rows: list[list[object]] = []
    by_year: list[list[object]] = []
    losses: list[dict[str, object]] = []
    left_out: list[dict[str, object]] = []
    for site in read.sites:
        named: list[object] = [site.site] if read.has_site else []
        key: dict[str, object] = {"site": site.site} if read.has_site else {}
        laid = _lay_out(site, read.unit, asked)
        _tell_years(read.file, site.site, laid)
        table = tabulate_ripening(laid.seasons, needs, asked.scale, asked.on)  # type: ignore[arg-type]
        chances = estimate_ripe_chances(table, needs)
        rows += [[*named, *_tell_chance(one, laid.seasons, asked)] for one in chances]
        by_year += [[*named, *row] for row in _tell_by_year(table, needs)]
        losses += [{**key, "hybrid": one.hybrid, **row} for one in chances for row in _tell_losses(one)]
        left_out += [{**key, "year": year, "why": REASONS[why]} for year, why in laid.left_out]
    site_column = ["site"] if read.has_site else []
    if years_out:
        write_table(years_out, [*site_column, *YEAR_COLUMNS], by_year)
    more = {**_tell_asked(asked, emergence), "left_out": left_out, "losses": losses}
    give_result([*site_column, *COLUMNS, *_more_columns(asked)], rows, out, as_json, more)


def _lay_out(site: SiteWeather, unit: str, asked: _Asked) -> Seasons:
    import numpy as np

    from firstsilk.science.climate.heat import convert_f_to_c, heat_units
    from firstsilk.science.climate.weather import fill_missing_days
    from firstsilk.science.flowering.ripe_years import lay_out_seasons

    days, tmin, tmax = site.days, site.tmin, site.tmax
    if asked.fill:
        filled = fill_missing_days(days, tmin, tmax)
        days, tmin, tmax = filled.days, filled.tmin.copy(), filled.tmax
        tmin[_in_long_gaps(days, filled.filled)] = np.nan
    units = heat_units(tmin, tmax, asked.scale, unit)  # type: ignore[arg-type]
    # Rounded, so that 26.6 °F is -3 °C and meets a threshold of -3.
    low_c = np.round(convert_f_to_c(tmin), DECIMALS) if unit == "f" else tmin
    return lay_out_seasons(days, units, low_c, asked.sown, asked.killing_c, asked.south)


def _in_long_gaps(days: Sequence[date], filled: Sequence[date]) -> list[int]:
    """Where days stand that were filled across a gap too long for it."""
    runs: list[list[date]] = []
    for day in filled:
        if runs and (day - runs[-1][-1]).days == 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    long = {day for run in runs if len(run) > LONGEST_FILL_DAYS for day in run}
    return [at for at, day in enumerate(days) if day in long]


def _tell_years(file: str, site: str, laid: Seasons) -> None:
    at_site = f" at site {site}" if site else ""
    for why, words in REASONS.items():
        years = [str(year) for year, one in laid.left_out if one == why]
        if years:
            say(f"{file}: not counted{at_site}, since {words}: {', '.join(years)}.")
    n_years = len(laid.seasons)
    if not n_years:
        say(f"{file}: no year counts{at_site}, so there is no chance and no date.")
    elif n_years < FEW_YEARS:
        say(f"{file}: only {n_years} year{'s' if n_years > 1 else ''} counted{at_site}; the chance is uncertain.")


def _more_columns(asked: _Asked) -> list[str]:
    return [
        *(["moisture_on_pct"] if asked.on else []),
        *(["p_low", "p_high"] if asked.level is not None else []),
        *(["expected_loss_pct"] if asked.loss else []),
    ]


def _tell_chance(one: RipeChance, seasons: tuple[Season, ...], asked: _Asked) -> list[object]:
    from firstsilk.science.flowering.ripe_chance import wilson_interval
    from firstsilk.science.flowering.ripe_years import date_of_day

    year = asked.year if asked.year is not None else seasons[-1].sown.year if seasons else 0
    row: list[object] = [one.hybrid, one.years, _short(one.chance), date_of_day(one.black_layer_day, year)]
    row.append(_short(one.moisture_at_frost_pct))
    if asked.on:
        row.append(_short(one.moisture_on_pct))
    if asked.level is not None:
        ends = wilson_interval(one.ripe_years, one.years, asked.level) or (None, None)
        row += [_short(end) for end in ends]
    if asked.loss:
        row.append(_short(one.losses[0].plant_pct) if one.losses else None)
    return row


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, DECIMALS) + 0.0


def _tell_by_year(table: RipeTable, needs: tuple[HybridNeed, ...]) -> Iterator[list[object]]:
    from firstsilk.science.flowering.grain import frost_loss_by_share_pct

    plant = frost_loss_by_share_pct(table.share_at_frost, "plant")
    leaves = frost_loss_by_share_pct(table.share_at_light, "leaves")
    for at, need in enumerate(needs):
        for row, season in enumerate(table.ripe.seasons):
            place = int(table.ripe.black_layer_at[row, at])
            moisture = float(table.moisture_at_frost_pct[row, at])
            yield [
                *(need.name, season.sown.year, season.sown),
                None if place < 0 else season.days[place],
                season.frost,
                None if season.light_at is None else season.days[season.light_at],
                bool(table.ripe.ripe[row, at]),
                round(moisture, DECIMALS) if math.isfinite(moisture) else None,
                _short(float(plant[row, at])),
                _short(float(leaves[row, at])),
            ]


def _tell_losses(one: RipeChance) -> Iterator[dict[str, object]]:
    for loss in one.losses:
        yield {
            "table": loss.table,
            "plant_pct": _short(loss.plant_pct),
            "leaves_pct": _short(loss.leaves_pct),
            "plant_before_table": loss.plant_before_table,
            "leaves_before_table": loss.leaves_before_table,
        }


def _tell_asked(asked: _Asked, emergence: float | None) -> dict[str, object]:
    return {
        "scale": asked.scale,
        "killing_c": asked.killing_c,
        "sown": f"{asked.sown[0]:02d}-{asked.sown[1]:02d}",
        "counted_from": "sowing" if emergence is None else "emergence",
        "emergence_units": _short(emergence),
        "south": asked.south,
        "moisture_on": f"{asked.on[0]:02d}-{asked.on[1]:02d}" if asked.on else None,
        "chance_ci": asked.level,
    }

"""How does daily weather become frost dates at the command line, and which words do the weather doors share?"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.weather import SiteWeather

BAND_COLUMNS = ("low", "high", "low_day_of_year", "high_day_of_year", "no_date")
DECIMALS = 9
"""Results are rounded here, so that a sum reads 90.537 and not 90.53699999999999."""


class ScaleChoice(StrEnum):
    """The three scales of heat units."""

    CHU = "chu"
    GDD_C = "gdd_c"
    GDD_F = "gdd_f"


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

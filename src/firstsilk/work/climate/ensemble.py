"""How warm could the days from a date on be? Past years of the site, and generated ones where those are few.

The site's own years come first, oldest first; with fewer than `FEW_OWN_YEARS` of them, generated years fill up to
`FILLED_UP_TO`. What the station measured is never mixed with what it could have measured unsaid: every member has a
label, and the basis counts them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.climate.dates import find_same_date
from firstsilk.science.climate.generated import generate_days, number_in_year
from firstsilk.science.climate.generator import fit_generator
from firstsilk.science.climate.heat import Scale, heat_units
from firstsilk.work.climate.forecasts import LONGEST_FORECAST_DAYS, ForecastAhead, read_forecast_ahead
from firstsilk.work.climate.readings import Readings, fill_short_holes, read_readings
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

FEW_OWN_YEARS = 12
"""With fewer whole years of its own a site's ensemble is filled up with generated ones. Our own choice."""
FILLED_UP_TO = 30
"""Members of an ensemble that is filled up: as many as the years of a climate normal (WMO). Our own choice here."""
FIRST_DAY_SKILL = 0.95
"""How closely the first day of a forecast follows what comes (a correlation); it falls evenly to nothing on the last of
`LONGEST_FORECAST_DAYS`. Our own choice, no source."""


@dataclass(frozen=True, slots=True)
class EnsembleHeat:
    """The days from `start` on as they could be.

    `labels` (members,) are years, or ``generated 1`` and on; `units` (members, days) daily heat units in `scale`;
    `tmin_c`, `tmax_c` (members, days) [°C]. The first `n_own` members are the site's own years. On `n_forecast` of the
    days the members are drawn towards a forecast.
    """

    site: str
    scale: Scale
    start: date
    labels: tuple[str, ...]
    units: NDArray[np.float64]
    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]
    n_own: int
    n_generated: int
    basis: Basis
    n_forecast: int = 0

    @property
    def days(self) -> tuple[date, ...]:
        """The dates of the columns."""
        return tuple(self.start + timedelta(days=step) for step in range(self.units.shape[1]))


@dataclass(frozen=True, slots=True)
class OwnYears:
    """Whole past stretches: `years` of their first day, `tmin_c` and `tmax_c` (years, days), days filled in them."""

    years: tuple[int, ...]
    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]
    n_filled: int


def read_ensemble_heat(on: Occasion, site: str, start: date, n_days: int, *, seed: int = 1) -> EnsembleHeat:
    """Daily heat units of the stretch of the calendar from `start` on, in the station's scale, over many years.

    Parameters
    ----------
    on
        The occasion; days after its `today` are not used, nor the year in which `start` lies.
    site
        Site code; the home site if empty.
    start
        The first day of the stretch; 29 February is taken as 28 February in years that have none.
    n_days
        Days wanted, at most 365.
    seed
        Of the generated years; the same books and seed give the same years.

    Returns
    -------
    EnsembleHeat
        The site's own whole years, and generated ones up to `FILLED_UP_TO` where there are fewer than `FEW_OWN_YEARS`.

    Raises
    ------
    InputRefused
        If there is no such site, or too little weather for one member: neither a whole past stretch nor enough days
        to fit a generator.

    Notes
    -----
    Holes of up to five days in past years are filled in a straight line and counted in the basis; forecast days are
    never part of a past year. A stored forecast draws the members towards it on its days, less with each day ahead,
    their spread kept accordingly. Four queries. Checked by ``tests/work/test_ensemble.py``.
    """
    if not 1 <= n_days <= 365:
        raise refuse("span_unclear", f"{n_days} days cannot be looked ahead.", "Ask for 1 to 365 days.")
    station = get_station(on.station)
    place = get_site(station, site)
    scale: Scale = station.scale  # type: ignore[assignment]
    known = read_readings(station, place, on.today).without_forecast()
    own = find_own_years(known, start, n_days)
    low, high, trouble = _generate(known, own, start, n_days, seed)
    if not own.years and not len(low):
        message = (
            f"The weather of {place.name} in the books does not tell {n_days} days from {start:%d %B} on: {trouble}."
        )
        raise refuse("too_little_weather", message, "Bring at least one past year of daily weather.")
    tmin, tmax = np.vstack([own.tmin_c, low]), np.vstack([own.tmax_c, high])
    forecast = read_forecast_ahead(station, place, on.today)
    n_forecast = _draw_towards(tmin, tmax, forecast, start, on.today)
    used: tuple[tuple[str, int], ...] = (("own years", len(own.years)), ("generated years", len(low)))
    told = _tell(own, len(low), trouble)
    if n_forecast:
        used = (*used, ("days of forecast", n_forecast))
    return EnsembleHeat(
        site=place.code,
        scale=scale,
        start=start,
        labels=(*map(str, own.years), *(f"generated {at}" for at in range(1, len(low) + 1))),
        units=heat_units(tmin, tmax, scale),
        tmin_c=tmin,
        tmax_c=tmax,
        n_own=len(own.years),
        n_generated=len(low),
        basis=Basis(used, tuple(told)),
        n_forecast=n_forecast,
    )


def _draw_towards(
    tmin: NDArray[np.float64], tmax: NDArray[np.float64], forecast: ForecastAhead, start: date, today: date
) -> int:
    """Draw the members (members, days) towards the forecast on its days, in place; how many days that were.

    A day whose forecast follows what comes with correlation r has r forecast + (1 - r) mean + sqrt(1 - r^2) (member -
    mean): the mean and spread of a normal pair given the one.
    """
    count = 0
    for day, low, high in zip(forecast.days, forecast.tmin_c.tolist(), forecast.tmax_c.tolist(), strict=True):
        column, lead = (day - start).days, (day - today).days
        if not 0 <= column < tmin.shape[1]:
            continue
        skill = FIRST_DAY_SKILL * (1.0 - (lead - 1) / LONGEST_FORECAST_DAYS)
        for table, value in ((tmin, low), (tmax, high)):
            mean = table[:, column].mean()
            kept = np.sqrt(1.0 - skill**2) * (table[:, column] - mean)
            table[:, column] = skill * value + (1.0 - skill) * mean + kept
        crossed = tmin[:, column] > tmax[:, column]
        middle = (tmin[crossed, column] + tmax[crossed, column]) / 2.0
        tmin[crossed, column] = tmax[crossed, column] = middle
        count += 1
    return count


def find_own_years(known: Readings, start: date, n_days: int) -> OwnYears:
    """Past years in which every day of the stretch is there, short holes filled; none that reaches `start`."""
    whole, _ = fill_short_holes(known)
    at = {day: index for index, day in enumerate(whole.days)}
    years, rows, n_filled = [], [], 0
    for year in sorted({day.year for day in whole.days}):
        first = find_same_date(start, year)
        last = first + timedelta(days=n_days - 1)
        span = [at.get(first + timedelta(days=step)) for step in range(n_days)]
        if year < start.year and last < start and None not in span:
            years.append(year)
            rows.append(span)
            n_filled += sum(whole.origins[one] == "filled" for one in span if one is not None)
    places = np.array(rows, dtype=np.intp).reshape(len(rows), n_days)
    return OwnYears(tuple(years), whole.tmin_c[places], whole.tmax_c[places], n_filled)


def _generate(
    known: Readings, own: OwnYears, start: date, n_days: int, seed: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], str]:
    """Minima and maxima of generated years (years, days), none where the site has enough; and why not, if it fails."""
    none = np.zeros((0, n_days))
    if len(own.years) >= FEW_OWN_YEARS:
        return none, none, ""
    try:
        fit = fit_generator(known.days, known.tmin_c, known.tmax_c, known.rain_mm, seed=seed)
        first = int(number_in_year([start])[0])
        made = generate_days(fit, FILLED_UP_TO - len(own.years), first, n_days, seed)
    except ValueError as fault:
        return none, none, str(fault)
    return made.tmin_c, made.tmax_c, ""


def _tell(own: OwnYears, n_generated: int, trouble: str) -> Iterator[str]:
    if n_generated:
        yield (
            f"with {len(own.years)} whole years of its own (fewer than {FEW_OWN_YEARS}) the ensemble is filled up by "
            f"{n_generated} years that were generated, not measured"
        )
    elif trouble:
        yield f"no years could be generated beside the {len(own.years)} own ones: {trouble}"
    if own.n_filled:
        yield f"{own.n_filled} days in the own years are filled, not measured"

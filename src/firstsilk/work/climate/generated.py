"""Which years could a site have had, generated from those that it had?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.climate.generated import (
    YEAR_DAYS,
    Anomaly,
    GeneratorFit,
    generate_days,
    measure_anomaly,
    number_in_year,
)
from firstsilk.science.climate.generator import fit_generator
from firstsilk.work.climate.readings import Readings, read_readings
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

ANOMALY_DAYS = 30
"""Days up to the last one that tell how warm it is now. Our own choice."""


@dataclass(frozen=True, slots=True)
class SiteYears:
    """Generated years: `month_days` (days,) as ``05-18``, `tables` are tmin_c, tmax_c, rain_mm (years, days).

    Rain is None where the site has none in the books.
    """

    site: str
    month_days: tuple[str, ...]
    tables: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64] | None]
    basis: Basis


def generate_site_years(on: Occasion, site: str, count: int, seed: int, from_today: bool = False) -> SiteYears:
    """Years of 365 days like those of a site, from 1 January, or from tomorrow given how warm the last days were.

    Parameters
    ----------
    on
        The occasion; days after its `today` are not used.
    site
        Site code; the home site if empty.
    count
        Years wanted.
    seed
        The same books and seed give the same years.
    from_today
        Begin on the day after the last one in the books, whose age may be no more than the days that are looked at.

    Raises
    ------
    InputRefused
        If there is no such site, its days do not suffice to fit a generator, or nothing tells how warm it is now.

    Notes
    -----
    Checked by ``tests/work/test_ensemble.py``.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    known = read_readings(station, place, on.today).without_forecast()
    try:
        fit = fit_generator(known.days, known.tmin_c, known.tmax_c, known.rain_mm, seed=seed)
        first = known.days[-1] + timedelta(days=1) if from_today else date(2001, 1, 1)
        anomaly = _read_anomaly(fit, known, on.today) if from_today else None
        made = generate_days(fit, count, int(number_in_year([first])[0]), YEAR_DAYS, seed, anomaly)
    except ValueError as fault:
        message = f"No years can be generated for {place.name}: {fault}."
        raise refuse("too_little_weather", message, "Bring at least one whole year of daily weather.") from None
    common = [date.fromordinal(date(2001, 1, 1).toordinal() + at) for at in made.day_of_year.tolist()]
    missing = []
    if fit.n_seasons < 2:
        missing.append("how much years differ: one season tells nothing of it, so a usual spread is taken")
    if made.rain_mm is None:
        missing.append("rain")
    basis = Basis((("days with both temperatures", fit.n_days), ("calendar years", fit.n_years)), tuple(missing))
    month_days = tuple(f"{day:%m-%d}" for day in common)
    return SiteYears(place.code, month_days, (made.tmin_c, made.tmax_c, made.rain_mm), basis)


def _read_anomaly(fit: GeneratorFit, known: Readings, today: date) -> Anomaly:
    recent = [at for at, day in enumerate(known.days) if (today - day).days < ANOMALY_DAYS]
    if not recent:
        raise ValueError(f"no reading of the last {ANOMALY_DAYS} days tells how warm it is now")
    last = known.only(recent)
    return measure_anomaly(fit, last.days, last.tmin_c, last.tmax_c, last.rain_mm)

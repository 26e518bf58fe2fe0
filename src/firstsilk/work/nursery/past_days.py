"""What were the days after the first sowing day like in past years: how warm, how workable, how soon ended by frost?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Site, Station
from firstsilk.science.climate.dates import find_same_date
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.flowering.day import RIPE_AFTER_DAYS
from firstsilk.science.flowering.workable import count_lost_hours
from firstsilk.science.nursery.sowing import find_flowering_days
from firstsilk.science.nursery.sowing_question import PastHeat
from firstsilk.work.climate.ensemble import EnsembleHeat, read_ensemble_heat
from firstsilk.work.climate.readings import Readings, read_readings
from firstsilk.work.occasion import Occasion

SEASON_DAYS = 150
FEW_YEARS = 10
HOURS_A_DAY = 7.0


@dataclass(frozen=True, slots=True)
class PastDays:
    """The season's stretch of the calendar in past years, day 0 being the first sowing day.

    Attributes
    ----------
    sow_from
        That day, in the year to come.
    heat
        Heat units and workable share (members, days): own years first, then generated ones.
    n_own, n_generated
        How many of each.
    frosty
        Days with a killing frost (members, days).
    missing
        What is missing of the past, in sentences.
    """

    sow_from: date
    heat: PastHeat
    n_own: int
    n_generated: int
    frosty: NDArray[np.bool_]
    missing: tuple[str, ...]

    def count_ripe(self, sown_day: int, units_to_silk: float) -> float:
        """Share of the years in which a row sown on a day would silk, and have no killing frost until its seed is ripe.

        Notes
        -----
        Ripe is 58 days after half silk, as in the day list; days beyond the stretch are taken as free of frost.
        """
        silk = find_flowering_days(self.heat.daily, sown_day, units_to_silk)
        ripe = 0
        for day, frosty in zip(silk.tolist(), self.frosty, strict=True):
            ripe += not np.isnan(day) and not frosty[int(day) : int(day) + RIPE_AFTER_DAYS].any()
        return ripe / len(silk)

    def expect_flowering(self, sown_day: int, units: float) -> date | None:
        """The median day on which a row sown on a day reaches its units; None where most years do not bring them."""
        days = find_flowering_days(self.heat.daily, sown_day, units)
        middle = float(np.median(np.nan_to_num(days, nan=np.inf)))
        return self.date_of(round(middle)) if np.isfinite(middle) else None

    def date_of(self, day: int) -> date:
        """The date of a day after the first."""
        return self.sow_from + timedelta(days=day)


def read_past_days(on: Occasion, station: Station, site: Site, sow_from: date) -> PastDays:
    """Read past years from a sowing day on.

    Raises
    ------
    InputRefused
        If there is no whole past season.

    Notes
    -----
    Where years were generated their days are as workable as the site's own were on that date, on the mean.
    """
    try:
        ensemble = read_ensemble_heat(on, site.code, sow_from, SEASON_DAYS)
    except InputRefused:
        ensemble = None
    if ensemble is None or not ensemble.n_own:
        raise refuse(
            "no_past_weather",
            f"There is no whole past season of weather for {site.name}.",
            "Bring daily weather of at least one past year, May to October.",
        )
    known = read_readings(station, site, on.today).without_forecast()
    missing = [f"only {ensemble.n_own} past years of weather"] if ensemble.n_own < FEW_YEARS else []
    return PastDays(
        sow_from,
        PastHeat(ensemble.units, _find_workable(ensemble, known)),
        ensemble.n_own,
        ensemble.n_generated,
        ensemble.tmin_c <= KILLING_FROST_C,
        (*missing, *ensemble.basis.missing),
    )


def _find_workable(ensemble: EnsembleHeat, known: Readings) -> NDArray[np.float64]:
    """Share of the hours of each day that could be worked (members, days)."""
    rain_of = dict(zip(known.days, known.rain_mm.tolist(), strict=True))
    n_days = len(ensemble.days)
    rain = np.full((len(ensemble.labels), n_days), np.nan)
    for at in range(ensemble.n_own):
        first = find_same_date(ensemble.start, int(ensemble.labels[at]))
        rain[at] = [rain_of.get(first + timedelta(days=step), np.nan) for step in range(n_days)]
    members = zip(rain, ensemble.tmin_c, ensemble.tmax_c, strict=True)
    lost: NDArray[np.float64] = np.stack([count_lost_hours(HOURS_A_DAY, wet, low, high) for wet, low, high in members])
    lost[ensemble.n_own :] = lost[: ensemble.n_own].mean(axis=0)
    return np.asarray(1.0 - lost / HOURS_A_DAY)

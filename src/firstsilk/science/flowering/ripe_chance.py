"""With which chance is a hybrid ripe before the killing frost, how wet is it then, and what would the frost cost?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.climate.heat import F_PER_C, Scale
from firstsilk.science.flowering.grain import (
    LOSS_TABLES,
    SILK_TO_BLACK_LAYER_SHARE,
    dry_on_stalk_pct,
    find_stage_share,
    frost_loss_by_share_pct,
    grain_moisture_pct,
    share_of_filling,
)
from firstsilk.science.flowering.ripe_years import (
    RipeYears,
    Season,
    median_black_layer,
    median_or_none,
    ripen_in_seasons,
)
from firstsilk.science.flowering.stages import EMERGENCE_CHU, EMERGENCE_GDD_F

FloatArray = NDArray[np.float64]

EMERGENCE_UNITS: dict[Scale, float] = {
    "chu": EMERGENCE_CHU,
    "gdd_f": EMERGENCE_GDD_F,
    "gdd_c": EMERGENCE_GDD_F / F_PER_C,
}
"""Units from sowing to emergence by scale, with the other published values beside the two constants."""
LATE_SILK_SHARE = 34.0 / 144.0
"""Share of the cut for late sowing that falls before silk: of 144 gdd_f fewer from early May to early June 34 fall
before silk and 110 in grain fill. Nielsen et al. 2002, Agron. J. 94:549-558."""
USUAL_BLACK_LAYER: dict[Scale, tuple[float, float]] = {
    "chu": (1800.0, 3800.0),
    "gdd_f": (1500.0, 3200.0),
    "gdd_c": (830.0, 1780.0),
}
"""Ratings outside are unusual, perhaps of another scale: hybrids are sold from 2,050 to 3,275 chu, and need 1,850 to
2,835 gdd_f (UMN 2013, HPRCC); the margins are ours."""


@dataclass(frozen=True, slots=True)
class HybridNeed:
    """What a hybrid needs from sowing, in one scale; `to_silk` None where it is not known."""

    name: str
    to_black_layer: float
    to_silk: float | None = None

    def silk_or_share(self, scale: Scale) -> float:
        """Units to silk, or what the usual share leaves."""
        if self.to_silk is not None:
            return self.to_silk
        return self.to_black_layer * (1.0 - SILK_TO_BLACK_LAYER_SHARE[scale])


@dataclass(frozen=True, slots=True)
class ExpectedLoss:
    """Grain yield lost over all years that count, on average [%], by one published table.

    `plant_pct` if the killing frost takes the whole plant, `leaves_pct` if the first light frost takes the leaves.
    In `plant_before_table` and `leaves_before_table` years the frost came before the table's first stage; there its
    first value counts, so the mean is a least value.
    """

    table: str
    plant_pct: float
    leaves_pct: float
    plant_before_table: int
    leaves_before_table: int


@dataclass(frozen=True, slots=True)
class RipeChance:
    """One hybrid over the years that count.

    `chance` is the share of `years` that were ripe, None without years. `black_layer_day` is the median in days of a
    common year from 1 January of the year of sowing. `moisture_at_frost_pct` is the median over the years with a
    frost, `moisture_on_pct` over the years that know the asked date. `losses` stand by published table.
    """

    hybrid: str
    years: int
    ripe_years: int
    chance: float | None
    black_layer_day: float | None
    moisture_at_frost_pct: float | None
    moisture_on_pct: float | None
    losses: tuple[ExpectedLoss, ...]


@dataclass(frozen=True, slots=True)
class RipeTable:
    """All hybrids over all seasons, year by year, (seasons, hybrids): NaN in years without that frost or date."""

    ripe: RipeYears
    moisture_at_frost_pct: FloatArray
    moisture_on_pct: FloatArray
    share_at_frost: FloatArray
    share_at_light: FloatArray


def need_from_emergence(need: HybridNeed, emergence_units: float) -> HybridNeed:
    """Turn a need counted from emergence into one counted from sowing, as `rating_from_planting_gdd_f` does.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    silk = None if need.to_silk is None else need.to_silk + emergence_units
    return HybridNeed(need.name, need.to_black_layer + emergence_units, silk)


def need_of_late_sowing(need: HybridNeed, days_late: float, units_per_day: float) -> HybridNeed:
    """Lower a need for late sowing: by so many units for each day after 1 May.

    Parameters
    ----------
    need
        What the hybrid needs when sown around 1 May.
    days_late
        Days of sowing after 1 May (south: 1 November), 0 or more.
    units_per_day
        Fewer units a day, in the scale of the need; published 3.8 to 6.8 gdd_f.

    Returns
    -------
    HybridNeed
        A known silk is lowered by `LATE_SILK_SHARE` of the cut.

    Raises
    ------
    ValueError
        If nothing would be left between silk and black layer.

    References
    ----------
    Nielsen R.L., Hybrid maturity decisions for delayed planting, Purdue; Nielsen et al. 2002, Agron. J. 94:549-558.

    Checked by ``tests/outside/test_ripening_published.py``.
    """
    cut = days_late * units_per_day
    silk = None if need.to_silk is None else need.to_silk - LATE_SILK_SHARE * cut
    black = need.to_black_layer - cut
    if black <= max(silk or 0.0, 0.0) or (silk is not None and silk <= 0.0):
        raise ValueError(f"a cut of {cut:g} units leaves {need.name} nothing to fill its grain")
    return HybridNeed(need.name, black, silk)


def tabulate_ripening(
    seasons: Sequence[Season], needs: Sequence[HybridNeed], scale: Scale, on: tuple[int, int] | None = None
) -> RipeTable:
    """Tabulate black layer, ripeness and grain moisture of each hybrid in each season.

    Parameters
    ----------
    seasons
        As `lay_out_seasons` gives them.
    needs
        Hybrids, counted from sowing in the scale of the seasons.
    scale
        That scale.
    on
        Month and day of a further moisture, e.g. of harvest: the first such date after sowing, that day included.

    Notes
    -----
    A frost's own day is not counted: moisture and stage at a frost are those of the evening before. Grain of a plant
    killed before black layer fills no more: from its moisture at the frost it dries by heat units.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    black = np.array([need.to_black_layer for need in needs], dtype=np.float64)
    silk = np.array([need.silk_or_share(scale) for need in needs], dtype=np.float64)
    ripe = ripen_in_seasons(seasons, black)
    asked = np.array([math.nan if on is None else season.total_on(*on) for season in seasons], dtype=np.float64)
    frost, light, day = ripe.units_at_frost[:, None], ripe.units_at_light[:, None], asked[:, None]
    at_frost = grain_moisture_pct(frost, silk, black, scale)
    alive = grain_moisture_pct(day, silk, black, scale)
    killed = (day > frost) & (frost < black)
    after = dry_on_stalk_pct(at_frost, np.where(killed, day - frost, 0.0), scale)
    return RipeTable(
        ripe,
        at_frost,
        np.where(killed, after, alive),
        share_of_filling(frost, silk, black),
        share_of_filling(light, silk, black),
    )


def estimate_ripe_chances(table: RipeTable, needs: Sequence[HybridNeed]) -> tuple[RipeChance, ...]:
    """Sum up each hybrid over the years.

    Checked by ``tests/science/test_ripe_years.py``.
    """
    years = len(table.ripe.seasons)
    told = []
    for at, need in enumerate(needs):
        n_ripe = int(table.ripe.ripe[:, at].sum())
        told.append(
            RipeChance(
                hybrid=need.name,
                years=years,
                ripe_years=n_ripe,
                chance=n_ripe / years if years else None,
                black_layer_day=median_black_layer(table.ripe, at),
                moisture_at_frost_pct=median_or_none(_known(table.moisture_at_frost_pct[:, at])),
                moisture_on_pct=median_or_none(_known(table.moisture_on_pct[:, at])),
                losses=_expect_losses(table.share_at_frost[:, at], table.share_at_light[:, at]),
            )
        )
    return tuple(told)


def _known(values: FloatArray) -> list[float]:
    return [float(value) for value in values.tolist() if not math.isnan(value)]


def _expect_losses(at_frost: FloatArray, at_light: FloatArray) -> tuple[ExpectedLoss, ...]:
    if not at_frost.size:
        return ()
    return tuple(
        ExpectedLoss(
            table=name,
            plant_pct=float(frost_loss_by_share_pct(at_frost, "plant", rows).mean()),
            leaves_pct=float(frost_loss_by_share_pct(at_light, "leaves", rows).mean()),
            plant_before_table=int(np.sum(at_frost < find_stage_share(rows[0].stage))),
            leaves_before_table=int(np.sum(at_light < find_stage_share(rows[0].stage))),
        )
        for name, rows in LOSS_TABLES.items()
    )


def wilson_interval(found: float, tried: int, level: float) -> tuple[float, float] | None:
    """Give the interval of a chance from the share found among some years.

    Parameters
    ----------
    found, tried
        Years with, and all years; `found` may be a mean over several hybrids, and so no whole number.
    level
        Wanted coverage, above 0 and below 1.

    Returns
    -------
    tuple of float or None
        Lower and upper end; None without years.

    Raises
    ------
    ValueError
        If `level` is out of range.

    Notes
    -----
    With z of the level and n years: centre ``(k + z^2 / 2) / (n + z^2)``, half width
    ``z sqrt(k (n - k) / n + z^2 / 4) / (n + z^2)``. Years are taken as independent draws of one climate.

    References
    ----------
    Wilson E.B. 1927, J. Am. Stat. Assoc. 22:209-212 (from memory).

    Checked by ``tests/outside/test_ripening_published.py``, against published examples and scipy.
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"a level lies between 0 and 1, not {level}")
    if tried == 0:
        return None
    z = NormalDist().inv_cdf(0.5 + level / 2.0)
    centre = (found + z * z / 2.0) / (tried + z * z)
    half = z * math.sqrt(found * (tried - found) / tried + z * z / 4.0) / (tried + z * z)
    return max(centre - half, 0.0), min(centre + half, 1.0)

"""What did each plot of a trial give: grain, moisture, stand, lodging, and which plots were lost?

A plot's yield is the sum of the overall mean, the site in that year, the hybrid's true value, what the hybrid does
otherwise at that site, in that year and in that site and year, the block, and error. Each part is drawn by its own
name, so two trials at one site in one year see the same interactions. Lodging takes no yield here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from firstsilk.invented.dice import roll
from firstsilk.invented.genes import GENETIC_VARIANCE_KG2_HA2, HybridTruth
from firstsilk.invented.weather import SITES, InventedWeather, sum_season_chu
from firstsilk.science.trials.yields import STANDARD_MOISTURE_PCT, change_moisture_basis

BY_SITE_RATIO = 0.5
BY_YEAR_RATIO = 0.5
BY_SITE_AND_YEAR_RATIO = 1.0
ERROR_RATIO = 2.0
"""Variances of hybrid x site, hybrid x year, hybrid x site x year and error, the hybrids' variance being 1. Ratios used
in European maize planning studies (from memory)."""
BLOCK_RATIO = 0.3
"""Variance between the blocks of a trial, in the same unit. Ours, no source."""

YIELD_PER_CHU_KG_HA = 2.5
YIELD_OF_SITE_YEAR_SD_KG_HA = 550.0
MOISTURE_PER_CHU_PCT = -0.008
MOISTURE_OF_SITE_YEAR_SD_PCT = 0.9
MOISTURE_BY_SITE_AND_YEAR_SD_PCT = 0.5
MOISTURE_ERROR_SD_PCT = 0.6
LODGING_OF_SITE_YEAR_SD_LOGIT = 0.6
ROOT_LODGING_LOGIT = -4.3
TEST_WEIGHT_KG_HL = 69.0
TEST_WEIGHT_PER_MOISTURE = -0.35
TEST_WEIGHT_HYBRID_SD = 1.0
TEST_WEIGHT_ERROR_SD = 0.6
"""The rest is ours, no source: sizes that look like a short-season trial."""

PLOT_AREA_M2 = 8.06
KERNELS_A_PLOT = 76
PLANTS_A_PLOT = 64
EMERGENCE_FRAC = 0.94
"""Two rows of 5.3 m, 0.76 m apart; over-sown and thinned to 7.9 plants a square metre."""
LOST_SHARE = 0.02
LOST_REASONS = ("combine ran empty", "deer", "corner stood in water", "packet spilled at sowing")
MEAN_CHU = 2400.0


@dataclass(frozen=True, slots=True)
class TrialPlot:
    """One plot as it was laid out; `entry` names a hybrid."""

    trial: str
    site: str
    year: int
    plot: int
    rep: str
    block: str
    field_row: int
    field_col: int
    entry: str
    plot_area_m2: float = PLOT_AREA_M2
    kernels: int = KERNELS_A_PLOT
    plants: int = PLANTS_A_PLOT


@dataclass(frozen=True, slots=True)
class PlotResult:
    """What a plot gave; None where nothing was measured. `rejected` says why a plot was lost, empty if it was not."""

    trial: str
    plot: int
    entry: str
    weight_kg: float | None
    moisture_pct: float | None
    test_weight_kg_hl: float | None
    stand: int | None
    root_lodged: int | None
    stalk_lodged: int | None
    rejected: str = ""


@dataclass(frozen=True, slots=True)
class SiteYear:
    """What a site is like in a year, for all hybrids alike."""

    yield_kg_ha: float
    moisture_pct: float
    stalk_logit: float
    root_logit: float


def draw_site_year(seed: int, weather: InventedWeather, site: str, year: int) -> SiteYear:
    """How a site in a year differs from the overall mean: the site, its heat, and luck."""
    warmer = sum_season_chu(weather, site, year) - MEAN_CHU
    lasting = {one.code: one.yield_kg_ha for one in SITES}.get(site, 0.0)
    luck = roll(seed, "site year", site, year).normal(size=4)
    return SiteYear(
        lasting + YIELD_PER_CHU_KG_HA * warmer + YIELD_OF_SITE_YEAR_SD_KG_HA * float(luck[0]),
        MOISTURE_PER_CHU_PCT * warmer + MOISTURE_OF_SITE_YEAR_SD_PCT * float(luck[1]),
        LODGING_OF_SITE_YEAR_SD_LOGIT * float(luck[2]),
        LODGING_OF_SITE_YEAR_SD_LOGIT * float(luck[3]),
    )


def draw_interaction(seed: int, entry: str, site: str, year: int) -> float:
    """What a hybrid yields otherwise at a site in a year than its true value says [kg/ha]."""
    parts = (
        (BY_SITE_RATIO, ("by site", entry, site)),
        (BY_YEAR_RATIO, ("by year", entry, year)),
        (BY_SITE_AND_YEAR_RATIO, ("by site and year", entry, site, year)),
    )
    return sum(_sd(ratio) * float(roll(seed, *words).normal()) for ratio, words in parts)


def _sd(ratio: float) -> float:
    return float(np.sqrt(ratio * GENETIC_VARIANCE_KG2_HA2))


def play_trial(
    seed: int, weather: InventedWeather, hybrids: Mapping[str, HybridTruth], plots: Iterable[TrialPlot]
) -> tuple[PlotResult, ...]:
    """Grow and combine plots.

    Parameters
    ----------
    seed
        The world's seed.
    weather
        Must reach to the end of each plot's year.
    hybrids
        True values by name of entry.
    plots
        Any number of trials together; a plot is drawn by its trial's name and its number.

    Returns
    -------
    tuple of PlotResult
        In the order of the plots.

    Raises
    ------
    KeyError
        If an entry is no known hybrid.

    Notes
    -----
    Checked by ``tests/work/test_invented_trials.py``: the variances come back as stated.
    """
    site_years: dict[tuple[str, int], SiteYear] = {}
    results = []
    for plot in plots:
        where = (plot.site, plot.year)
        if where not in site_years:
            site_years[where] = draw_site_year(seed, weather, *where)
        results.append(_play_plot(seed, plot, hybrids[plot.entry], site_years[where]))
    return tuple(results)


def _play_plot(seed: int, plot: TrialPlot, hybrid: HybridTruth, site_year: SiteYear) -> PlotResult:
    dice = roll(seed, "plot", plot.trial, plot.plot)
    emerged = int(dice.binomial(plot.kernels, hybrid.germination_frac * EMERGENCE_FRAC))
    stand = min(emerged, plot.plants)
    grain = draw_plot_yield(seed, plot, hybrid, site_year, float(dice.normal()))
    moisture = draw_plot_moisture(seed, plot, hybrid, site_year, float(dice.normal()))
    stalk = int(dice.binomial(stand, _chance(hybrid.lodging_logit + site_year.stalk_logit)))
    root = min(int(dice.binomial(stand, _chance(ROOT_LODGING_LOGIT + site_year.root_logit))), stand - stalk)
    wet_kg = change_moisture_basis(grain * plot.plot_area_m2 / 10_000.0, STANDARD_MOISTURE_PCT, moisture)
    drawn = TEST_WEIGHT_HYBRID_SD * float(roll(seed, "test weight", plot.entry).normal())
    drier = TEST_WEIGHT_PER_MOISTURE * (moisture - 25.0)
    test_weight = TEST_WEIGHT_KG_HL + drawn + drier + TEST_WEIGHT_ERROR_SD * float(dice.normal())
    lost = bool(dice.random() < LOST_SHARE)
    reason = LOST_REASONS[int(dice.integers(len(LOST_REASONS)))]
    if lost:
        return PlotResult(plot.trial, plot.plot, plot.entry, None, None, None, stand, root, stalk, reason)
    return PlotResult(
        plot.trial,
        plot.plot,
        plot.entry,
        round(float(wet_kg), 2),
        round(moisture, 1),
        round(test_weight, 1),
        stand,
        root,
        stalk,
    )


def draw_plot_yield(seed: int, plot: TrialPlot, hybrid: HybridTruth, site_year: SiteYear, error: float) -> float:
    """Grain of a plot at 15.5 % moisture [kg/ha]; `error` is a standard normal draw."""
    block = _sd(BLOCK_RATIO) * float(roll(seed, "block", plot.trial, plot.rep, plot.block).normal())
    known = hybrid.yield_kg_ha + site_year.yield_kg_ha + draw_interaction(seed, plot.entry, plot.site, plot.year)
    return max(known + block + _sd(ERROR_RATIO) * error, 500.0)


def draw_plot_moisture(seed: int, plot: TrialPlot, hybrid: HybridTruth, site_year: SiteYear, error: float) -> float:
    """Moisture of a plot's grain at harvest [%]; `error` is a standard normal draw."""
    own = MOISTURE_BY_SITE_AND_YEAR_SD_PCT * float(roll(seed, "moisture", plot.entry, plot.site, plot.year).normal())
    moisture = hybrid.moisture_pct + site_year.moisture_pct + own + MOISTURE_ERROR_SD_PCT * error
    return min(max(moisture, 12.0), 42.0)


def _chance(logit: float) -> float:
    return float(1.0 / (1.0 + np.exp(-logit)))


def lay_out_complete(
    seed: int, trial: str, site: str, year: int, entries: Iterable[str], reps: int, columns: int
) -> tuple[TrialPlot, ...]:
    """A trial in complete blocks, one above the other, numbered in the order in which the combine passes.

    Parameters
    ----------
    seed, trial, site, year
        Decide the order, with the rep.
    entries
        Names of hybrids.
    reps
        Complete blocks.
    columns
        Plots side by side; each range turns back.

    Returns
    -------
    tuple of TrialPlot
        Plots 1 to n.
    """
    names = list(entries)
    ranges = -(-len(names) // columns)
    plots = []
    for rep in range(1, reps + 1):
        order = roll(seed, "layout", trial, rep).permutation(len(names))
        for at, which in enumerate(order.tolist()):
            row = (rep - 1) * ranges + at // columns + 1
            along = at % columns + 1
            column = along if row % 2 else columns + 1 - along
            number = (rep - 1) * len(names) + at + 1
            plots.append(TrialPlot(trial, site, year, number, str(rep), "1", row, column, names[which]))
    return tuple(plots)

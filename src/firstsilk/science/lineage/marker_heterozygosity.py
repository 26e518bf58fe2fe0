"""Is a plant as heterozygous as its generation lets it be?

Each selfing halves what a first cross held, on average. One plant may hold far more or less than that: loci of a
chromosome go together, so that a plant of a late generation has few long stretches or none. The limit allows for it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta, betabinom, binom

from firstsilk.science.lineage.marker_checks import FALSE_ALARM, MISSED_SHARE, READING_ERROR, Verdict
from firstsilk.science.lineage.markers import Doses

CHROMOSOMES = 10
CHROMOSOME_MORGAN = 1.5
"""Maize: ten chromosomes, 1.3 to 2.5 Morgan each by published maps (from memory). The short side: fewer crossings make
generations vary more, so that fewer plants are accused."""

DIFFERING_SHARE = 0.625
"""Two selfs of one plant differ at so many of the markers at which it is heterozygous: 1 - (1/16 + 1/4 + 1/16)."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HeterozygosityCheck:
    """Markers read, those that hold both alleles, what the generation lets expect, and the verdict.

    `expected` counts reading errors too; `limit` is the count up to which the claim stands; `if_first_cross` what a
    first cross would have.
    """

    compared: int
    heterozygous: int
    expected: float
    limit: int
    if_first_cross: float
    verdict: Verdict
    why: str

    @property
    def share(self) -> float:
        """Share of the markers read that hold both alleles; NaN if none was read."""
        return self.heterozygous / self.compared if self.compared else math.nan


def spread_of_heterozygosity(selfings: int) -> float:
    """Variance of the share of the genome that is heterozygous after so many selfings of a first cross [0 to 1].

    Parameters
    ----------
    selfings
        Selfings since the first cross, one plant each; 0 gives 0.

    Notes
    -----
    A plant heterozygous at two loci with recombination r passes both on to a self with chance ((1-r)^2 + r^2) / 2,
    with Haldane's map (1 + exp(-4d)) / 4 at d Morgan. The variance is the mean over pairs of loci of a chromosome of
    ((1 + exp(-4d)) / 4)^t - 1/4^t, by the number of chromosomes.

    References
    ----------
    Franklin 1977, Theor. Popul. Biol. 11:60 (variance of the heterozygous share under selfing; title from memory);
    Haldane 1919 (map function).

    Checked by
    ----------
    tests/science/test_marker_heterozygosity.py (genes dropped down 10,000 lines)
    """
    if selfings <= 0:
        return 0.0
    # Two points thrown on a chromosome lie d apart with density 2 (L - d) / L^2.
    apart = (np.arange(400) + 0.5) / 400.0
    both = ((1.0 + np.exp(-4.0 * CHROMOSOME_MORGAN * apart)) / 4.0) ** selfings - 0.25**selfings
    return float((2.0 * (1.0 - apart) * both).mean()) / CHROMOSOMES


def bound_heterozygosity(selfings: int | None, alarm: float = FALSE_ALARM) -> float:
    """The share of its first cross's heterozygous loci that a plant still holds, exceeded with chance `alarm`.

    Parameters
    ----------
    selfings
        Selfings since the first cross; None for a doubled haploid or a finished inbred.
    alarm
        Chance [0 to 1].

    Notes
    -----
    A beta law with mean 1/2^t and the variance of `spread_of_heterozygosity`.

    Checked by
    ----------
    tests/science/test_marker_heterozygosity.py
    """
    if selfings is None:
        return 0.0
    if selfings <= 0:
        return 1.0
    mean, spread = 0.5**selfings, spread_of_heterozygosity(selfings)
    total = mean * (1.0 - mean) / spread - 1.0
    return float(beta.isf(alarm, mean * total, (1.0 - mean) * total))


def check_heterozygosity(
    plant: Doses,
    first_cross: Numbers,
    selfings: int | None,
    error: float = READING_ERROR,
    alarm: float = FALSE_ALARM,
) -> HeterozygosityCheck:
    """Is a plant more heterozygous than its generation lets it be?

    Parameters
    ----------
    plant
        Its doses (p,).
    first_cross
        Chance that the first cross is heterozygous at each marker (p,): 1 where its parents differ, 0 where they are
        alike, 2 p (1-p) where they are not known; NaN where nothing is known, which leaves the marker out.
    selfings
        Selfings since that cross; None for a doubled haploid or a finished inbred.
    error, alarm
        Chance that a reading is wrong; chance of refuting a true claim.

    Notes
    -----
    Count of heterozygous markers against the upper quantile of a beta-binomial law: mean q + e (1 - q) with q the mean
    of `first_cross` by 2^t, variance of the share from `spread_of_heterozygosity`. Without selfings nothing is
    refuted. `agrees` is said where a first cross would have passed the limit in 95 of 100 cases.

    Checked by
    ----------
    tests/science/test_marker_heterozygosity.py
    """
    read = (plant >= 0) & np.isfinite(first_cross)
    compared, mixed = int(read.sum()), int((plant[read] == 1).sum())
    at_first = float(first_cross[read].mean()) if compared else 0.0
    mean, limit = _find_limit(compared, at_first, selfings, error, alarm)
    if_first = compared * (at_first + error * (1.0 - at_first))
    counted = f"{mixed} of {compared} markers hold both alleles; the generation lets expect {compared * mean:.1f}"
    counted += f", up to {limit}"
    if compared and mixed > limit:
        verdict, more = "disagrees", _tell_likelier(mixed / compared, at_first, error)
    elif not compared or selfings == 0 or binom.cdf(limit, compared, if_first / compared) > MISSED_SHARE:
        verdict, more = "cannot_tell", "; too few markers tell it from a first cross"
    else:
        verdict, more = "agrees", f"; a first cross would have some {if_first:.0f}"
    return HeterozygosityCheck(compared, mixed, compared * mean, limit, if_first, verdict, counted + more)


def _find_limit(compared: int, at_first: float, selfings: int | None, error: float, alarm: float) -> tuple[float, int]:
    """The expected share, and the largest count that the generation explains."""
    still = 0.0 if selfings is None else 0.5**selfings
    mean = at_first * still + error * (1.0 - at_first * still)
    spread = 0.0 if selfings is None else spread_of_heterozygosity(selfings) * at_first**2
    if not compared or spread <= 0.0:
        return mean, int(binom.isf(alarm, compared, mean)) if compared else 0
    total = mean * (1.0 - mean) / spread - 1.0
    return mean, int(betabinom.isf(alarm, compared, mean * total, (1.0 - mean) * total))


def _tell_likelier(share: float, at_first: float, error: float) -> str:
    held = max(share - error, 1e-9) / at_first if at_first > 0.0 else 1.0
    if held > 0.75:
        return ". It is as heterozygous as a first cross: a cross in its packet, or other pollen."
    return f". It looks like a plant of about {max(1, round(-math.log2(held)))} selfings, or other pollen came in."


def expect_first_cross(mother: Doses, father: Doses) -> Numbers:
    """Chance that the cross of two read plants is heterozygous at each marker (p,); NaN where one was not read.

    Parameters
    ----------
    mother, father
        Doses of the two (p,).

    Notes
    -----
    m (1 - f) + f (1 - m) with m and f the shares of the counted allele: 1 for unlike homozygotes, 0 for like ones.

    Checked by
    ----------
    tests/science/test_marker_heterozygosity.py
    """
    one, other = mother / 2.0, father / 2.0
    chance: Numbers = one * (1.0 - other) + other * (1.0 - one)
    chance[(mother < 0) | (father < 0)] = np.nan
    return chance


def share_still_differing(first_cross: Numbers, selfings: int | None) -> float:
    """Share of the markers at which two plants of a line may be expected to differ [0 to 1].

    Parameters
    ----------
    first_cross
        As for `check_heterozygosity` (p,).
    selfings
        Selfings since that cross; None, or below 0 where that is not known, gives 0.

    Notes
    -----
    Plants of a line selfed t times descend from one that was selfed t - 1 times: 0.625 of what that still held.

    Checked by
    ----------
    tests/science/test_marker_heterozygosity.py (pairs of selfs dropped)
    """
    if selfings is None or selfings < 0:
        return 0.0
    mean = float(np.nanmean(first_cross)) if np.isfinite(first_cross).any() else 0.0
    return DIFFERING_SHARE * mean * 0.5 ** max(0, selfings - 1)

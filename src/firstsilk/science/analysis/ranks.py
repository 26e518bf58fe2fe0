"""How do entries rank at each environment, and is their order steadier or less steady than chance would have it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.special
import scipy.stats

from firstsilk.science.analysis.two_way import TwoWayTable, need_complete


@dataclass(frozen=True, slots=True)
class EntryRanks:
    """How one entry ranks (1 is the highest mean; entries that tie share the mean of their ranks).

    `rank` of its mean, `mean_rank` and `rank_sd` over environments, `top_third_frac` the share of environments where it
    is among the best third. `s1` the mean difference between its ranks at two environments and `s2` their variance,
    once each entry's mean level is taken out; `s1_p` and `s2_p` the chance of a value as far from what pure
    chance gives. None where there is too little to tell.
    """

    entry: str
    rank: float
    mean_rank: float
    rank_sd: float
    top_third_frac: float
    s1: float
    s2: float
    s1_p: float | None
    s2_p: float | None


def rank_entries(table: TwoWayTable) -> tuple[EntryRanks, ...]:
    """Rank entries by environment, and say how steady the ranks are.

    Parameters
    ----------
    table
        Means by entry and environment, without empty cells; more is better.

    Returns
    -------
    tuple of EntryRanks
        In the order of the table's entries.

    Raises
    ------
    InputRefused
        If a cell is empty.

    Notes
    -----
    s1 = sum over pairs of environments |r_j - r_k| / [e(e-1)/2], s2 = sum (r_j - mean r)^2 / (e - 1), with ranks r of
    Y_ij - Y_i. + Y.. at environment j. If entries do not differ but by chance, E(s1) = (g^2-1)/(3g),
    V(s1) = (g^2-1)[(g^2-4)(e+3)+30] / [45 g^2 e(e-1)], E(s2) = (g^2-1)/12,
    V(s2) = (g^2-1)/(36 e) [(g^2-4)/5 + (g^2-1)/(2(e-1))]; (s - E)^2 / V is compared with chi-square of 1 degree of
    freedom, one entry by itself. These chances hold nearly, for tables of some size and without ties.

    References
    ----------
    Huehn 1979 EDV in Medizin und Biologie 10:112; Nassar & Huehn 1987 Biometrics 43:45 (moments from memory, checked
    by drawing); Fox, Skovmand, Thompson, Braun & Cormier 1990 Euphytica 47:57.

    Checked by
    ----------
    tests/science/test_ranks.py
    """
    need_complete(table)
    means = table.means
    g, e = means.shape
    plain = scipy.stats.rankdata(-means, axis=0)
    level = means - means.mean(axis=1, keepdims=True) + means.mean()
    # Rounding must not part what ties once levels are taken out.
    size = float(np.max(np.abs(means))) or 1.0
    steady = scipy.stats.rankdata(-np.round(level / size, 12), axis=0)
    s1 = np.abs(steady[:, :, None] - steady[:, None, :]).sum(axis=(1, 2)) / (e * (e - 1))
    s2 = steady.var(axis=1, ddof=1)
    overall = scipy.stats.rankdata(-means.mean(axis=1))
    top = plain <= max(g // 3, 1)
    return tuple(
        EntryRanks(
            entry,
            float(overall[i]),
            float(plain[i].mean()),
            float(plain[i].std(ddof=1)),
            float(top[i].mean()),
            float(s1[i]),
            float(s2[i]),
            _chance(float(s1[i]), *expect_s1(g, e)),
            _chance(float(s2[i]), *expect_s2(g, e)),
        )
        for i, entry in enumerate(table.entries)
    )


def expect_s1(g: int, e: int) -> tuple[float, float]:
    """Mean and variance of s1 where ranks are drawn by chance."""
    return (g**2 - 1) / (3 * g), (g**2 - 1) * ((g**2 - 4) * (e + 3) + 30) / (45 * g**2 * e * (e - 1))


def expect_s2(g: int, e: int) -> tuple[float, float]:
    """Mean and variance of s2 where ranks are drawn by chance."""
    return (g**2 - 1) / 12, (g**2 - 1) / (36 * e) * ((g**2 - 4) / 5 + (g**2 - 1) / (2 * (e - 1)))


def _chance(value: float, mean: float, variance: float) -> float | None:
    if variance <= 0:
        return None
    return float(scipy.special.chdtrc(1, (value - mean) ** 2 / variance))

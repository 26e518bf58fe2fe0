"""How sure is a germination test, and is it an official one?

A share of a sample is not the share of the lot: 57 of 60 may come from a lot of 87 % or of 98 %. The interval says so
wherever the share is shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.stats import beta, norm

from firstsilk.answers import refuse

OFFICIAL_SEEDS = 400
"""Seeds in an official germination test, in replicates of 100 or fewer. US 7 CFR 201.54. Fewer: not an official
test."""
LEVEL = 0.95
"""Chance that an interval holds the lot's own share. Common practice."""
WILSON, EXACT = "wilson", "exact"
METHODS = (WILSON, EXACT)


@dataclass(frozen=True, slots=True)
class GerminationTest:
    """What a test tells of a lot: its share [0 to 1] of so many seeds (None: not known), the interval of the lot's own
    share (None if the seeds are not known), and whether the test is an official one."""

    germination_frac: float
    seeds: int | None
    low_frac: float | None
    high_frac: float | None
    is_official: bool
    caution: str


def find_germination_interval(
    germination_frac: float, seeds: int, level: float = LEVEL, method: str = WILSON
) -> tuple[float, float]:
    """Between which shares does the lot's own germination lie, as far as the test tells?

    Parameters
    ----------
    germination_frac
        Share of the tested seeds that germinated [0 to 1]. It may be rounded: 0.92 of 60 seeds is taken as it is.
    seeds
        Seeds in the test [count, 1 or more].
    level
        Chance wanted of holding the true share [0 to 1, both ends out].
    method
        ``wilson`` (near the level on average, the one that is shown) or ``exact`` (Clopper and Pearson: never below
        the level, wider).

    Returns
    -------
    tuple of float
        Low and high share [0 to 1].

    Raises
    ------
    InputRefused
        If the share is outside 0 to 1, there are no seeds, the level is no chance, or the method is not known.

    Notes
    -----
    Wilson, p the share, n the seeds, z the normal quantile at (1 + level) / 2:
    (p + z^2/2n +- z sqrt(p (1-p) / n + z^2/4n^2)) / (1 + z^2/n).
    Clopper and Pearson, x = n p, a = 1 - level: low is the a/2 quantile of Beta(x, n-x+1), high the 1 - a/2 quantile
    of Beta(x+1, n-x); 0 if none germinated, 1 if all did. Both take the tested seeds as a random sample of the lot.

    References
    ----------
    Wilson 1927, Journal of the American Statistical Association 22:209; Clopper & Pearson 1934, Biometrika 26:404.

    Checked by
    ----------
    tests/outside/test_seed_published.py
    """
    _need_share(germination_frac)
    if seeds < 1:
        raise refuse("no_seeds_tested", f"a test of {seeds} seeds tells nothing", "Give 1 seed or more.")
    if not 0.0 < level < 1.0:
        raise refuse("chance_out_of_range", f"level {level} is not between 0 and 1", "Give 0.95 for 95 %.")
    if method not in METHODS:
        raise refuse("method_unknown", f"there is no interval {method!r}", f"Use one of: {', '.join(METHODS)}.")
    if method == EXACT:
        return _exact_interval(germination_frac, seeds, level)
    z = float(norm.ppf((1.0 + level) / 2.0))
    middle = germination_frac + z * z / (2 * seeds)
    half = z * math.sqrt(germination_frac * (1 - germination_frac) / seeds + z * z / (4 * seeds * seeds))
    whole = 1 + z * z / seeds
    # In exact arithmetic no seed of n gives 0 and every seed gives 1; in floating point a hair may be left.
    low = 0.0 if germination_frac == 0 else (middle - half) / whole
    high = 1.0 if germination_frac == 1 else (middle + half) / whole
    return low, high


def judge_germination(germination_frac: float, seeds: int | None, level: float = LEVEL) -> GerminationTest:
    """What a germination test tells, with the sentence to show beside it.

    Parameters
    ----------
    germination_frac
        Share of the tested seeds that germinated [0 to 1].
    seeds
        Seeds in the test [count]; None if nobody wrote them down.
    level
        As `find_germination_interval`.

    Returns
    -------
    GerminationTest
        With Wilson's interval. `caution` is empty for a test of 400 seeds or more.

    Raises
    ------
    InputRefused
        As `find_germination_interval`.

    Checked by
    ----------
    tests/science/test_germination.py
    """
    _need_share(germination_frac)
    if seeds is None:
        told = "Germination from an unknown number of seeds: not an official test."
        return GerminationTest(germination_frac, None, None, None, False, told)
    low, high = find_germination_interval(germination_frac, seeds, level)
    if seeds >= OFFICIAL_SEEDS:
        return GerminationTest(germination_frac, seeds, low, high, True, "")
    told = (
        f"Germination from {seeds} seeds: not an official test. "
        f"The lot's own share may be {_percent(low)} to {_percent(high)} % ({_percent(level)} % interval)."
    )
    return GerminationTest(germination_frac, seeds, low, high, False, told)


def _exact_interval(share: float, seeds: int, level: float) -> tuple[float, float]:
    tail, grown = (1.0 - level) / 2.0, share * seeds
    low = 0.0 if share == 0 else float(beta.ppf(tail, grown, seeds - grown + 1))
    high = 1.0 if share == 1 else float(beta.ppf(1 - tail, grown + 1, seeds - grown))
    return low, high


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"


def _need_share(value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise refuse("germination_wrong", f"Germination {value} is not in 0..1.", "Write 0.92 for 92 %.")

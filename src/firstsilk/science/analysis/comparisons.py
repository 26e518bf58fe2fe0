"""How sure is it that an entry is truly better than the check?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.special

from firstsilk.answers import refuse
from firstsilk.science.analysis.models import Array


@dataclass(frozen=True, slots=True)
class Comparison:
    """One entry against the check: the difference in its favour, that difference's standard error, the chance."""

    entry: str
    difference: float
    se: float
    probability: float


def compare_with_check(
    entries: Sequence[str], values: Array, error_covariance: Array, check: str, more_is_better: bool = True
) -> tuple[Comparison, ...]:
    """Give for each entry the probability that its true value beats the check's.

    Parameters
    ----------
    entries
        Names, the check among them, (m).
    values
        BLUPs of the entries in any one unit, (m,). Adjusted means with their covariance may be given instead; the
        probability is then the one that a flat prior would give.
    error_covariance
        Prediction error covariance of the values, (m, m), in that unit squared: `Fit.random_covariance`.
    check
        The name of the check.
    more_is_better
        False for traits of which less is wanted.

    Returns
    -------
    tuple of Comparison
        All entries but the check, in the order given. `difference` is positive where the entry is the better.

    Raises
    ------
    InputRefused
        If the check is not among the entries or shapes do not match.

    Notes
    -----
    d = u_entry - u_check, se^2 = PEV_ee + PEV_cc - 2 PEV_ec, probability = Phi(d / se): the true difference, given
    the data and the variances, is normal with mean d and variance se^2. That the variances are themselves
    estimated is not counted, so with few environments the chance is somewhat too sure. It is the chance for one
    entry picked beforehand, not for the best of many. Without error (se = 0) it is 0, 1/2 or 1.

    Checked by
    ----------
    tests/science/test_compare_with_check.py
    """
    m = len(entries)
    if values.shape != (m,) or error_covariance.shape != (m, m):
        raise refuse("shapes_differ", f"{m} entries need {m} values and a covariance of {m} x {m}")
    if check not in entries:
        raise refuse("check_missing", f"The check {check!r} is not among the entries", check=check)
    at = list(entries).index(check)
    differences = (values - values[at]) * (1.0 if more_is_better else -1.0)
    own = np.diag(error_covariance)
    errors = np.sqrt(np.maximum(own + own[at] - 2.0 * error_covariance[:, at], 0.0))
    chances = np.where(
        errors > 0, scipy.special.ndtr(differences / np.where(errors > 0, errors, 1.0)), 0.5 + np.sign(differences) / 2
    )
    return tuple(
        Comparison(entry, float(d), float(se), float(p))
        for k, (entry, d, se, p) in enumerate(zip(entries, differences, errors, chances, strict=True))
        if k != at
    )


def least_significant_difference(mean_square: float, records: float, df: float, chance: float = 0.05) -> float:
    """How far two means must lie apart to be called different at the chance given.

    Parameters
    ----------
    mean_square
        Residual mean square, in squared units of the trait.
    records
        Plots behind each of the two means.
    df
        Degrees of freedom of the mean square.
    chance
        Two-sided chance of calling equal entries different, for a pair picked beforehand [0 to 1].

    Returns
    -------
    float
        The difference, in units of the trait.

    Raises
    ------
    InputRefused
        If a number is outside its range.

    Notes
    -----
    t(1 - chance/2, df) sqrt(2 mean_square / records).

    Checked by
    ----------
    tests/science/test_compare_with_check.py
    """
    if mean_square < 0 or records <= 0 or df <= 0 or not 0 < chance < 1:
        raise refuse("out_of_range", "A least significant difference needs mean square, plots, df and chance above 0")
    return float(scipy.special.stdtrit(df, 1.0 - chance / 2.0) * np.sqrt(2.0 * mean_square / records))

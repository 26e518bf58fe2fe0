"""Do the markers bear out what the books say: the same line, this parent, the cross of these two?

Each check counts the markers that contradict the claim and compares the count with what reading errors alone would
give. An error rate e is the chance that one reading at one marker is wrong. If the claim is true, a marker read in k
plants contradicts it only if one of the k readings is wrong, so with chance at most 1 - (1-e)^k: the *expected* count
is that times the markers compared, and the *limit* is the smallest count that such errors exceed with a chance of at
most `alarm`. More than the limit refutes the claim. Errors are taken as independent between markers, so whole stretches
that differ for another reason (a line that still segregates, a mislabelled plate) count as evidence against the claim.

Not refuted is not proved: a check with few telling markers could not have refuted anything. So each says too what
would be seen if the claim were false, and answers `cannot_tell` where that is no more than the limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from firstsilk.answers import refuse
from firstsilk.science.lineage.markers import Doses

READING_ERROR = 0.01
"""Chance that one reading is wrong, unless told: ours, cautious for chips, low for sequencing at small depth."""
FALSE_ALARM = 0.001
"""Chance of refuting a true claim, unless told: ours, the rate of one in a thousand clean records."""
MISSED_SHARE = 0.05
"""Chance of missing a false claim beyond which the answer is `cannot_tell`: ours."""

Verdict = str
"""`agrees`, `disagrees` or `cannot_tell`."""


@dataclass(frozen=True, slots=True)
class MarkerCheck:
    """Markers compared, those that contradict, how many errors explain, the verdict, and why in one sentence.

    `expected` is the count that reading errors give, `limit` the count up to which the claim stands, `if_false` the
    count to expect were the claim false (NaN where it cannot be said).
    """

    compared: int
    mismatches: int
    expected: float
    limit: int
    if_false: float
    verdict: Verdict
    why: str

    @property
    def share(self) -> float:
        """Share of the compared markers that contradict; NaN if none was compared."""
        return self.mismatches / self.compared if self.compared else float("nan")


def find_limit(compared: int, readings: int, error: float = READING_ERROR, alarm: float = FALSE_ALARM) -> int:
    """The count of contradicting markers that reading errors exceed with a chance of at most `alarm`.

    Parameters
    ----------
    compared
        Markers compared.
    readings
        Readings behind each marker: 2 for a pair, 3 for a cross and its two parents.
    error, alarm
        Chance that a reading is wrong; chance of refuting a true claim. Both above 0 and below 1.

    Raises
    ------
    InputRefused
        If `error` or `alarm` is out of range.

    Notes
    -----
    The upper `alarm` quantile of the binomial with chance 1 - (1 - error)^readings.

    Checked by
    ----------
    tests/science/test_marker_checks.py (binomial sums written out)
    """
    for name, value in (("error", error), ("alarm", alarm)):
        if not 0.0 < value < 1.0:
            raise refuse("chance_out_of_range", f"The {name} rate is {value:g}, not between 0 and 1.", "Correct it.")
    return int(binom.isf(alarm, compared, find_contradicting(readings, error))) if compared else 0


def find_contradicting(readings: int, error: float) -> float:
    """The chance that at least one of so many readings is wrong."""
    return float(1.0 - (1.0 - error) ** readings)


def compare_samples(
    one: Doses,
    other: Doses,
    frequency: NDArray[np.float64],
    error: float = READING_ERROR,
    alarm: float = FALSE_ALARM,
    segregating: float = 0.0,
) -> MarkerCheck:
    """Are two samples of one and the same line?

    Parameters
    ----------
    one, other
        Doses of the two samples, shape (p,).
    frequency
        Of the counted allele among all lines (p,): tells how often two unrelated inbred lines would differ.
    error, alarm
        As `find_limit`.
    segregating
        Share of the markers at which two plants of the line may still differ [0 to 1]: 0 for a finished inbred.

    Notes
    -----
    A marker contradicts where the two readings differ. If false: unrelated inbreds differ with chance 2 p (1-p), NaN
    frequencies left out. Sister lines differ less, which the limit still tells apart where markers are many.

    Checked by
    ----------
    tests/science/test_marker_checks.py
    """
    both = (one >= 0) & (other >= 0)
    compared = int(both.sum())
    mismatches = int((one[both] != other[both]).sum())
    chance = 1.0 - (1.0 - find_contradicting(2, error)) * (1.0 - segregating)
    find_limit(1, 2, error, alarm)
    limit = int(binom.isf(alarm, compared, chance)) if compared else 0
    differing = (2.0 * frequency * (1.0 - frequency))[both]
    return _judge(compared, mismatches, compared * chance, limit, differing, "the two are the same line")


def check_parent(
    parent: Doses,
    child: Doses,
    frequency: NDArray[np.float64],
    error: float = READING_ERROR,
    alarm: float = FALSE_ALARM,
) -> MarkerCheck:
    """Can this plant be a parent of that one? Counts opposing homozygotes.

    Parameters
    ----------
    parent, child
        Doses of the two (p,). Markers at which both are homozygous are compared.
    frequency
        Of the counted allele (p,): tells how often an unrelated inbred parent would oppose.
    error, alarm
        As `find_limit`.

    Notes
    -----
    A child holds one allele of its parent at every marker, so two different homozygotes contradict. This holds for a
    cross or testcross with it, or a line selfed from it; not for a line drawn from a cross with it, which keeps the
    parent's allele at half of the markers only (see `check_descent`). If false: an unrelated inbred opposes a
    homozygous child with the frequency of the other allele.

    References
    ----------
    Hayes 2011, J. Dairy Sci. 94:2114 (opposing homozygotes; the limit here is our own).

    Checked by
    ----------
    tests/science/test_marker_checks.py
    """
    both = _is_homozygous(parent) & _is_homozygous(child)
    mismatches = int((parent[both] != child[both]).sum())
    compared = int(both.sum())
    opposing = np.where(child == 0, frequency, 1.0 - frequency)[both]
    limit = find_limit(compared, 2, error, alarm)
    expected = compared * find_contradicting(2, error)
    return _judge(compared, mismatches, expected, limit, opposing, "this is its parent")


def check_descent(
    mother: Doses,
    father: Doses,
    child: Doses,
    frequency: NDArray[np.float64],
    error: float = READING_ERROR,
    alarm: float = FALSE_ALARM,
) -> MarkerCheck:
    """Can this line descend from a cross of these two, after any number of selfings or as a doubled haploid?

    Parameters
    ----------
    mother, father, child
        Doses (p,). Markers at which both parents are homozygous alike are compared.
    frequency
        Of the counted allele (p,): tells how often an unrelated inbred would carry the other one.
    error, alarm
        As `find_limit`.

    Notes
    -----
    Where both parents have one allele only, their descendants have no other. If false: an unrelated inbred differs
    with the frequency of the other allele. A line that shares one of the parents differs less.

    Checked by
    ----------
    tests/science/test_marker_checks.py
    """
    told = _is_homozygous(mother) & (mother == father) & (child >= 0)
    compared = int(told.sum())
    mismatches = int((child[told] != mother[told]).sum())
    foreign = np.where(mother == 0, frequency, 1.0 - frequency)[told]
    limit = find_limit(compared, 3, error, alarm)
    expected = compared * find_contradicting(3, error)
    return _judge(compared, mismatches, expected, limit, foreign, "it descends from a cross of these two")


def _is_homozygous(doses: Doses) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = (doses == 0) | (doses == 2)
    return found


def _judge(
    compared: int, mismatches: int, expected: float, limit: int, chances: NDArray[np.float64], claim: str
) -> MarkerCheck:
    """Weigh the count against the limit, and the limit against what a false claim would give."""
    known = chances[np.isfinite(chances)]
    if_false = float(known.mean() * compared) if len(known) else float("nan")
    counted = f"{mismatches} of {compared} markers contradict that {claim}"
    errors = f"reading errors explain {expected:.1f}, up to {limit}"
    if mismatches > limit:
        return MarkerCheck(compared, mismatches, expected, limit, if_false, "disagrees", f"{counted}; {errors}")
    chance = min(1.0, if_false / compared) if compared else 0.0
    if not compared or not np.isfinite(if_false) or binom.cdf(limit, compared, chance) > MISSED_SHARE:
        why = f"{counted}; {errors}; too few markers tell it from a false claim"
        return MarkerCheck(compared, mismatches, expected, limit, if_false, "cannot_tell", why)
    why = f"{counted}; {errors}; were it false, some {if_false:.0f} would"
    return MarkerCheck(compared, mismatches, expected, limit, if_false, "agrees", why)

"""What success and what set may be expected of a line, from its own notes and those of all lines?

A line with many pollinations speaks for itself; one with few leans on the programme. How much the programme lends is
learnt from how much its lines differ: where they hardly differ, their common mean is worth hundreds of pollinations,
where they differ widely, only a few.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import refuse
from firstsilk.science.nursery.counts import KERNELS_PER_EAR, SUCCESS_FRAC
from firstsilk.science.seed.pollinations import KERNELS_CV, EarRates

FEWEST_LINES = 5
"""Lines with records from which on it is learnt how much lines differ (a choice of ours)."""
POLLINATIONS_LENT, EARS_LENT = 20.0, 10.0
"""How many pollinations and ears the programme's mean counts for until then (a choice of ours)."""
MOST_LENT = 1000.0
"""Lines that do not seem to differ at all lend this much and no more (a choice of ours)."""
LEAST_LENT = 1.0
"""Lines that differ as widely as can be still lend one pollination, or one ear (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class LineCounts:
    """What became of a line's pollinations: how many, good ears of them, ears shelled, kernels of those ears."""

    line: str
    pollinations: int = 0
    good_ears: int = 0
    shelled_ears: int = 0
    kernels: int = 0


@dataclass(frozen=True, slots=True)
class ProgrammeRates:
    """The means of all lines, what they count for beside a line's own, and how many lines tell of each."""

    success_frac: float
    kernels_per_ear: float
    pollinations_lent: float
    ears_lent: float
    lines_pollinated: int
    lines_shelled: int
    kernels_cv: float = KERNELS_CV


def learn_programme(records: Sequence[LineCounts], kernels_cv: float = KERNELS_CV) -> ProgrammeRates:
    """The programme's means and how far its lines differ.

    Parameters
    ----------
    records
        One for each line. Lines without pollinations, or without shelled ears, tell nothing of success, or of set.
    kernels_cv
        Standard deviation of kernels per ear within a line, as a share of the mean.

    Returns
    -------
    ProgrammeRates
        The published mean lends its 20 pollinations and 10 ears to the programme's, so that there always is one.

    Raises
    ------
    InputRefused
        If a line has negative counts, more good ears than pollinations, or kernels without shelled ears.

    Notes
    -----
    Moments. Success of line i is x of n, p the mean weighted by n, N the sum of n, L the lines; the beta-binomial
    correlation is r = (S / pq - (L - 1)) / (N - sum n^2 / N - (L - 1)), S = sum n (x/n - p)^2, and the
    programme lends m = 1 / r - 1 pollinations. Set: T the sum of ears e, k the mean, c the spread within lines;
    S = sum e (k_i - k)^2 has the mean (L - 1) c^2 (k^2 + t^2) + t^2 (T - sum e^2 / T), which gives the variance t^2
    between lines; the mean kernels of a line are inverse gamma, and the programme lends c^2 (1 + k^2 / t^2) ears.
    Both stay within 1 and 1,000. With fewer than 5 lines 20 pollinations and 10 ears are lent.

    References
    ----------
    Kleinman 1973, Journal of the American Statistical Association 68:46.

    Checked by
    ----------
    tests/science/test_line_rates.py, against a slow greatest likelihood and against lines drawn by dice
    """
    for one in records:
        _check_counts(one)
    tries = [(one.good_ears, one.pollinations) for one in records if one.pollinations]
    sets = [(one.kernels, one.shelled_ears) for one in records if one.shelled_ears]
    return ProgrammeRates(
        _blend(tries, SUCCESS_FRAC, POLLINATIONS_LENT),
        _blend(sets, KERNELS_PER_EAR, EARS_LENT),
        _learn_success_weight(tries) if len(tries) >= FEWEST_LINES else POLLINATIONS_LENT,
        _learn_set_weight(sets, kernels_cv) if len(sets) >= FEWEST_LINES else EARS_LENT,
        len(tries),
        len(sets),
        kernels_cv,
    )


def rate_line(own: LineCounts, programme: ProgrammeRates) -> EarRates:
    """The rates to plan a line with: its own records, shrunk to the programme's mean where they are few.

    Parameters
    ----------
    own
        The line's own records; zeros where there are none.
    programme
        What `learn_programme` found.

    Returns
    -------
    EarRates
        success = (good + m p) / (pollinations + m), m what is lent; kernels per ear likewise. How much is behind both
        goes along, so that a line with few notes is planned with more pollinations.

    Raises
    ------
    InputRefused
        As `learn_programme`.

    Notes
    -----
    The means of the posterior: Beta for the success, inverse gamma for the mean kernels of an ear.

    Checked by
    ----------
    tests/science/test_line_rates.py
    """
    _check_counts(own)
    tried = own.pollinations + programme.pollinations_lent
    shelled = own.shelled_ears + programme.ears_lent
    return EarRates(
        (own.good_ears + programme.pollinations_lent * programme.success_frac) / tried,
        (own.kernels + programme.ears_lent * programme.kernels_per_ear) / shelled,
        programme.kernels_cv,
        tried,
        shelled,
    )


def _blend(counts: Sequence[tuple[int, int]], published: float, lent: float) -> float:
    """All lines together, with the published mean beside them."""
    return (sum(got for got, _ in counts) + lent * published) / (sum(of for _, of in counts) + lent)


def _spread(counts: Sequence[tuple[int, int]]) -> tuple[float, float, float]:
    """Mean of all, sum of squares of the lines about it, and how much a variance between lines adds to that sum."""
    total = sum(of for _, of in counts)
    mean = sum(got for got, _ in counts) / total
    squares = math.fsum(of * (got / of - mean) ** 2 for got, of in counts)
    return mean, squares, total - sum(of * of for _, of in counts) / total


def _learn_success_weight(tries: Sequence[tuple[int, int]]) -> float:
    mean, squares, between = _spread(tries)
    free = len(tries) - 1
    if mean in (0.0, 1.0) or between <= free:
        # All alike, or one pollination of each line: nothing tells lines apart.
        return POLLINATIONS_LENT
    correlation = (squares / (mean * (1 - mean)) - free) / (between - free)
    return _within_bounds(math.inf if correlation <= 0 else 1 / correlation - 1)


def _learn_set_weight(sets: Sequence[tuple[int, int]], cv: float) -> float:
    mean, squares, between = _spread(sets)
    free = len(sets) - 1
    if mean == 0.0:
        return EARS_LENT
    variance = (squares - free * (cv * mean) ** 2) / (between + free * cv**2)
    return _within_bounds(math.inf if variance <= 0 else cv**2 * (1 + mean**2 / variance))


def _within_bounds(lent: float) -> float:
    return min(MOST_LENT, max(LEAST_LENT, lent))


def _check_counts(one: LineCounts) -> None:
    if min(one.pollinations, one.good_ears, one.shelled_ears, one.kernels) < 0:
        raise refuse("count_negative", f"{one.line}: a count is negative", "Give 0 or more.")
    if one.good_ears > one.pollinations:
        told = f"{one.line}: {one.good_ears} good ears of {one.pollinations} pollinations"
        raise refuse("more_ears_than_pollinated", told, "Look whether ears of a neighbour row are among them.")
    if one.kernels and not one.shelled_ears:
        raise refuse("kernels_of_no_ear", f"{one.line}: {one.kernels} kernels of no ear", "Give the ears shelled.")

"""Do the replicates of a germination test differ more than chance allows?

Where they do, something went wrong with the test: seeds miscounted, one paper too wet, one too dry. It is made again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import refuse

SEEDS_OF_A_REPLICATE = 100
_HIGHEST = (
    99,
    98,
    97,
    96,
    95,
    94,
    93,
    92,
    91,
    90,
    89,
    88,
    87,
    86,
    85,
    84,
    83,
    82,
    81,
    80,
    79,
    78,
    77,
    76,
    75,
    74,
    73,
    72,
    71,
)
_OF_4 = (5, 6, 7, 8, 9, 10, 10, 11, 11, 12, 12, 13, 13, 14, 14, 14, 15, 15, 15, 16, 16, 16, 17, 17, 17, 17, 17, 18, 18)
_OF_2 = (0, 0, 6, 6, 7, 8, 8, 9, 9, 9, 10, 10, 11, 11, 11, 11, 12, 12, 12, 13, 13, 13, 13, 13, 14, 14, 14, 14, 14)
RANGES = {
    4: dict(zip(_HIGHEST, _OF_4, strict=True)),
    2: {mean: most for mean, most in zip(_HIGHEST, _OF_2, strict=True) if most},
}
"""Largest range between 100-seed replicates [seeds], by mean germination [%]; the same for the mean of those that did
not germinate. US 7 CFR 201.55, whose rows for means of 51 to 70 are not held here."""


@dataclass(frozen=True, slots=True)
class ReplicateCheck:
    """Mean of the replicates [%, rounded], their range [seeds], the largest that is tolerated (None: no row of the
    table), and a sentence where the test is to be made again or could not be judged; empty if all is well."""

    mean_percent: int
    range_seeds: int
    most: int | None
    caution: str

    @property
    def is_to_repeat(self) -> bool:
        """Whether the replicates differ more than is tolerated."""
        return self.most is not None and self.range_seeds > self.most


def check_replicates(germinated: Sequence[int]) -> ReplicateCheck:
    """Hold the replicates of a germination test against the table.

    Parameters
    ----------
    germinated
        Seeds that germinated of each replicate of 100 seeds; two or four replicates.

    Returns
    -------
    ReplicateCheck
        `most` is None where the table has no row: a mean of 0 or 100 %, of 30 to 70 %, of 98 % and more with two
        replicates, or another number of replicates.

    Raises
    ------
    InputRefused
        If a replicate has fewer than 0 or more than 100 germinated seeds, or there is none.

    Notes
    -----
    The mean is rounded to a whole percent, halves up. Replicates of other sizes are not in the table.

    References
    ----------
    US Code of Federal Regulations, Title 7, section 201.55 (a), public domain.

    Checked by
    ----------
    tests/outside/test_replicates_published.py
    """
    if not germinated or any(not 0 <= one <= SEEDS_OF_A_REPLICATE for one in germinated):
        told = f"{', '.join(map(str, germinated)) or 'no'} of 100 seeds cannot have germinated."
        raise refuse("germination_counts", told, "Give how many of each 100 seeds germinated, as 92 95 90 94.")
    mean = (2 * sum(germinated) + len(germinated)) // (2 * len(germinated))
    spread = max(germinated) - min(germinated)
    most = RANGES.get(len(germinated), {}).get(max(mean, SEEDS_OF_A_REPLICATE - mean))
    if most is None:
        return ReplicateCheck(mean, spread, None, "" if spread == 0 else _tell_unjudged(len(germinated), mean))
    if spread <= most:
        return ReplicateCheck(mean, spread, most, "")
    told = f"The replicates differ more than chance allows ({spread} seeds, {most} at most): test again."
    return ReplicateCheck(mean, spread, most, told)


def _tell_unjudged(count: int, mean: int) -> str:
    if count not in RANGES:
        return f"{count} replicates are not held against each other: the table is for two and for four."
    return f"The replicates are not held against each other: the table has no row for a mean of {mean} %."

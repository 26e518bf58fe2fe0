"""Is this hybrid the cross of these two, and if not, what is it more likely?

At a marker where both parents are homozygous the hybrid is known: their common homozygote, or heterozygous where they
differ. What stands there instead tells what went wrong in the field: silks that saw the row's own pollen give a self of
the mother, a swapped packet another father.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.lineage.marker_checks import (
    FALSE_ALARM,
    READING_ERROR,
    Verdict,
    check_descent,
    check_parent,
    compare_samples,
    find_contradicting,
    find_limit,
)
from firstsilk.science.lineage.markers import Doses

LEAST_TELLING = 20
"""Markers at which the parents must differ before a hybrid is called theirs: ours. At 20, a self of the mother has
20 homozygotes where the limit at an error of 0.01 is 4."""

_LIKELIER = {
    "self_of_mother": "It looks like the mother herself: a self, or the mother's seed in its packet.",
    "self_of_father": "It looks like the father: the father's seed in its packet, or the ear was the father's.",
    "other_father": "It can be the mother's child, but not this father's: other pollen, or another ear's packet.",
    "other_mother": "It can be the father's child, but not this mother's: another row's ear.",
    "unclear": "It can be a child of each of them alone: too few markers tell what it is instead.",
    "neither": "It can be a child of neither: a swapped sample or packet.",
    "later_generation": "It holds alleles of these two only, but is not their first cross: a self or sib of it.",
    "": "",
}


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """Whether a hybrid is the cross of two parents, from markers at which both parents are homozygous.

    `compared` markers, of which the parents differ at `telling`; there the hybrid is `heterozygous`, `like_mother` or
    `like_father`; at the others it has a `foreign` allele. `expected` and `limit` as in `MarkerCheck`; `likelier` is
    what it looks like if the claim fails, a word of a closed list.
    """

    compared: int
    telling: int
    heterozygous: int
    like_mother: int
    like_father: int
    foreign: int
    mismatches: int
    expected: float
    limit: int
    verdict: Verdict
    likelier: str
    why: str


def check_cross(
    mother: Doses,
    father: Doses,
    hybrid: Doses,
    frequency: NDArray[np.float64],
    error: float = READING_ERROR,
    alarm: float = FALSE_ALARM,
) -> CrossCheck:
    """Is this hybrid the first cross of these two parents?

    Parameters
    ----------
    mother, father, hybrid
        Doses (p,). Markers at which both parents are homozygous and the hybrid was read are compared.
    frequency
        Of the counted allele (p,), for what an unrelated parent would give.
    error, alarm
        As `find_limit`.

    Returns
    -------
    CrossCheck
        `agrees`, `disagrees`, or `cannot_tell` where the parents differ at fewer than 20 markers compared.

    Notes
    -----
    Expected dose = (mother + father) / 2. Contradictions are judged over all markers compared and, against a self of
    the mother that few markers would tell, over those where the parents differ; either refutes. The limits take
    chance `alarm` / 2 each.

    Checked by
    ----------
    tests/science/test_marker_checks.py
    """
    told = (mother >= 0) & (mother != 1) & (father >= 0) & (father != 1) & (hybrid >= 0)
    differ = told & (mother != father)
    compared, telling = int(told.sum()), int(differ.sum())
    wrong = told & (2 * hybrid.astype(np.int16) != mother.astype(np.int16) + father)
    mismatches = int(wrong.sum())
    limit = find_limit(compared, 3, error, alarm / 2.0)
    telling_limit = find_limit(telling, 3, error, alarm / 2.0)
    refuted = mismatches > limit or int((wrong & differ).sum()) > telling_limit
    verdict = "disagrees" if refuted else "cannot_tell" if telling < LEAST_TELLING else "agrees"
    likelier = _find_likelier(mother, father, hybrid, frequency, error, alarm) if refuted else ""
    expected = compared * find_contradicting(3, error)
    why = (
        f"{mismatches} of {compared} markers contradict the cross; reading errors explain {expected:.1f}, up to {limit}"
    )
    why += f"; the parents differ at {telling}"
    if verdict == "cannot_tell":
        why += f", fewer than the {LEAST_TELLING} that are needed"
    return CrossCheck(
        compared,
        telling,
        int((differ & (hybrid == 1)).sum()),
        int((differ & (hybrid == mother)).sum()),
        int((differ & (hybrid == father)).sum()),
        mismatches - int((wrong & differ).sum()),
        mismatches,
        expected,
        limit,
        verdict,
        likelier,
        f"{why}. {_LIKELIER[likelier]}".strip(),
    )


def _find_likelier(
    mother: Doses, father: Doses, hybrid: Doses, frequency: NDArray[np.float64], error: float, alarm: float
) -> str:
    """What a hybrid that is not the cross looks like."""
    for parent, word in ((mother, "self_of_mother"), (father, "self_of_father")):
        if compare_samples(parent, hybrid, frequency, error, alarm).verdict == "agrees":
            return word
    if check_descent(mother, father, hybrid, frequency, error, alarm).verdict == "agrees":
        return "later_generation"
    of_mother, of_father = (
        check_parent(parent, hybrid, frequency, error, alarm).verdict != "disagrees" for parent in (mother, father)
    )
    if of_mother != of_father:
        return "other_father" if of_mother else "other_mother"
    return "unclear" if of_mother else "neither"

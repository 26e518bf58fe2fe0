"""What do the books claim of a line that its markers can bear out or refute?"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.records.models import Line
from firstsilk.science.lineage.markers import Doses
from firstsilk.work.lineage.ancestry import Books
from firstsilk.work.lineage.generations import FIXED_METHODS, count_selfings

MOST_STEPS = 60
DIFFERING_SHARE = 0.625
"""Two selfs of one plant differ at so many of the markers at which it is heterozygous: 1 - (1/16 + 1/4 + 1/16)."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Origin:
    """The cross that a line descends from, as far as the books tell, and how often it was selfed since.

    `mother` and `father` are numbers in the books, None if not known; `selfings` is None for a line without any
    heterozygosity left, and -1 where the books do not tell. `is_first_cross` if it is the cross itself.
    """

    mother: int | None
    father: int | None
    selfings: int | None
    is_first_cross: bool


def find_origin(line: Line, books: Books) -> Origin:
    """Walk back through selfs and doubled haploids to the cross behind a line."""
    at, doubled = line, False
    for _ in range(MOST_STEPS):
        if at.method not in ("self", "dh"):
            break
        doubled |= at.method == "dh"
        mother = books.get_parent(at.mother_id)
        if mother is None:
            break
        at = mother
    mother, father = (books.get_parent(one) for one in (at.mother_id, at.father_id))
    known = at.method == "cross" and mother is not None and father is not None
    one, other = (mother.pk, father.pk) if known and mother and father else (None, None)
    first = at.pk == line.pk and at.method == "cross"
    return Origin(one, other, None if doubled else _count(line, at, books), first)


def _count(line: Line, last: Line, books: Books) -> int | None:
    """Selfings since the last cross, None for a fixed founder, -1 where the books do not say."""
    if line.method == "cross" or re.fullmatch(r"(?:BC\d+)?[SF]\d+", line.generation.strip(), re.ASCII):
        return count_selfings(line, books)
    if line.method in FIXED_METHODS:
        return None
    return count_selfings(line, books) if line.method == "self" and last.method == "cross" else -1


def expect_first_cross(mother: Doses, father: Doses) -> Numbers:
    """Chance that the cross of two read plants is heterozygous at each marker (p,); NaN where one was not read.

    Notes
    -----
    m (1 - f) + f (1 - m) with m and f the shares of the counted allele: 1 for unlike homozygotes, 0 for like ones.
    """
    one, other = mother / 2.0, father / 2.0
    chance: Numbers = one * (1.0 - other) + other * (1.0 - one)
    chance[(mother < 0) | (father < 0)] = np.nan
    return chance


def share_still_differing(first_cross: Numbers, selfings: int | None) -> float:
    """Share of the markers at which two plants of a line may be expected to differ [0 to 1].

    Notes
    -----
    Plants of a line selfed t times descend from one that was selfed t - 1 times: 0.625 of what that still held.
    """
    if selfings is None or selfings < 0:
        return 0.0
    mean = float(np.nanmean(first_cross)) if np.isfinite(first_cross).any() else 0.0
    return DIFFERING_SHARE * mean * 0.5 ** max(0, selfings - 1)

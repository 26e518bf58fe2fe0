"""What do the books claim of a line that its markers can bear out or refute?"""

from __future__ import annotations

import re
from dataclasses import dataclass

from firstsilk.records.models import Line
from firstsilk.work.lineage.ancestry import Books
from firstsilk.work.lineage.generations import FIXED_METHODS, count_selfings

MOST_STEPS = 60


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

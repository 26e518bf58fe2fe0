"""How far is a line selfed, and is it fixed?"""

from __future__ import annotations

from collections.abc import Mapping

from firstsilk.records.models import Line
from firstsilk.science.lineage.labels import read_generation

FIXED_SELFINGS = 6
"""From this many selfings on a line counts as fixed, so that selfing it again only makes more of it: 1.6 % of loci
still segregate (1/2^6; common practice, no source, has 6 to 8)."""
FIXED_METHODS = ("dh", "founder_inbred")


def count_selfings(line: Line, lines: Mapping[int, Line] | None = None) -> int:
    """Selfings since the last cross: from the generation written (S2, F4), else counted back through the mothers.

    Parameters
    ----------
    line
        The line asked about.
    lines
        The lines of the books by number, for walking back; a mother not among them ends the walk. Without them the
        books are asked for each mother.

    Notes
    -----
    F1 is a cross unselfed, so F4 has 3 selfings; the plants of S0 are unselfed.
    """
    written = read_generation(line.generation)
    if written is not None and written.series in ("S", "F"):
        return written.selfings or 0
    count, at, steps = 0, line, 0
    while at.method == "self" and steps < 50:
        count += max(1, at.selfings)
        steps += 1
        mother = at.mother if lines is None else lines.get(at.mother_id or 0)
        if mother is None:
            break
        at = mother
    return count


def is_fixed(line: Line, lines: Mapping[int, Line] | None = None) -> bool:
    """Whether further selfing would change little: doubled haploid, inbred founder, or selfed often enough."""
    return line.method in FIXED_METHODS or count_selfings(line, lines) >= FIXED_SELFINGS

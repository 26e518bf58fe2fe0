"""How far is a line selfed, and is it fixed?"""

from __future__ import annotations

import re

from firstsilk.records.models import Line

FIXED_SELFINGS = 6
"""From this many selfings on a line counts as fixed: 1.6 % of loci still segregate (1/2^6)."""
FIXED_METHODS = ("dh", "founder_inbred")


def count_selfings(line: Line, lines: dict[int, Line]) -> int:
    """Selfings since the last cross: from the generation written (S2, F4), else counted back through the mothers.

    Parameters
    ----------
    line
        The line asked about.
    lines
        The lines of the books by number, for walking back; a mother not among them ends the walk.

    Notes
    -----
    F1 is a cross unselfed, so F4 has 3 selfings; the plants of S0 are unselfed.
    """
    written = re.fullmatch(r"(?:BC\d+)?(S|F)(\d+)", line.generation.strip(), re.ASCII)
    if written:
        return max(0, int(written[2]) - (1 if written[1] == "F" else 0))
    count, at, steps = 0, line, 0
    while at.method == "self" and steps < 50:
        count += max(1, at.selfings)
        steps += 1
        mother = lines.get(at.mother_id) if at.mother_id else None
        if mother is None:
            break
        at = mother
    return count


def is_fixed(line: Line, lines: dict[int, Line]) -> bool:
    """Whether further selfing would change little: doubled haploid, inbred founder, or selfed often enough."""
    return line.method in FIXED_METHODS or count_selfings(line, lines) >= FIXED_SELFINGS

"""How closely are these lines related, going by the pedigrees in the books?"""

from __future__ import annotations

from collections.abc import Sequence

from firstsilk.records.models import Line
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.members import ONE_PARENT, Member


def find_line_coancestry(lines: Sequence[Line], books: dict[int, Line]) -> dict[tuple[str, str], float]:
    """Coancestry of every pair of these lines [0 to 1], from their ancestors in the books.

    Parameters
    ----------
    lines
        The lines asked about.
    books
        All lines of the station by the books' number.

    Raises
    ------
    InputRefused
        If the books hold no pedigree that can be worked through.
    """
    wanted: dict[int, Line] = {}
    waiting = list(lines)
    while waiting:
        line = waiting.pop()
        if line.pk in wanted:
            continue
        wanted[line.pk] = line
        waiting += [books[parent] for parent in (line.mother_id, line.father_id) if parent in books]
    kinship = find_coancestry([_member(line, books) for line in wanted.values()])
    place = {name: at for at, name in enumerate(kinship.lines)}
    return {
        (one.name, two.name): float(kinship.coancestry[place[one.name], place[two.name]])
        for one in lines
        for two in lines
    }


def _member(line: Line, books: dict[int, Line]) -> Member:
    """The line as the pedigree wants it; one whose mother is not known stands as a founder."""
    mother = books[line.mother_id].name if line.mother_id in books else ""
    father = books[line.father_id].name if line.father_id in books else ""
    if line.method in ("founder", "founder_inbred"):
        return Member(line.name, line.method)
    if line.method != "cross" and not mother:
        return Member(line.name, "founder_inbred" if line.method == "dh" else "founder")
    if line.method in (*ONE_PARENT, "open"):
        father = ""
    return Member(line.name, line.method, mother, father, max(1, line.selfings) if line.method == "self" else 1)

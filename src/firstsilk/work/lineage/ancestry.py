"""From whom does a line come, going by the records, and how is it related to others?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.records.models import Line, Station
from firstsilk.science.lineage.kinship import Kinship, find_coancestry
from firstsilk.science.lineage.members import FOUNDERS, ONE_PARENT, Member
from firstsilk.work.standing import read_kept

TREE_DEPTH = 5
"""Generations of ancestors drawn; the one where drawing stops says so."""


class Books(dict[int, Line]):
    """All lines of a station by the books' number, read as they stand: who was merged away is the one who was kept.

    `kept` gives the number of the line that a record merged away stands for; parents are read through it.
    """

    kept: dict[int, int]

    def __init__(self, lines: Iterable[Line] = (), kept: Mapping[int, int] | None = None) -> None:
        super().__init__((line.pk, line) for line in lines)
        self.kept = dict(kept or {})

    def get_standing(self, line: Line) -> Line:
        """The line that this record stands for: itself, unless it was merged into another."""
        kept = self.kept.get(line.pk)
        return line if kept is None else self.get(kept, line)

    def tell_kept(self) -> dict[str, str]:
        """The name of the line kept for each record merged away, by that record's name."""
        return {self[gone].name: self[kept].name for gone, kept in self.kept.items() if gone in self}

    def drop_gone(self) -> dict[str, str]:
        """Leave out the records merged away; return the name of the line that stands for each, by the record's."""
        standing = self.tell_kept()
        for gone in self.kept:
            self.pop(gone, None)
        return standing

    def see_through(self, lines: Iterable[Line]) -> None:
        """Let parents that were merged away be the line kept, in what is read here; do not save these records."""
        for line in lines if self.kept else ():
            line.mother_id = self.kept.get(line.mother_id or 0, line.mother_id)
            line.father_id = self.kept.get(line.father_id or 0, line.father_id)

    def find_records(self, numbers: Iterable[int]) -> set[int]:
        """These records and those merged into them, by number."""
        wanted = set(numbers)
        return wanted | {gone for gone, stands in self.kept.items() if stands in wanted}

    def get_parent(self, number: int | None) -> Line | None:
        """The line that stands for the parent of this number; None if it is not known."""
        return self.get(self.kept.get(number or 0, number or 0))


@dataclass(frozen=True, slots=True)
class Ancestor:
    """One line in the tree of another's ancestors: how it was made, its parents, and whether more stand behind it.

    The one parent of a self, sib or doubled haploid is its `female`.
    """

    name: str
    how: str
    group: str
    generation: str
    female: Ancestor | None = None
    male: Ancestor | None = None
    is_cut: bool = False


def read_books(station: Station, day: date | None = None) -> Books:
    """All lines of the station by number, with the merges that stood on a day, those that stand if none is given.

    Notes
    -----
    In what is read here, parents that were merged away are replaced by the line kept. Do not save these records: the
    books keep the parents as they were written.
    """
    kept = read_kept(station, day)
    return _read_through(Books(Line.objects.filter(station=station), kept))


def read_family(station: Station, numbers: Iterable[int], kept: Mapping[int, int]) -> Books:
    """Some lines and everything they come from, as `read_books` reads them but nothing else.

    Parameters
    ----------
    station
        Whose books.
    numbers
        The lines, by the books' number; records merged into them are to be named too where they are wanted.
    kept
        The merges that count, as `read_kept` gives them.

    Notes
    -----
    One question, and one more for each step by which merges lead to further ancestors.
    """
    books = Books((), kept)
    asked = set(numbers)
    while asked:
        books.update((line.pk, line) for line in _read_upwards(station, sorted(asked)))
        asked = {kept[pk] for pk in (*asked, *books) if pk in kept} - books.keys()
    return _read_through(books)


_UPWARDS = """
WITH RECURSIVE up(id) AS (
    SELECT id FROM {table} WHERE id IN ({marks}) AND station_id = %s
    UNION SELECT parent.id FROM up JOIN {table} child ON child.id = up.id
    JOIN {table} parent ON parent.id = child.mother_id OR parent.id = child.father_id
) SELECT * FROM {table} WHERE id IN (SELECT id FROM up)
"""


def _read_upwards(station: Station, numbers: Sequence[int]) -> list[Line]:
    """These lines and all lines above them, as they are written."""
    marks = ", ".join(["%s"] * len(numbers))
    return list(Line.objects.raw(_UPWARDS.format(table=Line._meta.db_table, marks=marks), [*numbers, station.pk]))


def _read_through(books: Books) -> Books:
    books.see_through(books.values())
    return books


def tell_method(line: Line) -> str:
    """How a line was made, in words."""
    if line.method == "self":
        times = max(1, line.selfings)
        return "selfed" if times == 1 else f"selfed {times} times"
    return {
        "founder": "founder",
        "founder_inbred": "inbred founder",
        "cross": "cross",
        "sib": "sib within the family",
        "dh": "doubled haploid",
        "bulk": "bulk",
        "open": "open-pollinated",
    }[line.method]


def draw_tree(line: Line, books: Books, depth: int = TREE_DEPTH) -> Ancestor:
    """The tree of a line's ancestors, so many generations deep."""
    mother, father = find_parents(line, books)
    known = [parent for parent in (mother, father) if parent]
    if not known or depth == 0:
        return Ancestor(line.name, tell_method(line), line.group, line.generation, is_cut=bool(known))
    return Ancestor(
        line.name,
        tell_method(line),
        line.group,
        line.generation,
        female=draw_tree(mother, books, depth - 1) if mother else None,
        male=draw_tree(father, books, depth - 1) if father else None,
    )


def find_parents(line: Line, books: Books) -> tuple[Line | None, Line | None]:
    """Mother and father of a line as kinship takes them: one parent named once, no father of an open pollination."""
    if line.method in FOUNDERS:
        return None, None
    mother = books.get_parent(line.mother_id)
    father = books.get_parent(line.father_id) if line.method in ("cross", "bulk") else None
    return mother, father


def collect_ancestors(lines: Iterable[Line], books: Books) -> list[Line]:
    """These lines and everything they come from, each once."""
    found: dict[int, Line] = {}
    waiting = [books.get_standing(line) for line in lines]
    while waiting:
        line = waiting.pop()
        if line.pk not in found:
            found[line.pk] = line
            waiting += [parent for parent in find_parents(line, books) if parent]
    return list(found.values())


def find_kinship(lines: Iterable[Line], books: Books) -> Kinship:
    """Inbreeding and coancestry of these lines and all their ancestors, from the records.

    Raises
    ------
    InputRefused
        If the records hold no pedigree that can be worked through.
    """
    return find_coancestry([as_member(line, books) for line in collect_ancestors(lines, books)])


def find_line_coancestry(lines: Sequence[Line], books: Books) -> dict[tuple[str, str], float]:
    """Coancestry of every pair of these lines [0 to 1], each with itself too, from their ancestors in the books.

    Raises
    ------
    InputRefused
        If the books hold no pedigree that can be worked through.
    """
    kinship = find_kinship(lines, books)
    place = {name: at for at, name in enumerate(kinship.lines)}
    at = {line.pk: place[books.get_standing(line).name] for line in lines}
    return {(one.name, two.name): float(kinship.coancestry[at[one.pk], at[two.pk]]) for one in lines for two in lines}


def as_member(line: Line, books: Books) -> Member:
    """The line as the pedigree wants it; one whose mother is not known stands as a founder."""
    mother, father = find_parents(line, books)
    if line.method in FOUNDERS:
        return Member(line.name, line.method)
    if line.method != "cross" and mother is None:
        return Member(line.name, "founder_inbred" if line.method == "dh" else "founder")
    return Member(
        line.name,
        line.method,
        mother.name if mother else "",
        father.name if father and line.method not in ONE_PARENT else "",
        max(1, line.selfings) if line.method == "self" else 1,
    )

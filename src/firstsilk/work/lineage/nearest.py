"""Who is closest kin to a line, in books of any size?

Nobody is kin who shares no ancestor, and no line is closer to another than the closest of its own parents, that other
line's ancestors apart. So the search begins at the ancestors and goes down from the closest line found so far: it may
stop as soon as what is left cannot be closer, and reads a few hundred lines of a book of any number.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Sequence

from django.db.models import Exists, OuterRef, Q

from firstsilk.records.models import Line, Station
from firstsilk.science.lineage.kinship import Kinship, find_coancestry
from firstsilk.science.lineage.members import FAMILY_METHODS, Member
from firstsilk.work.lineage.ancestry import Books, as_member, collect_ancestors, find_parents, read_family

MOST_LOOKED_AT = 2_000
"""Relatives looked at while a page waits. Our own bound."""
AT_ONCE = 200
"""Lines whose progeny is asked for at once. Our own bound."""
_FURTHER = "further plant of "

FreeSeed = Callable[[Sequence[Line]], dict[int, int]]
"""Free kernels of lines, by the books' number; those without are left out."""


class Nearest:
    """The search from one line.

    `inbreeding` [0 to 1] is the line's own; `looked_at` counts the relatives found, `is_cut` says that there were more
    than `MOST_LOOKED_AT`.

    Raises
    ------
    InputRefused
        If the line's own pedigree cannot be worked through.

    Notes
    -----
    Coancestry follows the rules of `kinship`: for a line that is no ancestor of the one asked about, the mean of its
    parents', or that of a further plant of the family. Exact; checked against the table of all pairs by
    tests/properties/test_nearest_kin_laws.py.
    """

    def __init__(self, station: Station, line: Line, books: Books) -> None:
        self.station, self.line, self.books = station, line, books
        own = collect_ancestors([line], books)
        kinship = _reckon_own(own, books)
        place = {name: at for at, name in enumerate(kinship.lines)}
        row = kinship.coancestry[place[line.name]]
        self.inbreeding = float(kinship.inbreeding[place[line.name]])
        self.close = {one.pk: float(row[place[one.name]]) for one in own}
        further = {one.pk: place.get(_FURTHER + one.name) for one in own}
        self.further = {pk: float(row[at]) for pk, at in further.items() if at is not None}
        self.seen = set(self.close)
        self.is_cut = False

    @property
    def looked_at(self) -> int:
        """Relatives found so far."""
        return len(self.seen) - 1

    def find(self, wanted: int, free_seed: FreeSeed) -> list[tuple[Line, float, int]]:
        """The closest lines with free seed, so many at most: line, coancestry, free kernels; sorted, ties by name.

        Where more lines are as close as the last of them, those are told that were found first.
        """
        heap = [(-value, pk) for pk, value in self.close.items()]
        heapq.heapify(heap)
        found: list[tuple[Line, float, int]] = []
        waiting: list[Line] = []
        while heap:
            batch = _take_batch(heap)
            waiting += [one for one in (self.books[pk] for pk in batch) if one.kind == "line" and one != self.line]
            for child in [] if self.is_cut else self._read_progeny(batch):
                heapq.heappush(heap, (-self._find_close(child), child.pk))
            if len(waiting) >= wanted or not heap:
                found = _keep_closest([*found, *self._weigh(waiting, free_seed)], wanted)
                waiting = []
                if len(found) == wanted and (not heap or found[-1][1] >= -heap[0][0]):
                    break
        return found

    def _weigh(self, lines: Sequence[Line], free_seed: FreeSeed) -> list[tuple[Line, float, int]]:
        free = free_seed(lines)
        return [(one, self.close[one.pk], free[one.pk]) for one in lines if one.pk in free and self.close[one.pk] > 0.0]

    def _read_progeny(self, parents: Sequence[int]) -> list[Line]:
        """Lines made from these and not seen before, with all their ancestors; hybrids only if more came of them."""
        same = self.books.find_records(parents)
        made = Exists(Line.objects.filter(Q(mother=OuterRef("pk")) | Q(father=OuterRef("pk"))))
        # The parents are the station's own, and so are these: naming it would have the database go through all lines.
        told = Line.objects.filter(Q(mother__in=same) | Q(father__in=same)).filter(Q(kind="line") | made)
        most = max(0, MOST_LOOKED_AT - len(self.seen))
        asked = told.order_by("pk").values_list("pk", flat=True)[: MOST_LOOKED_AT + 1]
        numbers = [pk for pk in asked if pk not in self.seen and pk not in self.books.kept]
        if len(numbers) > most:
            self.is_cut, numbers = True, numbers[:most]
        self.seen.update(numbers)
        lacking = [pk for pk in numbers if pk not in self.books]
        self.books.update(read_family(self.station, lacking, self.books.kept) if lacking else {})
        return [self.books[pk] for pk in numbers]

    def _find_close(self, line: Line) -> float:
        """Coancestry with the line asked about, from that of the parents; without recursion, as pedigrees are deep."""
        path = [line]
        on_path = {line.pk}
        while path:
            at = path[-1]
            unknown = [one for one in find_parents(at, self.books) if one and one.pk not in self.close]
            unknown = [one for one in unknown if one.pk not in on_path]
            if unknown:
                path.append(unknown[0])
                on_path.add(unknown[0].pk)
                continue
            self.close[at.pk] = self._derive(at)
            on_path.discard(path.pop().pk)
        return self.close[line.pk]

    def _derive(self, line: Line) -> float:
        mother, father = find_parents(line, self.books)
        in_family = line.method in FAMILY_METHODS
        of_mother = self._tell_close(mother, in_family)
        if line.method == "open":
            return of_mother / 2.0
        if line.method == "cross" or (line.method == "bulk" and mother and father):
            return (of_mother + self._tell_close(father, in_family)) / 2.0
        return of_mother

    def _tell_close(self, parent: Line | None, in_family: bool) -> float:
        """What is known of a parent, or of a further plant of its family; who is not known is no kin."""
        if parent is None:
            return 0.0
        close = self.close.get(parent.pk, 0.0)
        return self.further.get(parent.pk, close) if in_family else close


def _reckon_own(own: Sequence[Line], books: Books) -> Kinship:
    """Coancestry of a line's ancestors and, for each of them, of a further plant of its family."""
    members = [as_member(one, books) for one in own]
    families = [one for one in members if one.method != "founder"]
    further = [Member(_FURTHER + one.line, "sib", one.line) for one in families]
    return find_coancestry([*members, *further])


def _take_batch(heap: list[tuple[float, int]]) -> list[int]:
    """The closest, with those at least half as close, so many at most: fewer questions than one closeness at a time."""
    least = heap[0][0] / 2.0
    batch: list[int] = []
    while heap and heap[0][0] <= least and len(batch) < AT_ONCE:
        batch.append(heapq.heappop(heap)[1])
    return batch


def _keep_closest(found: Iterable[tuple[Line, float, int]], wanted: int) -> list[tuple[Line, float, int]]:
    return sorted(found, key=lambda one: (-one[1], one[0].name))[:wanted]

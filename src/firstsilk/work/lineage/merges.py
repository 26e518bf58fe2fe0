"""Which two records were found to be one line, and how is that written down or taken back?

Nothing is rewritten: both records stay with their histories, and a merge says which of them stands for both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Q

from firstsilk.answers import InputRefused, Refusal, refuse
from firstsilk.records.models import Account, Line, LineMerge, Role, Station
from firstsilk.work.lineage.ancestry import Books, read_books, tell_method
from firstsilk.work.lineage.generations import FIXED_METHODS
from firstsilk.work.lineage.lines import LineFacts, tell_lines
from firstsilk.work.lineage.timeline import MergeEvent
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_line, get_station
from firstsilk.work.standing import merges_on

LONGEST_REASON = 400


@dataclass(frozen=True, slots=True)
class MergeFacts:
    """One merge: the line kept, the record gone, why, when and by whom; and the same of its undoing, if undone."""

    kept: str
    gone: str
    reason: str
    merged_on: date
    merged_by: str
    undone_on: date | None = None
    undone_by: str = ""


@dataclass(frozen=True, slots=True)
class Difference:
    """A fact in which two records contradict each other: what it is, and what each of them says."""

    what: str
    kept: str
    gone: str

    def as_text(self) -> str:
        """The difference as part of a sentence."""
        return f"{self.what} ({self.kept}, {self.gone})"


@dataclass(frozen=True, slots=True)
class MergeSides:
    """Two records side by side before a merge: what each is, in what they contradict, and why it cannot be, if so."""

    kept: LineFacts
    gone: LineFacts
    differences: tuple[Difference, ...]
    no: Refusal | None
    basis: Basis


@dataclass(frozen=True, slots=True)
class Merged:
    """A merge as written down, with the facts in which the two records contradict each other."""

    merge: MergeFacts
    differences: tuple[Difference, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class MergeList:
    """Merges, the newest last, and what the answer rests on."""

    merges: tuple[MergeFacts, ...]
    basis: Basis


def merge_lines(on: Occasion, kept: str, gone: str, reason: str = "") -> Merged:
    """Write down that two records are one line: `kept` stands for both from this day on.

    Parameters
    ----------
    on
        The occasion; `who` must be a breeder, or ``command``.
    kept, gone
        The two records, by any of their names.
    reason
        How it was found out; needed where the records contradict each other.

    Raises
    ------
    InputRefused
        If the two are one record, one of them is merged away already, one comes from the other (naming the loop), they
        are the parents of one cross and not fixed, or they contradict each other and no reason is given.

    Notes
    -----
    Checked by tests/work/test_line_merges.py and tests/properties/test_merge_laws.py.
    """
    _check_person(on)
    with transaction.atomic():
        # Two who merge at once: the second waits, and then finds the merge of the first.
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        one, two = get_line(station, kept), get_line(station, gone)
        books = read_books(station)
        _check_pair(one, two, books)
        differences = tuple(_find_differences(books[one.pk], books[two.pk], books))
        why = _check_reason(reason, one, two, differences)
        made = LineMerge.objects.create(
            station=station, kept=one, gone=two, reason=why, merged_on=on.today, merged_by=on.who
        )
    return Merged(_tell(made), differences, Basis((("records", 2),)))


def undo_merge(on: Occasion, gone: str) -> MergeFacts:
    """Take a merge back: from this day on both records stand by themselves again.

    Parameters
    ----------
    on
        The occasion; `who` must be a breeder, or ``command``.
    gone
        The record that was merged away.

    Raises
    ------
    InputRefused
        If it is not merged away, or was merged on a later day than this.

    Notes
    -----
    The merge stays in the books with the day on which it was undone.
    """
    _check_person(on)
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        line = get_line(station, gone)
        merge = merges_on(station).filter(gone=line).select_related("kept", "gone").first()
        if merge is None:
            raise refuse("not_merged", f"{line.name} is not merged into another line.", "Name the record merged away.")
        if merge.merged_on > on.today:
            told = f"{line.name} was merged on {merge.merged_on}, after {on.today}."
            raise refuse("merged_later", told, "Undo it on that day or later.")
        merge.undone_on, merge.undone_by = on.today, on.who
        merge.save(update_fields=["undone_on", "undone_by"])
    return _tell(merge)


def compare_records(on: Occasion, kept: str, gone: str) -> MergeSides:
    """Two records side by side, before they are merged; nothing is written.

    Raises
    ------
    InputRefused
        If one of them is not in the books.
    """
    station = get_station(on.station)
    books = read_books(station)
    one, two = (books[get_line(station, name).pk] for name in (kept, gone))
    no = None
    try:
        _check_pair(one, two, books)
    except InputRefused as error:
        no = error.refusal
    differences = tuple(_find_differences(one, two, books))
    for line in (one, two):
        line.mother, line.father = books.get_parent(line.mother_id), books.get_parent(line.father_id)
    facts = [tell_lines(on, station, [line])[0] for line in (one, two)]
    return MergeSides(facts[0], facts[1], differences, no, Basis((("records", len({one.pk, two.pk})),)))


def list_merges(on: Occasion) -> MergeList:
    """All merges made by the day, undone ones too as they stood on it, oldest first."""
    station = get_station(on.station)
    made = LineMerge.objects.filter(station=station, merged_on__lte=on.today).select_related("kept", "gone")
    told = tuple(_tell(one, on.today) for one in made.order_by("merged_on", "pk"))
    return MergeList(told, Basis((("merges", len(told)),)))


def list_merged(on: Occasion, station: Station, gone: Sequence[Line]) -> tuple[MergeFacts, ...]:
    """The merges that stand on the day and took these records away, oldest first."""
    found = merges_on(station, on.today).filter(gone__in=gone).select_related("kept", "gone")
    return tuple(_tell(one, on.today) for one in found.order_by("merged_on", "pk"))


def tell_merges(on: Occasion, station: Station, line: Line) -> list[MergeEvent]:
    """What merges did to a line up to the day, in sentences."""
    found = LineMerge.objects.filter(Q(kept=line) | Q(gone=line), station=station, merged_on__lte=on.today)
    told = []
    for one in found.select_related("kept", "gone").order_by("merged_on", "pk"):
        why = f": {one.reason}" if one.reason else ""
        told.append(
            MergeEvent(one.merged_on, f"{one.gone.name} was merged into {one.kept.name}{why}.".replace("..", "."))
        )
        if one.undone_on is not None and one.undone_on <= on.today:
            told.append(MergeEvent(one.undone_on, f"The merge of {one.gone.name} into {one.kept.name} was undone."))
    return told


def _tell(one: LineMerge, day: date | None = None) -> MergeFacts:
    undone = one.undone_on if one.undone_on and (day is None or one.undone_on <= day) else None
    by = one.undone_by if undone else ""
    return MergeFacts(one.kept.name, one.gone.name, one.reason, one.merged_on, one.merged_by, undone, by)


def _check_person(on: Occasion) -> None:
    if on.who == "command":
        return
    account = Account.objects.filter(station__code=on.station, username=on.who).first()
    if account is None or account.role != str(Role.BREEDER):
        raise refuse("not_the_breeder", f"{on.who!r} may not merge lines.", "A breeder merges them.", who=on.who)


def _check_pair(kept: Line, gone: Line, books: Books) -> None:
    if kept.pk == gone.pk:
        raise refuse("merge_of_one", f"{kept.name} and what is merged into it are one record.", "Name two records.")
    for line in (kept, gone):
        standing = books.get_standing(books[line.pk])
        if standing.pk != line.pk:
            told = f"{line.name} is merged into {standing.name} already."
            raise refuse(
                "line_merged_away", told, f"Name {standing.name}, or undo that merge first.", kept=standing.name
            )
    loop = _find_loop(kept, gone, books)
    if loop:
        told = f"As one line {kept.name} and {gone.name} would come from itself: {' from '.join(loop)}."
        raise refuse("merge_makes_loop", told, "Check the parents of these lines.", loop=loop)
    crosses = [one.name for one in books.values() if {one.mother_id, one.father_id} == {kept.pk, gone.pk}]
    if crosses and kept.method not in FIXED_METHODS:
        # Kinship has no answer for a cross of a line with itself unless all its plants are alike.
        told = (
            f"{crosses[0]} is a cross of {kept.name} with {gone.name}, so as one line it would be crossed with itself."
        )
        raise refuse("merge_crosses_itself", told, f"Write first how {crosses[0]} was made.", crosses=crosses)


def _find_loop(kept: Line, gone: Line, books: Books) -> list[str]:
    """The shortest way from one of the records up to the other through parents; empty if there is none."""
    both = {kept.pk, gone.pk}
    same = both | {number for number, to in books.kept.items() if to in both}
    came: dict[int, int | None] = dict.fromkeys(sorted(same, key=lambda pk: (pk not in both, pk)))
    waiting = list(came)
    for pk in waiting:
        line = books[pk]
        for parent in (line.mother_id, line.father_id):
            if parent in same:
                return [*reversed(_walk_back(pk, came, books)), books[parent].name]
            if parent is not None and parent in books and parent not in came:
                came[parent] = pk
                waiting.append(parent)
    return []


def _walk_back(pk: int, came: dict[int, int | None], books: Books) -> list[str]:
    names: list[str] = []
    at: int | None = pk
    while at is not None:
        names.append(books[at].name)
        at = came[at]
    return names


def _find_differences(kept: Line, gone: Line, books: Books) -> Iterator[Difference]:
    """Facts that both records state and that cannot both be true of one line."""
    words = {"kind": "kind", "stands_for": "what it stands for", "generation": "generation", "group": "group"}
    told = [(words[name], getattr(kept, name), getattr(gone, name)) for name in words]
    told.insert(2, ("how it was made", tell_method(kept), tell_method(gone)))
    for what, one, two in (("mother", kept.mother_id, gone.mother_id), ("father", kept.father_id, gone.father_id)):
        mine, other = books.get_parent(one), books.get_parent(two)
        told.append((what, mine.name if mine else "", other.name if other else ""))
    told.append(("the plant it comes from", _tell_plant(kept, books), _tell_plant(gone, books)))
    told.append(("the generation of that plant", kept.derived_generation, gone.derived_generation))
    return (Difference(*fact) for fact in told if fact[1] and fact[2] and fact[1] != fact[2])


def _tell_plant(line: Line, books: Books) -> str:
    """From which plant of which line a record comes; empty where the record does not say."""
    source = books.get_parent(line.derived_from_id)
    return f"plant {line.derived_plant} of {source.name}" if source is not None and line.derived_plant else ""


def _check_reason(reason: str, kept: Line, gone: Line, differences: Sequence[Difference]) -> str:
    why = reason.strip()
    if len(why) > LONGEST_REASON:
        raise refuse("too_long", f"The reason is longer than {LONGEST_REASON} signs.", "Shorten it.", column="reason")
    if differences and not why:
        facts = ", ".join(one.as_text() for one in differences)
        told = f"{kept.name} and {gone.name} contradict each other in {facts}."
        raise refuse("reason_missing", told, "Write how it was found that they are one line.", column="reason")
    return why

"""Which ears were picked, left or lost, against the pollinations that were made?

Ears are counted by row, and by bag where the bag was read at harvest. The answer is a function of the *set* of standing
notes: no order of arrival changes it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from firstsilk.answers import Finding, Place
from firstsilk.science.flowering.bags import sum_counts
from firstsilk.science.flowering.notes import Note

HARVEST_KINDS = ("ears_picked", "ears_left", "crated", "shelled")
"""Kinds that speak of an ear once it has left the plant, or is left on it for good."""
NO_BAG = "no_bag"
MOST_NAMED = 6
"""Bags named in one sentence; more are counted (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class EarCount:
    """Ears of one row; with a bag, those of one bag on that row.

    `left` are the ears left at harvest by why. `is_seen` tells whether any note of the harvest speaks of them.
    """

    tag: str
    bag: str = ""
    pollinated: int = 0
    spoiled: int = 0
    picked: int = 0
    left: tuple[tuple[str, int], ...] = ()
    kernels: int = 0
    is_seen: bool = False

    @property
    def standing(self) -> int:
        """Ears pollinated and not noted as lost."""
        return max(0, self.pollinated - self.spoiled)

    @property
    def ears_left(self) -> int:
        """All ears left, whatever the reason."""
        return sum(ears for _, ears in self.left)

    @property
    def missing(self) -> int:
        """Ears standing that nobody picked or left."""
        return max(0, self.standing - self.picked - self.ears_left)

    @property
    def extra(self) -> int:
        """Ears found beyond those pollinated; an ear left without a bag may never have been one of them."""
        found = self.picked + sum(ears for why, ears in self.left if why != NO_BAG)
        return max(0, found - self.standing)


@dataclass(frozen=True, slots=True)
class RowCount:
    """Ears of one row in all, and by bag."""

    total: EarCount
    bags: tuple[EarCount, ...] = ()
    is_by_bag: bool = False

    @property
    def unseen(self) -> tuple[str, ...]:
        """Bags standing that no note of the harvest names, where ears were picked bag by bag; else none."""
        if not self.is_by_bag:
            return ()
        return tuple(one.bag for one in self.bags if one.standing and not one.is_seen)


def count_ears(standing: Iterable[Note]) -> dict[str, RowCount]:
    """Ears of every row that the standing notes speak of, by tag.

    Parameters
    ----------
    standing
        Notes of one season that stand (`rows.keep_standing_notes`), in any order.

    Notes
    -----
    Notes of one kind on one bag of a row are the same ears: the largest counts once. Notes without a bag add up.
    Checked by tests/science/test_harvest_counts.py.
    """
    by_tag: dict[str, list[Note]] = defaultdict(list)
    for note in standing:
        if note.tag and note.kind in ("pollinated", "spoiled", *HARVEST_KINDS):
            by_tag[note.tag].append(note)
    return {tag: _count_row(tag, notes) for tag, notes in by_tag.items()}


def _count_row(tag: str, notes: Sequence[Note]) -> RowCount:
    by_bag: dict[str, list[Note]] = defaultdict(list)
    for note in notes:
        if note.bag:
            by_bag[note.bag].append(note)
    bags = tuple(_count(tag, bag, told) for bag, told in sorted(by_bag.items()))
    loose = any(note.kind == "ears_picked" and not note.bag for note in notes)
    by_bag_picked = any(note.kind == "ears_picked" and note.bag for note in notes)
    return RowCount(_count(tag, "", notes), bags, by_bag_picked and not loose)


def _count(tag: str, bag: str, notes: Sequence[Note]) -> EarCount:
    of: dict[str, list[Note]] = defaultdict(list)
    for note in notes:
        of[note.kind].append(note)
    whys = sorted({note.detail or "other" for note in of["ears_left"]})
    left = [(why, sum_counts([one for one in of["ears_left"] if (one.detail or "other") == why])) for why in whys]
    return EarCount(
        tag=tag,
        bag=bag,
        pollinated=sum_counts(of["pollinated"]),
        spoiled=sum_counts(of["spoiled"]),
        picked=sum_counts(of["ears_picked"]),
        left=tuple((why, ears) for why, ears in left if ears),
        kernels=sum_counts(of["shelled"]),
        is_seen=any(of[kind] for kind in HARVEST_KINDS),
    )


def find_bag_rows(standing: Iterable[Note]) -> dict[str, tuple[str, ...]]:
    """Tags of the rows pollinated from each bag."""
    rows: dict[str, set[str]] = defaultdict(set)
    for note in standing:
        if note.kind == "pollinated" and note.bag and note.tag:
            rows[note.bag].add(note.tag)
    return {bag: tuple(sorted(tags)) for bag, tags in rows.items()}


def check_harvest(standing: Sequence[Note], names: Mapping[str, str]) -> tuple[tuple[str, Finding], ...]:
    """What is odd about the harvest, each with the tag of the row it is told at; empty where no row is known.

    Parameters
    ----------
    standing
        Standing notes of one season, in any order.
    names
        How each row is called, by tag: ``row 34``.

    Notes
    -----
    More ears of a *row* than were pollinated on it is told by `checks.check_row_notes`.
    """
    rows_of = find_bag_rows(standing)
    told: list[tuple[str, Finding]] = []
    for note in sorted(standing, key=lambda one: (one.bag, one.taken_local, one.id)):
        if note.kind in HARVEST_KINDS:
            told += [(note.tag if note.tag in names else "", one) for one in _check_note(note, rows_of, names)]
    for tag, ears in sorted(count_ears(standing).items()):
        if tag in names:
            told += [(tag, one) for one in _check_bags(ears)]
    return tuple(told)


def _check_note(note: Note, rows_of: Mapping[str, tuple[str, ...]], names: Mapping[str, str]) -> list[Finding]:
    there = rows_of.get(note.bag, ())
    called = " or ".join(names.get(tag, f"tag {tag}") for tag in there)
    what = note.kind.replace("_", " ")
    if note.tag not in names:
        of = f"bag {note.bag}" if note.bag else f"tag {note.tag}" if note.tag else "nothing"
        repair = f"It was pollinated on {called}: note it there" if called else "Note it on its row, or take it back"
        return [_odd("ears_of_no_row", f"{what} of {of}, and no row of this season is named", note.id, repair)]
    if there and note.tag not in there:
        told = f"{what} of bag {note.bag} noted on {names[note.tag]}, but that bag was used on {called}"
        return [_odd("ear_of_other_row", told, note.id, "Read bag and row again; take the wrong note back")]
    return []


def _check_bags(ears: RowCount) -> list[Finding]:
    told = []
    for one in ears.bags:
        if one.extra and one.pollinated:
            said = f"bag {one.bag}: {one.picked + one.ears_left} ears found, {one.standing} pollinated and standing"
            told.append(_odd("more_ears_of_bag", said, one.bag, "One of the codes was misread"))
    if ears.unseen:
        more = f" and {len(ears.unseen) - MOST_NAMED} more" if len(ears.unseen) > MOST_NAMED else ""
        said = f"never seen at harvest: bag {', '.join(ears.unseen[:MOST_NAMED])}{more}"
        told.append(_odd("bag_not_seen", said, ears.unseen[0], "Pick the ear, or note it as left or lost"))
    return told


def _odd(code: str, told: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place("", None, "bag"), value, repair, stops=False)

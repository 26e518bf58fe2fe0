"""What is each bag: whose pollen is in it, since when, which ears took it, and what is odd about it?

A bag is the identity of a pollination. The answer is a function of the *set* of standing notes: no order of arrival
changes it (law: tests/properties/test_bag_laws.py).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import TypeVar

from firstsilk.answers import Finding, Place
from firstsilk.science.flowering.notes import Told

ONE_BAG_DAYS = 60
"""Notes on one code that lie further apart than this speak of two bags: numbers written by hand start anew each season
(a choice of ours; flowering lasts three weeks, a season at least nine months)."""
USED_WITHIN_DAYS = 2
"""A tassel is bagged the evening before its pollen is used, at most two days before (common practice, no source)."""

N = TypeVar("N", bound=Told)
Shares = tuple[tuple[str, float], ...]
"""Tags of the males in a bag, sorted, with the share of each by its tassels; the shares add up to 1."""


@dataclass(frozen=True, slots=True)
class Use:
    """Ears of one row that took a bag's pollen on one day, as a note tells. `male` and `type` as that note says."""

    note: str
    tag: str
    ears: int
    on: date
    male: str
    type: str


@dataclass(frozen=True, slots=True)
class Bag:
    """One bag. `shares` is empty where nobody noted that it was put on; several males are a pollen bulk.

    `types` are the kinds of pollination noted when it was put on, `tassels` how many tassels are in it, `taken_down`
    whether it was noted as taken down unused.
    """

    code: str
    shares: Shares
    tassels: int
    types: tuple[str, ...]
    put_on: tuple[date, ...]
    uses: tuple[Use, ...]
    taken_down: bool = False

    @property
    def is_bulk(self) -> bool:
        """Whether pollen of several rows is in it."""
        return len(self.shares) > 1

    @property
    def males(self) -> tuple[str, ...]:
        """Tags of the rows whose pollen is in it."""
        return tuple(tag for tag, _ in self.shares)

    @property
    def ears(self) -> int:
        """Ears that took its pollen; notes of one row are the same ears, so the largest of them counts once."""
        by_row: dict[str, int] = {}
        for use in self.uses:
            by_row[use.tag] = max(by_row.get(use.tag, 0), use.ears)
        return sum(by_row.values())


def read_bags(standing: Iterable[Told]) -> tuple[Bag, ...]:
    """Every bag that the standing notes speak of, by code and day.

    Parameters
    ----------
    standing
        Notes that stand (`rows.keep_standing_notes`), in any order.
    """
    return tuple(_read_bag(code, notes) for code, notes in _group(standing))


def name_givers(standing: Iterable[Told]) -> dict[str, tuple[Shares, str]]:
    """Males with shares, and kind of pollination, that the bag of each pollination note gives, by the note's id.

    Notes without a bag, and those on a bag that nobody noted as put on, are left out.
    """
    named = {}
    for _, notes in _group(standing, of_use=True):
        put = [note for note in notes if note.kind == "tassel_bagged"]
        types = {note.detail for note in put if note.detail}
        gives = _share(_count_tassels(put)), types.pop() if len(types) == 1 else ""
        for note in notes:
            if note.kind == "pollinated":
                named[note.id] = gives
    return named


def _group(standing: Iterable[N], of_use: bool = False) -> list[tuple[str, list[N]]]:
    """Notes about tassels and pollinations by bag; if of use, only bags that were both put on and used."""
    by_code: dict[str, list[N]] = defaultdict(list)
    put_on, used = set(), set()
    for note in standing:
        if note.bag and note.kind in ("tassel_bagged", "pollinated", "tassel_unbagged"):
            by_code[note.bag].append(note)
            if note.kind == "tassel_bagged":
                put_on.add(note.bag)
            elif note.kind == "pollinated":
                used.add(note.bag)
    codes = put_on & used if of_use else by_code.keys()
    return [(code, notes) for code in sorted(codes) for notes in _part(by_code[code])]


def _part(notes: list[N]) -> list[list[N]]:
    """Notes of one code, parted where nothing was noted on it for so long that it must be another bag."""
    ordered = sorted(notes, key=lambda note: (note.taken_on, note.id))
    if (ordered[-1].taken_on - ordered[0].taken_on).days <= ONE_BAG_DAYS:
        return [ordered]
    parts = [[ordered[0]]]
    for before, note in pairwise(ordered):
        if (note.taken_on - before.taken_on).days > ONE_BAG_DAYS:
            parts.append([])
        parts[-1].append(note)
    return parts


def _count_tassels(put: Iterable[Told]) -> dict[str, int]:
    """Tassels in a bag by the tag of their row; notes of one row are the same tassels, so the largest counts once."""
    tassels: dict[str, int] = {}
    for note in put:
        tassels[note.tag] = max(tassels.get(note.tag, 0), count_noted(note.value))
    return {tag: count for tag, count in tassels.items() if count}


def _share(tassels: Mapping[str, int]) -> Shares:
    total = sum(tassels.values())
    return tuple((tag, tassels[tag] / total) for tag in sorted(tassels))


def _read_bag(code: str, notes: Sequence[Told]) -> Bag:
    put = [note for note in notes if note.kind == "tassel_bagged"]
    tassels = _count_tassels(put)
    uses = [
        Use(note.id, note.tag, count_noted(note.value), note.taken_on, note.male, note.detail)
        for note in notes
        if note.kind == "pollinated"
    ]
    return Bag(
        code=code,
        shares=_share(tassels),
        tassels=sum(tassels.values()),
        types=tuple(sorted({note.detail for note in put if note.detail})),
        put_on=tuple(sorted({note.taken_on for note in put})),
        uses=tuple(sorted(uses, key=lambda use: (use.on, use.tag, use.note))),
        taken_down=any(note.kind == "tassel_unbagged" for note in notes),
    )


def count_noted(value: str) -> int:
    """A count as noted; a value that is no count stands for one, as in a tick."""
    try:
        return max(0, int(float(value)))
    except (ValueError, OverflowError):
        return 1


def sum_counts(notes: Sequence[Told]) -> int:
    """Counts added up; notes on the same bag are the same ear or ears, so the largest of them counts once."""
    if len(notes) < 2:
        return count_noted(notes[0].value) if notes else 0
    by_bag: dict[str, int] = {}
    loose = 0
    for note in notes:
        if note.bag:
            by_bag[note.bag] = max(by_bag.get(note.bag, 0), count_noted(note.value))
        else:
            loose += count_noted(note.value)
    return loose + sum(by_bag.values())


def check_bag(bag: Bag, names: Mapping[str, str], today: date | None = None) -> tuple[tuple[str, Finding], ...]:
    """What is odd about one bag, each with the tag of the row it is told at.

    Parameters
    ----------
    bag
        The bag.
    names
        How each row is called, by tag: ``row 34``.
    today
        The day of the look: a bag put on yesterday may still be used. None: the season is over.

    Notes
    -----
    A bag that nobody noted as put on is not judged: a row-end tally is as good a way. Checked by
    tests/science/test_bags.py.
    """
    if not bag.put_on:
        return ()
    told = _check_put_on(bag, today)
    for use in bag.uses:
        told += [(use.tag, one) for one in _check_use(bag, use, names)]
    return tuple(told)


def check_bags(
    standing: Iterable[Told], names: Mapping[str, str], today: date | None = None
) -> dict[str, tuple[Finding, ...]]:
    """What is odd about the bags of the standing notes, by the tag of the row it is told at; as `check_bag`."""
    by_tag: dict[str, list[Finding]] = defaultdict(list)
    for bag in read_bags(standing):
        for tag, one in check_bag(bag, names, today):
            by_tag[tag].append(one)
    return {tag: tuple(found) for tag, found in by_tag.items()}


def _check_put_on(bag: Bag, today: date | None) -> list[tuple[str, Finding]]:
    told = []
    at = bag.males[0] if bag.males else ""
    if len(bag.put_on) > 1:
        days = " and ".join(str(day) for day in bag.put_on)
        said = f"bag {bag.code} was put on twice, on {days}"
        told.append((at, _odd("bag_put_on_twice", said, bag.code, "One of them is another bag: read the codes again")))
    over = today is None or (today - bag.put_on[-1]).days > USED_WITHIN_DAYS
    if not bag.uses and not bag.taken_down and over:
        said = f"bag {bag.code}, put on {bag.put_on[-1]}, was never used and not taken down"
        repair = "Note its pollination, or that it was taken down"
        told.append((at, _odd("bag_never_used", said, bag.code, repair)))
    return told


def _check_use(bag: Bag, use: Use, names: Mapping[str, str]) -> list[Finding]:
    told = []
    inside = " and ".join(names.get(tag, f"tag {tag}") for tag in bag.males)
    if use.on < bag.put_on[0]:
        said = f"bag {bag.code} was used on {use.on}, before it was put on ({bag.put_on[0]})"
        told.append(_odd("bag_used_before", said, use.note, "One of the two days, or the code, is wrong"))
    elif not any(1 <= (use.on - day).days <= USED_WITHIN_DAYS for day in bag.put_on):
        late = (use.on - max(day for day in bag.put_on if day <= use.on)).days
        said = f"bag {bag.code} was used on {use.on}, {late} days after it was put on"
        repair = f"Pollen is used 1 or {USED_WITHIN_DAYS} days after bagging: expect few kernels, or correct the day"
        if late:
            told.append(_odd("bag_used_late", said, use.note, repair))
        else:
            said = f"bag {bag.code} was used on {use.on}, the day it was put on"
            told.append(_odd("bag_used_at_once", said, use.note, repair))
    if use.male and use.male not in bag.males:
        said = f"noted with {names.get(use.male, f'tag {use.male}')}, but bag {bag.code} holds pollen of {inside}"
        told.append(_odd("bag_of_other_male", said, use.note, "Take the note back if the male or the code was misread"))
    elif use.male and bag.is_bulk:
        said = f"noted with {names.get(use.male, f'tag {use.male}')} alone, but bag {bag.code} is a bulk of {inside}"
        told.append(_odd("bag_is_bulk", said, use.note, "Leave the male out: the bag tells it"))
    if use.type and bag.types and use.type not in bag.types:
        said = f"noted as {use.type}, but bag {bag.code} was put on for {' or '.join(bag.types)}"
        told.append(_odd("bag_of_other_kind", said, use.note, "Take the note back if the code was misread"))
    return told


def _odd(code: str, told: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place("", None, "bag"), value, repair, stops=False)

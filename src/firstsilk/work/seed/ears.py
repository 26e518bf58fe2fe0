"""Whose kernels are these? The shelled kernels of a row, told apart by the pollinations they came from.

A row that was pollinated in one way by one male needs nothing more. Where there are several, only a bag number on both
the pollination and the kernels tells whose they are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from firstsilk.science.flowering.bags import Shares, count_noted, name_givers
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes, name_pollen

Way = tuple[str, str]
"""Kind of pollination and the father's line (its tag where it is no row of the season; empty for the row's own); of a
pollen bulk all lines in it, joined by a plus."""
WITHIN = ("self", "sib", "bulk_sib")
"""Kinds in which the pollen is the row's own."""


@dataclass(frozen=True, slots=True)
class EarGroup:
    """Kernels of one row that came from one way of pollination: kind, father's line, tags of the male rows named.

    `bags` are those by which the kernels were told apart, `notes` the ids of the pollination notes, `shares` what part
    of the pollen each male row gave: by tassels in each bag, by ears over bags. `bag_kernels` are the kernels noted
    with a bag number, by bag.
    """

    kind: str
    father: str
    males: tuple[str, ...]
    kernels: int
    bags: tuple[str, ...]
    notes: tuple[str, ...]
    shares: Shares = ()
    bag_kernels: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class RowEars:
    """What the notes tell of one row's kernels: groups, the kernels that nobody can assign, and all ways there are."""

    groups: tuple[EarGroup, ...]
    unassigned: int
    ways: tuple[Way, ...]


def group_ears(
    notes: Iterable[Note],
    tag: str,
    line_of: Mapping[str, str],
    givers: Mapping[str, tuple[Shares, str]] | None = None,
) -> RowEars:
    """Tell the kernels of a row apart.

    Parameters
    ----------
    notes
        All notes that may matter to the row, in any order.
    tag
        The row's tag.
    line_of
        The line that stands in each row of the season, by tag. Male rows of one line are the same father.
    givers
        What the bags give (`bags.name_givers`); looked up in the notes if None. A pollination note that names no male
        has those of its bag.
    """
    standing, _ = keep_standing_notes(notes)
    givers = name_givers(standing) if givers is None else givers
    mine = [note for note in standing if note.tag == tag]
    shelled = [note for note in mine if note.kind == "shelled" and count_noted(note.value) > 0]
    pollinated: dict[Way, list[Note]] = defaultdict(list)
    for note in mine:
        if note.kind == "pollinated" and count_noted(note.value) > 0:
            pollinated[_way(note, tag, line_of, givers)].append(note)
    ways = tuple(sorted(pollinated))
    if not shelled:
        return RowEars((), 0, ways)
    if len(ways) == 1:
        return RowEars((_group(ways[0], pollinated[ways[0]], shelled, (), givers),), 0, ways)
    return _by_bag(pollinated, shelled, ways, givers)


def _by_bag(
    pollinated: Mapping[Way, list[Note]],
    shelled: list[Note],
    ways: tuple[Way, ...],
    givers: Mapping[str, tuple[Shares, str]],
) -> RowEars:
    known: dict[Way, list[Note]] = defaultdict(list)
    lost = []
    for note in shelled:
        found = [way for way in ways if note.bag and any(one.bag == note.bag for one in pollinated[way])]
        if len(found) == 1:
            known[found[0]].append(note)
        else:
            lost.append(note)
    groups = []
    for way, kernels in sorted(known.items()):
        bags = tuple(sorted({note.bag for note in kernels}))
        groups.append(_group(way, [note for note in pollinated[way] if note.bag in bags], kernels, bags, givers))
    return RowEars(tuple(groups), _add_up(lost), ways)


def _group(
    way: Way,
    pollinated: list[Note],
    shelled: list[Note],
    bags: tuple[str, ...],
    givers: Mapping[str, tuple[Shares, str]],
) -> EarGroup:
    shares = _share(pollinated, givers)
    males = tuple(tag for tag, _ in shares)
    return EarGroup(
        *way, males, _add_up(shelled), bags, tuple(sorted(note.id for note in pollinated)), shares, _count_bags(shelled)
    )


def _share(pollinated: list[Note], givers: Mapping[str, tuple[Shares, str]]) -> Shares:
    """The part of each male in the pollen, over notes by their ears."""
    parts: dict[str, float] = defaultdict(float)
    for note in sorted(pollinated, key=lambda one: one.id):
        for male, share in name_pollen(note, givers)[1]:
            parts[male] += share * count_noted(note.value)
    whole = sum(parts.values())
    return tuple((male, part / whole) for male, part in sorted(parts.items()))


def _way(note: Note, tag: str, line_of: Mapping[str, str], givers: Mapping[str, tuple[Shares, str]]) -> Way:
    kind, shares = name_pollen(note, givers)
    fathers = sorted({line_of.get(male, male) for male, _ in shares})
    is_own = fathers == [line_of.get(tag)] or [male for male, _ in shares] == [tag]
    return kind, "" if kind in WITHIN and is_own else "+".join(fathers)


def part_by_bag(group: EarGroup) -> list[EarGroup]:
    """A group as one for each bag its kernels were noted with; kernels without a bag are a last one."""
    parts = [replace(group, kernels=kernels, bags=(bag,), bag_kernels=()) for bag, kernels in group.bag_kernels]
    loose = group.kernels - sum(one.kernels for one in parts)
    return [*parts, replace(group, kernels=loose, bags=(), bag_kernels=())] if loose > 0 else parts


def _count_bags(notes: list[Note]) -> tuple[tuple[str, int], ...]:
    """Kernels of each bag; notes on the same bag are the same ears, so the largest of them counts."""
    bags: dict[str, int] = {}
    for note in notes:
        if note.bag:
            bags[note.bag] = max(bags.get(note.bag, 0), count_noted(note.value))
    return tuple(sorted(bags.items()))


def _add_up(notes: list[Note]) -> int:
    """Kernels added up, those of a bag once."""
    loose = sum(count_noted(note.value) for note in notes if not note.bag)
    return loose + sum(kernels for _, kernels in _count_bags(notes))

"""Where does each row stand, given all notes about it, in whatever order they came?

The state is a function of the *set* of notes: it is the same for every order of receipt, and sending a note twice
changes nothing (law: tests/properties/test_note_laws.py).
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from firstsilk.science.flowering.bags import Shares, count_noted, name_givers, sum_counts
from firstsilk.science.flowering.notes import Note


@dataclass(frozen=True, slots=True)
class PollinationTally:
    """Ears pollinated on one row with one male, or one bulk of males, by one kind of pollination.

    `male` is the male's tag as its note or its bag tells, empty where neither does or where the pollen is a bulk; then
    `bulk` holds the males' tags with the share of each.
    """

    type: str
    male: str
    ears: int
    first_on: date
    last_on: date
    bulk: Shares = ()

    @property
    def males(self) -> tuple[str, ...]:
        """Tags of all males."""
        return tuple(tag for tag, _ in self.bulk) if self.bulk else (self.male,) if self.male else ()


@dataclass(frozen=True, slots=True)
class RowState:
    """What the notes say about one row. Dates are None where nothing was noted, counts 0.

    `tassel_bags_hanging` are those of the last day on which any were put on, less those noted since as taken down
    unused; `bags_not_well` were found with silk seen, open, or with a wrong code when they were looked at once more.
    """

    tag: str
    sown_on: date | None = None
    misplanted: tuple[str, ...] = ()
    stand: int | None = None
    silk_on: date | None = None
    silk_not_yet: date | None = None
    shed_on: date | None = None
    shed_not_yet: date | None = None
    shoot_bags: int = 0
    last_shoot_bag_on: date | None = None
    tassel_bags: int = 0
    last_tassel_bag_on: date | None = None
    tassel_bags_hanging: int = 0
    pollinations: tuple[PollinationTally, ...] = ()
    spoiled: int = 0
    bags_not_well: int = 0
    ratings: Mapping[str, float] = field(default_factory=dict)
    ears_picked: int = 0
    kernels: int = 0
    remarks: tuple[str, ...] = ()
    n_notes: int = 0
    n_doubted: int = 0
    conflicts: tuple[str, ...] = ()

    @property
    def ears_pollinated(self) -> int:
        """All ears pollinated, spoiled or not."""
        return sum(tally.ears for tally in self.pollinations)

    @property
    def ears_standing(self) -> int:
        """Ears pollinated and not noted as spoiled."""
        return max(0, self.ears_pollinated - self.spoiled)


def find_undone(notes: Iterable[Note]) -> dict[str, str]:
    """Which notes no longer stand, and by which note each of them was replaced or taken back.

    Parameters
    ----------
    notes
        All notes that may matter, in any order; those that replace nothing need not be among them.

    Returns
    -------
    dict
        Id of the note that does not stand: id of a note in force that undoes it (the withdrawal, if there is one).

    Notes
    -----
    A ``withdrawn`` note takes its note back, unless it is taken back itself. A correction replaces its note, unless the
    correction is taken back: then the note that it replaced stands again, so that no pollination is lost by a slip.
    A correction that is corrected once more goes on replacing. Practice notes and notes that name themselves do
    nothing. Checked by tests/properties/test_note_laws.py.
    """
    by_id = {note.id: note for note in notes if note.replaces and note.replaces != note.id and not note.practice}
    withdrawals = {key: note.replaces for key, note in by_id.items() if note.kind == "withdrawn"}
    taken_back = _find_taken_back(withdrawals)
    undone: dict[str, str] = {}
    for key, note in sorted(by_id.items(), reverse=True):
        if note.kind != "withdrawn" and key not in taken_back:
            undone[note.replaces] = key
    return undone | taken_back


def _find_taken_back(withdrawals: Mapping[str, str]) -> dict[str, str]:
    """What is taken back, and by which withdrawal in force; those taken back themselves do nothing."""
    waiting = Counter(target for target in withdrawals.values() if target in withdrawals)
    ready = sorted((key for key in withdrawals if not waiting[key]), reverse=True)
    taken_back: dict[str, str] = {}
    while ready:
        key = ready.pop()
        target = withdrawals[key]
        if key not in taken_back:
            taken_back[target] = min(key, taken_back.get(target, key))
        waiting[target] -= 1
        if target in withdrawals and not waiting[target]:
            ready.append(target)
    return taken_back


def keep_standing_notes(notes: Iterable[Note]) -> tuple[list[Note], list[str]]:
    """The notes that stand: each once, not undone, not practice; and the ids over which two corrections differ.

    Notes
    -----
    A note stands unless `find_undone` names it. Where two corrections that are not taken back replace the same note,
    both stand and its id is a conflict that a person settles; nobody's clock decides. A ``withdrawn`` note only takes
    back; it never stands.
    """
    by_id = {note.id: note for note in notes if not note.practice}
    undone = find_undone(by_id.values())
    corrections = Counter(
        note.replaces
        for note in by_id.values()
        if note.replaces
        and note.kind != "withdrawn"
        and (note.id not in undone or by_id[undone[note.id]].kind != "withdrawn")
    )
    conflicts = sorted(target for target, count in corrections.items() if count > 1)
    standing = [note for key, note in sorted(by_id.items()) if key not in undone and note.kind != "withdrawn"]
    return standing, conflicts


def read_row_states(notes: Iterable[Note], up_to: date | None = None) -> dict[str, RowState]:
    """The state of every row that any note speaks of, by tag.

    Parameters
    ----------
    notes
        All notes of the station, in any order, with repeats.
    up_to
        Only notes taken on or before this day count; all if None.
    """
    known = [note for note in notes if up_to is None or note.taken_on <= up_to]
    standing, conflicts = keep_standing_notes(known)
    about = {note.id: note.tag for note in known}
    by_tag: dict[str, list[Note]] = defaultdict(list)
    for note in standing:
        if note.tag:
            by_tag[note.tag].append(note)
    torn: dict[str, list[str]] = defaultdict(list)
    for one in conflicts:
        torn[about.get(one, "")].append(one)
    givers = name_givers(standing)
    return {tag: _read_row(tag, rows, tuple(torn.get(tag, ())), givers) for tag, rows in by_tag.items()}


def _read_row(
    tag: str, notes: list[Note], conflicts: tuple[str, ...], givers: Mapping[str, tuple[Shares, str]]
) -> RowState:
    by_kind: dict[str, list[Note]] = {}
    for note in notes:
        by_kind.setdefault(note.kind, []).append(note)
    of = _Kinds(by_kind)
    stands = sorted((note.taken_local, note.id, note.value) for note in of["stand"])
    return RowState(
        tag=tag,
        sown_on=_first_day(of["sown"]),
        misplanted=tuple(sorted({f"{note.detail} {note.value}".strip() for note in of["misplanted"]})),
        stand=count_noted(stands[-1][2]) if stands else None,
        silk_on=_first_day(of["silk"]),
        silk_not_yet=_last_day(of["silk_not_yet"]),
        shed_on=_first_day(of["shed"]),
        shed_not_yet=_last_day(of["shed_not_yet"]),
        shoot_bags=sum_counts(of["shoot_bagged"]),
        last_shoot_bag_on=_last_taken(of["shoot_bagged"]),
        tassel_bags=sum_counts(of["tassel_bagged"]),
        last_tassel_bag_on=_last_taken(of["tassel_bagged"]),
        tassel_bags_hanging=_count_hanging(of["tassel_bagged"], of["tassel_unbagged"]),
        pollinations=_tally_pollinations(of["pollinated"], givers),
        spoiled=sum_counts(of["spoiled"]),
        bags_not_well=sum_counts([note for note in of["rechecked"] if note.detail in NOT_WELL]),
        ratings=_mean_ratings(of["rated"]),
        ears_picked=sum_counts(of["ears_picked"]),
        kernels=sum_counts(of["shelled"]),
        remarks=tuple(note.value for note in of["remarked"]),
        n_notes=len(notes),
        n_doubted=sum(1 for note in notes if note.doubt),
        conflicts=conflicts,
    )


NOT_WELL = ("silk_seen", "bag_open", "wrong_code")
"""What a second look at a bag can find that speaks against its pollination."""
NOTED_WITHIN_DAYS = 370
"""A note speaks of a day of its own season: a value further from the day it was taken is no day (a choice of ours)."""


def noted_day(note: Note) -> date:
    """The day a dated note speaks of: its value, or the day it was taken where the value is no date that it can mean.

    Nobody sees tomorrow's silk: a value after the day on which the note was taken is that day.
    """
    try:
        day = date.fromisoformat(note.value[:10])
    except ValueError:
        return note.taken_on
    return day if 0 <= (note.taken_on - day).days <= NOTED_WITHIN_DAYS else note.taken_on


class _Kinds(dict[str, list[Note]]):
    """Notes by kind; no notes of a kind that there is none of."""

    def __missing__(self, kind: str) -> list[Note]:
        return _NONE


_NONE: list[Note] = []


def _last_taken(notes: list[Note]) -> date | None:
    return max(note.taken_on for note in notes) if notes else None


def _first_day(notes: list[Note]) -> date | None:
    return min(noted_day(note) for note in notes) if notes else None


def _last_day(notes: list[Note]) -> date | None:
    return max(noted_day(note) for note in notes) if notes else None


def _count_hanging(put_on: list[Note], taken_down: list[Note]) -> int:
    last = _last_taken(put_on)
    if last is None:
        return 0
    hung = sum_counts([note for note in put_on if note.taken_on == last])
    return max(0, hung - sum_counts([note for note in taken_down if note.taken_on >= last]))


def name_pollen(note: Note, givers: Mapping[str, tuple[Shares, str]]) -> tuple[str, Shares]:
    """Kind of a pollination note and its males with their shares: as it says, else as its bag tells (`name_givers`)."""
    shares, kind = givers.get(note.id, ((), ""))
    return note.detail or kind, ((note.male, 1.0),) if note.male else shares


def _tally_pollinations(notes: list[Note], givers: Mapping[str, tuple[Shares, str]]) -> tuple[PollinationTally, ...]:
    if not notes:
        return ()
    groups: dict[tuple[str, Shares], list[Note]] = defaultdict(list)
    for note in notes:
        groups[name_pollen(note, givers)].append(note)
    return tuple(
        PollinationTally(
            type=kind,
            male=shares[0][0] if len(shares) == 1 else "",
            ears=sum_counts(group),
            first_on=min(note.taken_on for note in group),
            last_on=max(note.taken_on for note in group),
            bulk=shares if len(shares) > 1 else (),
        )
        for (kind, shares), group in sorted(groups.items())
    )


def _mean_ratings(notes: list[Note]) -> dict[str, float]:
    """The mean of each rated trait over its notes; a value that is no number counts for none.

    Rounded, so that the order of adding cannot show.
    """
    if not notes:
        return {}
    values: dict[str, list[float]] = defaultdict(list)
    for note in notes:
        try:
            score = float(note.value)
        except ValueError:
            continue
        if math.isfinite(score):
            values[note.detail].append(score)
    return {trait: round(math.fsum(found) / len(found), 9) for trait, found in sorted(values.items())}

"""Where does each row stand, given all notes about it, in whatever order they came?

The state is a function of the *set* of notes: it is the same for every order of receipt, and sending a note twice
changes nothing (law: tests/properties/test_note_laws.py).
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeVar

from firstsilk.science.flowering.bags import Shares, count_noted, name_givers, sum_counts
from firstsilk.science.flowering.notes import Told

N = TypeVar("N", bound=Told)


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
        return sum(tally.ears for tally in self.pollinations) if self.pollinations else 0

    @property
    def ears_standing(self) -> int:
        """Ears pollinated and not noted as spoiled."""
        return max(0, self.ears_pollinated - self.spoiled)


def find_undone(notes: Iterable[Told]) -> dict[str, str]:
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


def keep_standing_notes(notes: Iterable[N]) -> tuple[list[N], list[str]]:
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


def read_row_states(notes: Iterable[Told], up_to: date | None = None) -> dict[str, RowState]:
    """The state of every row that any note speaks of, by tag.

    Parameters
    ----------
    notes
        All notes of the station, in any order, with repeats.
    up_to
        Only notes taken on or before this day count; all if None.
    """
    known = list(notes) if up_to is None else [note for note in notes if note.taken_on <= up_to]
    standing, conflicts = keep_standing_notes(known)
    by_tag: dict[str, list[Told]] = defaultdict(list)
    for note in standing:
        if note.tag:
            by_tag[note.tag].append(note)
    torn: dict[str, list[str]] = defaultdict(list)
    about = {note.id: note.tag for note in known} if conflicts else {}
    for one in conflicts:
        torn[about.get(one, "")].append(one)
    givers = name_givers(standing)
    return {tag: _read_row(tag, rows, tuple(torn.get(tag, ())), givers) for tag, rows in by_tag.items()}


def _read_row(
    tag: str, notes: list[Told], conflicts: tuple[str, ...], givers: Mapping[str, tuple[Shares, str]]
) -> RowState:
    of: dict[str, list[Told]] = {}
    for note in notes:
        if note.kind in of:
            of[note.kind].append(note)
        else:
            of[note.kind] = [note]
    # A row has notes of a few kinds only: the rest of its state stays as it begins.
    told: dict[str, Any] = {}
    for kind, of_kind in of.items():
        for name, read in _READ_KIND.get(kind, ()):
            told[name] = read(of_kind)
    if "tassel_bagged" in of:
        told["tassel_bags_hanging"] = _count_hanging(of["tassel_bagged"], of.get("tassel_unbagged", []))
    if "pollinated" in of:
        told["pollinations"] = _tally_pollinations(of["pollinated"], givers)
    return RowState(tag, n_notes=len(notes), n_doubted=_count_doubted(notes), conflicts=conflicts, **told)


NOT_WELL = ("silk_seen", "bag_open", "wrong_code")
"""What a second look at a bag can find that speaks against its pollination."""
NOTED_WITHIN_DAYS = 370
"""A note speaks of a day of its own season: a value further from the day it was taken is no day (a choice of ours)."""


def noted_day(note: Told) -> date:
    """The day a dated note speaks of: its value, or the day it was taken where the value is no date that it can mean.

    Nobody sees tomorrow's silk: a value after the day on which the note was taken is that day.
    """
    try:
        day = date.fromisoformat(note.value[:10])
    except ValueError:
        return note.taken_on
    return day if 0 <= (note.taken_on - day).days <= NOTED_WITHIN_DAYS else note.taken_on


def _first_taken(notes: Sequence[Told]) -> date:
    return notes[0].taken_on if len(notes) == 1 else min(note.taken_on for note in notes)


def _last_taken(notes: Sequence[Told]) -> date:
    return notes[0].taken_on if len(notes) == 1 else max(note.taken_on for note in notes)


def _first_day(notes: Sequence[Told]) -> date:
    return noted_day(notes[0]) if len(notes) == 1 else min(noted_day(note) for note in notes)


def _last_day(notes: Sequence[Told]) -> date:
    return noted_day(notes[0]) if len(notes) == 1 else max(noted_day(note) for note in notes)


def _count_stand(notes: Sequence[Told]) -> int:
    """The stand counted last."""
    return count_noted(max((note.taken_local, note.id, note.value) for note in notes)[2])


def _count_doubted(notes: Sequence[Told]) -> int:
    return len([note for note in notes if note.doubt])


def _say_misplanted(notes: Sequence[Told]) -> tuple[str, ...]:
    return tuple(sorted({f"{note.detail} {note.value}".strip() for note in notes}))


def _count_not_well(notes: Sequence[Told]) -> int:
    return sum_counts([note for note in notes if note.detail in NOT_WELL])


def _count_hanging(put_on: list[Told], taken_down: list[Told]) -> int:
    last = _last_taken(put_on)
    hung = sum_counts([note for note in put_on if note.taken_on == last])
    return max(0, hung - sum_counts([note for note in taken_down if note.taken_on >= last]))


def name_pollen(note: Told, givers: Mapping[str, tuple[Shares, str]]) -> tuple[str, Shares]:
    """Kind of a pollination note and its males with their shares: as it says, else as its bag tells (`name_givers`)."""
    shares, kind = givers.get(note.id, ((), ""))
    return note.detail or kind, ((note.male, 1.0),) if note.male else shares


def _tally_pollinations(notes: list[Told], givers: Mapping[str, tuple[Shares, str]]) -> tuple[PollinationTally, ...]:
    groups: dict[tuple[str, Shares], list[Told]] = defaultdict(list)
    for note in notes:
        groups[name_pollen(note, givers)].append(note)
    return tuple(
        PollinationTally(
            type=kind,
            male=shares[0][0] if len(shares) == 1 else "",
            ears=sum_counts(group),
            first_on=_first_taken(group),
            last_on=_last_taken(group),
            bulk=shares if len(shares) > 1 else (),
        )
        for (kind, shares), group in sorted(groups.items())
    )


def _mean_ratings(notes: list[Told]) -> dict[str, float]:
    """The mean of each rated trait over its notes; a value that is no number counts for none.

    Rounded, so that the order of adding cannot show.
    """
    values: dict[str, list[float]] = defaultdict(list)
    for note in notes:
        try:
            score = float(note.value)
        except ValueError:
            continue
        if math.isfinite(score):
            values[note.detail].append(score)
    return {trait: round(math.fsum(found) / len(found), 9) for trait, found in sorted(values.items())}


_READ_KIND: dict[str, tuple[tuple[str, Callable[[list[Told]], object]], ...]] = {
    "sown": (("sown_on", _first_day),),
    "misplanted": (("misplanted", _say_misplanted),),
    "stand": (("stand", _count_stand),),
    "silk": (("silk_on", _first_day),),
    "silk_not_yet": (("silk_not_yet", _last_day),),
    "shed": (("shed_on", _first_day),),
    "shed_not_yet": (("shed_not_yet", _last_day),),
    "shoot_bagged": (("shoot_bags", sum_counts), ("last_shoot_bag_on", _last_taken)),
    "tassel_bagged": (("tassel_bags", sum_counts), ("last_tassel_bag_on", _last_taken)),
    "spoiled": (("spoiled", sum_counts),),
    "rechecked": (("bags_not_well", _count_not_well),),
    "rated": (("ratings", _mean_ratings),),
    "ears_picked": (("ears_picked", sum_counts),),
    "shelled": (("kernels", sum_counts),),
    "remarked": (("remarks", lambda notes: tuple(note.value for note in notes)),),
}
"""What notes of one kind tell of a row: fields of its state, each with how it is read from them."""

"""Which pollinations do bags, silks, plans and ears of their rows speak against?

Beside `checks.check_row_notes`, which the page of a row shows: rules that need the notes of the male row, the plan, or
numbers of the whole row. Values in, values out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, timedelta
from types import MappingProxyType

from firstsilk.answers import Finding, Place
from firstsilk.science.flowering.bags import USED_WITHIN_DAYS, Shares
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import RowState, name_pollen

SILK_SPREAD_DAYS = 6
"""Plants of a row silk over ten to fourteen days (field of Jeschke 2023): none earlier than so before half."""
MOST_KERNELS_AN_EAR = 800
"""More kernels on an inbred's ear than this are a slip (mean 146, Thayer & Down 1942; a good hybrid ear 500 to 800)."""


def check_pollinations(
    state: RowState,
    notes: Sequence[Note],
    bagged: Mapping[str, Collection[date]],
    planned_kind: str = "",
    today: date | None = None,
    givers: Mapping[str, tuple[Shares, str]] = MappingProxyType({}),
    there: Mapping[date, Collection[str]] = MappingProxyType({}),
) -> tuple[Finding, ...]:
    """What speaks against the pollinations of one row.

    Parameters
    ----------
    state
        The row's state.
    notes
        Its standing notes.
    bagged
        Days on which tassels were bagged, by tag of the row; rows without such notes are left out and not judged.
    planned_kind
        Kind of pollination planned; empty if none.
    today
        The day of the look: a silk that may still come is not missed. None: the season is over.
    givers
        What the bags of its pollination notes give (`bags.name_givers`). A note on such a bag is held against the bag's
        own day by `bags.check_bag`, not here.
    there
        Codes of the workers whose hours are noted, by day; days without such notes are left out and not judged.

    Returns
    -------
    tuple of Finding
        Never stopping.

    Notes
    -----
    The male's tassel was bagged one or two days before; silk shows at most six days before half of the row has it; no
    more ears are pollinated than were bagged; the kind is the planned one; whoever pollinated was there; ears have
    kernels, and not too many.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    made = [note for note in notes if note.kind == "pollinated"]
    made.sort(key=lambda one: (one.taken_local, one.id))
    found = [one for note in made for one in _check_note(note, state, planned_kind, today, givers)]
    loose = [note for note in made if note.id not in givers]
    return (*found, *_check_bags(state, loose, bagged), *_check_there(made, there), *_check_numbers(state))


def _check_note(
    note: Note, state: RowState, planned_kind: str, today: date | None, givers: Mapping[str, tuple[Shares, str]]
) -> Iterator[Finding]:
    day, (kind, _) = note.taken_on, name_pollen(note, givers)
    if state.silk_on is not None and (state.silk_on - day).days > SILK_SPREAD_DAYS:
        told = f"pollinated on {day}, {(state.silk_on - day).days} days before its silk ({state.silk_on})"
        yield _odd("silk_not_out", told, "silk", note.id, "One of the two dates, or the row, is wrong")
    elif state.silk_on is None and (today is None or (today - day).days > SILK_SPREAD_DAYS):
        told = f"pollinated on {day}, and no silk is noted"
        yield _odd(
            "silk_not_told", told, "silk", note.id, "Write the day of its silk, or look whether the row is right"
        )
    if planned_kind and kind and kind != planned_kind:
        told = f"pollinated as {kind} on {day}, and planned as {planned_kind}"
        yield _odd("kind_not_planned", told, "pollinated", note.id, "Take the note back if the row was misread")


def _check_bags(state: RowState, notes: Sequence[Note], bagged: Mapping[str, Collection[date]]) -> Iterator[Finding]:
    """One finding a row: how many of its notes lack the bags of the day before, and the first of them."""
    judged = [note for note in notes if (note.male or state.tag) in bagged]
    bare = [note for note in judged if not _was_bagged(note.taken_on, bagged[note.male or state.tag])]
    if bare:
        told = f"{len(bare)} of {len(judged)} notes of pollinations, the first of {bare[0].taken_on}, without a tassel "
        told += f"of the male noted as bagged in the {USED_WITHIN_DAYS} days before"
        yield _odd("tassel_not_bagged", told, "tassel_bagged", bare[0].id, "Note the bags, or correct male or day")


def _check_there(notes: Sequence[Note], there: Mapping[date, Collection[str]]) -> Iterator[Finding]:
    """One finding a worker and day: pollinations by someone whose hours are not noted, where others' are."""
    told = set()
    for note in notes:
        who = (note.worker, note.taken_on)
        if note.worker and note.taken_on in there and note.worker not in there[note.taken_on] and who not in told:
            told.add(who)
            said = (
                f"pollinated by {note.worker} on {note.taken_on}, and no hours of {note.worker} are noted for that day"
            )
            yield _odd("person_not_there", said, "worker", note.id, "Note the hours, or correct the worker or the day")


def _was_bagged(day: date, bagged: Collection[date]) -> bool:
    return any(day - timedelta(days=back) in bagged for back in range(1, USED_WITHIN_DAYS + 1))


def _check_numbers(state: RowState) -> Iterator[Finding]:
    if state.shoot_bags and state.ears_pollinated > state.shoot_bags:
        told = f"{state.ears_pollinated} ears pollinated, but {state.shoot_bags} shoots bagged"
        repair = "A note of bags is missing, or pollinations of a neighbour row are among them"
        yield _odd("more_ears_than_bags", told, "pollinated", str(state.ears_pollinated), repair)
    if state.kernels and not state.ears_picked:
        told = f"{state.kernels} kernels shelled, and no ear was picked"
        yield _odd("kernels_without_ears", told, "shelled", str(state.kernels), "Note the ears, or look for their row")
    elif state.ears_picked and state.kernels > MOST_KERNELS_AN_EAR * state.ears_picked:
        told = f"{state.kernels} kernels from {state.ears_picked} ears, {state.kernels // state.ears_picked} an ear"
        yield _odd("too_many_kernels", told, "shelled", str(state.kernels), "Count or weigh again")


def _odd(code: str, told: str, column: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place("", None, column), value, repair, stops=False)

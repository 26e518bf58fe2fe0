"""Which notes about a row cannot all be true?

What has happened is never refused; it is held against the row's other notes when it is read. Values in, values out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from types import MappingProxyType
from typing import NamedTuple

from firstsilk.answers import Finding, Place
from firstsilk.science.flowering.bags import Shares
from firstsilk.science.flowering.day import SHED_LASTS_DAYS, SILK_LASTS_DAYS
from firstsilk.science.flowering.notes import KINDS, Told
from firstsilk.science.flowering.rows import RowState, name_pollen, noted_day
from firstsilk.science.lineage.generation import POLLINATIONS

SHED_BEFORE_DAYS = 2
"""Pollen flies this many days before half the row sheds (common practice, no source)."""


def check_row_notes(
    tag: str,
    notes: Sequence[Told],
    states: Mapping[str, RowState],
    names: Mapping[str, str],
    planned_males: Iterable[str] = (),
    givers: Mapping[str, tuple[Shares, str]] = MappingProxyType({}),
) -> tuple[Finding, ...]:
    """What is odd about one row's standing notes.

    Parameters
    ----------
    tag
        The row.
    notes
        Its standing notes, in any order.
    states
        States of this row and of every row named as a male, by tag.
    names
        How each row is called, by tag: ``row 34``.
    planned_males
        Tags of the rows planned as its males; empty if none is planned.
    givers
        What the bags of its pollination notes give (`bags.name_givers`): a note without a male has those of its bag.

    Returns
    -------
    tuple of Finding
        Never stopping: what is odd is shown, and a person decides.

    Notes
    -----
    Rules of the trade: ears at most as many as pollinated, pollinations at most as many as plants, the male sheds on
    the day, the silk is out on the day, and a bag found open is noted as lost. Checked by
    tests/science/test_note_checks.py.
    """
    state = states.get(tag, RowState(tag))
    planned = set(planned_males)
    findings = _check_counts(state)
    for note in sorted(notes, key=lambda one: (one.taken_local, one.id)):
        if note.kind == "pollinated":
            findings += _check_silk(note, state)
            kind, shares = name_pollen(note, givers)
            for male in [male for male, _ in shares] or [""]:
                findings += _check_male(note, _Pollen(kind, male), tag, states, names, planned)
        elif note.kind in ("silk", "shed"):
            findings += _check_flower(note, state)
        elif note.kind not in KINDS:
            findings.append(_odd("kind_unknown", f"a note of a kind not known here: {note.kind}", note.id, "Read it"))
    return tuple(findings)


def _check_counts(state: RowState) -> list[Finding]:
    findings = []
    if state.conflicts:
        told = f"{len(state.conflicts)} note{'s' if len(state.conflicts) > 1 else ''} corrected twice, differently"
        findings.append(_odd("corrected_twice", told, state.conflicts[0], "Take one of the corrections back"))
    if state.ears_picked > state.ears_standing:
        told = f"{state.ears_picked} ears picked, but {state.ears_standing} pollinated and standing"
        repair = "Look whether ears of a neighbour row are among them"
        findings.append(_odd("more_ears_than_pollinated", told, str(state.ears_picked), repair))
    if state.stand is not None and state.ears_pollinated > state.stand:
        told = f"{state.ears_pollinated} ears pollinated, but {state.stand} plants stand"
        findings.append(_odd("more_ears_than_plants", told, str(state.ears_pollinated), "Count the stand again"))
    if state.bags_not_well > state.spoiled:
        told = (
            f"{state.bags_not_well} bag{'s' if state.bags_not_well > 1 else ''} found with silk seen, open, or with a "
            f"wrong code, but {state.spoiled} noted "
        )
        repair = "Note the ears as lost, or the look as well"
        findings.append(_odd("seen_and_not_lost", f"{told}as lost", str(state.bags_not_well), repair))
    if state.spoiled > state.ears_pollinated:
        told = f"{state.spoiled} pollinations lost, but {state.ears_pollinated} made"
        findings.append(_odd("more_lost_than_made", told, str(state.spoiled), "One pollination note is missing"))
    return findings


def _check_silk(note: Told, state: RowState) -> list[Finding]:
    day = note.taken_on
    if state.silk_on is None:
        return []
    late = (day - state.silk_on).days - SILK_LASTS_DAYS
    if late > 0:
        told = f"pollinated on {day}, {late} days after its silk was over (silk {state.silk_on})"
        return [_odd("silk_was_over", told, note.id, "Expect few kernels, or correct the date")]
    return []


def _check_flower(note: Told, state: RowState) -> list[Finding]:
    if note.value and noted_day(note).isoformat() != note.value[:10]:
        told = f"{note.kind} of {note.value[:20]!r} noted on {note.taken_on}, which is counted"
        return [_odd("day_unlikely", told, note.id, "Take the note back and write it with its day")]
    day = state.silk_on if note.kind == "silk" else state.shed_on
    if day is None or state.sown_on is None or day > state.sown_on + timedelta(days=20):
        return []
    told = f"{note.kind} on {day}, but sown on {state.sown_on}"
    return [_odd("flower_too_soon", told, note.id, "One of the two dates is wrong")]


class _Pollen(NamedTuple):
    """Kind of a pollination and its male, by the note or by its bag; one of several males where pollen was mixed."""

    kind: str
    male: str


def _check_male(
    note: Told,
    pollen: _Pollen,
    tag: str,
    states: Mapping[str, RowState],
    names: Mapping[str, str],
    planned: set[str],
) -> list[Finding]:
    known = POLLINATIONS.get(pollen.kind)
    male = pollen.male or (tag if pollen.kind in ("self", "sib", "bulk_sib") else "")
    if not male:
        needed = known is not None and known.father == "needed"
        told = f"a {pollen.kind} of {note.taken_on} without its male"
        return [_odd("male_missing", told, note.id, "Note it again with the male row")] if needed else []
    name = names.get(male, f"tag {male}")
    if male not in names:
        return [_odd("male_unknown", f"the male {male} is no row of this season", note.id, "Read the tag again")]
    findings = []
    if planned and pollen.male and pollen.male != tag and pollen.male not in planned:
        told = f"pollinated with {name}, which is not its planned male"
        findings.append(_odd("male_not_planned", told, note.id, "Take the note back if the row was misread"))
    start = states[male].shed_on if male in states else None
    if not _could_shed(start, note.taken_on):
        who = "it" if male == tag else name
        when = f"shed noted {start}" if start else "no shed noted"
        told = f"{who} was not shedding on {note.taken_on} ({when})"
        findings.append(_odd("male_not_shedding", told, note.id, "Note its shed, or correct the male or the date"))
    return findings


def _could_shed(start: date | None, day: date) -> bool:
    return start is not None and -SHED_BEFORE_DAYS <= (day - start).days <= SHED_LASTS_DAYS


def _odd(code: str, told: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place(), value, repair, stops=False)

"""How many kernels does each note of the seed room move, given all that is known of the lot?

A note that kernels were taken moves so many. A note of a weight, or that the lot was thrown away, says what was left,
so that what it moves hangs on all that happened before. Worked out anew from the *set* of notes and bookings, whatever
the order in which they came; what the books moved for a note before is then brought in line by a counter-movement.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

TAKEN, WEIGHED, DISCARDED = "taken", "weighed", "discarded"


@dataclass(frozen=True, slots=True)
class Booked:
    """A movement that no note made.

    `at` is the hour (``HH:MM:SS``) if it was written down on the day it speaks of, else empty: then it stands before
    all notes of that day. `noted_before` is, for a count at the desk, how many kernels notes had moved in the books
    when it was made, which it found counted in; None for all else.
    """

    number: int
    day: date
    at: str
    kernels: int
    noted_before: int | None = None


@dataclass(frozen=True, slots=True)
class LotEvent:
    """What a standing note says of a lot: `kernels` taken, or found by weighing; 0 where it was thrown away."""

    note: str
    kind: str
    taken_local: str
    kernels: int = 0


@dataclass(frozen=True, slots=True)
class SettledLot:
    """Kernels that each note moves in all (out: negative), what each count at the desk must be set right by because of
    notes that came after it, and what is left in the lot."""

    by_note: dict[str, int]
    by_count: dict[int, int]
    kernels: int


def settle_lot(booked: Sequence[Booked], events: Iterable[LotEvent]) -> SettledLot:
    """Walk through the life of one lot and say what each of its notes moves.

    Parameters
    ----------
    booked
        Movements that no note made.
    events
        What the standing notes of the lot say; the same note twice counts once.

    Returns
    -------
    SettledLot
        Notes and counts that move nothing are there with 0.

    Notes
    -----
    In the order of day and hour, what is booked before notes of the same moment, notes of one moment by their id. Let s
    be the stock at that moment. Taken: -k, whatever s is. Weighed: k - s. Thrown away: -max(0, s): a lot that is
    overdrawn stays so and is told. A count at the desk found what was there: notes of before that came after it was
    made are in it already, so it is set right by (what notes had moved in the books then) - (what they move up to it).

    Checked by
    ----------
    tests/properties/test_lot_note_laws.py, tests/science/test_lot_notes.py
    """
    once = {event.note: event for event in events}
    steps: list[tuple[tuple[str, str, int, str], Booked | LotEvent]] = []
    for move in booked:
        steps.append(((move.day.isoformat(), move.at, 0, f"{move.number:012d}"), move))
    for event in once.values():
        steps.append(((event.taken_local[:10], event.taken_local[11:], 1, event.note), event))
    stock = noted = 0
    by_note: dict[str, int] = {}
    by_count: dict[int, int] = {}
    for _, step in sorted(steps, key=lambda one: one[0]):
        if isinstance(step, LotEvent):
            change = _move(step, stock)
            by_note[step.note] = change
            noted += change
        else:
            change = step.kernels
            if step.noted_before is not None:
                right = step.noted_before - noted
                by_count[step.number] = right
                noted, change = noted + right, change + right
        stock += change
    return SettledLot(by_note, by_count, stock)


def _move(event: LotEvent, stock: int) -> int:
    if event.kind == TAKEN:
        return -event.kernels
    return event.kernels - stock if event.kind == WEIGHED else -max(0, stock)


def find_differences(wanted: dict[str, int], moved: Iterable[tuple[str, int]]) -> dict[str, int]:
    """What is still to be moved for each note: wanted less moved, notes that need nothing left out.

    Checked by
    ----------
    tests/properties/test_lot_note_laws.py
    """
    left: dict[str, int] = defaultdict(int, wanted)
    for note, kernels in moved:
        left[note] -= kernels
    return {note: change for note, change in left.items() if change}

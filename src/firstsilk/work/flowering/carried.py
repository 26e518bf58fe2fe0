"""How do notes come in that a phone gave as a file, where no network reached it?

The same way as from the phone itself: each once, whole, all of a file or none. What is no note is laid aside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.work.flowering.desk import desk_device
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station

AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class CarriedIn:
    """What became of a file's notes: in the books now, there before, and laid aside."""

    stored: int
    already: int
    aside: int

    def as_text(self) -> str:
        """One sentence for the person who carried it."""
        new = f"{self.stored} note{'s are' if self.stored != 1 else ' is'} new in the books"
        told = f"{new}, {self.already} {'were' if self.already != 1 else 'was'} there already"
        return f"{told}, {self.aside} laid aside for a person to settle." if self.aside else f"{told}."


def carry_in(on: Occasion, wires: Sequence[object]) -> CarriedIn:
    """Store the notes of a file that a phone gave, all or none; a phone that only gave a file was not met.

    Raises
    ------
    InputRefused
        ``file_empty`` if there is nothing in it.
    """
    if not wires:
        raise refuse("file_empty", "There is no note in this file.", "Let the phone give its notes once more.")
    stored = already = aside = 0
    with transaction.atomic():
        desk = str(desk_device(get_station(on.station)).uuid)
        for start in range(0, len(wires), AT_ONCE):
            receipt = receive_notes(on, desk, wires[start : start + AT_ONCE])
            stored += len(receipt.stored)
            already += len(receipt.already)
            aside += len(receipt.aside)
    return CarriedIn(stored, already, aside)

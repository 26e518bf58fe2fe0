"""Do the bags of a day fit its pollinations? Counts of one day, from the notes that stand. Values in, values out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from firstsilk.science.flowering.bags import count_noted
from firstsilk.science.flowering.notes import Note


@dataclass(frozen=True, slots=True)
class BagDay:
    """Bags and ears of one day.

    Parameters
    ----------
    bags_used
        Bag codes on which ears were pollinated.
    ears_by_bag, ears_by_tally
        Ears pollinated with a bag's code, and counted at the end of a row.
    tassel_bags_coded, tassel_bags_tallied, tassel_bags_down
        Tassel bags put on with a code, counted without, and taken down unused.
    bags_on_no_tassel
        Bag codes used today that no note puts on a tassel, on any day: their pollen's row is not known by the bag.
    """

    bags_used: int
    ears_by_bag: int
    ears_by_tally: int
    tassel_bags_coded: int
    tassel_bags_tallied: int
    tassel_bags_down: int
    bags_on_no_tassel: int


def count_bag_day(standing: Iterable[Note], day: date) -> BagDay:
    """Count a day's bags and ears.

    Parameters
    ----------
    standing
        Notes that stand: the day's, and all notes that put a bag with a code on a tassel.
    day
        The day counted.

    Notes
    -----
    Checked by tests/work/test_day_close.py.
    """
    notes = list(standing)
    hung = {note.bag for note in notes if note.kind == "tassel_bagged" and note.bag}
    today = [note for note in notes if note.taken_on == day]
    ears = [note for note in today if note.kind == "pollinated"]
    used = {note.bag for note in ears if note.bag}
    # Two notes of one ear, from two phones, are one ear: of a bag on a row the largest count holds.
    by_bag: dict[tuple[str, str], int] = defaultdict(int)
    for note in ears:
        if note.bag:
            by_bag[note.bag, note.tag] = max(by_bag[note.bag, note.tag], count_noted(note.value))
    tassels = [note for note in today if note.kind == "tassel_bagged"]
    return BagDay(
        bags_used=len(used),
        ears_by_bag=sum(by_bag.values()),
        ears_by_tally=sum(count_noted(note.value) for note in ears if not note.bag),
        tassel_bags_coded=len({note.bag for note in tassels if note.bag}),
        tassel_bags_tallied=sum(count_noted(note.value) for note in tassels if not note.bag),
        tassel_bags_down=sum(count_noted(note.value) for note in today if note.kind == "tassel_unbagged"),
        bags_on_no_tassel=len(used - hung),
    )

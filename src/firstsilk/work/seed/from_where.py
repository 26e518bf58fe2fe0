"""From which ears, plants, bags, males, day and hands does the seed of a lot come, as the notes say now?"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.records.models import Lot, LotOrigin, Movement, Row
from firstsilk.science.flowering.bags import Shares, name_givers
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes, name_pollen
from firstsilk.work.flowering.states import read_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.ears import WITHIN
from firstsilk.work.seed.season_notes import print_code
from firstsilk.work.shelf import get_lot, get_station


@dataclass(frozen=True, slots=True)
class PollinationLine:
    """One pollination behind a lot: row, plant if it was noted, bag, kind, males with shares, ears, day, worker."""

    row: int
    season: str
    plant: int | None
    bag: str
    kind: str
    males: tuple[tuple[str, float], ...]
    ears: int
    on: date
    worker: str


@dataclass(frozen=True, slots=True)
class FromWhere:
    """The pollinations behind a lot, and what the notes say now that its record does not."""

    pollinations: tuple[PollinationLine, ...]
    cautions: tuple[str, ...]


def read_from_where(on: Occasion, tag_or_name: str) -> FromWhere:
    """The pollinations behind a lot made from rows here; none for a lot received or made of lots.

    Notes
    -----
    Where its kernels were noted by bag, only pollinations of these bags count; else those of its row by its fathers.
    A note corrected after the lot was made is told, and the lot stays as it is. Checked by
    tests/work/test_ear_to_lot.py.
    """
    lot = get_lot(get_station(on.station), tag_or_name)
    origins = list(LotOrigin.objects.filter(lot=lot, row__isnull=False).select_related("row__season", "male_row__line"))
    rows = {one.row.tag: one.row for one in origins if one.row is not None}
    if not rows:
        return FromWhere((), ())
    standing, _ = keep_standing_notes(read_notes(lot.station, set(rows), on.today))
    males = {one.male_row.tag for one in origins if one.male_row is not None}
    fathers = {one.male_row.line.name for one in origins if one.male_row is not None}
    bags = _find_bags(lot, origins, standing)
    givers = name_givers(standing)
    pollinated = [note for note in standing if note.kind == "pollinated" and note.tag in rows]
    named = _name_males(lot, pollinated, givers, males)
    mine = [note for note in pollinated if note.bag in bags] if bags else pollinated
    told, kept = [], []
    for note in sorted(mine, key=lambda one: (one.taken_local, one.id)):
        kind, shares = name_pollen(note, givers)
        is_own = kind in WITHIN
        now = {named[tag].line.name for tag, _ in shares if tag in named} if not is_own else set()
        if now == fathers and _is_known(shares, named, is_own):
            kept.append(_tell(note, rows[note.tag], kind, shares, named, is_own))
        elif bags:
            kept.append(_tell(note, rows[note.tag], kind, shares, named, is_own))
            told.append(_tell_changed(note, kind, shares, named, fathers))
    if not kept and not told:
        told.append("No standing note tells the pollination of this lot any more: look at the notes of its row.")
    return FromWhere(tuple(kept), tuple(dict.fromkeys(told)))


def _find_bags(lot: Lot, origins: Sequence[LotOrigin], standing: Sequence[Note]) -> set[str]:
    """Bags of the kernels that came in, by the notes that their movements name; else the one bag of its origin."""
    moved = Movement.objects.filter(lot=lot, reason="harvested", note__isnull=False).values_list("note", flat=True)
    shelled = {str(one) for one in moved}
    known = {note.bag for note in standing if note.id in shelled and note.bag}
    return known or {one.bag for one in origins if one.bag}


def _name_males(
    lot: Lot, pollinated: Sequence[Note], givers: dict[str, tuple[Shares, str]], males: Collection[str]
) -> dict[str, Row]:
    tags = set(males) | {tag for note in pollinated for tag, _ in name_pollen(note, givers)[1]}
    return {row.tag: row for row in Row.objects.filter(station=lot.station, tag__in=tags).select_related("line")}


def _is_known(shares: Shares, named: dict[str, Row], is_own: bool) -> bool:
    return is_own or all(tag in named for tag, _ in shares)


def _tell(note: Note, row: Row, kind: str, shares: Shares, named: dict[str, Row], is_own: bool) -> PollinationLine:
    males = tuple((_call(tag, named), share) for tag, share in shares) if not is_own else ()
    bag = print_code(note.bag) if note.bag else ""
    ears = int(note.value) if note.value.isdecimal() else 1
    return PollinationLine(row.number, row.season.name, note.plant, bag, kind, males, ears, note.taken_on, note.worker)


def _call(tag: str, named: dict[str, Row]) -> str:
    return f"row {named[tag].number} ({named[tag].line.name})" if tag in named else f"tag {tag}"


def _tell_changed(note: Note, kind: str, shares: Shares, named: dict[str, Row], fathers: set[str]) -> str:
    now = " and ".join(_call(tag, named) for tag, _ in shares) or "no male"
    was = " and ".join(sorted(fathers)) or "its own pollen"
    return (
        f"Bag {print_code(note.bag)} is now noted as {kind.replace('_', ' ')} with {now}, but this lot was made as "
        f"from {was}. Correct the note, or take the kernels back at the shelling bench and shell it anew."
    )

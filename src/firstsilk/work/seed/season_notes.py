"""What do the notes of a season's rows, ears and crates say, and which ear does somebody mean who scans a code?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

from django.db.models import CharField, Q, QuerySet
from django.db.models.functions import Cast

from firstsilk.answers import InputRefused, refuse, shorten_value
from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Row, Season, Station, Tag
from firstsilk.science.flowering.harvest import HARVEST_KINDS, RowCount, count_ears, find_bag_rows
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes
from firstsilk.science.seed.tags import print_tag, read_tag
from firstsilk.work.flowering.states import dash_id
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_season, get_station

KINDS_READ = ("tassel_bagged", "pollinated", "spoiled", "dried", *HARVEST_KINDS)
_TOLD = ("key", "worker", "kind", "detail", "tag", "male", "bag", "plant", "value", "taken_local", "undoes")


@dataclass(frozen=True, slots=True)
class SeasonNotes:
    """A season's rows by tag, the standing notes about them, their ears, and the tags of crates."""

    station: Station
    season: Season
    rows: Mapping[str, Row]
    standing: tuple[Note, ...]
    crates: frozenset[str]
    ears: Mapping[str, RowCount] = field(default_factory=dict)
    bag_rows: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def names(self) -> dict[str, str]:
        """How each row is called."""
        return {tag: f"row {row.number}" for tag, row in self.rows.items()}


@dataclass(frozen=True, slots=True)
class Ear:
    """What a scan means: the ears of a bag on a row, or of a row whose bags were not read."""

    row: Row
    bag: str = ""

    @property
    def name(self) -> str:
        """How it is called."""
        return f"bag {print_code(self.bag)} of row {self.row.number}" if self.bag else f"row {self.row.number}"


def read_season_notes(on: Occasion, season: str = "") -> SeasonNotes:
    """Rows, standing notes of ears, bags and crates, and crates of a season on the occasion's day; five questions."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = {
        row.tag: row
        for row in Row.objects.filter(station=station, season=book).select_related("line").order_by("number")
    }
    crates = frozenset(Tag.objects.filter(station=station, hangs_on="crate").values_list("code", flat=True))
    standing = [
        one
        for one in keep_standing_notes(tell_notes(choose_notes(station, date(book.year, 1, 1), on.today)))[0]
        if one.tag in rows or one.tag in crates or (not one.tag and one.taken_on.year == book.year)
    ]
    return SeasonNotes(station, book, rows, tuple(standing), crates, count_ears(standing), find_bag_rows(standing))


def choose_notes(station: Station, first: date, last: date) -> QuerySet[NoteRecord]:
    """Notes of ears, bags and crates taken on these days, and all that replace or take one back."""
    records = NoteRecord.objects.filter(station=station, practice=False, taken_on__gte=first, taken_on__lte=last)
    return records.filter(Q(kind__in=KINDS_READ) | Q(replaces__isnull=False))


def tell_notes(records: QuerySet[NoteRecord]) -> Iterator[Note]:
    """Notes as values; only what they say, for many are read."""
    told = records.annotate(key=Cast("uuid", CharField()), undoes=Cast("replaces", CharField()))
    for key, worker, kind, detail, tag, male, bag, plant, value, taken, undoes in told.values_list(*_TOLD).iterator(
        5000
    ):
        yield Note(dash_id(key), "", 0, worker, kind, detail, tag, male, bag, plant, value, "", taken, 0, "", "", 0,
                   False, "", "", dash_id(undoes) if undoes else "")  # fmt: skip


def find_ear(there: SeasonNotes, typed: str) -> Ear:
    """The ears that a scanned or typed code means: a bag, a row's tag or number, or a row and a bag with a space.

    Raises
    ------
    InputRefused
        If it is neither, if the bag served several rows, or if the bag is of another row.
    """
    text = typed.strip()
    row_said, _, bag_said = text.partition(" ")
    if bag_said.strip():
        row = _find_row(there, row_said)
        bag = _find_bag(there, bag_said)
        of = there.bag_rows.get(bag, ())
        if row is None:
            raise refuse("row_unknown", f"There is no row {shorten_value(row_said)!r} in this season.", "Scan its tag.")
        if of and row.tag not in of:
            said = " and ".join(f"row {there.rows[tag].number}" for tag in of if tag in there.rows) or "another season"
            raise refuse("ear_of_other_row", f"Bag {print_code(bag)} was used on {said}.", "Read both codes again.")
        return Ear(row, bag)
    bag = _find_bag(there, text)
    of = tuple(tag for tag in there.bag_rows.get(bag, ()) if tag in there.rows)
    if len(of) == 1:
        return Ear(there.rows[of[0]], bag)
    if of:
        said = " and ".join(str(there.rows[tag].number) for tag in of)
        raise refuse(
            "bag_of_several_rows",
            f"Bag {print_code(bag)} was used on rows {said}.",
            f"Write the row before it: {there.rows[of[0]].number} {print_code(bag)}.",
        )
    row = _find_row(there, text)
    if row is None:
        raise refuse(
            "ear_unknown",
            f"{shorten_value(text)!r} is no bag that a pollination names, no row and no crate of this season.",
            "Scan it again; a bag nobody noted is written after its row: 12 7KQ4-RN2M.",
        )
    return Ear(row)


def find_crate(there: SeasonNotes, typed: str) -> str:
    """The crate's tag that somebody scanned; empty if it is none."""
    sign = read_sign(typed)
    return sign if sign in there.crates else ""


def get_crate(there: SeasonNotes, typed: str) -> str:
    """As `find_crate`, refused if it is none."""
    crate = find_crate(there, typed)
    if not crate:
        raise refuse("crate_unknown", f"{shorten_value(typed)!r} is no crate's tag.", "Scan the tag on the crate.")
    return crate


def _find_bag(there: SeasonNotes, text: str) -> str:
    """A bag's code as the notes write it: as typed, or as eight signs."""
    said = text.strip()
    sign = read_sign(said)
    return sign if sign and said not in there.bag_rows else said[:16]


def _find_row(there: SeasonNotes, text: str) -> Row | None:
    said = text.strip()
    if said.isascii() and said.isdecimal() and len(said) < 8:
        return next((row for row in there.rows.values() if row.number == int(said)), None)
    return there.rows.get(read_sign(said))


def read_sign(text: str) -> str:
    """The eight signs of a tag; empty where it is none."""
    try:
        return read_tag(text)
    except InputRefused:
        return ""


def print_code(code: str) -> str:
    """A bag's or crate's code as it is printed; one written by hand as it was written."""
    try:
        return print_tag(code)
    except InputRefused:
        return code

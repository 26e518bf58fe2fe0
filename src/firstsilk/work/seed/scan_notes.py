"""What do the notes say about the few ears that somebody scans at the bench, however many a season has?"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import date

from django.db.models import F, Q, QuerySet, TextField, Value
from django.db.models.functions import Replace, Trim, Upper

from firstsilk.records.models import Note as NoteRecord
from firstsilk.records.models import Row, Season, Station, Tag
from firstsilk.science.flowering.harvest import count_ears, find_bag_rows
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import keep_standing_notes
from firstsilk.work.flowering.states import find_undoing, read_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.season_notes import SeasonNotes, choose_notes, read_sign, tell_notes
from firstsilk.work.shelf import get_season, get_station

OF_A_BAG = ("tassel_bagged", "pollinated")
OF_A_LOAD = ("crated", "shelled")


def read_scan_notes(on: Occasion, season: str, codes: Sequence[str], crate: str = "") -> SeasonNotes:
    """As `read_season_notes`, but only what these codes and this crate need.

    Notes
    -----
    Whole are the scanned rows, the rows pollinated from the scanned bags, the bags of all these, and what lies in the
    crate; other rows are there in part, for their numbers. The number of questions does not hang on the size of the
    season; one more is asked for each correction of a correction. Checked against the whole by
    tests/work/test_scan_notes.py.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    said = {part for code in codes for part in (code.strip(), *code.strip().partition(" ")[::2])}
    said = {part.strip() for part in said} - {""}
    signs = {read_sign(one) for one in (*said, crate)} - {""}
    crates = frozenset(
        Tag.objects.filter(station=station, hangs_on="crate", code__in=signs).values_list("code", flat=True)
    )
    named = _find_named_rows(book, said, signs)
    every = choose_notes(station, date(book.year, 1, 1), on.today)
    notes = _gather(every, named, {one[:16] for one in said} | signs, crates & {read_sign(crate)})
    there = {*named, *(note.tag for note in notes), *(note.male for note in notes)} - {""}
    rows = {row.tag: row for row in _choose_rows(book, there)}
    standing = [
        one
        for one in keep_standing_notes(notes)[0]
        if one.tag in rows or one.tag in crates or (not one.tag and one.taken_on.year == book.year)
    ]
    return SeasonNotes(station, book, rows, tuple(standing), crates, count_ears(standing), find_bag_rows(standing))


def find_crate_tag(on: Occasion, typed: str) -> str:
    """The crate's tag that somebody scanned; empty if it is none."""
    sign = read_sign(typed)
    known = bool(sign) and Tag.objects.filter(station=get_station(on.station), hangs_on="crate", code=sign).exists()
    return sign if known else ""


def read_notes_around(station: Station, tag: str, up_to: date) -> list[Note]:
    """The notes of a row whole, and of all rows whose pollen it took or that share a bag with it."""
    own = read_notes(station, [tag], up_to)
    bags = {note.bag for note in own if note.bag}
    others = NoteRecord.objects.filter(station=station, practice=False, kind__in=OF_A_BAG, bag__in=bags)
    tags = {tag, *(note.tag for note in own), *(note.male for note in own), *others.values_list("tag", flat=True)}
    return read_notes(station, tags - {""}, up_to)


def _find_named_rows(book: Season, said: Iterable[str], signs: Collection[str]) -> set[str]:
    numbers = {int(one) for one in said if one.isascii() and one.isdecimal() and len(one) < 8}
    rows = Row.objects.filter(season=book).filter(Q(tag__in=signs) | Q(number__in=numbers))
    return set(rows.values_list("tag", flat=True))


def _choose_rows(book: Season, tags: Collection[str]) -> QuerySet[Row]:
    return Row.objects.filter(season=book, tag__in=tags).select_related("line").order_by("number")


def _gather(
    every: QuerySet[NoteRecord], named: Collection[str], bags: Collection[str], crates: Collection[str]
) -> list[Note]:
    """Notes of the scanned rows, bags and crate, and those by which these no longer stand."""
    of_bags = list(tell_notes(every.filter(bag__in=bags, kind__in=OF_A_BAG)))
    tags = {*named, *(note.tag for note in of_bags if note.kind == "pollinated")} - {""}
    about = list(tell_notes(every.filter(tag__in=tags)))
    codes = {note.bag for note in about if note.bag}
    shared = tell_notes(every.filter(bag__in=codes, kind__in=OF_A_BAG))
    notes = {note.id: note for note in (*of_bags, *about, *shared)}
    for crate in crates:
        notes |= {note.id: note for note in tell_notes(_choose_loads(every, crate))}
    return [*notes.values(), *find_undoing(every, notes, notes, tell_notes)]


def _choose_loads(every: QuerySet[NoteRecord], crate: str) -> QuerySet[NoteRecord]:
    """What is told of ears that were ever put into a crate. Its tag may be written with a hyphen, or small."""
    written = Upper(Replace(Trim(F("value")), Value("-"), Value(""), output_field=TextField()))
    put = every.filter(kind="crated").annotate(crate=written).filter(crate=crate)
    return every.filter(kind__in=OF_A_LOAD, tag__in=put.values("tag"))

"""Do the ears at harvest fit the pollinations: picked, left, lost, missing, by row and by bag?"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import Finding, Place
from firstsilk.records.models import Row
from firstsilk.science.flowering.crates import as_crate, check_crates
from firstsilk.science.flowering.harvest import EarCount, RowCount, check_harvest
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.season_notes import SeasonNotes, print_code, read_season_notes


@dataclass(frozen=True, slots=True)
class BagLine:
    """One bag of a row: its males as their rows are called, and its ears."""

    bag: str
    printed: str
    males: str
    crate: str
    ears: EarCount


@dataclass(frozen=True, slots=True)
class EarLine:
    """One row at harvest: its ears, its bags, and what is odd."""

    number: int
    tag: str
    line: str
    field_row: int
    ears: EarCount
    bags: tuple[BagLine, ...]
    odd: tuple[str, ...]
    is_begun: bool


@dataclass(frozen=True, slots=True)
class EarBook:
    """All rows that were pollinated or picked, sums over them, ears left by why, and what is odd."""

    season: str
    rows: tuple[EarLine, ...]
    pollinated: int
    spoiled: int
    picked: int
    left: tuple[tuple[str, int], ...]
    missing: int
    findings: tuple[Finding, ...]
    basis: Basis


def read_ear_book(on: Occasion, season: str = "") -> EarBook:
    """Every row with pollinations or ears, in walking order.

    Notes
    -----
    Missing are ears standing that nobody picked or left; they are summed over rows whose harvest has begun. Checked by
    tests/work/test_ear_to_lot.py.
    """
    there = read_season_notes(on, season)
    odd = _check(there, on.today)
    crates, males = _find_crates(there), _find_males(there)
    rows = [
        _tell_row(there.rows[tag], ears, odd.get(tag, []), crates, males)
        for tag, ears in sorted(there.ears.items(), key=lambda one: _number(there, one[0]))
        if tag in there.rows
    ]
    begun = [one for one in rows if one.is_begun]
    left: Counter[str] = Counter()
    for one in rows:
        left.update(dict(one.ears.left))
    waiting = len(rows) - len(begun)
    return EarBook(
        season=there.season.name,
        rows=tuple(rows),
        pollinated=sum(one.ears.pollinated for one in rows),
        spoiled=sum(one.ears.spoiled for one in rows),
        picked=sum(one.ears.picked for one in rows),
        left=tuple(sorted(left.items())),
        missing=sum(one.ears.missing for one in begun),
        findings=tuple(one for told in odd.values() for one in told),
        basis=Basis(
            (("rows", len(rows)), ("notes", len(there.standing))),
            (f"a harvest of {waiting} rows",) if waiting else (),
        ),
    )


def _number(there: SeasonNotes, tag: str) -> int:
    row = there.rows.get(tag)
    return row.number if row else 0


def _check(there: SeasonNotes, today: date) -> dict[str, list[Finding]]:
    """Findings by row; those that no row is known of under an empty tag."""
    odd: dict[str, list[Finding]] = defaultdict(list)
    names = there.names
    about_rows = [note for note in there.standing if note.tag in there.rows or not note.tag]
    for tag, ears in sorted(there.ears.items()):
        total = ears.total
        if tag in there.rows and total.extra:
            found = total.extra + total.standing
            told = f"{found} ears found, {total.standing} pollinated and standing"
            repair = "Look whether ears of a neighbour row are among them"
            odd[tag].append(Finding("more_ears_than_pollinated", told, Place(), str(found), repair, stops=False))
    of_crates = check_crates(there.standing, names, there.crates, today)
    for tag, one in (*check_harvest(about_rows, names), *of_crates):
        odd[tag].append(one)
    return {tag: [_at_row(names.get(tag, ""), one) for one in told] for tag, told in odd.items()}


def _at_row(named: str, one: Finding) -> Finding:
    said = f"{named}: {one.message}" if named else one.message
    return Finding(one.code, said, one.place, one.value, one.repair, stops=False)


def _find_crates(there: SeasonNotes) -> dict[tuple[str, str], str]:
    """The crate that the newest note names, by row and bag."""
    put = sorted(there.standing, key=lambda one: (one.taken_local, one.id))
    return {(note.tag, note.bag): print_code(as_crate(note.value)) for note in put if note.kind == "crated"}


def _find_males(there: SeasonNotes) -> dict[str, str]:
    """Numbers of the rows whose pollen is in each bag, as its notes say."""
    males: dict[str, set[str]] = defaultdict(set)
    for note in there.standing:
        if note.bag and note.kind in ("tassel_bagged", "pollinated"):
            male = note.tag if note.kind == "tassel_bagged" else note.male
            if male in there.rows:
                males[note.bag].add(str(there.rows[male].number))
    return {bag: " + ".join(sorted(rows, key=int)) for bag, rows in males.items()}


def _tell_row(
    row: Row, count: RowCount, odd: list[Finding], crates: dict[tuple[str, str], str], males: dict[str, str]
) -> EarLine:
    bags = tuple(
        BagLine(one.bag, print_code(one.bag), males.get(one.bag, ""), crates.get((row.tag, one.bag), ""), one)
        for one in count.bags
    )
    total = count.total
    told = tuple(one.message.removeprefix(f"row {row.number}: ") for one in odd)
    return EarLine(row.number, row.tag, row.line.name, row.field_row, total, bags, told, total.is_seen)

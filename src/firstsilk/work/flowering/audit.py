"""Which notes of the books cannot all be true on a day?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from firstsilk.answers import Finding, Place
from firstsilk.records.models import Row
from firstsilk.science.flowering.bagging_rules import check_pollinations
from firstsilk.science.flowering.bags import Shares, check_bags, name_givers
from firstsilk.science.flowering.checks import check_row_notes
from firstsilk.science.flowering.crates import check_crates
from firstsilk.science.flowering.harvest import check_harvest
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import RowState
from firstsilk.work.audited import Found
from firstsilk.work.nursery.audit import name_row


@dataclass(frozen=True, slots=True)
class _Looked:
    """What the notes of all rows say together: days of tassel bags by row, who was there, what each bag gives."""

    bagged: Mapping[str, set[date]]
    there: Mapping[date, set[str]]
    givers: Mapping[str, tuple[Shares, str]]
    today: date


def audit_notes(
    rows: Sequence[Row], standing: Iterable[Note], states: Mapping[str, RowState], today: date
) -> tuple[list[Found], list[str]]:
    """Findings about the standing notes of rows, season by season; and the seasons whose pollinations are not noted.

    Such a season was brought with its ears only: ears are not held against pollinations there.

    Parameters
    ----------
    rows
        With season, line and target at hand.
    standing
        All standing notes of the station.
    states
        Their states by tag.
    today
        The day of the look.
    """
    notes: dict[str, list[Note]] = defaultdict(list)
    bagged: dict[str, set[date]] = defaultdict(set)
    there: dict[date, set[str]] = defaultdict(set)
    standing = list(standing)
    for note in standing:
        notes[note.tag].append(note)
        if note.kind == "tassel_bagged":
            bagged[note.tag].add(note.taken_on)
        elif note.kind == "worked" and note.worker:
            there[note.taken_on].add(note.worker)
    looked = _Looked(bagged, there, name_givers(standing), today)
    bags = check_bags(standing, {row.tag: f"row {row.number}" for row in rows}, today)
    seasons: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        seasons[row.season_id].append(row)
    found, silent = [], []
    for group in seasons.values():
        names = {row.tag: f"row {row.number}" for row in group}
        males: dict[int, list[str]] = defaultdict(list)
        for row in group:
            if row.purpose == "male":
                males[row.line_id].append(row.tag)
        is_silent = not any(states[row.tag].pollinations for row in group if row.tag in states)
        if is_silent and any(states[row.tag].ears_picked for row in group if row.tag in states):
            silent.append(group[0].season.name)
        ears = _check_ears(group, notes, names)
        for row in group:
            told = _check_row(row, notes.get(row.tag, []), states, names, males, looked)
            by_bag = (*bags.get(row.tag, ()), *ears.get(row.tag, ()))
            told += [replace(one, place=Place(name_row(row), None, "bag")) for one in by_bag]
            told = [one for one in told if not (is_silent and one.code == "more_ears_than_pollinated")]
            found += [Found("flowering", "row", row.tag, name_row(row), one) for one in told]
    return found, silent


def _check_ears(
    rows: Iterable[Row], notes: Mapping[str, list[Note]], names: Mapping[str, str]
) -> Mapping[str, list[Finding]]:
    """What the harvest of a season says against its bags, by row."""
    told: dict[str, list[Finding]] = defaultdict(list)
    for tag, one in check_harvest([note for row in rows for note in notes.get(row.tag, ())], names):
        told[tag].append(one)
    return told


def _check_row(
    row: Row,
    notes: Sequence[Note],
    states: Mapping[str, RowState],
    names: Mapping[str, str],
    males: Mapping[int, list[str]],
    looked: _Looked,
) -> list[Finding]:
    if not notes:
        return []
    target = row.target if row.purpose in ("self", "female") else None
    planned = males.get(target.male_id, []) if target is not None and target.male_id and row.purpose == "female" else []
    state = states.get(row.tag, RowState(row.tag))
    kind = target.kind if target is not None else ""
    found = [*check_row_notes(row.tag, notes, states, names, planned, looked.givers)]
    found += check_pollinations(state, notes, looked.bagged, kind, looked.today, looked.givers, looked.there)
    place = Place(name_row(row))
    return [replace(one, place=replace(place, column=one.place.column)) for one in found]


def audit_loose_ears(standing: Iterable[Note]) -> list[Found]:
    """Findings about notes of the harvest that name no row."""
    loose = [note for note in standing if not note.tag]
    return [
        Found("flowering", "note", "", f"bag {note.bag}" if note.bag else "no bag", one)
        for note in loose
        for _, one in check_harvest([note], {})
    ]


def audit_crates(rows: Iterable[Row], standing: Sequence[Note], crates: Collection[str], today: date) -> list[Found]:
    """Findings about drying crates, season by season: a crate keeps its tag from year to year.

    Parameters
    ----------
    rows
        With their season at hand.
    standing
        All standing notes of the station.
    crates
        Tags given out for crates.
    today
        The day of the look.
    """
    season_of = {row.tag: row.season_id for row in rows}
    name_of = {row.tag: name_row(row) for row in rows}
    told: dict[int, list[Note]] = {season: [] for season in season_of.values()}
    measured = [note for note in standing if note.kind == "dried"]
    for note in standing:
        if note.tag in season_of and note.kind in ("crated", "shelled"):
            told[season_of[note.tag]].append(note)
    found = {}
    for notes in told.values():
        # A note of moisture is told once, however many seasons knew the crate.
        for tag, one in check_crates([*notes, *measured], name_of, crates, today) if notes else ():
            kind, key, record = ("row", tag, name_of[tag]) if tag else ("crate", one.value, "a drying crate")
            found[one.code, one.value, tag] = Found("seed", kind, key, record, one)
    return list(found.values())


def audit_tags(standing: Iterable[Note], known: set[str]) -> list[Found]:
    """Findings about notes whose tag hangs on nothing in the books: one for each such tag."""
    stray: dict[str, list[Note]] = defaultdict(list)
    for note in standing:
        if note.tag and note.tag not in known:
            stray[note.tag].append(note)
    found = []
    for tag, notes in sorted(stray.items()):
        told = f"{len(notes)} note{'s' if len(notes) > 1 else ''} on a tag that hangs on no row, lot or plot"
        repair = "Read the tag again; take the notes back and write them on the right one"
        one = Finding("note_of_no_record", told, Place(f"tag {tag}", None, "tag"), notes[0].id, repair, stops=False)
        found.append(Found("flowering", "note", tag, f"tag {tag}", one))
    return found

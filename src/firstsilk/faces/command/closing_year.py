"""How are a phone's file brought, days closed and what waits for a person settled, from the command line?"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day
from firstsilk.faces.files.carried import read_carried


def bring_notes(
    file: Annotated[
        str,
        typer.Argument(
            help="File of notes that a phone gave, or folder of pictures of its film; - for standard input."
        ),
    ],
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Bring the notes of a phone that gave them as a file or as a film of codes: each once, all of them or none."""
    if file != "-" and Path(file).is_dir():
        from firstsilk.faces.files.film_photos import read_film_folder

        wires = read_film_folder(Path(file))
    else:
        wires = _read_file(file)
    on = open_books(station, today)
    from firstsilk.work.flowering.carried import carry_in

    say(carry_in(on, wires).as_text())


def _read_file(file: str) -> list[object]:
    content = sys.stdin.buffer.read() if file == "-" else Path(file).read_bytes()
    return read_carried(content, "standard input" if file == "-" else Path(file).name)


def close_day(
    look: Annotated[bool, typer.Option("--look", help="Only show what came and what is missing.")] = False,
    reason: Annotated[str, typer.Option(help="Why the day is closed although notes are missing.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Close the day: phones may then let its notes go. What is missing is told first, and needs a reason."""
    on = open_books(station, today)
    from firstsilk.work.flowering import day_close

    # Read before it is closed: the table is of what was known then.
    standing = day_close.read_day_standing(on)
    closed = standing.closed if look else day_close.close_day(on, reason)
    for line in (*standing.waits, standing.basis.as_text()):
        say(line)
    if standing.n_late:
        say(f"{standing.n_late} note{'s' if standing.n_late > 1 else ''} of {on.today} came after it was closed.")
    if closed is None:
        say(f"{on.today} is not closed.")
    else:
        say(f"{on.today} is closed at note {closed.head_position:,}, chain {closed.head_hash[:16]}.")
    columns = ("phone", "called", "notes_of_day", "highest_told", "stored", "never_came", "still_on_it")
    columns += ("last_met", "clock_ahead_s")
    rows = [
        (
            one.phone.number,
            one.phone.label,
            one.of_day,
            one.phone.highest_told,
            one.phone.n_notes,
            "; ".join(f"{first}-{last}" if first != last else str(first) for first, last in one.phone.gaps),
            one.phone.waiting,
            one.phone.last_seen_at.isoformat() if one.phone.last_seen_at else None,
            None if one.phone.clock_ahead_s is None else round(one.phone.clock_ahead_s, 1),
        )
        for one in standing.phones
    ]
    more: dict[str, object] = {"day": on.today, "closed": closed is not None, "missing": list(standing.waits)}
    if closed is not None:
        more |= {"head_position": closed.head_position, "head_hash": closed.head_hash, "counts": closed.counts}
    give_result(columns, rows, out, as_json, more)


def to_settle(
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """What waits for a person: things laid aside by number, notes corrected twice, bag codes used twice."""
    on = open_books(station, today)
    from firstsilk.work.flowering.settling import read_to_settle

    found = read_to_settle(on)
    waits = f"{found.n_open} laid aside, {len(found.conflicts)} corrected twice, {len(found.twice)} codes used twice."
    say(f"{waits} {found.basis.as_text()}")
    columns = ("what", "number", "came", "phone", "why", "kind", "tag", "value", "note")
    rows: list[tuple[object, ...]] = [
        ("aside", one.number, one.received_at.isoformat(), one.device, one.reason, *_reads(one.reads), None)
        for one in found.aside
    ]
    rows += [
        (
            "correction",
            fix.position,
            fix.note.taken_local,
            fix.device,
            f"corrects {one.target}, as others do",
            fix.note.kind,
            fix.note.tag,
            fix.note.value,
            fix.note.id,
        )
        for one in found.conflicts
        for fix in one.corrections
    ]
    rows += [
        ("code used twice", None, None, None, one.message, "tassel_bagged", None, one.value, None)
        for one in found.twice
    ]
    give_result(columns, rows, out, as_json)


def _reads(reads: Mapping[str, str]) -> tuple[str, str, str]:
    return reads.get("kind", ""), reads.get("tag", ""), reads.get("value", "")


def settle_aside(
    number: Annotated[int, typer.Argument(help="Number of the thing laid aside; to-settle lists them.")],
    nothing: Annotated[str, typer.Option(help="Nothing becomes of it, and why.")] = "",
    kind: Annotated[str, typer.Option(help="Key it as a note of this kind.")] = "",
    row: Annotated[str, typer.Option(help="Row number or tag of that note.")] = "",
    value: Annotated[str, typer.Option(help="Its count, date or score.")] = "",
    detail: Annotated[str, typer.Option(help="Its detail.")] = "",
    male: Annotated[str, typer.Option(help="Row number or tag of the male.")] = "",
    bag: Annotated[str, typer.Option(help="Number of the bag.")] = "",
    taken: Annotated[str, typer.Option(help="Day the note speaks of, as 2031-07-21; today if absent.")] = "",
    worker: Annotated[str, typer.Option(help="Worker code.")] = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Say what became of a thing laid aside: a note keyed from it, or nothing with a reason."""
    if bool(nothing) == bool(kind):
        raise refuse("settled_how", "What became of it?", "Give --nothing WHY, or --kind and --row of the note it is.")
    on = open_books(station, today)
    from firstsilk.work.flowering.desk_notes import make_row_draft
    from firstsilk.work.flowering.settling import settle_as_note, settle_as_nothing

    if nothing:
        settle_as_nothing(on, number, nothing)
        say(f"Number {number} is settled: nothing became of it.")
        return
    draft, told = make_row_draft(on, "", kind, row, value, detail, male, bag, read_day(taken), worker)
    settle_as_note(on, number, draft)
    say(f"Number {number} is settled. Noted: {told}.")


def keep_correction(
    note: Annotated[str, typer.Argument(help="Id of the correction to keep; to-settle lists them.")],
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Of several corrections of one note keep this one; the others are taken back by notes that name them."""
    on = open_books(station, today)
    from firstsilk.work.flowering import settling

    gone = settling.keep_correction(on, note)
    say(f"Kept. {len(gone)} other correction{'s were' if len(gone) > 1 else ' was'} taken back.")

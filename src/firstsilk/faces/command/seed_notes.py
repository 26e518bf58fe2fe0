"""How are notes of the seed room written and booked from the command line?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day

if TYPE_CHECKING:
    from firstsilk.work.seed.lot_notes import LotNotes


def lot_note(
    kind: Annotated[str, typer.Argument(help="taken, weighed or discarded.")],
    lot: Annotated[str, typer.Argument(help="Name or tag of the lot.")],
    value: Annotated[str, typer.Argument(help="Kernels taken, or grams weighed; a word for discarded.")] = "",
    taken: Annotated[str, typer.Option(help="Day on which it was done, as 2031-11-03; today if absent.")] = "",
    worker: Annotated[str, typer.Option(help="Worker code.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Key back what was done to a lot away from the desk, and book it; a lot below zero is told, never refused."""
    on = open_books(station, today)
    from firstsilk.work.seed.lot_notes import write_lot_note

    said, done = write_lot_note(on, kind, lot, value, read_day(taken), worker)
    say(f"Noted: {said}.")
    _give(done, out, as_json)


def seed_notes(
    book: Annotated[bool, typer.Option("--book", help="Book them; without it they are only listed.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Kernels that notes of the seed room (taken, weighed, discarded) are still to move in the books."""
    on = open_books(station, today)
    from firstsilk.work.seed.lot_notes import list_lot_notes, settle_lot_notes

    _give(settle_lot_notes(on) if book else list_lot_notes(on), out, as_json)


def _give(found: LotNotes, out: str, as_json: bool) -> None:
    for finding in found.findings:
        say(finding.as_text())
    count = len(found.unbooked)
    did = "booked" if found.booked else "to book"
    say(f"{count} movement{'' if count == 1 else 's'} {did}. {found.basis.as_text()}")
    columns = ("lot", "tag", "day", "kernels", "reason", "says", "note")
    rows = [(one.lot, one.tag, one.day, one.kernels, one.reason, one.says, one.note) for one in found.unbooked]
    give_result(columns, rows, out, as_json, {"findings": [one.as_json() for one in found.findings]})

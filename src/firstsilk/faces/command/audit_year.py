"""How are the books looked through from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

COLUMNS = ("subject", "weight", "code", "record", "where", "value", "message", "repair")


def audit(
    subject: Annotated[str, typer.Option(help="Only lineage, seed, nursery, flowering or trials.")] = "",
    weight: Annotated[str, typer.Option(help="Only cannot_be, unlikely or not_told.")] = "",
    stop_at: Annotated[
        str, typer.Option("--stop-at", help="Exit with 1 if there is a finding of this weight or a heavier one.")
    ] = "",
    every_year: Annotated[bool, typer.Option("--every-year", help="Look for a drift in trials of all years.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Look through the books for what cannot be, is unlikely, or is not told; nothing is changed.

    Each finding names the record, the value and the likely repair. Exits with 0 when the books were looked through,
    whatever was found; with --stop-at with 1 if something of that weight or a heavier one was found.
    """
    from firstsilk.work.audited import SUBJECTS, WEIGHTS

    for name, value, known in (
        ("subject", subject, SUBJECTS),
        ("weight", weight, WEIGHTS),
        ("stop-at", stop_at, WEIGHTS),
    ):
        if value and value not in known:
            raise refuse("word_unknown", f"There is no {name} {value!r}.", f"Use one of: {', '.join(known)}.")
    on = open_books(station, today)
    from firstsilk.work.audit import audit_books

    done = audit_books(on, every_year)
    chosen = done.choose(subject, weight)
    say(done.basis.as_text())
    for sentence in done.not_judged:
        say(f"Not judged: {sentence}.")
    counts = ", ".join(f"{sum(one.weight == word for one in chosen)} {word.replace('_', ' ')}" for word in WEIGHTS)
    say(f"As of {on.today}: {counts}.")
    rows = [
        (
            one.subject,
            one.weight,
            one.finding.code,
            one.record,
            one.finding.place.column,
            one.finding.value,
            one.finding.message,
            one.finding.repair,
        )
        for one in chosen
    ]
    more = {"day": on.today, "looked_at": dict(done.looked_at), "not_judged": done.not_judged}
    give_result(COLUMNS, rows, out, as_json, more)
    heavy = tuple(WEIGHTS)[: tuple(WEIGHTS).index(stop_at) + 1] if stop_at else ()
    if any(one.weight in heavy for one in chosen):
        raise typer.Exit(1)

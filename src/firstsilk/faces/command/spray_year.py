"""How are sprays posted, changed and looked at from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books


def spray(
    product: Annotated[str, typer.Argument(help="Post: the product in words; absent: only show.")] = "",
    rows: Annotated[str, typer.Option(help="Post: rows sprayed, as 12 or 1-40.")] = "",
    at: Annotated[str, typer.Option(help="Post: when spraying ended, as '2031-07-24 06:30', or 06:30.")] = "",
    hours: Annotated[float | None, typer.Option(help="Post: hours without entry, from the label.")] = None,
    change: Annotated[int | None, typer.Option(help="Change the end of this spraying, by its number.")] = None,
    until: Annotated[str, typer.Option(help="Change: the new end; now if absent.")] = "",
    reason: Annotated[str, typer.Option(help="Change: why; wanted.")] = "",
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Post a spray, change one with a reason, and list all with who was noted inside an interval; the label decides."""
    _check_given(product, {"--rows": rows, "--at": at, "--hours": hours}, change)
    span = _read_rows(rows) if product else (0, 0)
    on = open_books(station, today)
    from firstsilk.work.cautions import LIMITS, SPRAY
    from firstsilk.work.flowering.clock import read_typed
    from firstsilk.work.flowering.sprays import change_spray, post_spray, read_sprays

    if product:
        done = post_spray(on, season, product, span, read_typed(at, on.today), hours or 0.0)
    elif change is not None:
        done = change_spray(on, season, change, read_typed(until, on.today) if until else None, reason)
    found = read_sprays(on, season)
    if product or change is not None:
        say(f"Rows {done.first_row} to {done.last_row}: no entry until {done.no_entry_until:%Y-%m-%d %H:%M}.")
    for line in (*(one.as_text() for one in found.inside), SPRAY.text, LIMITS, found.basis.as_text()):
        say(line)
    columns = ("number", "product", "first_row", "last_row", "sprayed_at", "no_entry_until", "runs", "by", "reason")
    table = [
        (
            one.number,
            one.product,
            one.first_row,
            one.last_row,
            one.sprayed_at.isoformat(timespec="minutes"),
            one.no_entry_until.isoformat(timespec="minutes"),
            one.runs,
            one.posted_by,
            one.ended_by,
        )
        for one in found.sprayings
    ]
    inside = [one.as_json() for one in found.inside]
    give_result(columns, table, out, as_json, {"season": found.season, "shut": found.n_shut, "inside": inside})


def _check_given(product: str, given: dict[str, object], change: int | None) -> None:
    if product and change is not None:
        raise refuse("spray_twice", "A spray is posted or changed, not both.", "Leave the product or --change away.")
    lacking = [name for name, value in given.items() if value in ("", None)]
    if product and lacking:
        raise refuse("spray_incomplete", f"A spray needs {', '.join(lacking)}.", "Give them all.")
    if not product and len(lacking) < len(given):
        raise refuse("spray_incomplete", "The product is not named.", "Write it first: firstsilk spray 'PRODUCT' ...")


def _read_rows(text: str) -> tuple[int, int]:
    first, dash, last = text.replace(" ", "").partition("-")
    if not first.isdecimal() or (dash and not last.isdecimal()) or len(text) > 20:
        raise refuse("spray_rows", f"--rows {text!r} is no span of rows.", "Write 12, or 1-40.")
    return int(first), int(last or first)

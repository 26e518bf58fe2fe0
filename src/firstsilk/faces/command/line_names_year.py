"""How are other names of lines written down from the shell, and two records found to be one line merged?"""

from __future__ import annotations

from dataclasses import asdict, astuple, fields
from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books


def line_names(
    line: Annotated[str, typer.Argument(help="The line, by any of its names; all lines if absent.")] = "",
    add: Annotated[str, typer.Option("--add", help="Another name to write down for the line.")] = "",
    remark: Annotated[str, typer.Option("--remark", help="Who calls it so, or since when; with --add.")] = "",
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """The other names of a line, or of all; --add writes one down, which then finds the line everywhere."""
    if add and not line:
        raise typer.BadParameter("--add needs the line that has this name.")
    if remark and not add:
        raise typer.BadParameter("--remark belongs to a name: give it with --add.")
    on = open_books(station, today)
    from firstsilk.work.lineage.names import OtherName, add_line_name, list_line_names

    if add:
        added = add_line_name(on, line, add, remark)
        say(f"{added.name} is another name of {added.line}.")
    told = list_line_names(on, line)
    columns = [one.name for one in fields(OtherName)]
    give_result(columns, [astuple(one) for one in told.names], out, as_json, {"basis": told.basis.as_text()})
    if not as_json:
        say(told.basis.as_text())


def merge_lines(
    kept: Annotated[str, typer.Argument(help="The record that stands for both; the merges so far if absent.")] = "",
    gone: Annotated[str, typer.Argument(help="The record merged into it.")] = "",
    reason: Annotated[str, typer.Option("--reason", help="How it was found; needed if the two contradict.")] = "",
    undo: Annotated[str, typer.Option("--undo", help="A record merged away: take its merge back.")] = "",
    look: Annotated[bool, typer.Option("--look", help="Only say what differs; merge nothing.")] = False,
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Merge two records found to be one line; both keep their histories, and --undo takes it back."""
    if bool(kept) != bool(gone):
        raise typer.BadParameter("Name both records: the one kept, then the one merged into it.")
    if undo and kept:
        raise typer.BadParameter("Merge or --undo: give one of them.")
    if (look or reason) and not kept:
        raise typer.BadParameter("--look and --reason belong to two records: name both.")
    on = open_books(station, today)
    from firstsilk.work.lineage import merges

    if undo:
        undone = merges.undo_merge(on, undo)
        say(f"{undone.gone} stands by itself again; it had been merged into {undone.kept}.")
    elif look:
        sides = merges.compare_records(on, kept, gone)
        say(f"They cannot be merged: {sides.no.message}" if sides.no else "They can be merged.")
        columns = [one.name for one in fields(merges.Difference)]
        give_result(columns, [astuple(one) for one in sides.differences], out, as_json, {"no": _tell_no(sides)})
        return
    elif kept:
        done = merges.merge_lines(on, kept, gone, reason)
        say(f"{done.merge.gone} is merged into {done.merge.kept}.")
        if done.differences:
            say(f"They contradict each other in {', '.join(one.as_text() for one in done.differences)}.")
    told = merges.list_merges(on)
    columns = [one.name for one in fields(merges.MergeFacts)]
    give_result(columns, [astuple(one) for one in told.merges], out, as_json, {"basis": told.basis.as_text()})
    if not as_json:
        say(told.basis.as_text())


def _tell_no(sides: object) -> object:
    no = getattr(sides, "no", None)
    return asdict(no) if no is not None else None
